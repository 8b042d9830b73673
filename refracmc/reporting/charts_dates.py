"""Chart of the refrac date: value of every order against the month, and dates set by triggers."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from refracmc.reporting import style
from refracmc.reporting.captions import MILLION_WI, error_range, spoken, strategy_words
from refracmc.reporting.charts_value import left_out, order_look, order_places
from refracmc.reporting.rounding import MILLION
from refracmc.reporting.tables import ReportData

_TRIGGERS = (
    " Dates set by a trigger: the line spans the months in which 10 to 90 % of the jobs have started, the open mark "
    "the one by which half have; trials without a job count as 0."
)


def _draw_triggers(
    axes: Axes, rows: pd.DataFrame, places: dict[str, int]
) -> tuple[list[float], list[style.Mark]]:
    """Draw triggered strategies as horizontal marks at their mean with its error; returns the ends drawn in US$
    million and the entries of the legend. rows: of the table triggers, jobs carried out only."""
    ends: list[float] = []
    marks = []
    for row in rows.to_dict("records"):
        colour, _, marker = order_look(places.get(str(row["order"])))
        early, middle, late = style.years(row[f"{part}_month"] for part in ("early", "median", "late"))
        mean, error = row["mean_usd"] / MILLION, 2 * row["se_usd"] / MILLION
        axes.plot([early, late], [mean, mean], color=colour, lw=1.6, zorder=3, solid_capstyle="butt")
        axes.plot([middle, middle], [mean - error, mean + error], color=colour, lw=1.3, zorder=3)
        axes.plot([middle], [mean], marker=marker, ms=6, mfc="white", mec=colour, mew=1.4, zorder=4)
        ends += [mean - error, mean + error]
        words = style.shorten(strategy_words(str(row["strategy"])), 44)
        marks.append(style.Mark(words, colour, "ring", marker=marker))
    return ends, marks


def _draw_best(axes: Axes, curve: pd.DataFrame, colour: str) -> list[float]:
    """Band from P90 to P10 and the P50 of the best order; returns the ends drawn in US$ million."""
    low, middle, high = (curve[c].to_numpy() / MILLION for c in ("p90_usd", "p50_usd", "p10_usd"))
    x = style.years(curve["date"])
    if len(x) > 1:
        axes.fill_between(x, low, high, color=colour, alpha=0.2, lw=0)
    else:
        axes.plot([x[0]] * 2, [low[0], high[0]], color=colour, alpha=0.3, lw=8)
    axes.plot(x, middle, color=colour, lw=1, marker="_", ms=7, mew=1.4)
    return [*low, *high]


def dates(data: ReportData, well: str) -> Figure | None:
    """Incremental NPV against the refrac date: the best order's band above, all means with errors below."""
    rows = data.of_well("timing", well)
    if rows.empty:
        return None
    best = data.of_well("decision", well)["order"].iloc[0]
    triggered = data.of_well("triggers", well)
    places = order_places(data, well)
    present = rows["order"].nunique()
    rows = rows[rows["order"].isin(list(places)).to_numpy(dtype=bool)]
    unseen = left_out(rows["order"].nunique(), present)
    figure = style.chart_frame(
        data,
        f"{well}: value against refrac date",
        5.6,
        error_range(rows["se_usd"]),
        extra=f"{unseen}Whiskers below: mean ± 2 standard errors.{_TRIGGERS if len(triggered) else ''}",
    )
    upper = style.panel(figure, (0.75, 3.05, 0.2, 0.95))
    lower = style.panel(figure, (0.75, 0.85, 0.2, 2.7))
    marks = [style.Mark("doing nothing", style.NOTHING_COLOUR)]
    span: list[float] = [0.0]
    for order, group in rows.groupby("order", sort=False):
        group = group.sort_values("date", kind="stable")
        name, place = spoken(str(order)), places[str(order)]
        colour, dash, marker = order_look(place)
        x, mean = style.years(group["date"]), group["mean_usd"].to_numpy() / MILLION
        error = 2 * group["se_usd"].to_numpy() / MILLION
        if order == best:
            span += _draw_best(upper, group, colour)
            band = style.Mark(f"{style.shorten(name, 30)}: P90 to P10", colour, "band")
            marks[1:1] = [band, style.Mark("its P50", colour)]
        upper.plot(x, mean, color=colour, ls=dash, lw=1.4, marker=marker, ms=3.5)
        # whiskers of the orders stand side by side within a fraction of the distance of two dates
        beside = x + (place - (len(places) - 1) / 2) * 0.018
        style.spans(lower, mean - error, mean + error, beside, colour, 1.3, upright=True)
        lower.plot(beside, mean, color=colour, ls=dash, lw=1.1, marker=marker, ms=4)
        span += [*mean]
        marks.append(style.Mark(f"{style.shorten(name, 24)}: mean", colour, "dot", marker=marker))
    started = triggered[(triggered["executed_share"] > 0).to_numpy(dtype=bool)]
    ends, more = _draw_triggers(lower, started, places)
    months = sorted({*rows["date"], *started["early_month"], *started["late_month"]})
    ticks, edges = months[:: -(-len(months) // 8)], style.years(months)
    for axes, labels in ((upper, [""] * len(ticks)), (lower, ticks)):
        style.zero_line(axes, upright=False)
        style.set_ticks(axes, "x", list(style.years(ticks)), labels)
        axes.set_xlim(edges.min() - 0.12, edges.max() + 0.12)
    style.value_axis(upper, "y", *style.padded(span, 0.05))
    ends += [float(v) / MILLION for k in (-2, 2) for v in rows["mean_usd"] + k * rows["se_usd"]]
    style.value_axis(lower, "y", *style.padded([*ends, 0.0], 0.08), most=5)
    style.name_axis(upper, "y", f"Incremental NPV,\n{MILLION_WI}")
    style.name_axis(lower, "y", f"Mean incremental NPV,\n{MILLION_WI}")
    style.name_axis(lower, "x", "Month in which the job starts")
    style.legend_row(figure, [*marks, *more])
    return figure
