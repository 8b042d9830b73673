"""Chart of the job hour by hour: depth of the coiled tubing in the plan and in one simulated trial."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from refracmc.reporting import style
from refracmc.reporting.captions import spoken, strategy_words
from refracmc.reporting.tables import ReportData

_Array = np.ndarray[Any, np.dtype[np.float64]]

_TRAVEL = ("run_in", "move", "pull_out", "travel", "cleanout")
_EVENTS: tuple[tuple[str, str, str, str], ...] = (
    ("close", "s", style.PALETTE[1], "close"),
    ("reseat", "p", style.PALETTE[1], "open and close again"),
    ("open", "^", style.PALETTE[2], "open"),
    ("reclose", "D", style.PALETTE[3], "reclose"),
    ("reopen", "v", style.PALETTE[4], "reopen"),
    ("trip", "P", style.INK, "trip"),
)
_WRONG = re.compile(r"^not |^left out|screened out|fail|stuck|lost|leak|called off|parted|lock")
"""Outcomes that say that something went wrong, whole sentences included."""
_PUMPED = ("treat", "pump", "divert")
"""Done down the casing where the tubing is out of the well."""
_STUCK = ("stuck_ct", "ct_stuck", "stuck", "well_lost")


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
    texts = ["" if o is None or o != o else str(o).strip().lower() for o in outcomes]
    return np.array([_WRONG.search(text) is not None for text in texts], dtype=np.bool_)


def _at_surface(rows: pd.DataFrame) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Which rows are done with the tubing out of the well."""
    out = rows["depth_ft"].isna() | (rows["depth_ft"] == 0) & ~rows["action"].isin([*_TRAVEL, "trip"])
    return out.to_numpy(dtype=bool)


def work_hours(rows: pd.DataFrame) -> tuple[float, float]:
    """First and last hour of work in the well, rare events included; what else comes before and after with the
    tubing out is left out."""
    worked = rows["action"].isin((*_PUMPED, *_STUCK, "casing_failure")).to_numpy(dtype=bool)
    busy = rows[~_at_surface(rows) | worked]
    if busy.empty:
        return float(rows["start_hour"].min()), float(rows["end_hour"].max())
    return float(busy["start_hour"].min()), float(busy["end_hour"].max())


def depth_span(rows: pd.DataFrame) -> tuple[float, float]:
    """Shallowest and deepest measured depth worked at [ft]: at the sleeves, or wherever the tubing stands."""
    depth = rows["depth_ft"].to_numpy(dtype=float)
    for of in (rows["sleeve"].notna().to_numpy(dtype=bool), np.ones(depth.size, dtype=bool)):
        within = depth[of & (depth > 0.0)]
        if within.size:
            return float(within.min()), float(within.max())
    return 0.0, 1.0


def _timeline_panel(axes: Axes, rows: pd.DataFrame, lift: float, top: float) -> set[str]:
    """Draw one scenario; returns the events in it. Marks of opening stand ``lift`` feet above, and what goes wrong
    with the tubing out of the well at the depth ``top``."""
    seen: set[str] = set()
    path = tool_path(rows)
    axes.plot(path[:, 0], path[:, 1], color=style.FAINT, lw=0.9)
    middle = (rows["start_hour"].to_numpy() + rows["end_hour"].to_numpy()) / 2
    depth = rows["depth_ft"].to_numpy(dtype=float)
    action = rows["action"].to_numpy(dtype=str)
    treat = rows[(action == "treat") & ~_at_surface(rows)]
    if len(treat):
        style.spans(axes, treat["start_hour"], treat["end_hour"], treat["depth_ft"], style.REFRAC_COLOUR, 4,
                    capstyle="butt", zorder=4.5)  # fmt: skip
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
        place = np.maximum(depth[inside], top)
        axes.plot(middle[inside], place, ls="", marker="x", ms=7.5, mew=2, color=style.BAD, zorder=5)
        seen.add("wrong")
    return seen


def _spans(axes: Axes, rows: pd.DataFrame, middle: float, shown: tuple[float, float]) -> None:
    """Shade what happens with the tubing out of the well, within the hours shown, and write its name."""
    out = rows[_at_surface(rows)]
    spans: list[tuple[str, float, float]] = []
    for action, start, stop in zip(out["action"], out["start_hour"], out["end_hour"], strict=True):
        name = "pumping" if action in _PUMPED else spoken(str(action))
        if spans and spans[-1][0] == name and abs(spans[-1][2] - start) < 1e-6:
            start = spans.pop()[1]
        spans.append((name, start, stop))
    for name, start, stop in spans:
        left, right = max(start, shown[0]), min(stop, shown[1])
        if right <= left:
            continue
        axes.axvspan(left, right, color=style.GRID, lw=0, alpha=0.7)
        if (right - left) / (shown[1] - shown[0]) > 0.02:
            axes.text((left + right) / 2, middle, f"{name}, {stop - start:,.0f} h", rotation=90, ha="center",
                      va="center", fontsize=7.6, color=style.FAINT)  # fmt: skip


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
    figure = style.chart_frame(
        data,
        f"{well}: the job hour by hour, {strategy_words(strategy)}",
        height,
        "the simulated trial is one example, not an average",
        money=False,
        percentiles=False,
        extra="Measured depth of the coiled tubing; lines that leave at the top lead to or from the "
        "surface. Grey: tubing out of the well, cut off before and after the work. Marks of opening stand just "
        "above their sleeve, of reclosing just below.",
    )
    drawn = rows[rows["scenario"].isin(scenarios)]
    spans = [work_hours(part) for _, part in drawn.groupby("scenario")]
    first, last = min(start for start, _ in spans), max(stop for _, stop in spans)
    beside = 0.08 * (last - first) or 1.0
    shown = max(first - beside, 0.0), min(last + beside, float(drawn["end_hour"].max()))
    highest, lowest = depth_span(drawn)
    room = 0.12 * (lowest - highest) or 500.0
    highest, lowest = max(0.0, highest - 1.6 * room), lowest + room
    seen: set[str] = set()
    for k, scenario in enumerate(scenarios):
        part = rows[rows["scenario"] == scenario].sort_values("step", kind="stable")
        bottom = 0.82 + 2.0 * (len(scenarios) - 1 - k)
        axes = style.panel(figure, (0.85, bottom, 0.2, height - bottom - 1.62))
        _spans(axes, part, (lowest + highest) / 2, shown)
        seen |= _timeline_panel(axes, part, 0.3 * room, highest + 0.3 * room)
        style.value_axis(axes, "x", *shown, most=12, labelled=k == len(scenarios) - 1)
        style.value_axis(axes, "y", highest, lowest, most=5)
        axes.set_ylim(lowest, highest)
        style.name_axis(axes, "y", "Depth, ft", 0.55)
        name = {"planned": "As planned", "typical": "One simulated trial"}.get(scenario, spoken(scenario))
        hours, days = float(part["end_hour"].max()), float(part["end_hour"].max()) / 24
        style.title_panel(axes, f"{name}: {hours:,.0f} h, {days:,.1f} days of 24 h in all")
        if k == len(scenarios) - 1:
            style.name_axis(axes, "x", "Hours since the start of the job")
    marks = [style.Mark("coiled tubing", style.FAINT)]
    if "treat" in seen:
        marks.append(style.Mark("treat", style.REFRAC_COLOUR))
    marks += [style.Mark(label, c, "dot", marker=m) for name, m, c, label in _EVENTS if name in seen]
    if "wrong" in seen:
        marks.append(style.Mark("went wrong", style.BAD, "dot", marker="x"))
    style.legend_row(figure, marks)
    return figure
