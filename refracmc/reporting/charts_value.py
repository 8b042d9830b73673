"""Charts of value: distributions, every strategy, refrac date, stage order.

Each function takes the checked tables and a well and returns a figure, or None where the table has no rows
for the well. Nothing is computed here but places on the paper.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from refracmc.reporting import style
from refracmc.reporting.numbers import MILLION
from refracmc.reporting.tables import NOTHING, ReportData
from refracmc.reporting.words import error_range, footer, has_date, spoken, strategy_words

MOST_ORDERS = len(style.PALETTE)
"""Orders drawn in a colour of their own; further ones are grey."""


def order_styles(data: ReportData, well: str) -> dict[str, int]:
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


def look(place: int) -> tuple[str, Any, str]:
    """Colour, dash and marker of an order's place; beyond the palette grey."""
    if place >= MOST_ORDERS:
        return style.FAINT, "-", "x"
    return style.PALETTE[place], style.DASHES[place], style.MARKERS[place]


def split_strategy(name: str) -> tuple[str, str]:
    """Order and month of a strategy name."""
    order, _, date = name.rpartition("@")
    return order, date


def zero_line(axes: Axes, upright: bool) -> None:
    """Line at zero: doing nothing."""
    if upright:
        axes.axvline(0, color=style.NOTHING_COLOUR, lw=1.6)
    else:
        axes.axhline(0, color=style.NOTHING_COLOUR, lw=1.6)


def distribution(data: ReportData, well: str) -> Figure | None:
    """Exceedance curves of NPV and incremental NPV: nothing, each order at its best date, others grey."""
    rows = data.of_well("distribution", well)
    if rows.empty:
        return None
    decision = data.of_well("decision", well).iloc[0]
    orders = data.of_well("orders", well)
    picked = [f"{o}@{d}" for o, d in zip(orders["order"], orders["date"], strict=True)]
    chosen = str(decision["strategy"])
    places = order_styles(data, well)
    picked = [chosen, *(n for n in picked if n != chosen and split_strategy(n)[0] in places)]
    figure = style.frame(
        f"{well}: what each strategy is worth",
        footer(
            data,
            error_range(data.of_well("timing", well)["se_usd"]),
            extra="Each curve is the share of trials above the value.",
        ),
        4.6,
    )
    panels = [
        style.panel(figure, (0.6, 0.95, 4.7, 0.98)),
        style.panel(figure, (4.9, 0.95, 0.2, 0.98)),
    ]
    groups = {str(name): group for name, group in rows.groupby("strategy", sort=False)}
    percents = {name: group["exceedance_percent"].to_numpy() for name, group in groups.items()}
    for axes, column, label in (
        (panels[0], "npv_usd", "NPV, US$ million"),
        (panels[1], "incremental_npv_usd", "Incremental NPV over doing nothing, US$ million"),
    ):
        curves = {name: group[column].to_numpy() / MILLION for name, group in groups.items()}
        others = [
            np.column_stack((curves[n], percents[n]))[::4] for n in groups if n not in (*picked, NOTHING)
        ]
        axes.add_collection(LineCollection(others, colors=style.BACKGROUND_CURVE, linewidths=0.7))
        for name in reversed(picked):
            if name in groups:
                colour, dash, _ = look(places.get(split_strategy(name)[0], MOST_ORDERS))
                axes.plot(
                    curves[name], percents[name], color=colour, ls=dash, lw=2.2 if name == chosen else 1.5
                )
        if column == "npv_usd" and NOTHING in groups:
            axes.plot(curves[NOTHING], percents[NOTHING], color=style.NOTHING_COLOUR, lw=2.4)
        else:
            zero_line(axes, upright=True)
        ends = [v for n in (*picked, NOTHING) if n in curves for v in (curves[n].min(), curves[n].max())]
        style.value_axis(axes, "x", *style.padded(ends, 0.03))
        style.set_ticks(axes, "y", (0, 10, 50, 90, 100), ("0", "P10", "P50", "P90", "100"))
        axes.set_ylim(0, 100)
        style.name_axis(axes, "x", label)
    style.name_axis(panels[0], "y", "Trials above the value, %")
    marks = [style.Mark("doing nothing", style.NOTHING_COLOUR)]
    for name in picked:
        colour, dash, _ = look(places.get(split_strategy(name)[0], MOST_ORDERS))
        marks.append(style.Mark(style.shorten(strategy_words(name), 38), colour, dash=dash))
    hidden = len(groups) - len([n for n in (*picked, NOTHING) if n in groups])
    if hidden:
        marks.append(style.Mark(f"the {hidden} other strategies", style.BACKGROUND_CURVE))
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
    places = order_styles(data, well)
    blocks: dict[str, list[int]] = {}
    split = [split_strategy(str(name)) for name in rows["strategy"]]
    present = len({order for order, _ in split})
    for i, (order, _) in enumerate(split):
        if order in places:
            blocks.setdefault(order, []).append(i)
    shown = [i for members in blocks.values() for i in members]
    low, mid, high, mean = (rows[c].to_numpy(dtype=float) / MILLION for c in ("p90", "p50", "p10", "mean"))
    figure = style.frame(
        f"{well}: NPV of every strategy, by order and refrac date",
        footer(
            data,
            error_range(rows["se"]),
            extra=f"{left_out(len(blocks), present)}Bars run from P90 to P10; the band is doing nothing."
            + (
                ""
                if all(has_date(str(name)) for name in rows["strategy"])
                else " Bars apart at the right of a block: dates set by triggers."
            ),
        ),
        4.3,
    )
    axes = style.panel(figure, (0.6, 1.0, 0.15, 0.7))
    every = [*low[shown], *high[shown]]
    if not nothing.empty:
        band = [float(nothing[c].iloc[0]) / MILLION for c in ("p90", "p50", "p10", "mean")]
        axes.axhspan(band[0], band[2], color=style.NOTHING_COLOUR, alpha=0.14, lw=0)
        axes.axhline(band[1], color=style.NOTHING_COLOUR, lw=1.4)
        axes.axhline(band[3], color=style.NOTHING_COLOUR, lw=1.2, ls=(0, (2, 2)))
        every += band
    at, spacing = 0.0, 590 / (len(shown) + 1.5 * len(blocks))
    size = min(1.0, spacing / 6)
    top = style.padded(every, 0.04)
    for order, members in blocks.items():
        colour, _, marker = look(places.get(order, MOST_ORDERS))
        dated = [has_date(str(rows["strategy"].iloc[i])) for i in members]
        x = at + np.arange(len(members)) + np.where(dated, 0.0, 0.9)
        bars = [[(a, low[i]), (a, high[i])] for a, i in zip(x, members, strict=True)]
        axes.add_collection(LineCollection(bars, colors=colour, linewidths=3.2 * size, alpha=0.45))
        axes.plot(x, mid[members], ls="", marker="_", ms=6 * size, mew=1.6, color=colour)
        axes.plot(x, mean[members], ls="", marker=marker, ms=3.6 * size, color=colour)
        last = max(sum(dated) - 1, 0)
        ends = ((0, "left", -0.3), (last, "right", 0.3)) if last > 3 else ((0, "center", 0.0),)
        for k, side, shift in ends:
            axes.text(
                x[k] + shift,
                -0.03,
                split[members[k]][1],
                ha=side,
                va="top",
                fontsize=7,
                transform=axes.get_xaxis_transform(),
            )
        width = max(8, int(96 * len(members) / max(len(shown), 1)))
        axes.text(
            float(x.mean()),
            -0.1,
            style.wrap(style.shorten(spoken(order), 2 * width - 4), width),
            ha="center",
            va="top",
            fontsize=8.2,
            fontweight="bold",
            transform=axes.get_xaxis_transform(),
        )
        at += len(members) + 1.5 + 0.9 * (not all(dated))
    axes.set_xlim(-1.2, at - 1.3)
    style.value_axis(axes, "y", *top)
    style.name_axis(axes, "y", "NPV, US$ million")
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


def orders(data: ReportData, well: str) -> Figure | None:
    """Orders side by side at their best date: incremental NPV, days, cost, stages effectively treated."""
    rows = data.of_well("orders", well)
    if rows.empty:
        return None
    places = order_styles(data, well)
    present = len(rows)
    rows = rows[rows["order"].isin(list(places)).to_numpy(dtype=bool)]
    count = len(rows)
    figure = style.frame(
        f"{well}: stage orders, each at its best date",
        footer(
            data,
            error_range(rows["se_usd"]),
            extra=f"{left_out(count, present)}Bars run from P90 to P10, ticks are P50, dots are means with "
            "± 2 standard errors.",
        ),
        1.75 + 0.36 * max(count, 3),
    )
    y = np.arange(count)[::-1].astype(float)
    colours = [look(places.get(str(o), MOST_ORDERS))[0] for o in rows["order"]]
    job = [[f"job_{what}{stat}{unit}" for stat in ("", "_se", "_p90", "_p50", "_p10")]
           for what, unit in (("days", ""), ("cost", "_usd"))]  # fmt: skip
    columns = (
        ("Incremental NPV,\nUS$ million", MILLION, ["mean_usd", "se_usd", "p90_usd", "p50_usd", "p10_usd"]),
        ("Days shut in", 1.0, job[0]),
        ("Cost of the job,\nUS$ million", MILLION, job[1]),
        ("Stages effectively\ntreated, %", 0.01, ["effective_share", "effective_share_se"]),
    )
    left, gap, width = 1.75, 0.2, 1.6
    for k, (name, scale, (mean, se, *spread)) in enumerate(columns):
        x0 = left + k * (width + gap)
        axes = style.panel(figure, (x0, 1.05, style.WIDTH - x0 - width, 0.48))
        value, error = rows[mean].to_numpy() / scale, rows[se].fillna(0).to_numpy() / scale
        ends = [*(value - 2 * error), *(value + 2 * error)]
        if spread:
            a, b, c = (rows[p].to_numpy() / scale for p in spread)
            bars = [[(u, h), (v, h)] for u, v, h in zip(a, c, y, strict=True)]
            axes.add_collection(
                LineCollection(bars, colors=colours, linewidths=6, alpha=0.3, capstyle="butt")
            )
            axes.scatter(b, y, marker="|", s=90, linewidths=1.8, c=colours, zorder=3)
            ends += [*a, *c]
        whiskers = [[(v - 2 * e, h), (v + 2 * e, h)] for v, e, h in zip(value, error, y, strict=True)]
        axes.add_collection(LineCollection(whiskers, colors=colours, linewidths=1.5))
        axes.scatter(value, y, s=22, c=colours, zorder=3)
        if k == 0:
            zero_line(axes, upright=True)
            ends.append(0.0)
        style.value_axis(axes, "x", *style.padded(ends, 0.08), most=4)
        axes.set_ylim(-0.6, count - 0.4)
        labels = [
            f"{style.shorten(spoken(str(o)), 24)}\n{d}"
            for o, d in zip(rows["order"], rows["date"], strict=True)
        ]
        style.set_ticks(axes, "y", list(y), labels if k == 0 else [""] * count, grid=False)
        style.name_axis(axes, "x", name)
    return figure
