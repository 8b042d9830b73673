"""Charts of the well and the job: production with and without the refrac, cost build-up.

Same rules as :mod:`refracmc.reporting.charts_value`: tables in, a figure out, or None without rows.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from refracmc.reporting import style
from refracmc.reporting.numbers import MILLION, fixed, significant, with_error
from refracmc.reporting.tables import ReportData
from refracmc.reporting.words import error_range, footer, spoken, strategy_words

_Array = np.ndarray[Any, np.dtype[np.float64]]

REFRAC_COLOUR = style.PALETTE[0]


def year_axis(months: pd.Series) -> _Array:
    """Months as decimal years."""
    return np.array([int(m[:4]) + (int(m[5:7]) - 1) / 12 for m in months], dtype=np.float64)


def _log_axis(axes: Axes, low: float, high: float) -> None:
    axes.set_yscale("log")
    axes.set_ylim(low, high)
    first, last = int(np.floor(np.log10(low))), int(np.ceil(np.log10(high)))
    steps = (1.0,) if last - first > 3 else (1.0, 2.0, 5.0)
    places = [s * 10.0**k for k in range(first, last + 1) for s in steps if low <= s * 10.0**k <= high]
    style.set_ticks(axes, "y", places, [f"{place:,.10g}" for place in places])


def _volume_error(rows: pd.DataFrame) -> str:
    """Largest standard error of the monthly means relative to them, over the months that are drawn."""
    share = (rows["se"] / rows["mean"])[rows["mean"] > float(rows["mean"].max()) / 1000].dropna()
    if share.empty:
        return "standard error of the means not known"
    return f"standard error of the means up to {significant(100 * float(share.max()), 2)} % of each"


def production(data: ReportData, well: str) -> Figure | None:
    """Monthly main-phase volume on a log scale: history, then the fan with and without the refrac."""
    rows = data.of_well("production", well)
    if rows.empty:
        return None
    unit = str(rows["unit"].iloc[0])
    branches = {str(name): group for name, group in rows.groupby("branch", sort=False)}
    refrac = branches.get("refrac")
    words = strategy_words(str(refrac["strategy"].iloc[0])) if refrac is not None else "refrac"
    figure = style.frame(
        f"{well}: production with and without the refrac, {words}",
        footer(
            data,
            f"{_volume_error(rows)}; percentiles are of each month by itself",
            money=False,
            trials=data.facts.fan_trials,
            extra="Trials past their limit count as zero; a band that meets the foot has ended "
            "in 10 % of them.",
        ),
        4.5,
    )
    axes = style.panel(figure, (0.85, 0.78, 0.2, 0.75))
    marks = []
    drawn = rows[["mean", "p10", "p90"]].to_numpy(dtype=float)
    top = float(np.nanmax(drawn))
    floor = max(float(rows["mean"].max()) / 1000, 1e-3)
    positive = rows["mean"].to_numpy(dtype=float)
    positive = positive[positive > floor]
    low = max(floor, float(positive.min()) * 0.7) if positive.size else floor
    for name, colour, dash, label in (
        ("nothing", style.NOTHING_COLOUR, (0, (5, 1.5)), "doing nothing"),
        ("refrac", REFRAC_COLOUR, "-", "refrac"),
    ):
        if name not in branches:
            continue
        group = branches[name]
        x = year_axis(group["month"])
        lower, upper = (np.maximum(group[c].to_numpy(dtype=float), low * 0.5) for c in ("p90", "p10"))
        axes.fill_between(x, lower, upper, color=colour, alpha=0.15, lw=0)
        for edge in (lower, upper):
            axes.plot(x, np.where(edge > low, edge, np.nan), color=colour, lw=0.6, ls=dash)
        mean = group["mean"].to_numpy(dtype=float)
        axes.plot(x, np.where(mean > 0, mean, np.nan), color=colour, lw=1.8, ls=dash)
        marks += [style.Mark(f"{label}: mean", colour, dash=dash), style.Mark("P90 to P10", colour, "band")]
    if "history" in branches:
        group = branches["history"]
        volume = group["mean"].to_numpy(dtype=float)
        x = year_axis(group["month"])
        axes.plot(x, np.where(volume > 0, volume, np.nan), color=style.INK, lw=0.6, marker="o", ms=2.4)
        marks.insert(0, style.Mark("history", style.INK, "dot"))
    _log_axis(axes, low, max(top, low * 10) * 1.25)
    span = year_axis(rows["month"])
    step = max(1, int(np.ceil((span.max() - span.min()) / 9)))
    years = np.arange(np.ceil(span.min()), np.floor(span.max()) + 1, step)
    style.set_ticks(axes, "x", list(years), [f"{year:.0f}" for year in years])
    axes.set_xlim(span.min() - 0.3, span.max() + 0.3)
    style.name_axis(axes, "y", f"Main phase, {unit}", 0.55)
    style.legend_row(figure, marks)
    return figure


def cost(data: ReportData, well: str) -> Figure | None:
    """Build-up of the mean cost of the best refrac, part upon part, largest first, with standard errors."""
    rows = data.of_well("cost", well)
    best = data.of_well("decision", well).iloc[0]
    chosen = str(best["strategy"])
    rows = rows[rows["strategy"] == chosen]
    return build_up(data, well, chosen, rows, float(best["job_cost_usd"]), float(best["job_cost_se_usd"]))


def build_up(
    data: ReportData, well: str, chosen: str, rows: pd.DataFrame, total: float, error: float
) -> Figure | None:
    """Cost parts of one strategy from its rows of a cost table; total and its standard error in US$."""
    rows = rows[rows["mean_usd"] != 0]
    if rows.empty:
        return None
    rows = rows.iloc[rows["mean_usd"].argsort(kind="stable")[::-1].to_numpy()].reset_index(drop=True)
    count = len(rows)
    figure = style.frame(
        f"{well}: what the job costs, {strategy_words(chosen)}",
        footer(
            data,
            error_range(pd.Series([error]), "total"),
            percentiles=False,
            extra="Means of the parts at 100 % (8/8) add up to the mean total; each bar starts where the one above it "
            "ends.",
        ),
        1.5 + 0.25 * (count + 1),
    )
    axes = style.panel(figure, (1.9, 0.95, 1.75, 0.45))
    mean = rows["mean_usd"].to_numpy() / MILLION
    end = np.cumsum(mean)
    y = np.arange(count, 0, -1).astype(float)
    style.bars(axes, end - mean, end, y - 0.33, y + 0.33, style.PALETTE[1])
    style.bars(axes, 0.0, end[-1], -0.33, 0.33, style.NOTHING_COLOUR)
    links = [[(e, h + 0.33), (e, h - 1.33)] for e, h in zip(end[:-1], y[:-1], strict=True)]
    axes.add_collection(LineCollection(links, colors=style.FAINT, linewidths=0.6))
    labels = [
        f"{with_error(m, s, MILLION)}  ({fixed(100 * q, 1)} %)"
        for m, s, q in zip(rows["mean_usd"], rows["se_usd"], rows["share"], strict=True)
    ]
    labels.append(with_error(total, error, MILLION))
    for height, label in zip((*y, 0.0), labels, strict=True):
        axes.text(1.015, height, label, fontsize=7.8, va="center", transform=axes.get_yaxis_transform())
    names = [style.shorten(spoken(str(part)), 32) for part in rows["part"]]
    style.set_ticks(axes, "y", [*y, 0.0], [*names, "total"], grid=False)
    style.value_axis(axes, "x", min(0.0, float(end.min())), float(end.max()) * 1.02)
    axes.set_ylim(-0.6, count + 0.6)
    style.name_axis(axes, "x", "Mean cost, US$ million")
    return figure
