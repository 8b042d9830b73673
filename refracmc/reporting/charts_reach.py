"""Chart of the force at the tool by depth, and of the share of trials in which it shifts each sleeve."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from refracmc.reporting import style
from refracmc.reporting.captions import block_trials
from refracmc.reporting.tables import ReportData

_WAYS = (("push", style.PALETTE[1], "-"), ("pull", style.PALETTE[0], (0, (5, 1.5))))


def reach(data: ReportData, well: str) -> Figure | None:
    """Push and pull at the tool against depth over the force needed; below, the share of trials by sleeve."""
    rows = data.of_well("reach", well).sort_values("depth_ft", kind="stable")
    if rows.empty:
        return None
    beyond = rows[~rows["planned"].to_numpy(dtype=bool)]
    beyond_reach = (
        "The plan reaches all sleeves."
        if beyond.empty
        else f"Shaded: {len(beyond)} of {len(rows)} sleeves beyond the reach of the plan; they are not worked."
    )
    figure = style.chart_frame(
        data,
        f"{well}: force at the tool of the coiled tubing",
        5.0,
        f"standard errors of the shares up to {100 * float(rows['reached_share_se'].max()):.1f} points",
        money=False,
        trials=block_trials(data),
        extra=f"{beyond_reach} A soft-string screen: reach defers to the operator's procedures and the "
        "contractor's modelling. Push below 0: the tubing does not get there.",
    )
    depth = rows["depth_ft"].to_numpy(dtype=float)
    low, high = style.padded(list(depth), 0.03)
    upper = style.panel(figure, (0.85, 2.55, 0.2, 0.75))
    lower = style.panel(figure, (0.85, 0.95, 0.2, 2.6))
    ends: list[float] = [0.0]
    for name, colour, dash in (*_WAYS, ("needed", style.NOTHING_COLOUR, (0, (1.5, 1.2)))):
        p90, p50, p10 = (
            rows[f"{name}_{p}_lbf"].to_numpy(dtype=float) / 1000.0 for p in ("p90", "p50", "p10")
        )
        upper.fill_between(depth, p90, p10, color=colour, alpha=0.18, lw=0)
        upper.plot(depth, p50, color=colour, ls=dash, lw=1.6)
        ends += [*p90, *p10]
    for way, colour, _ in _WAYS:
        upper.plot(depth, rows[f"planned_{way}_lbf"] / 1000.0, color=colour, lw=0.9, ls=(0, (1, 1)))
    share = 100.0 * rows["reached_share"].to_numpy(dtype=float)
    width = 0.7 * float(np.min(np.diff(depth))) if len(depth) > 1 else 50.0
    lower.bar(depth, share, width=width, color=style.PALETTE[2], lw=0)
    if not beyond.empty:
        edge = float(beyond["depth_ft"].min()) - width
        for axes in (upper, lower):
            axes.axvspan(edge, high, color=style.GRID, alpha=0.6, lw=0, zorder=0)
    style.value_axis(upper, "x", low, high, most=9, labelled=False)
    style.value_axis(lower, "x", low, high, most=9)
    style.value_axis(upper, "y", *style.padded(ends, 0.05))
    style.value_axis(lower, "y", 0.0, 102.0, most=5)
    style.name_axis(upper, "y", "Force at the tool,\nthousand lbf", 0.5)
    style.name_axis(lower, "y", "Trials with\nenough, %", 0.5)
    style.name_axis(lower, "x", "Measured depth of the sleeve, ft")
    marks = [style.Mark(f"{way}: P50", colour, dash=dash) for way, colour, dash in _WAYS]
    marks += [
        style.Mark("needed: P50", style.NOTHING_COLOUR, dash=(0, (1.5, 1.2))),
        style.Mark("P90 to P10", style.FAINT, "band"),
        style.Mark("planned with", style.FAINT, dash=(0, (1, 1))),
    ]
    style.legend_row(figure, marks)
    return figure
