"""Chart of the refrac date: value of every order against the month, and dates set by triggers.

Same rules as :mod:`refracmc.reporting.charts_value`: tables in, a figure out, or None without rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from refracmc.reporting import style
from refracmc.reporting.charts_value import MOST_ORDERS, left_out, look, order_styles, zero_line
from refracmc.reporting.numbers import MILLION
from refracmc.reporting.tables import ReportData
from refracmc.reporting.words import error_range, footer, spoken, strategy_words


def _months(dates: pd.Series) -> np.ndarray[Any, np.dtype[np.float64]]:
    return np.array([int(d[:4]) + (int(d[5:7]) - 1) / 12 for d in dates], dtype=np.float64)


def _date_ticks(axes: Axes, dates: Sequence[str], show: bool) -> None:
    names = sorted(set(dates))
    step = -(-len(names) // 8)
    kept = names[::step]
    style.set_ticks(axes, "x", list(_months(pd.Series(kept))), kept if show else [""] * len(kept))


_TRIGGERS = (
    " Dates set by a trigger: the line spans the months in which 10 to 90 % of the jobs have started, the open mark "
    "the one by which half have; trials without a job count as 0."
)


def _trigger_marks(
    axes: Axes, rows: pd.DataFrame, places: dict[str, int]
) -> tuple[list[float], list[style.Mark]]:
    """Draw triggered strategies as horizontal marks at their mean with its error; returns the ends drawn in US$
    million and the entries of the legend. rows: of the table triggers, jobs carried out only."""
    ends: list[float] = []
    marks = []
    for _, row in rows.iterrows():
        colour, _, marker = look(places.get(str(row["order"]), MOST_ORDERS))
        early, middle, late = _months(row[["early_month", "median_month", "late_month"]])
        mean, error = row["mean_usd"] / MILLION, 2 * row["se_usd"] / MILLION
        axes.plot([early, late], [mean, mean], color=colour, lw=1.6, zorder=3, solid_capstyle="butt")
        axes.plot([middle, middle], [mean - error, mean + error], color=colour, lw=1.3, zorder=3)
        axes.plot([middle], [mean], marker=marker, ms=6, mfc="white", mec=colour, mew=1.4, zorder=4)
        ends += [mean - error, mean + error]
        words = style.shorten(strategy_words(str(row["strategy"])), 44)
        marks.append(style.Mark(words, colour, "ring", marker=marker))
    return ends, marks


def dates(data: ReportData, well: str) -> Figure | None:
    """Incremental NPV against the refrac date: the best order's band above, all means with errors below."""
    rows = data.of_well("timing", well)
    if rows.empty:
        return None
    best = data.of_well("decision", well).iloc[0]
    places = order_styles(data, well)
    present = rows["order"].nunique()
    rows = rows[rows["order"].isin(list(places)).to_numpy(dtype=bool)]
    unseen = left_out(rows["order"].nunique(), present)
    figure = style.frame(
        f"{well}: value against refrac date",
        footer(
            data,
            error_range(rows["se_usd"]),
            extra=f"{unseen}Whiskers below: mean ± 2 standard errors."
            + (_TRIGGERS if len(data.of_well("triggers", well)) else ""),
        ),
        5.6,
    )
    upper = style.panel(figure, (0.75, 3.05, 0.2, 0.95))
    lower = style.panel(figure, (0.75, 0.85, 0.2, 2.7))
    marks = [style.Mark("doing nothing", style.NOTHING_COLOUR)]
    span: list[float] = [0.0]
    for order, group in rows.groupby("order", sort=False):
        group = group.sort_values("date", kind="stable")
        colour, dash, marker = look(places.get(str(order), MOST_ORDERS))
        x, mean = _months(group["date"]), group["mean_usd"].to_numpy() / MILLION
        error = 2 * group["se_usd"].to_numpy() / MILLION
        if order == best["order"]:
            band = [group[c].to_numpy() / MILLION for c in ("p90_usd", "p50_usd", "p10_usd")]
            if len(x) > 1:
                upper.fill_between(x, band[0], band[2], color=colour, alpha=0.2, lw=0)
            else:
                upper.plot([x[0]] * 2, [band[0][0], band[2][0]], color=colour, alpha=0.3, lw=8)
            upper.plot(x, band[1], color=colour, lw=1, marker="_", ms=7, mew=1.4)
            span += [*band[0], *band[2]]
            lead = style.shorten(spoken(str(order)), 30)
            marks[1:1] = [style.Mark(f"{lead}: P90 to P10", colour, "band"), style.Mark("its P50", colour)]
        upper.plot(x, mean, color=colour, ls=dash, lw=1.4, marker=marker, ms=3.5)
        # whiskers of the orders stand side by side within a fraction of the distance of two dates
        shift = (places.get(str(order), 0) - (len(places) - 1) / 2) * 0.018
        bars = [[(a + shift, m - e), (a + shift, m + e)] for a, m, e in zip(x, mean, error, strict=True)]
        lower.add_collection(LineCollection(bars, colors=colour, linewidths=1.3))
        lower.plot(x + shift, mean, color=colour, ls=dash, lw=1.1, marker=marker, ms=4)
        span += [*mean]
        marks.append(
            style.Mark(f"{style.shorten(spoken(str(order)), 24)}: mean", colour, "dot", marker=marker)
        )
    triggered = data.of_well("triggers", well)
    triggered = triggered[(triggered["executed_share"] > 0).to_numpy(dtype=bool)]
    ends, shown = _trigger_marks(lower, triggered, places)
    marks += shown
    months = [*rows["date"], *triggered["early_month"], *triggered["late_month"]]
    for axes, show in ((upper, False), (lower, True)):
        zero_line(axes, upright=False)
        _date_ticks(axes, months, show)
        edges = _months(pd.Series(months))
        axes.set_xlim(edges.min() - 0.12, edges.max() + 0.12)
    style.value_axis(upper, "y", *style.padded(span, 0.05))
    ends += [float(v) / MILLION for k in (-2, 2) for v in rows["mean_usd"] + k * rows["se_usd"]]
    style.value_axis(lower, "y", *style.padded([*ends, 0.0], 0.08), most=5)
    style.name_axis(upper, "y", "Incremental NPV,\nUS$ million")
    style.name_axis(lower, "y", "Mean incremental NPV,\nUS$ million")
    style.name_axis(lower, "x", "Month in which the job starts")
    style.legend_row(figure, marks)
    return figure
