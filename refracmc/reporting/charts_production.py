"""Chart of the well's production with and without the refrac."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from refracmc.reporting import style
from refracmc.reporting.captions import strategy_words
from refracmc.reporting.rounding import significant
from refracmc.reporting.tables import ReportData


def _log_axis(axes: Axes, low: float, high: float) -> None:
    axes.set_yscale("log")
    axes.set_ylim(low, high)
    style.set_ticks(axes, "y", *style.log_numbers(low, high))


def _volume_error(rows: pd.DataFrame) -> str:
    """Largest standard error of the monthly means relative to them, over the months that are drawn."""
    part = (rows["se"] / rows["mean"])[rows["mean"] > float(rows["mean"].max()) / 1000].dropna()
    if part.empty:
        return "standard error of the means not known"
    return f"standard error of the means up to {significant(100 * float(part.max()), 2)} % of each"


def production(data: ReportData, well: str) -> Figure | None:
    """Monthly main-phase volume on a log scale: history, then mean and band with and without the refrac."""
    rows = data.of_well("production", well)
    if rows.empty:
        return None
    branches = {str(name): group for name, group in rows.groupby("branch", sort=False)}
    refrac = branches.get("refrac")
    words = strategy_words(str(refrac["strategy"].iloc[0])) if refrac is not None else "refrac"
    figure = style.chart_frame(
        data,
        f"{well}: production with and without the refrac, {words}",
        4.5,
        f"{_volume_error(rows)}; percentiles are of each month by itself",
        money=False,
        trials=data.facts.fan_trials,
        extra="Trials past their limit count as zero; a band that meets the foot has ended in 10 % of them.",
    )
    axes = style.panel(figure, (0.85, 0.78, 0.2, 0.75))
    marks = []
    top = float(np.nanmax(rows[["mean", "p10", "p90"]].to_numpy(dtype=float)))
    floor = max(float(rows["mean"].max()) / 1000, 1e-3)
    positive = rows["mean"].to_numpy(dtype=float)
    positive = positive[positive > floor]
    low = max(floor, float(positive.min()) * 0.7) if positive.size else floor
    for name, colour, dash, label in (
        ("nothing", style.NOTHING_COLOUR, (0, (5, 1.5)), "doing nothing"),
        ("refrac", style.REFRAC_COLOUR, "-", "refrac"),
    ):
        if name not in branches:
            continue
        group = branches[name]
        x = style.years(group["month"])
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
        measured = np.where(volume > 0, volume, np.nan)
        axes.plot(style.years(group["month"]), measured, color=style.INK, lw=0.6, marker="o", ms=2.4)
        marks.insert(0, style.Mark("history", style.INK, "dot"))
    _log_axis(axes, low, max(top, low * 10) * 1.25)
    span = style.years(rows["month"])
    step = max(1, int(np.ceil((span.max() - span.min()) / 9)))
    ticks = np.arange(np.ceil(span.min()), np.floor(span.max()) + 1, step)
    style.set_ticks(axes, "x", list(ticks), [f"{year:.0f}" for year in ticks])
    axes.set_xlim(span.min() - 0.3, span.max() + 0.3)
    style.name_axis(axes, "y", f"Main phase, {rows['unit'].iloc[0]}", 0.55)
    style.legend_row(figure, marks)
    return figure
