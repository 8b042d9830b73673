"""Charts of the job itself: days and cost by order, sleeves hour by hour, stress along the lateral, failures.

Same rules as :mod:`refracmc.reporting.charts_value`: tables in, a figure out, or None without rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from refracmc.reporting import style
from refracmc.reporting.numbers import MILLION
from refracmc.reporting.tables import ReportData
from refracmc.reporting.words import footer, spoken, strategy_words

_GROUPS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("before and after", style.BACKGROUND_CURVE, ("before", "after")),
    ("pumping", style.PALETTE[0], ("treating", "pumping", "diversion", "drill_out")),
    ("shifting and tests", style.PALETTE[1], ("shifting", "testing", "setting")),
    ("travel and cleanout", style.PALETTE[2], ("travel", "cleanout")),
    ("trips and repairs", style.PALETTE[3],
     ("trips", "screenouts", "patching", "perforating", "slim_tools", "stuck_or_casing")),
    ("lost time and waiting", style.PALETTE[4], ("non_productive", "waiting")),
)  # fmt: skip
_COSTS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("before and after", style.BACKGROUND_CURVE, ("mobilisation", "workover", "flowback", "load_disposal")),
    ("crews by the day", style.PALETTE[0], ("ct_spread", "frac_spread")),
    ("materials and water", style.PALETTE[2], ("materials", "water")),
    ("trips and repairs", style.PALETTE[3],
     ("trips", "patches", "perforations", "screenouts", "string_changes", "slim_tools")),
    ("isolation method", style.PALETTE[5], ("isolation",)),
    ("rare events", style.BAD, ("stuck_ct", "casing_failure", "well_lost", "cancellation")),
)  # fmt: skip
_STATES: tuple[tuple[str, str], ...] = (
    ("open", "#b9dcd6"),
    ("closed", style.BACKGROUND_CURVE),
    ("being treated", style.PALETTE[0]),
    ("open, treated", style.PALETTE[2]),
    ("stuck open", style.PALETTE[1]),
    ("stuck closed", style.BAD),
    ("patched", style.PALETTE[3]),
    ("open for good", style.PALETTE[5]),
    ("leaking", style.PALETTE[4]),
)
_KIND_COLOURS = dict(
    zip(
        ("close", "open", "reclose", "reopen"),
        (style.PALETTE[1], style.PALETTE[2], style.PALETTE[3], style.PALETTE[4]),
        strict=True,
    )
)


def _one_block(data: ReportData) -> int:
    return min(data.facts.trials, 512)


def _chance_error(data: ReportData, rows: pd.DataFrame) -> float:
    """Largest standard error of the chances of the table."""
    return float(np.sqrt((rows["chance"] * (1.0 - rows["chance"])).max() / _one_block(data)))


def _dates_of(data: ReportData, well: str) -> str:
    """At which date the orders of `job_parts` stand, in words."""
    if len(data.of_well("decision", well)):
        return "each at its best date"
    dates = {str(name).rpartition("@")[2] for name in data.of_well("job_parts", well)["strategy"]}
    return f"a job in {', '.join(sorted(dates))}"


def by_order(rows: pd.DataFrame, orders: Sequence[str]) -> list[pd.DataFrame]:
    """Rows of a table by stage order, in the order given."""
    found = rows.groupby("order", sort=False)
    return [found.get_group(order) for order in orders]


def job_spread(data: ReportData, well: str) -> Figure | None:
    """Mean days and cost of each order by part, and how far they spread in the trials."""
    parts, spread = data.of_well("job_parts", well), data.of_well("job_spread", well)
    if parts.empty or spread.empty:
        return None
    orders = list(dict.fromkeys(parts["order"]))
    height = 2.05 + 2 * (0.32 * len(orders) + 0.75)
    figure = style.frame(
        f"{well}: days and cost of the job by order, {_dates_of(data, well)}",
        footer(
            data,
            f"standard errors are in job_parts.csv ({_one_block(data)} trials)",
            money=False,
            trials=_one_block(data),
            extra="Bars: means by part. Line: P90 to P10, dot: P50, of the same trials.",
        ),
        height,
    )
    each = (height - 1.8) / 2
    for k, (measure, groups, scale, name) in enumerate(
        (("days", _GROUPS, 1.0, "Days shut in"), ("cost", _COSTS, MILLION, "Cost, US$ million"))
    ):
        axes = style.panel(
            figure,
            (1.45, 0.9 + (1 - k) * (each + 0.12), 0.3, height - 0.9 - (2 - k) * each + 0.38 - (1 - k) * 0.12),
        )
        mine = parts[parts["measure"] == measure]
        known = {part for _, _, members in groups for part in members}
        y, left = np.arange(len(orders), 0.0, -1.0), np.zeros(len(orders))
        of = [dict(zip(r["part"], r["mean"] / scale, strict=True)) for r in by_order(mine, orders)]
        rest = {part for means in of for part in means} - known
        for colour, members in (*(g[1:] for g in groups), (style.NOTHING_COLOUR, tuple(sorted(rest)))):
            right = left + [sum(means.get(part, 0.0) for part in members) for means in of]
            style.bars(axes, left, right, y - 0.25, y + 0.25, colour)
            left = right
        told = by_order(spread[spread["measure"] == measure], orders)
        value = [dict(zip(r["exceedance_percent"], r["value"] / scale, strict=True)) for r in told]
        lines = [[(v[90.0], at - 0.36), (v[10.0], at - 0.36)] for v, at in zip(value, y, strict=True)]
        axes.add_collection(LineCollection(lines, colors=style.INK, linewidths=1.4), autolim=False)
        axes.plot([v[50.0] for v in value], y - 0.36, ls="", marker="o", ms=3.6, color=style.INK)
        most = max(float(left.max()), *(v[10.0] for v in value))
        style.set_ticks(
            axes,
            "y",
            [float(len(orders) - j) for j in range(len(orders))],
            [spoken(str(o)) for o in orders],
            grid=False,
        )
        axes.set_ylim(0.3, len(orders) + 0.6)
        style.value_axis(axes, "x", 0.0, most * 1.03, most=9)
        style.name_axis(axes, "x", name)
    drawn = set(parts["part"])
    for row, (named, groups) in enumerate((("days", _GROUPS), ("cost", _COSTS))):
        marks = [style.Mark(label, colour) for label, colour, members in groups if drawn & set(members)]
        marks[:1] = [style.Mark(f"{named}: {mark.label}", mark.colour) for mark in marks[:1]]
        style.legend_row(figure, marks, down=0.42 + 0.4 * row)
    return figure


def sleeve_map(data: ReportData, well: str) -> Figure | None:
    """State of every sleeve against hours in one simulated trial."""
    rows = data.of_well("sleeve_map", well)
    if rows.empty:
        return None
    count = int(rows["sleeve"].max())
    height = 2.0 + max(2.2, 0.075 * count)
    figure = style.frame(
        f"{well}: the sleeves through the job, {strategy_words(str(rows['strategy'].iloc[0]))}",
        footer(
            data,
            "one simulated trial, the one of the timeline, not an average",
            money=False,
            percentiles=False,
            extra="Sleeve 1 is the deepest. Hours before the first change and after the last are cut off.",
        ),
        height,
    )
    axes = style.panel(figure, (0.85, 0.82, 0.2, 1.0))
    end = float(rows["to_hour"].max())
    changes = rows.loc[rows["from_hour"] > 0.0, "from_hour"]
    first, last = (float(changes.min()), float(changes.max())) if len(changes) else (0.0, end)
    beside = 0.08 * (last - first) or 1.0
    colours = dict(_STATES)
    thick = 72.0 * (height - 1.82) / (count + 1) * 0.72
    for state in dict.fromkeys(rows["state"]):
        mine = rows[rows["state"] == state]
        bars = [
            [(a, s), (b, s)]
            for a, b, s in zip(mine["from_hour"], mine["to_hour"], mine["sleeve"], strict=True)
        ]
        front = 5 if state == "being treated" else 4
        axes.add_collection(
            LineCollection(
                bars,
                colors=colours.get(str(state), style.FAINT),
                linewidths=thick,
                capstyle="butt",
                zorder=front,
            )
        )
    axes.set_ylim(0.0, count + 1.0)
    step = max(1, int(np.ceil(count / 12)))
    places = [1, *range(step, count + 1, step)] if step > 1 else list(range(1, count + 1))
    style.set_ticks(axes, "y", [float(p) for p in places], [str(p) for p in places], grid=False)
    style.name_axis(axes, "y", "Sleeve", 0.5)
    style.value_axis(axes, "x", max(first - beside, 0.0), min(last + beside, end), most=12)
    style.name_axis(axes, "x", "Hours since the start of the job")
    present = set(rows["state"])
    style.legend_row(figure, [style.Mark(name, colour) for name, colour in _STATES if name in present])
    return figure


def stress_state(data: ReportData, well: str) -> Figure | None:
    """Fall of the horizontal contrast along the lateral after parts of each order, and what each stage met."""
    rows = data.of_well("stress_state", well)
    if rows.empty:
        return None
    orders = list(dict.fromkeys(rows["order"]))
    height = 1.75 + 1.45 * len(orders)
    figure = style.frame(
        f"{well}: stress along the lateral as each order proceeds",
        footer(
            data,
            f"standard errors up to {float(rows['se_psi'].max()):.1f} psi; with nothing failing the linear sum is the "
            "same for every order, and only what each stage meets differs",
            money=False,
            percentiles=False,
            trials=_one_block(data),
            extra="Values at the sleeves, by the other stages: a stage's own fracture is left out at its sleeve.",
        ),
        height,
    )
    low, high = style.padded(rows["contrast_fall_psi"].tolist())
    left, right = float(rows["depth_ft"].max()), float(rows["depth_ft"].min())
    shades = ("#d9c3ea", "#bb93d8", "#9c5ec4", style.PALETTE[0])
    share: dict[str, str] = {}
    each = (height - 1.75) / len(orders)
    for k, order in enumerate(orders):
        bottom = 0.85 + each * (len(orders) - 1 - k)
        axes = style.panel(figure, (0.85, bottom, 0.2, height - bottom - each + 0.3))
        mine = rows[rows["order"] == order]
        states = [s for s in dict.fromkeys(mine["state"]) if s != "as its stage is pumped"]
        for j, state in enumerate(states):
            part = mine[mine["state"] == state]
            colour = shades[j * len(shades) // max(len(states), 1)]
            axes.plot(part["depth_ft"], part["contrast_fall_psi"], color=colour, lw=1.3)
            share.setdefault(f"after {j + 1} of {len(states)} parts", colour)
        met = mine[mine["state"] == "as its stage is pumped"]
        axes.plot(
            met["depth_ft"],
            met["contrast_fall_psi"],
            ls="",
            marker="o",
            ms=2.8,
            color=style.PALETTE[1],
            zorder=5,
        )
        style.value_axis(axes, "y", low, high, most=4)
        style.value_axis(axes, "x", right, left, most=9, labelled=k == len(orders) - 1)
        edge = 0.01 * (left - right)
        axes.set_xlim(left + edge, right - edge)
        mean = float(met["contrast_fall_psi"].mean()) if len(met) else 0.0
        peak = float(met["contrast_fall_psi"].max()) if len(met) else 0.0
        axes.text(
            0.0,
            1.03,
            f"{spoken(str(order))}: a stage meets {mean:,.0f} psi on average, {peak:,.0f} at most",
            fontsize=8.3,
            fontweight="bold",
            va="bottom",
            transform=axes.transAxes,
        )
        if k == len(orders) // 2:
            style.name_axis(axes, "y", "Fall of contrast, psi", 0.6)
        if k == len(orders) - 1:
            style.name_axis(axes, "x", "Measured depth, ft (toe on the left)")
    marks = [style.Mark(label, colour) for label, colour in share.items()]
    style.legend_row(figure, [*marks, style.Mark("met by a stage as it is pumped", style.PALETTE[1], "dot")])
    return figure


def failures(data: ReportData, well: str) -> Figure | None:
    """Expected loss by sleeve and kind of failed shift above, loss by a failure that does happen below."""
    rows = data.of_well("failures", well)
    if rows.empty:
        return None
    figure = style.frame(
        f"{well}: where failures cost most, {strategy_words(str(rows['strategy'].iloc[0]))}",
        footer(
            data,
            f"standard errors of the chances up to {100 * _chance_error(data, rows):.1f} points; losses by the rules "
            "of the job, one failure at a time, nothing else wrong",
            money=False,
            percentiles=False,
            trials=_one_block(data),
            extra="Sleeve 1 is the deepest. Loss: stages' effect in percent of that of all stages.",
        ),
        5.0,
    )
    count = int(rows["sleeve"].max())
    kinds = [kind for kind in _KIND_COLOURS if (rows["kind"] == kind).any()]
    expected = rows["chance"] * rows["stages_lost_share"] * 100.0
    for top, name in ((True, "Chance x loss, %"), (False, "Loss if it fails, %")):
        axes = style.panel(figure, (0.85, 2.85 if top else 0.85, 0.2, 0.85 if top else 2.6))
        height = np.zeros(count + 1)
        most = 0.0
        for kind in kinds:
            mine: pd.DataFrame = rows[rows["kind"] == kind]
            at = mine["sleeve"].to_numpy(dtype=int)
            values: Any = (
                expected[mine.index].to_numpy() if top else 100.0 * mine["stages_lost_share"].to_numpy()
            )
            if top:
                style.bars(axes, at - 0.4, at + 0.4, height[at], height[at] + values, _KIND_COLOURS[kind])
                height[at] += values
                most = max(most, float(height.max()))
            else:
                axes.plot(at, values, color=_KIND_COLOURS[kind], lw=0.8, marker="o", ms=2.6)
                most = max(most, float(np.max(values)))
        style.value_axis(axes, "y", 0.0, most * 1.06 or 1.0, most=5)
        step = max(1, int(np.ceil(count / 15)))
        places = [p for p in range(1, count + 1) if p == 1 or p % step == 0]
        style.set_ticks(
            axes, "x", [float(p) for p in places], [str(p) for p in places] if not top else [""] * len(places)
        )
        axes.set_xlim(0.3, count + 0.7)
        style.name_axis(axes, "y", name, 0.5)
        if not top:
            style.name_axis(axes, "x", "Sleeve")
    style.legend_row(figure, [style.Mark(f"fails to {kind}", _KIND_COLOURS[kind]) for kind in kinds])
    return figure
