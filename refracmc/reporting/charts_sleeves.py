"""Charts of the sleeves: their state hour by hour, stress along the lateral, what a failed shift costs where."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from refracmc.reporting import style
from refracmc.reporting.captions import block_trials, spoken, strategy_words
from refracmc.reporting.tables import ReportData

STATES: tuple[tuple[str, str], ...] = (
    ("open", "#b8e4b5"),
    ("closed", "#41566c"),
    ("being treated", style.PALETTE[0]),
    ("open, treated", style.PALETTE[2]),
    ("stuck open", style.PALETTE[1]),
    ("stuck closed", "#a3121a"),
    ("patched", "#1d0a08"),
    ("open for good", "#edc855"),
    ("leaking", "#9d97e0"),
)
"""States of a sleeve and their fills, light where it lets fluid through and dark where it does not; all pairs, and
each and the paper, stay apart for all kinds of sight as the palette does (tested)."""
_SHIFTS = dict(zip(("close", "open", "reclose", "reopen"), style.PALETTE[1:5], strict=True))
_SHADES = ("#d9c3ea", "#bb93d8", "#9c5ec4", style.PALETTE[0])
_AS_PUMPED = "as its stage is pumped"


def sleeve_map(data: ReportData, well: str) -> Figure | None:
    """State of every sleeve against hours in one simulated trial."""
    rows = data.of_well("sleeve_map", well)
    if rows.empty:
        return None
    count = int(rows["sleeve"].max())
    height = 2.0 + max(2.2, 0.075 * count)
    figure = style.chart_frame(
        data,
        f"{well}: the sleeves through the job, {strategy_words(str(rows['strategy'].iloc[0]))}",
        height,
        "one simulated trial, the one of the timeline, not an average",
        money=False,
        percentiles=False,
        extra="Sleeve 1 is the deepest. Hours before the first change and after the last are cut off.",
    )
    axes = style.panel(figure, (0.85, 0.82, 0.2, 1.0))
    end = float(rows["to_hour"].max())
    changes = rows.loc[rows["from_hour"] > 0.0, "from_hour"]
    first, last = (float(changes.min()), float(changes.max())) if len(changes) else (0.0, end)
    beside = 0.08 * (last - first) or 1.0
    colours = dict(STATES)
    thick = 72.0 * (height - 1.82) / (count + 1) * 0.72
    for state in dict.fromkeys(rows["state"]):
        mine = rows[rows["state"] == state]
        colour, front = colours.get(str(state), style.FAINT), 5 if state == "being treated" else 4
        style.spans(axes, mine["from_hour"], mine["to_hour"], mine["sleeve"], colour, thick, capstyle="butt",
                    zorder=front)  # fmt: skip
    axes.set_ylim(0.0, count + 1.0)
    style.set_counts(axes, "y", count, 12, grid=False)
    style.name_axis(axes, "y", "Sleeve", 0.5)
    style.value_axis(axes, "x", max(first - beside, 0.0), min(last + beside, end), most=12)
    style.name_axis(axes, "x", "Hours since the start of the job")
    present = set(rows["state"])
    style.legend_row(figure, [style.Mark(name, colour) for name, colour in STATES if name in present])
    return figure


def stress_state(data: ReportData, well: str) -> Figure | None:
    """Fall of the horizontal contrast along the lateral after parts of each order, and what each stage met."""
    rows = data.of_well("stress_state", well)
    if rows.empty:
        return None
    orders = list(dict.fromkeys(rows["order"]))
    height = 1.75 + 1.45 * len(orders)
    figure = style.chart_frame(
        data,
        f"{well}: stress along the lateral as each order proceeds",
        height,
        f"standard errors up to {float(rows['se_psi'].max()):.1f} psi; with nothing failing the linear sum is the "
        "same for every order, and only what each stage meets differs",
        money=False,
        percentiles=False,
        trials=block_trials(data),
        extra="Values at the sleeves, by the other stages: a stage's own fracture is left out at its sleeve.",
    )
    low, high = style.padded(rows["contrast_fall_psi"].tolist())
    toe, heel = float(rows["depth_ft"].max()), float(rows["depth_ft"].min())
    edge = 0.01 * (toe - heel)
    legend: dict[str, str] = {}
    each = (height - 1.75) / len(orders)
    for k, order in enumerate(orders):
        bottom = 0.85 + each * (len(orders) - 1 - k)
        axes = style.panel(figure, (0.85, bottom, 0.2, height - bottom - each + 0.3))
        mine = rows[rows["order"] == order]
        met = mine[mine["state"] == _AS_PUMPED]
        legend = _stress_lines(axes, mine[mine["state"] != _AS_PUMPED]) | legend
        axes.plot(met["depth_ft"], met["contrast_fall_psi"], ls="", marker="o", ms=2.8, color=style.PALETTE[1],
                  zorder=5)  # fmt: skip
        style.value_axis(axes, "y", low, high, most=4)
        style.value_axis(axes, "x", heel, toe, most=9, labelled=k == len(orders) - 1)
        axes.set_xlim(toe + edge, heel - edge)
        mean, peak = met["contrast_fall_psi"].agg(["mean", "max"]).fillna(0.0)
        name = spoken(str(order))
        style.title_panel(axes, f"{name}: a stage meets {mean:,.0f} psi on average, {peak:,.0f} at most")
        if k == len(orders) // 2:
            style.name_axis(axes, "y", "Fall of contrast, psi", 0.6)
    style.name_axis(axes, "x", "Measured depth, ft (toe on the left)")
    marks = [style.Mark(label, colour) for label, colour in legend.items()]
    style.legend_row(figure, [*marks, style.Mark("met by a stage as it is pumped", style.PALETTE[1], "dot")])
    return figure


def _stress_lines(axes: Axes, rows: pd.DataFrame) -> dict[str, str]:
    """A line for each state of an order, darker as it proceeds; returns the entries of the legend."""
    legend = {}
    states = list(dict.fromkeys(rows["state"]))
    for j, state in enumerate(states):
        part = rows[rows["state"] == state]
        colour = _SHADES[j * len(_SHADES) // len(states)]
        axes.plot(part["depth_ft"], part["contrast_fall_psi"], color=colour, lw=1.3)
        legend[f"after {j + 1} of {len(states)} parts"] = colour
    return legend


def failures(data: ReportData, well: str) -> Figure | None:
    """Expected loss by sleeve and kind of failed shift above, loss by a failure that does happen below."""
    rows = data.of_well("failures", well)
    if rows.empty:
        return None
    trials = block_trials(data)
    error = float(np.sqrt((rows["chance"] * (1.0 - rows["chance"])).max() / trials))
    figure = style.chart_frame(
        data,
        f"{well}: where failures cost most, {strategy_words(str(rows['strategy'].iloc[0]))}",
        5.0,
        f"standard errors of the chances up to {100 * error:.1f} points; losses by the rules of the job, one "
        "failure at a time, nothing else wrong",
        money=False,
        percentiles=False,
        trials=trials,
        extra="Sleeve 1 is the deepest. Loss: stages' effect in percent of that of all stages.",
    )
    count = int(rows["sleeve"].max())
    kinds = [kind for kind in _SHIFTS if (rows["kind"] == kind).any()]
    upper = style.panel(figure, (0.85, 2.85, 0.2, 0.85))
    lower = style.panel(figure, (0.85, 0.85, 0.2, 2.6))
    foot, most = np.zeros(count + 1), 0.0
    for kind in kinds:
        mine = rows[rows["kind"] == kind]
        at = mine["sleeve"].to_numpy(dtype=int)
        loss = 100.0 * mine["stages_lost_share"].to_numpy()
        head = foot[at] + loss * mine["chance"].to_numpy()
        style.bars(upper, at - 0.4, at + 0.4, foot[at], head, _SHIFTS[kind])
        foot[at] = head
        lower.plot(at, loss, color=_SHIFTS[kind], lw=0.8, marker="o", ms=2.6)
        most = max(most, float(loss.max()))
    for axes, top, name in (
        (upper, float(foot.max()), "Chance x loss, %"),
        (lower, most, "Loss if it fails, %"),
    ):
        style.value_axis(axes, "y", 0.0, top * 1.06 or 1.0, most=5)
        style.set_counts(axes, "x", count, 15, labelled=axes is lower)
        axes.set_xlim(0.3, count + 0.7)
        style.name_axis(axes, "y", name, 0.5)
    style.name_axis(lower, "x", "Sleeve")
    style.legend_row(figure, [style.Mark(f"fails to {kind}", _SHIFTS[kind]) for kind in kinds])
    return figure
