"""Charts of value: exceedance curves, every strategy, stage orders; and the look of a stage order in all charts."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from refracmc.reporting import style
from refracmc.reporting.captions import (
    GROSS,
    MILLION_GROSS,
    MILLION_WI,
    OWNER,
    error_range,
    has_date,
    split_strategy,
    spoken,
    strategy_words,
)
from refracmc.reporting.rounding import MILLION
from refracmc.reporting.tables import NOTHING, ReportData

MOST_ORDERS = len(style.PALETTE)
"""Orders drawn in a colour of their own; further ones are grey."""


def order_places(data: ReportData, well: str) -> dict[str, int]:
    """Place in the palette of the stage orders that get a colour, by first appearance.

    Up to ``MOST_ORDERS`` orders the places are the same for all wells; of more, the best of this well get one
    (by their highest mean incremental NPV over the dates).
    """
    frame = data.tables[next(key for key in ("timing", "orders", "decision") if key in data.tables)]
    names = list(dict.fromkeys(str(name) for name in frame["order"]))
    if len(names) > MOST_ORDERS:
        mine = frame[(frame["well"] == well).to_numpy(dtype=bool)]
        value = mine.groupby("order", sort=False)["mean_usd"].max()
        best = {str(n) for n in value.index[value.to_numpy().argsort(kind="stable")[::-1][:MOST_ORDERS]]}
        names = [name for name in names if name in best]
    return {name: place for place, name in enumerate(names)}


def left_out(drawn: int, present: int) -> str:
    """Words for orders that a chart leaves to the tables."""
    return f"The {drawn} best of {present} orders are drawn. " if present > drawn else ""


def order_look(place: int | None) -> tuple[str, Any, str]:
    """Colour, dash and marker of an order's place; without one grey."""
    if place is None:
        return style.FAINT, "-", "x"
    return style.PALETTE[place], style.DASHES[place], style.MARKERS[place]


def distribution(data: ReportData, well: str) -> Figure | None:
    """Exceedance curves of NPV and incremental NPV: nothing, each order at its best date, others grey."""
    rows = data.of_well("distribution", well)
    if rows.empty:
        return None
    orders = data.of_well("orders", well)
    chosen = str(data.of_well("decision", well)["strategy"].iloc[0])
    places = order_places(data, well)
    picked = [f"{o}@{d}" for o, d in zip(orders["order"], orders["date"], strict=True) if o in places]
    picked = [chosen, *(name for name in picked if name != chosen)]
    looks = {name: order_look(places.get(split_strategy(name)[0])) for name in picked}
    figure = style.chart_frame(
        data,
        f"{well}: what each strategy is worth",
        4.6,
        error_range(data.of_well("timing", well)["se_usd"]),
        extra="Each curve is the share of trials above the value.",
    )
    groups = {str(name): group for name, group in rows.groupby("strategy", sort=False)}
    percents = {name: group["exceedance_percent"].to_numpy() for name, group in groups.items()}
    shown = [name for name in (*picked, NOTHING) if name in groups]
    for box, column, label in (
        ((0.6, 0.95, 4.7, 0.98), "npv_usd", f"NPV, {MILLION_WI}"),
        ((4.9, 0.95, 0.2, 0.98), "incremental_npv_usd", f"Incremental NPV over doing nothing, {MILLION_WI}"),
    ):
        axes = style.panel(figure, box)
        curves = {name: group[column].to_numpy() / MILLION for name, group in groups.items()}
        others = [np.column_stack((curves[n], percents[n]))[::4] for n in groups if n not in shown]
        axes.add_collection(LineCollection(others, colors=style.BACKGROUND_CURVE, linewidths=0.7))
        for name in reversed(picked):
            if name in groups:
                colour, dash, _ = looks[name]
                width = 2.2 if name == chosen else 1.5
                axes.plot(curves[name], percents[name], color=colour, ls=dash, lw=width)
        if column == "npv_usd":
            style.name_axis(axes, "y", "Trials above the value, %")
        if column == "npv_usd" and NOTHING in groups:
            axes.plot(curves[NOTHING], percents[NOTHING], color=style.NOTHING_COLOUR, lw=2.4)
        else:
            style.zero_line(axes, upright=True)
        ends = [end for name in shown for end in (curves[name].min(), curves[name].max())]
        style.value_axis(axes, "x", *style.padded(ends, 0.03))
        style.exceedance_axis(axes)
        style.name_axis(axes, "x", label)
    marks = [style.Mark("doing nothing", style.NOTHING_COLOUR)]
    for name, (colour, dash, _) in looks.items():
        marks.append(style.Mark(style.shorten(strategy_words(name), 38), colour, dash=dash))
    if len(groups) > len(shown):
        marks.append(style.Mark(f"the {len(groups) - len(shown)} other strategies", style.BACKGROUND_CURVE))
    style.legend_row(figure, marks)
    return figure


def strategies(data: ReportData, well: str) -> Figure | None:
    """P90-P10 of NPV of every strategy, blocks of dates by order, on the band of doing nothing."""
    rows = data.of_well("summary", well)
    rows = rows[rows["measure"] == "npv"]
    if rows.empty:
        return None
    nothing = rows[rows["strategy"] == NOTHING]
    rows = rows[rows["strategy"] != NOTHING]
    places = order_places(data, well)
    split = [split_strategy(str(name)) for name in rows["strategy"]]
    blocks: dict[str, list[int]] = {}
    for i, (order, _) in enumerate(split):
        if order in places:
            blocks.setdefault(order, []).append(i)
    shown = [i for members in blocks.values() for i in members]
    dated = np.array([has_date(str(name)) for name in rows["strategy"]], dtype=bool)
    p90, p50, p10, mean = (rows[c].to_numpy(dtype=float) / MILLION for c in ("p90", "p50", "p10", "mean"))
    apart = "" if dated.all() else " Bars apart at the right of a block: dates set by triggers."
    unseen = left_out(len(blocks), len({order for order, _ in split}))
    figure = style.chart_frame(
        data,
        f"{well}: NPV of every strategy, by order and refrac date",
        4.3,
        error_range(rows["se"]),
        extra=f"{unseen}Bars run from P90 to P10; the band is doing nothing.{apart}",
    )
    axes = style.panel(figure, (0.6, 1.0, 0.15, 0.7))
    ends = [*p90[shown], *p10[shown]]
    if not nothing.empty:
        low, middle, high, average = (
            float(nothing[c].iloc[0]) / MILLION for c in ("p90", "p50", "p10", "mean")
        )
        axes.axhspan(low, high, color=style.NOTHING_COLOUR, alpha=0.14, lw=0)
        axes.axhline(middle, color=style.NOTHING_COLOUR, lw=1.4)
        axes.axhline(average, color=style.NOTHING_COLOUR, lw=1.2, ls=(0, (2, 2)))
        ends += [low, middle, high, average]
    at, below = 0.0, axes.get_xaxis_transform()
    size = min(1.0, 590 / (len(shown) + 1.5 * len(blocks)) / 6)
    for order, members in blocks.items():
        colour, _, marker = order_look(places.get(order))
        fixed = dated[members]
        x = at + np.arange(len(members)) + np.where(fixed, 0.0, 0.9)
        style.spans(axes, p90[members], p10[members], x, colour, 3.2 * size, upright=True, alpha=0.45)
        axes.plot(x, p50[members], ls="", marker="_", ms=6 * size, mew=1.6, color=colour)
        axes.plot(x, mean[members], ls="", marker=marker, ms=3.6 * size, color=colour)
        last = max(int(fixed.sum()) - 1, 0)
        for k, side, shift in (
            ((0, "left", -0.3), (last, "right", 0.3)) if last > 3 else ((0, "center", 0.0),)
        ):
            date = split[members[k]][1]
            axes.text(x[k] + shift, -0.03, date, ha=side, va="top", fontsize=7, transform=below)
        width = max(8, int(96 * len(members) / max(len(shown), 1)))
        name = style.wrap(style.shorten(spoken(order), 2 * width - 4), width)
        axes.text(float(x.mean()), -0.1, name, ha="center", va="top", fontsize=8.2, fontweight="bold",
                  transform=below)  # fmt: skip
        at += len(members) + 1.5 + 0.9 * (not fixed.all())
    axes.set_xlim(-1.2, at - 1.3)
    style.value_axis(axes, "y", *style.padded(ends, 0.04))
    style.name_axis(axes, "y", f"NPV, {MILLION_WI}")
    style.legend_row(
        figure,
        (
            style.Mark("P90 to P10", style.FAINT, "band"),
            style.Mark("P50", style.FAINT, "line"),
            style.Mark("mean", style.FAINT, "dot"),
            style.Mark("doing nothing: P50", style.NOTHING_COLOUR),
            style.Mark("doing nothing: mean", style.NOTHING_COLOUR, dash=(0, (2, 2))),
        ),
    )
    return figure


_ORDER_PANELS = (
    (f"Incremental NPV,\n{MILLION_WI}", MILLION, "mean_usd", "se_usd", ("p90_usd", "p50_usd", "p10_usd")),
    ("Days shut in", 1.0, "job_days", "job_days_se", ("job_days_p90", "job_days_p50", "job_days_p10")),
    (f"Cost of the job,\n{MILLION_GROSS}", MILLION, "job_cost_usd", "job_cost_se_usd",
     ("job_cost_p90_usd", "job_cost_p50_usd", "job_cost_p10_usd")),
    ("Stages effectively\ntreated, %", 0.01, "effective_share", "effective_share_se", ()),
)  # fmt: skip
"""Heading, scale, mean, error and percentiles of the panels of :func:`orders`."""


def orders(data: ReportData, well: str) -> Figure | None:
    """Orders side by side at their best date: incremental NPV, days, cost, stages effectively treated."""
    rows = data.of_well("orders", well)
    if rows.empty:
        return None
    places = order_places(data, well)
    present = len(rows)
    rows = rows[rows["order"].isin(list(places)).to_numpy(dtype=bool)]
    count = len(rows)
    figure = style.chart_frame(
        data,
        f"{well}: stage orders, each at its best date",
        1.75 + 0.36 * max(count, 3),
        error_range(rows["se_usd"]),
        share=f"{OWNER}; {GROSS}",
        extra=f"{left_out(count, present)}Bars run from P90 to P10, ticks are P50, dots are means with "
        "± 2 standard errors; days, cost and stages are of the jobs that are done.",
    )
    y = np.arange(count)[::-1].astype(float)
    colours = [order_look(places.get(str(o)))[0] for o in rows["order"]]
    names = [
        f"{style.shorten(spoken(str(o)), 24)}\n{d}" for o, d in zip(rows["order"], rows["date"], strict=True)
    ]
    left, gap, width = 1.75, 0.2, 1.6
    for k, (heading, scale, mean, se, percentiles) in enumerate(_ORDER_PANELS):
        x0 = left + k * (width + gap)
        axes = style.panel(figure, (x0, 1.05, style.WIDTH - x0 - width, 0.48))
        value, error = rows[mean].to_numpy() / scale, 2 * rows[se].fillna(0).to_numpy() / scale
        ends = [*(value - error), *(value + error)]
        if percentiles:
            low, middle, high = (rows[p].to_numpy() / scale for p in percentiles)
            style.spans(axes, low, high, y, colours, 6, alpha=0.3, capstyle="butt")
            axes.scatter(middle, y, marker="|", s=90, linewidths=1.8, c=colours, zorder=3)
            ends += [*low, *high]
        style.spans(axes, value - error, value + error, y, colours, 1.5)
        axes.scatter(value, y, s=22, c=colours, zorder=3)
        if k == 0:
            style.zero_line(axes, upright=True)
            ends.append(0.0)
        style.value_axis(axes, "x", *style.padded(ends, 0.08), most=4)
        axes.set_ylim(-0.6, count - 0.4)
        style.set_ticks(axes, "y", list(y), names if k == 0 else [""] * count, grid=False)
        style.name_axis(axes, "x", heading)
    return figure
