"""Charts of the choice among wells: the crew calendar, mean against the worst trials, what more would be worth."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from refracmc.reporting import style
from refracmc.reporting.captions import MILLION_WI, PERCENTILES
from refracmc.reporting.page import DrawnChart
from refracmc.reporting.pictures import svg_text
from refracmc.reporting.rounding import MILLION, significant

Row = Mapping[str, Any]
CALENDAR = (
    "Crew calendar: a bar is a job as planned, the line below it P90 to P10 of its beginning over the trials."
)
FRONT = "Mean value against the mean of the worst trials: each point is a choice, the filled one that of this page."
WORTH = "What more capital or crews are worth, by choosing again; the thin line ends at the most it can be."


def drawn_charts(rows: Mapping[str, Sequence[Row]], working_days: float) -> list[DrawnChart]:
    """All charts that have something to show, by key; rows: of the tables of the review."""
    charts = (
        ("calendar", CALENDAR, _calendar(rows["schedule"], working_days)),
        ("front", FRONT, _front(rows["front"])),
        ("worth", WORTH, _worth(rows["worth"])),
    )
    return [DrawnChart(key, caption, svg) for key, caption, svg in charts if svg]


def _month_number(text: str) -> int:
    return int(text[:4]) * 12 + int(text[5:7]) - 1


def _lanes(schedule: Sequence[Row]) -> list[tuple[str, str, int]]:
    """Rows of the calendar: name, kind of crew, number. Crews that work in pairs throughout share a row."""
    pairs = {(row["ct_crew"], row["frac_crew"]) for row in schedule}
    ct = sorted({a for a, _ in pairs if a is not None})
    frac = sorted({b for _, b in pairs if b is not None})
    return [*((f"CT {k}", "ct_crew", k) for k in ct), *((f"frac {k}", "frac_crew", k) for k in frac)]


def _calendar(schedule: Sequence[Row], working: float) -> str:
    """Jobs by crew over the months; time within a month by working days."""
    lanes = _lanes(schedule)
    if not lanes or len(lanes) > 60:
        return ""
    first = min(_month_number(row["month"]) for row in schedule)
    last = _months_shown(schedule, first, working)
    upright = not all(_has_room(row, working, last) for row in schedule)
    height = 1.1 + (0.82 if upright else 0.46) * len(lanes)
    late = sum(float(row["chance_of_slip"]) >= 0.5 for row in schedule)
    title = (
        f"{len(schedule)} jobs, {late or 'none'} of them likelier than not to begin after the month chosen"
    )
    figure = style.frame(title, PERCENTILES + " Names: wells.", height)
    axes = style.panel(figure, (0.75, 0.62, 0.15, 0.42))
    for row in schedule:
        month = _month_number(row["month"]) - first
        begin = month + float(row["planned_start_day"]) / working
        length = max(float(row["planned_days"]) / working, 0.05)
        for lane, (_, kind, number) in enumerate(lanes):
            if row[kind] != number:
                continue
            colour = style.PALETTE[2] if row["chance_of_slip"] < 0.5 else style.PALETTE[1]
            style.bars(axes, begin, begin + length, lane - 0.3, lane + 0.22, colour)
            span = (
                month + float(row["start_p90_day"]) / working,
                month + float(row["start_p10_day"]) / working,
            )
            style.spans(axes, *span, lane + 0.36, style.INK, 1.4)
    _names(axes, schedule, lanes, first, working, upright)
    axes.set_xlim(0, last)
    axes.set_ylim(len(lanes) - 0.4, -0.6)
    step = max(1, int(last) // 9)
    places = list(range(0, int(last) + 1, step))
    style.set_ticks(
        axes, "x", places, [f"{(first + k) // 12}-{(first + k) % 12 + 1:02d}" for k in places], size=7.2
    )
    style.set_ticks(axes, "y", range(len(lanes)), [name for name, _, _ in lanes], grid=False)
    return svg_text(figure)


def _months_shown(schedule: Sequence[Row], first: int, working: float) -> float:
    """Months from the first one to where the last job ends, or where its late beginning lies."""
    ends = []
    for row in schedule:
        planned = float(row["planned_start_day"]) + max(float(row["planned_days"]), 0.05 * working)
        ends.append(_month_number(row["month"]) - first + max(planned, float(row["start_p10_day"])) / working)
    return float(np.ceil(max(ends))) + 0.2


def _has_room(row: Row, working: float, last: float) -> bool:
    """Whether the well's name goes along the bar of its job."""
    return len(str(row["well"])) <= int(float(row["planned_days"]) / working / last * 8.0 / 0.062)


def _names(
    axes: Axes,
    schedule: Sequence[Row],
    lanes: Sequence[tuple[str, str, int]],
    first: int,
    working: float,
    upright: bool,
) -> None:
    """Names of wells in their bars, all of them upright where one has no room along its own."""
    for row in schedule:
        begin = _month_number(row["month"]) - first + float(row["planned_start_day"]) / working
        middle = begin + float(row["planned_days"]) / working / 2.0
        for lane, (_, kind, number) in enumerate(lanes):
            if row[kind] == number:
                axes.text(
                    middle,
                    lane - 0.04,
                    str(row["well"])[:12],
                    ha="center",
                    va="center",
                    fontsize=6.5 if upright else 7,
                    color="white",
                    rotation=90 if upright else 0,
                    clip_on=True,
                )


def _front(front: Sequence[Row]) -> str:
    if len(front) < 2:
        return ""
    tail = np.array([float(row["cvar_usd"]) for row in front]) / MILLION
    mean = np.array([float(row["mean_usd"]) for row in front]) / MILLION
    figure = style.frame(
        "Less loss in the worst trials costs mean value", f"{MILLION_WI}, summed trials.", 3.4
    )
    axes = style.panel(figure, (0.85, 0.75, 0.3, 0.45))
    order = np.argsort(tail)
    axes.plot(tail[order], mean[order], color=style.FAINT, lw=1)
    for x, y, row in zip(tail, mean, front, strict=True):
        face = style.REFRAC_COLOUR if row["is_choice"] else "white"
        axes.plot([x], [y], marker="o", ms=7, mfc=face, mec=style.REFRAC_COLOUR, mew=1.4)
        axes.text(x, y, f"  {significant(float(row['risk_weight']), 2)}", fontsize=7.5, va="bottom")
    axes.set_xlim(*style.padded(list(tail), 0.1))
    axes.set_ylim(*style.padded(list(mean), 0.15))
    for which, values in (("x", axes.get_xlim()), ("y", axes.get_ylim())):
        places = style.nice_ticks(*values)
        style.set_ticks(axes, which, list(places), [significant(float(k)) for k in places])
    style.name_axis(axes, "x", f"mean of the worst trials ({MILLION_WI}); numbers: risk weight")
    style.name_axis(axes, "y", f"mean ({MILLION_WI})", 0.55)
    return svg_text(figure)


def _worth(worth: Sequence[Row]) -> str:
    if not worth:
        return ""
    gain = np.array([float(row["gain_usd"]) for row in worth]) / MILLION
    most = np.array([float(row["most_usd"]) for row in worth]) / MILLION
    figure = style.frame(
        "What more would be worth", f"Gain in mean value, {MILLION_WI}.", 1.0 + 0.26 * len(worth)
    )
    axes = style.panel(figure, (3.9, 0.62, 0.3, 0.4))
    at = np.arange(len(worth))
    style.bars(axes, np.zeros(len(worth)), gain, at - 0.3, at + 0.3, style.PALETTE[0])
    style.spans(axes, gain, np.minimum(most, max(gain.max() * 3.0, 0.1)), at, style.FAINT, 1.0)
    top = max(min(most.max(), gain.max() * 3.0), gain.max(), 0.1)
    axes.set_xlim(0, top * 1.08)
    axes.set_ylim(len(worth) - 0.4, -0.6)
    places = style.nice_ticks(0.0, top)
    style.set_ticks(axes, "x", list(places), [significant(float(k)) for k in places])
    style.set_ticks(
        axes, "y", list(at), [re.sub("^US\\$ 1 m", "1 m", str(row["what"])) for row in worth], grid=False
    )
    return svg_text(figure)
