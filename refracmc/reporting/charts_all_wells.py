"""Charts over all wells of a case: every well's value, value against capital, jobs by month, capital and volumes."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from refracmc.reporting import style
from refracmc.reporting.captions import MILLION_WI, error_range, spoken
from refracmc.reporting.charts import Chart, draw_some
from refracmc.reporting.charts_value import order_look
from refracmc.reporting.page import DrawnChart
from refracmc.reporting.page_all_wells import REFRACTURE, jobs_words, totals
from refracmc.reporting.rounding import MILLION, significant
from refracmc.reporting.tables import ReportData

MOST_DRAWN = 240
"""Wells drawn in the picture of all wells."""
_IN_A_COLUMN = 60
Places = Mapping[str, int]


def order_places(data: ReportData) -> Places:
    """Place in the palette of each stage order, as the charts of single wells have them: those of all wells where they
    are few enough, else the orders that are best in most wells."""
    names = list(dict.fromkeys(str(name) for name in data.tables["timing"]["order"]))
    if len(names) > len(style.PALETTE):
        names = list(data.tables["wells_ranked"]["order"].value_counts().index[: len(style.PALETTE)])
    return {name: place for place, name in enumerate(names)}


def _marks(rows: pd.DataFrame, places: Places) -> list[style.Mark]:
    """Legend of the orders that are drawn, and of open marks."""
    marks = []
    for name in places:
        if (rows["order"] == name).any():
            colour, _, marker = order_look(places[name])
            marks.append(style.Mark(spoken(name), colour, "dot", marker=marker))
    if not rows["order"].isin(list(places)).all():
        marks.append(style.Mark("other orders", style.FAINT, "dot"))
    if (rows["verdict"] != REFRACTURE).any():
        marks.append(style.Mark("open mark: not to refracture", style.FAINT, "ring"))
    return marks


def _dot(axes: Axes, x: float, y: float, row: Mapping[Any, Any], places: Places, size: float) -> None:
    colour, _, marker = order_look(places.get(str(row["order"])))
    face = colour if row["verdict"] == REFRACTURE else "white"
    marker = "o" if marker == "x" else marker
    axes.plot([x], [y], marker=marker, ms=size, mfc=face, mec=colour, mew=1.2, zorder=4)


def wells(data: ReportData, _: str = "") -> Figure | None:
    """P90 to P10, P50 and mean of the best refrac of every well, by value per dollar."""
    rows = data.tables["wells_ranked"]
    shown = rows.iloc[:MOST_DRAWN]
    columns = 1 if len(shown) <= _IN_A_COLUMN else 2
    length = -(-len(shown) // columns)
    step = 0.17 if length <= 40 else 0.125
    sure = int((rows["p90_usd"] > 0).sum())
    worth = int((rows["mean_usd"] > 0).sum())
    title = (
        f"The mean lies above doing nothing in {worth} of {len(rows)} wells, P90 in {sure or 'none'} of them"
    )
    places, left = (
        order_places(data),
        "" if len(shown) == len(rows) else f"The first {len(shown)} wells are drawn. ",
    )
    figure = style.chart_frame(
        data,
        title,
        1.75 + step * length,
        error_range(rows["se_usd"]),
        extra=f"{left}Wells from the top by value per dollar. Line: P90 to P10; stroke: P50; mark: mean.",
    )
    marks = _marks(shown, places)
    style.legend_row(figure, marks)
    low, high = style.padded([*shown["p90_usd"] / MILLION, *shown["p10_usd"] / MILLION, 0.0], 0.03)
    name_width = min(1.6, 0.2 + 0.062 * max(len(str(well)) for well in shown["well"]))
    half = style.WIDTH / columns
    for k in range(columns):
        part = shown.iloc[k * length : (k + 1) * length].to_dict("records")
        box = (
            k * half + name_width + 0.1,
            0.85,
            style.WIDTH - (k + 1) * half + 0.2,
            0.62 + 0.19 * style.legend_lines(marks),
        )
        _well_rows(style.panel(figure, box), part, (low, high), length, places)
    return figure


def _well_rows(
    axes: Axes, rows: list[dict[Any, Any]], ends: tuple[float, float], length: int, places: Places
) -> None:
    """Wells from the top down in one panel."""
    y = np.arange(len(rows), dtype=float)
    low, middle, high = (np.array([row[f"{p}_usd"] for row in rows]) / MILLION for p in ("p90", "p50", "p10"))
    colours = [order_look(places.get(str(row["order"])))[0] for row in rows]
    style.spans(axes, low, high, y, colours, 2.4 if length <= 40 else 1.8, alpha=0.45, zorder=2)
    half = 0.32 if length <= 40 else 0.22
    style.spans(axes, y - half, y + half, middle, colours, 1.4, upright=True, zorder=3)
    for k, row in enumerate(rows):
        _dot(axes, row["mean_usd"] / MILLION, k, row, places, 4.2 if length <= 40 else 3.2)
    style.zero_line(axes, upright=True)
    style.set_ticks(axes, "y", list(y), [style.shorten(str(row["well"]), 24) for row in rows], grid=False,
                    size=7.0 if length <= 40 else 6.0)  # fmt: skip
    axes.set_ylim(length - 0.4, -0.6)
    style.value_axis(axes, "x", *ends)
    axes.text(0.0, 1.0, "doing nothing", transform=axes.get_xaxis_transform(), ha="center", va="bottom", fontsize=7.5,
              color=style.NOTHING_COLOUR)  # fmt: skip
    style.name_axis(axes, "x", f"Incremental NPV over doing nothing, {MILLION_WI}")


def capital(data: ReportData, _: str = "") -> Figure | None:
    """Mean value of the wells from the top against their mean capital."""
    rows = data.tables["wells_ranked"]
    spent, gained = (rows[f"{name}_to_here_usd"].to_numpy() / MILLION for name in ("capital", "value"))
    best = int(np.argmax(gained))
    if gained[best] > 0:
        half = int(np.searchsorted(np.maximum.accumulate(gained), 0.5 * gained[best])) + 1
        title = (
            f"Half of the value that all wells could add comes from {half} of them, for "
            f"{significant(100 * spent[half - 1] / spent[-1], 2)} % of the capital"
        )
    else:
        title = "No well adds value, whatever the capital"
    places = order_places(data)
    figure = style.chart_frame(
        data,
        title,
        4.3,
        error_range(rows["se_usd"], "means of single wells"),
        percentiles=False,
        extra="Wells from the left by value per dollar; each mark adds a well, by its means.",
    )
    marks = [style.Mark("all wells", style.FAINT)]
    only = rows[rows["verdict"] == REFRACTURE]
    marks += [style.Mark("wells to refracture alone", style.INK, dash=style.DASHES[1])] * (
        0 < len(only) < len(rows)
    )
    marks += _marks(rows, places)
    axes = style.panel(figure, (0.7, 0.95, 0.25, 0.58 + 0.19 * style.legend_lines(marks)))
    axes.plot([0.0, *spent], [0.0, *gained], color=style.FAINT, lw=1.0, zorder=2)
    for x, y, row in zip(spent, gained, rows.to_dict("records"), strict=True):
        _dot(axes, x, y, row, places, 4.6 if len(rows) <= 60 else 3.2)
    ends = [0.0, *gained]
    if 0 < len(only) < len(rows):
        x, y = (only[f"chosen_{name}_to_here_usd"].to_numpy() / MILLION for name in ("capital", "value"))
        axes.plot([0.0, *x], [0.0, *y], color=style.INK, lw=1.8, ls=style.DASHES[1], zorder=3)
        ends += [*y]
    style.legend_row(figure, marks)
    style.zero_line(axes, upright=False)
    axes.text(1.0, 0.0, "doing nothing ", transform=axes.get_yaxis_transform(), ha="right", va="bottom", fontsize=7.5,
              color=style.NOTHING_COLOUR)  # fmt: skip
    style.value_axis(axes, "x", 0.0, float(spent[-1]) * 1.03)
    style.value_axis(axes, "y", *style.padded(ends))
    style.name_axis(axes, "x", f"Mean capital, undiscounted, {MILLION_WI}")
    style.name_axis(axes, "y", f"Mean value, {MILLION_WI}", 0.45)
    return figure


def calendar(data: ReportData, _: str = "") -> Figure | None:
    """Jobs by month of their best date, and their capital."""
    rows = data.tables["portfolio_months"]
    chosen = rows[rows["jobs"] == REFRACTURE]
    if chosen.empty:
        return None
    most = max(chosen.to_dict("records"), key=lambda row: int(row["count"]))
    share = "all" if len(chosen) == 1 else f"most of them, {most['count']},"
    title = f"{jobs_words(int(chosen['count'].sum()))}: {share} have their best date in {most['month']}"
    ranked = data.tables["wells_ranked"]
    figure = style.chart_frame(
        data,
        title,
        3.9,
        error_range(ranked["capital_se_usd"], "mean capital of single jobs"),
        percentiles=False,
        extra="Each job at the best date of its own; no crew and no budget is looked at.",
    )
    marks = [
        style.Mark("wells to refracture", style.REFRAC_COLOUR, "dot", marker="s"),
        style.Mark("best refracs of the other wells", style.NOTHING_COLOUR, "dot", marker="s"),
    ]
    style.legend_row(figure, marks)
    first, last = (style.years([month])[0] for month in (rows["month"].min(), rows["month"].max()))
    panels = (
        ((0.6, 0.75, 4.75, 0.85), "count", 1.0, "Jobs that start in the month"),
        ((5.15, 0.75, 0.2, 0.85), "capital_usd", MILLION, f"Mean capital, {MILLION_WI}"),
    )
    for box, column, scale, label in panels:
        axes = style.panel(figure, box)
        top = 0.0
        for jobs, colour, shift in (
            (REFRACTURE, style.REFRAC_COLOUR, -1),
            ("other", style.NOTHING_COLOUR, 0),
        ):
            its = rows[rows["jobs"] == jobs]
            x, height = style.years(its["month"]), its[column].to_numpy(dtype=float) / scale
            width = 0.42 / 12
            style.bars(axes, x + shift * width, x + (shift + 1) * width, 0.0, height, colour)
            top = max([top, *height])
        axes.set_xlim(first - 0.1, last + 0.1)
        months = sorted(set(rows["month"]))
        shown = months[:: -(-len(months) // 7)]
        style.set_ticks(axes, "x", list(style.years(shown)), shown, grid=False, size=7.0)
        style.value_axis(axes, "y", 0.0, 1.05 * top, 5)
        style.name_axis(axes, "y", label)
    return figure


_PANELS = (
    ("capex", MILLION, f"Capital, {MILLION_WI} a year"),
    ("oil", 1e3, "Oil, thousand bbl a year"),
    ("gas", 1e3, "Gas, thousand Mcf a year"),
    ("water", 1e3, "Water, thousand bbl a year"),
)


def years(data: ReportData, _: str = "") -> Figure | None:
    """Capital and volumes of all wells by calendar year, left alone and with the jobs of the wells to refracture."""
    rows = data.tables["portfolio_years"]
    total = totals(data, REFRACTURE)
    if "capex" not in total:
        return None
    oil = rows[rows["measure"] == "oil"].groupby("jobs")["mean"].sum()
    gas = rows[rows["measure"] == "gas"].groupby("jobs")["mean"].sum()
    name, sums = ("oil", oil) if oil["none"] > 0 else ("gas", gas)
    more = 100 * (sums[REFRACTURE] / sums["none"] - 1)
    figure = style.chart_frame(
        data,
        f"On average the jobs {'add' if more > 0 else 'take'} {significant(abs(more), 2)} % of the {name} of all wells "
        "over the horizon",
        5.9,
        f"standard error of the means up to {_largest_error(rows)} % of them",
        trials=data.facts.fan_trials,
        extra="Line: mean; band: P90 to P10 of the sum of the wells. Volumes at 8/8. The first year counts from "
        f"{data.facts.valuation_month} on.",
    )
    style.legend_row(figure, [
        style.Mark("nothing done", style.NOTHING_COLOUR),
        style.Mark("with the jobs of the wells to refracture", style.REFRAC_COLOUR, dash=style.DASHES[1]),
        style.Mark("P90 to P10", style.FAINT, "band"),
    ])  # fmt: skip
    for k, (measure, scale, label) in enumerate(_PANELS):
        across, down = k % 2, k // 2
        box = (0.75 + 4.45 * across, 3.35 - 2.55 * down, 4.75 - 4.45 * across, 0.75 + 2.6 * down)
        axes = style.panel(figure, box)
        its = rows[rows["measure"] == measure]
        top = 0.0
        for jobs, colour, dash in (
            ("none", style.NOTHING_COLOUR, "-"),
            (REFRACTURE, style.REFRAC_COLOUR, style.DASHES[1]),
        ):
            found = its[its["jobs"] == jobs].sort_values("year")
            if found.empty:
                continue
            x = found["year"].to_numpy(dtype=float)
            mean, low, high = (found[c].to_numpy(dtype=float) / scale for c in ("mean", "p90", "p10"))
            if measure == "capex":
                spent = mean > 0
                style.bars(axes, x[spent] - 0.3, x[spent] + 0.3, 0.0, mean[spent], colour)
                style.spans(axes, low[spent], high[spent], x[spent], style.INK, 1.6, upright=True, zorder=3)
                last = max(x[spent].max(initial=x[0]), x[0] + 4)
                axes.set_xlim(x[0] - 0.5, last + 0.5)
                ticks = [int(year) for year in x if year <= last]
                style.set_ticks(axes, "x", ticks, [str(year) for year in ticks], grid=False, size=7.0)
            else:
                axes.fill_between(x, low, high, color=colour, alpha=0.22, lw=0)
                axes.plot(x, mean, color=colour, lw=1.7, ls=dash)
                axes.set_xlim(x[0], x[-1])
            top = max(top, float(high.max()))
        if measure != "capex":
            every = its["year"].astype(int).unique()
            ticks = [int(year) for year in every if year % 5 == 0] or [int(every[0])]
            style.set_ticks(axes, "x", ticks, [str(year) for year in ticks], grid=False, size=7.0)
        style.value_axis(axes, "y", 0.0, 1.05 * top, 5)
        style.name_axis(axes, "y", label, 0.5)
    return figure


def _largest_error(rows: pd.DataFrame) -> str:
    """Largest relative error of a mean of the first ten years, in percent as text."""
    near = rows[(rows["year"] < rows["year"].min() + 10) & (rows["mean"] > 0)]
    return significant(100 * float((near["se"] / near["mean"]).max()), 2)


CHARTS_OF_ALL_WELLS = (
    Chart("wells", "Every well with its best refrac against doing nothing, by value per dollar.", wells),
    Chart("capital", "What each further well adds to the value, and to the capital.", capital),
    Chart("calendar", "Jobs and capital by month, each job at the best date of its own.", calendar),
    Chart("years", "Capital and volumes of all wells by calendar year, with and without the jobs.", years),
)
"""Charts over all wells: <chart>.png and .svg."""


def draw_all_wells(data: ReportData, folder: Path) -> list[DrawnChart]:
    """Draw the charts over all wells into ``folder``; those that have something to show, for the page."""
    folder.mkdir(parents=True, exist_ok=True)
    drawn = draw_some(CHARTS_OF_ALL_WELLS, data, "", folder, "")
    captions = {chart.key: chart.caption for chart in CHARTS_OF_ALL_WELLS}
    return [DrawnChart(key, captions[key], svg) for key, svg in drawn.items()]
