"""Charts of days and cost of the job: by stage order, the build-up of the mean cost, and their distributions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from refracmc.reporting import style
from refracmc.reporting.captions import (
    GROSS,
    MILLION_GROSS,
    block_trials,
    error_range,
    has_date,
    split_strategy,
    spoken,
    strategy_words,
)
from refracmc.reporting.rounding import MILLION, fixed, significant, with_error
from refracmc.reporting.tables import ReportData

Groups = tuple[tuple[str, str, tuple[str, ...]], ...]

_DAYS: Groups = (
    ("before and after", style.BACKGROUND_CURVE, ("before", "after")),
    ("pumping", style.PALETTE[0], ("treating", "pumping", "diversion", "drill_out")),
    ("shifting and tests", style.PALETTE[1], ("shifting", "testing", "setting")),
    ("travel and cleanout", style.PALETTE[2], ("travel", "cleanout")),
    ("trips and repairs", style.PALETTE[3],
     ("trips", "screenouts", "patching", "perforating", "slim_tools", "stuck_or_casing")),
    ("lost time and waiting", style.PALETTE[4], ("non_productive", "waiting")),
)  # fmt: skip
_COSTS: Groups = (
    ("before and after", style.BACKGROUND_CURVE, ("mobilisation", "workover", "flowback", "load_disposal")),
    ("crews by the day", style.PALETTE[0], ("ct_spread", "frac_spread")),
    ("materials and water", style.PALETTE[2], ("materials", "water")),
    ("trips and repairs", style.PALETTE[3],
     ("trips", "patches", "perforations", "screenouts", "string_changes", "slim_tools")),
    ("isolation method", style.PALETTE[5], ("isolation",)),
    ("rare events", style.BAD, ("stuck_ct", "casing_failure", "well_lost", "cancellation")),
)  # fmt: skip


def _dates_of(data: ReportData, well: str) -> str:
    """At which date the orders of `job_parts` stand, in words."""
    if len(data.of_well("decision", well)):
        return "each at its best date"
    dates = {split_strategy(str(name))[1] for name in data.of_well("job_parts", well)["strategy"]}
    return f"a job in {', '.join(sorted(dates))}"


def _order_bars(axes: Axes, parts: pd.DataFrame, spread: pd.DataFrame, orders: list[Any], groups: Groups,
                scale: float) -> None:  # fmt: skip
    """A bar an order of its mean parts by group, and over it the line from P90 to P10 with the P50 as a dot."""
    y, left = np.arange(len(orders), 0.0, -1.0), np.zeros(len(orders))
    means = parts.pivot(index="order", columns="part", values="mean").loc[orders] / scale
    rest = means.columns.difference([part for _, _, members in groups for part in members])
    for colour, members in (*(group[1:] for group in groups), (style.NOTHING_COLOUR, tuple(rest))):
        right = left + means.reindex(columns=list(members)).sum(axis=1).to_numpy()
        style.bars(axes, left, right, y - 0.25, y + 0.25, colour)
        left = right
    value = spread.pivot(index="order", columns="exceedance_percent", values="value").loc[orders] / scale
    style.spans(axes, value[90.0], value[10.0], y - 0.36, style.INK, 1.4)
    axes.plot(value[50.0], y - 0.36, ls="", marker="o", ms=3.6, color=style.INK)
    style.set_ticks(axes, "y", list(y), [spoken(str(order)) for order in orders], grid=False)
    axes.set_ylim(0.3, len(orders) + 0.6)
    style.value_axis(axes, "x", 0.0, max(float(left.max()), float(value[10.0].max())) * 1.03, most=9)


def by_order(data: ReportData, well: str) -> Figure | None:
    """Mean days and cost of each order by part, and how far they spread in the trials."""
    parts, spread = data.of_well("job_parts", well), data.of_well("job_spread", well)
    if parts.empty or spread.empty:
        return None
    orders = list(dict.fromkeys(parts["order"]))
    each = 0.32 * len(orders) + 0.875
    height = 1.8 + 2 * each
    trials = block_trials(data)
    figure = style.chart_frame(
        data,
        f"{well}: days and cost of the job by order, {_dates_of(data, well)}",
        height,
        f"{_largest_errors(parts)} a part",
        money=False,
        trials=trials,
        extra=f"Bars: means by part, cost {GROSS}. Line: P90 to P10, dot: P50, of the same trials.",
    )
    drawn = set(parts["part"])
    for measure, groups, scale, label, bottom, top, down in (
        ("days", _DAYS, 1.0, "Days shut in", each + 1.02, 1.16, 0.42),
        ("cost", _COSTS, MILLION, f"Cost, {MILLION_GROSS}", 0.9, each + 1.28, 0.82),
    ):
        axes = style.panel(figure, (1.45, bottom, 0.3, top))
        means, values = (table[table["measure"] == measure] for table in (parts, spread))
        _order_bars(axes, means, values, orders, groups, scale)
        style.name_axis(axes, "x", label)
        marks = [style.Mark(name, colour) for name, colour, members in groups if drawn & set(members)]
        marks[:1] = [style.Mark(f"{measure}: {mark.label}", mark.colour) for mark in marks[:1]]
        style.legend_row(figure, marks, down=down)
    return figure


def best_cost(data: ReportData, well: str) -> Figure | None:
    """Build-up of the mean cost of the best refrac of a run."""
    best = data.of_well("decision", well).iloc[0]
    rows = data.of_well("cost", well)
    rows = rows[rows["strategy"] == best["strategy"]]
    return _build_up(data, well, rows, float(best["job_cost_usd"]), float(best["job_cost_se_usd"]))


def job_cost(data: ReportData, well: str) -> Figure | None:
    """Build-up of the mean cost of a job by itself, of the first strategy of the table."""
    rows = data.of_well("job_cost", well)
    if rows.empty:
        return None
    rows = rows[rows["strategy"] == rows["strategy"].iloc[0]]
    totals = data.of_well("job_strategies", well)
    chosen = (totals["strategy"] == rows["strategy"].iloc[0]) & (totals["measure"] == "cost_usd")
    total = totals[chosen].iloc[0]
    return _build_up(data, well, rows, float(total["mean"]), float(total["se"]))


def _build_up(data: ReportData, well: str, rows: pd.DataFrame, total: float, error: float) -> Figure | None:
    """Cost parts of one strategy, part upon part, largest first; total and its standard error in US$."""
    rows = rows[rows["mean_usd"] != 0]
    if rows.empty:
        return None
    rows = rows.iloc[rows["mean_usd"].argsort(kind="stable")[::-1].to_numpy()].reset_index(drop=True)
    count = len(rows)
    figure = style.chart_frame(
        data,
        f"{well}: what the job costs, {strategy_words(str(rows['strategy'].iloc[0]))}",
        1.5 + 0.25 * (count + 1),
        error_range(pd.Series([error]), "total", MILLION_GROSS),
        percentiles=False,
        share=GROSS,
        extra="Means of the parts add up to the mean total; each bar starts where the one above it ends.",
    )
    axes = style.panel(figure, (1.9, 0.95, 1.75, 0.45))
    mean = rows["mean_usd"].to_numpy() / MILLION
    end = np.cumsum(mean)
    y = np.arange(count, 0, -1).astype(float)
    style.bars(axes, end - mean, end, y - 0.33, y + 0.33, style.PALETTE[1])
    style.bars(axes, 0.0, end[-1], -0.33, 0.33, style.NOTHING_COLOUR)
    style.spans(axes, y[:-1] + 0.33, y[:-1] - 1.33, end[:-1], style.FAINT, 0.6, upright=True)
    labels = [
        f"{with_error(m, s, MILLION)}  ({fixed(100 * q, 1)} %)"
        for m, s, q in zip(rows["mean_usd"], rows["se_usd"], rows["share"], strict=True)
    ]
    for height, label in zip((*y, 0.0), [*labels, with_error(total, error, MILLION)], strict=True):
        axes.text(1.015, height, label, fontsize=7.8, va="center", transform=axes.get_yaxis_transform())
    names = [style.shorten(spoken(str(part)), 32) for part in rows["part"]]
    style.set_ticks(axes, "y", [*y, 0.0], [*names, "total"], grid=False)
    style.value_axis(axes, "x", min(0.0, float(end.min())), float(end.max()) * 1.02)
    axes.set_ylim(-0.6, count + 0.6)
    style.name_axis(axes, "x", f"Mean cost, {MILLION_GROSS}")
    return figure


def _largest_errors(rows: pd.DataFrame) -> str:
    found = []
    for measure, scale, unit in (("days", 1.0, "days"), ("cost", MILLION, MILLION_GROSS)):
        largest = float(rows.loc[rows["measure"] == measure, "se"].max()) / scale
        found.append(f"up to {significant(largest, 2)} {unit}")
    return f"standard errors {' and '.join(found)}"


def _strategy_looks(names: Sequence[str], full: set[str]) -> dict[str, tuple[str, Any]]:
    """Colour of the order, and dash: that of the order for those in ``full``, dots for the others."""
    orders = list(dict.fromkeys(split_strategy(name)[0] for name in names))
    looks = {}
    for name in names:
        place = orders.index(split_strategy(name)[0])
        colour = style.PALETTE[place] if place < len(style.PALETTE) else style.FAINT
        looks[name] = colour, style.DASHES[place % len(style.DASHES)] if name in full else (0, (1, 1.6))
    return looks


def distributions(data: ReportData, well: str) -> Figure | None:
    """Share of jobs above so many days and so much cost: each order at the first date, and each trigger."""
    rows = data.of_well("job_percentiles", well)
    rows = rows[rows["value"].notna().to_numpy(dtype=bool)]
    if rows.empty:
        return None
    first = set(data.of_well("job_parts", well)["strategy"])
    names = [str(n) for n in dict.fromkeys(rows["strategy"]) if n in first or not has_date(str(n))]
    looks = _strategy_looks(names, first)
    marks = [
        style.Mark(style.shorten(strategy_words(name), 38), colour, dash=dash)
        for name, (colour, dash) in looks.items()
    ]
    more = 0.19 * max(style.legend_lines(marks) - 2, 0)
    figure = style.chart_frame(
        data,
        f"{well}: days and cost of the job",
        4.3 + more,
        _largest_errors(rows),
        money=False,
        extra=f"Each curve is the share of jobs above the value, cost {GROSS}, service-cost index included; dots "
        "are P90, P50 and P10. Of a trigger: the trials in which the job starts.",
    )
    for k, (measure, scale, label) in enumerate(
        (("days", 1.0, "Days shut in"), ("cost", MILLION, f"Cost of the job, {MILLION_GROSS}"))
    ):
        axes = style.panel(figure, (0.65 + 4.3 * k, 0.95, 0.2 + 4.3 * (1 - k), 0.98 + more))
        ends: list[float] = []
        for name, (colour, dash) in looks.items():
            mine = rows[((rows["strategy"] == name) & (rows["measure"] == measure)).to_numpy(dtype=bool)]
            x, y = mine["value"].to_numpy() / scale, mine["exceedance_percent"].to_numpy()
            dots = np.isin(y, (90.0, 50.0, 10.0))
            axes.plot(x, y, color=colour, ls=dash, lw=1.6)
            axes.plot(x[dots], y[dots], ls="", marker="o", ms=3.6, color=colour)
            ends += [float(x.min()), float(x.max())]
        style.value_axis(axes, "x", *style.padded(ends, 0.04))
        style.exceedance_axis(axes)
        style.name_axis(axes, "x", label)
        if k == 0:
            style.name_axis(axes, "y", "Jobs above the value, %")
    style.legend_row(figure, marks)
    return figure
