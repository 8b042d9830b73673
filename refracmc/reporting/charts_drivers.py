"""Charts of what the result hangs on: one input at a time, and variance shares of groups of inputs."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from refracmc.reporting import style
from refracmc.reporting.captions import MILLION_WI, error_range, spoken, strategy_words
from refracmc.reporting.rounding import MILLION, significant
from refracmc.reporting.tables import ReportData

TARGETS = {
    "npv": "the NPV",
    "incremental_npv": "the incremental NPV",
    "difference": "the lead over the next best",
}


def tornado(data: ReportData, well: str) -> Figure | None:
    """Mean incremental NPV with one input low and high; the widest at the top, at most 14."""
    rows = data.of_well("tornado", well)
    if rows.empty:
        return None
    base = float(data.of_well("decision", well)["mean_usd"].iloc[0]) / MILLION
    width = (rows["high_mean_usd"] - rows["low_mean_usd"]).abs()
    rows = rows.iloc[width.argsort(kind="stable")[::-1].to_numpy()[:14]].reset_index(drop=True)
    low, high = rows["low_mean_usd"].to_numpy() / MILLION, rows["high_mean_usd"].to_numpy() / MILLION
    errors = pd.concat([rows["low_se_usd"], rows["high_se_usd"]])
    figure = style.chart_frame(
        data,
        f"{well}: one input at a time, {strategy_words(str(rows['strategy'].iloc[0]))}",
        1.6 + 0.3 * len(rows),
        error_range(errors),
        percentiles=False,
        extra="Means over the fifth of trials with the input lowest, or highest; its mean there stands at the bar.",
    )
    axes = style.panel(figure, (3.0, 0.98, 0.2, 0.7))
    y = np.arange(len(rows))[::-1].astype(
        float
    )  # a number stands on white, so that the line at zero stops at it
    style.bars(axes, base, low, y - 0.31, y + 0.31, style.PALETTE[4])
    style.bars(axes, base, high, y - 0.31, y + 0.31, style.PALETTE[0])
    axes.axvline(base, color=style.INK, lw=1)
    style.zero_line(axes, upright=True)
    left, right = float(min(low.min(), high.min(), base, 0)), float(max(low.max(), high.max(), base, 0))
    room = (right - left or 1.0) * 0.12
    for at, end, other, value in (
        *zip(y, low, high, rows["low_input"], strict=True),
        *zip(y, high, low, rows["high_input"], strict=True),
    ):
        leftward = end < other or (end == other and end < base)
        place, side = (end - 0.06 * room, "right") if leftward else (end + 0.06 * room, "left")
        axes.text(place, at, significant(float(value)), fontsize=7.4, va="center", ha=side, zorder=5,
                  bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8})  # fmt: skip
    names = [
        style.shorten(str(name), 40) + ("" if unit in ("", "1") or unit in name else f", {unit}")
        for name, unit in zip(rows["input"], rows["unit"], strict=True)
    ]
    style.set_ticks(axes, "y", list(y), [style.wrap(name, 44) for name in names], grid=False, size=7.6)
    style.value_axis(axes, "x", left - room, right + room)
    axes.set_ylim(-0.6, len(rows) - 0.4)
    style.name_axis(axes, "x", f"Mean incremental NPV, {MILLION_WI}")
    style.legend_row(
        figure,
        (
            style.Mark("input low", style.PALETTE[4], "dot", marker="s"),
            style.Mark("input high", style.PALETTE[0], "dot", marker="s"),
            style.Mark("mean of the run", style.INK),
            style.Mark("doing nothing", style.NOTHING_COLOUR),
        ),
    )
    return figure


def drivers(data: ReportData, well: str) -> Figure | None:
    """Share of the variance by group of inputs, first-order and total, with 95 % intervals, per target."""
    rows = data.of_well("drivers", well)
    if rows.empty:
        return None
    targets = list(dict.fromkeys(str(t) for t in rows["target"]))[:3]
    first = rows[rows["target"] == targets[0]]
    groups = [str(g) for g in first["group"].iloc[first["total"].argsort(kind="stable")[::-1].to_numpy()]]
    groups += [g for g in dict.fromkeys(str(g) for g in rows["group"]) if g not in groups]
    figure = style.chart_frame(
        data,
        f"{well}: what the uncertainty comes from",
        1.85 + 0.34 * max(len(groups), 3),
        "whiskers are 95 % intervals of the indices",
        money=False,
        percentiles=False,
        trials=data.facts.driver_trials,
        extra="Sobol indices, shares of the variance: alone is first order, with interactions is total.",
    )
    gap, left = 0.25, 2.1
    width = (style.WIDTH - left - 0.15 - gap * (len(targets) - 1)) / len(targets)
    y = np.arange(len(groups))[::-1].astype(float)
    widest = max(*(float((rows[kind] + rows[f"{kind}_ci"]).max()) for kind in ("total", "first")), 0.1)
    floor = min(float((rows["first"] - rows["first_ci"]).min()), 0.0)
    for k, target in enumerate(targets):
        x0 = left + k * (width + gap)
        axes = style.panel(figure, (x0, 0.85, style.WIDTH - x0 - width, 1.0))
        part = rows[rows["target"] == target].set_index("group").reindex(groups)
        for kind, shift, face, colour, marker in (
            ("first", 0.13, style.PALETTE[0], style.PALETTE[0], "o"),
            ("total", -0.13, "white", style.PALETTE[1], "s"),
        ):
            value, error = part[kind].to_numpy(), part[f"{kind}_ci"].to_numpy()
            style.spans(axes, value - error, value + error, y + shift, colour, 1.5)
            axes.plot(value, y + shift, ls="", marker=marker, ms=5.2, mew=1.5, mfc=face, mec=colour)
        style.value_axis(axes, "x", floor - 0.04, widest * 1.06, most=6 if len(targets) < 3 else 4)
        axes.set_ylim(-0.6, len(groups) - 0.4)
        labels = [style.wrap(style.shorten(spoken(g), 56), 30) for g in groups]
        style.set_ticks(axes, "y", list(y), labels if k == 0 else [""] * len(groups), grid=False)
        title = style.shorten(f"of {TARGETS.get(target, spoken(target))}", 70)
        style.title_panel(axes, style.wrap(title, int(width / 0.09)))
        style.name_axis(axes, "x", "Share of the variance")
    style.legend_row(
        figure,
        (
            style.Mark("alone", style.PALETTE[0], "dot"),
            style.Mark("with its interactions", style.PALETTE[1], "ring", marker="s"),
        ),
    )
    return figure
