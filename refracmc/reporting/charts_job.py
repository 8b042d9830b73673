"""Charts of the well and the job: production with and without the refrac, cost build-up, job timeline.

Same rules as :mod:`refracmc.reporting.charts_value`: tables in, a figure out, or None without rows.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
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
_TRAVEL = ("run_in", "move", "pull_out", "travel", "cleanout")
_EVENTS: tuple[tuple[str, str, str, str], ...] = (
    ("close", "s", style.PALETTE[1], "close"),
    ("open", "^", style.PALETTE[2], "open"),
    ("reclose", "D", style.PALETTE[3], "reclose"),
    ("reopen", "v", style.PALETTE[4], "reopen"),
    ("trip", "P", style.INK, "trip"),
)
_WRONG = re.compile(r"^not |^left out|screened out|fail|stuck|lost|leak|called off|parted|lock")
"""Outcomes that say that something went wrong, whole sentences included."""
_STUCK = ("stuck_ct", "ct_stuck", "stuck", "well_lost")


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
            extra="Means of the parts add up to the mean total; each bar starts where the one above it ends.",
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


def tool_path(rows: pd.DataFrame) -> _Array:
    """Depth of the coiled tubing against hours, (points, 2), NaN where it is out of the well.

    A travel step or part of a cleanout moves evenly from the last depth to its own; a trip goes to the surface
    and back within its hours; any other step stands at its depth.
    """
    points: list[tuple[float, float]] = []
    last = 0.0
    for action, depth, start, stop in zip(
        rows["action"], rows["depth_ft"].astype(float), rows["start_hour"], rows["end_hour"], strict=True
    ):
        if not np.isfinite(depth):
            points.append((start, np.nan))
            continue
        if action == "trip":
            points += [(start, last), ((start + stop) / 2, 0.0), (stop, depth)]
        elif action in _TRAVEL:
            points += [(start, last), (stop, depth)]
        else:
            points += [(start, depth), (stop, depth)]
        last = depth
    return np.array(points, dtype=np.float64).reshape(-1, 2)


def failed(outcomes: Sequence[Any]) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Which outcomes say that something went wrong; a missing one does not."""
    said = ["" if o is None or o != o else str(o).strip().lower() for o in outcomes]
    return np.array([_WRONG.search(text) is not None for text in said], dtype=np.bool_)


def _timeline_panel(axes: Axes, rows: pd.DataFrame, lift: float) -> set[str]:
    """Draw one scenario; returns the events in it. Marks of opening stand ``lift`` feet above."""
    seen: set[str] = set()
    path = tool_path(rows)
    axes.plot(path[:, 0], path[:, 1], color=style.FAINT, lw=0.9)
    middle = (rows["start_hour"].to_numpy() + rows["end_hour"].to_numpy()) / 2
    depth = rows["depth_ft"].to_numpy(dtype=float)
    action = rows["action"].to_numpy(dtype=str)
    treat = rows[action == "treat"]
    if len(treat):
        bars = [
            [(a, d), (b, d)]
            for a, b, d in zip(treat["start_hour"], treat["end_hour"], treat["depth_ft"], strict=True)
        ]
        axes.add_collection(
            LineCollection(bars, colors=REFRAC_COLOUR, linewidths=4, capstyle="butt", zorder=4.5)
        )
        seen.add("treat")
    for name, marker, colour, _ in _EVENTS:
        mine = (action == name) & np.isfinite(depth)
        if mine.any():
            raised = depth[mine] - lift * (name in ("open", "reopen")) + lift * (name == "reclose")
            axes.plot(middle[mine], raised, ls="", marker=marker, ms=2.8, color=colour, zorder=4)
            seen.add(name)
    wrong = failed(rows["outcome"].tolist()) | np.isin(action, _STUCK)
    inside = wrong & np.isfinite(depth)
    if inside.any():
        axes.plot(middle[inside], depth[inside], ls="", marker="x", ms=7.5, mew=2, color=style.BAD, zorder=5)
        seen.add("wrong")
    return seen


def _spans(axes: Axes, rows: pd.DataFrame, middle: float) -> None:
    """Shade what happens with the tubing out of the well and write its name."""
    at_surface = rows["depth_ft"].isna() | (rows["depth_ft"] == 0) & ~rows["action"].isin([*_TRAVEL, "trip"])
    out = rows[at_surface.to_numpy(dtype=bool)]
    total = float(rows["end_hour"].max()) or 1.0
    for action, start, stop in zip(out["action"], out["start_hour"], out["end_hour"], strict=True):
        axes.axvspan(start, stop, color=style.GRID, lw=0, alpha=0.7)
        if (stop - start) / total > 0.03:
            axes.text(
                (start + stop) / 2,
                middle,
                spoken(str(action)),
                rotation=90,
                ha="center",
                va="center",
                fontsize=7.6,
                color=style.FAINT,
            )


def timeline(data: ReportData, well: str) -> Figure | None:
    """Depth of the coiled tubing against hours: the plan above, one simulated trial below."""
    rows = data.of_well("timeline", well)
    if rows.empty:
        return None
    decided = data.of_well("decision", well)["strategy"]
    if rows["strategy"].isin(decided).any():
        rows = rows[rows["strategy"].isin(decided)]
    strategy = str(rows["strategy"].iloc[0])
    rows = rows[rows["strategy"] == strategy]
    scenarios = [s for s in ("planned", "typical") if (rows["scenario"] == s).any()]
    scenarios += [s for s in dict.fromkeys(rows["scenario"]) if s not in scenarios]
    scenarios = scenarios[:2]
    height = 1.45 + 2.0 * len(scenarios)
    figure = style.frame(
        f"{well}: the job hour by hour, {strategy_words(strategy)}",
        footer(
            data,
            "the simulated trial is one example, not an average",
            money=False,
            percentiles=False,
            extra="Measured depth of the coiled tubing; lines that leave at the top lead to or from the "
            "surface. Marks of opening stand just above their sleeve, of reclosing just below.",
        ),
        height,
    )
    last_hour = float(rows["end_hour"].max())
    depths = rows["depth_ft"].to_numpy(dtype=float)
    sleeved = rows.loc[rows["sleeve"].notna() & rows["depth_ft"].notna(), "depth_ft"].to_numpy(dtype=float)
    within = sleeved if sleeved.size else depths[np.isfinite(depths)]
    highest, lowest = (float(within.min()), float(within.max())) if within.size else (0.0, 1.0)
    room = 0.12 * (lowest - highest) or 500.0
    highest, lowest = max(0.0, highest - 1.6 * room), lowest + room
    seen: set[str] = set()
    for k, scenario in enumerate(scenarios):
        part = rows[rows["scenario"] == scenario].sort_values("step", kind="stable")
        bottom = 0.82 + 2.0 * (len(scenarios) - 1 - k)
        axes = style.panel(figure, (0.85, bottom, 0.2, height - bottom - 1.62))
        _spans(axes, part, (lowest + highest) / 2)
        seen |= _timeline_panel(axes, part, 0.3 * room)
        style.value_axis(axes, "x", 0.0, last_hour * 1.01, most=12, labelled=k == len(scenarios) - 1)
        style.value_axis(axes, "y", highest, lowest, most=5)
        axes.set_ylim(lowest, highest)
        style.name_axis(axes, "y", "Depth, ft", 0.55)
        said = {"planned": "As planned", "typical": "One simulated trial"}.get(scenario, spoken(scenario))
        hours, days = float(part["end_hour"].max()), float(part["end_hour"].max()) / 24
        axes.text(
            0,
            1.03,
            f"{said}: {hours:,.0f} h, {days:,.1f} days of 24 h",
            fontsize=8.5,
            fontweight="bold",
            va="bottom",
            transform=axes.transAxes,
        )
        if k == len(scenarios) - 1:
            style.name_axis(axes, "x", "Hours since the start of the job")
    marks = [style.Mark("coiled tubing", style.FAINT)]
    if "treat" in seen:
        marks.append(style.Mark("treat", REFRAC_COLOUR))
    marks += [style.Mark(label, c, "dot", marker=m) for name, m, c, label in _EVENTS if name in seen]
    if "wrong" in seen:
        marks.append(style.Mark("went wrong", style.BAD, "dot", marker="x"))
    style.legend_row(figure, marks)
    return figure
