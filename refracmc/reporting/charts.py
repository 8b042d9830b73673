"""All charts of a report and their files: one list, drawn from the checked tables only.

A chart is added by adding a :class:`ChartKind` to :data:`CHARTS`; the page picks it up by its key.
"""

from __future__ import annotations

import gc
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from matplotlib.figure import Figure

from refracmc.engine.executors import run_tasks
from refracmc.reporting import (
    canvas,
    charts_dates,
    charts_drivers,
    charts_job,
    charts_reach,
    charts_sleeves,
    charts_timeline,
    charts_value,
    style,
)
from refracmc.reporting.files import file_stems, write_whole
from refracmc.reporting.parts import MOST_WELLS
from refracmc.reporting.tables import ReportData


@dataclass(frozen=True, slots=True)
class ChartKind:
    """One kind of chart: key (part of the file name), what it shows, and the drawing function."""

    key: str
    caption: str
    draw: Callable[[ReportData, str], Figure | None]


CHARTS: tuple[ChartKind, ...] = (
    ChartKind(
        "distribution",
        "Share of trials above a value: further right is better; the height where a curve of incremental NPV "
        "meets zero is the chance that the refrac beats doing nothing.",
        charts_value.distribution,
    ),
    ChartKind(
        "dates",
        "Value against the month in which the job starts; doing nothing is the line at zero. The lower panel "
        "shows the same means on a scale on which dates and orders can be told apart.",
        charts_dates.dates,
    ),
    ChartKind(
        "strategies",
        "NPV of all strategies over the band of doing nothing; dates run from left to right in each block.",
        charts_value.strategies,
    ),
    ChartKind(
        "orders",
        "What the stage order changes: value, days, cost and the share of stages effectively treated.",
        charts_value.orders,
    ),
    ChartKind(
        "production",
        "Monthly volume on a log scale: history, and the fan with and without the refrac.",
        charts_job.production,
    ),
    ChartKind("cost", "How the mean cost of the job builds up, largest part first.", charts_job.cost),
    ChartKind(
        "timeline",
        "Where the coiled tubing is and what it does, as planned and in one simulated trial.",
        charts_timeline.timeline,
    ),
    ChartKind(
        "sleeves",
        "What every sleeve is, hour by hour, in the simulated trial of the timeline.",
        charts_sleeves.sleeve_map,
    ),
    ChartKind(
        "spread",
        "Days and cost of each order: the mean built up from its parts, and the spread of the trials.",
        charts_sleeves.job_spread,
    ),
    ChartKind(
        "stress",
        "How far the stages placed so far lower the horizontal stress contrast along the lateral, and what each stage "
        "meets when it is pumped: the same sum in any order, met by other stages.",
        charts_sleeves.stress_state,
    ),
    ChartKind(
        "failures",
        "What one failed shift costs by the sleeve it happens at, with its chance and if it happens.",
        charts_sleeves.failures,
    ),
    ChartKind(
        "reach",
        "Push and pull at the tool by depth against the force a sleeve needs, and the share of trials in which it is "
        "enough: a screen.",
        charts_reach.reach,
    ),
    ChartKind(
        "drivers",
        "Which groups of inputs the variance comes from, alone and with their interactions.",
        charts_drivers.drivers,
    ),
    ChartKind(
        "tornado",
        "How far the mean value lies from that of all trials where one input is low or high.",
        charts_drivers.tornado,
    ),
)


_SHARES = 3
"""Parts into which the charts of a well are cut for worker processes."""


def _draw(state: tuple[ReportData, Path], task: tuple[str, int]) -> dict[str, str]:
    """Draw every third chart of one well, beginning with a given one; returns SVG texts by chart key."""
    data, folder = state
    well, first = task
    stem = file_stems(data.wells)[well]
    drawn: dict[str, str] = {}
    collecting = gc.isenabled()
    gc.disable()  # figures are full of cycles: collect the young ones once, at the end
    try:
        with style.drawing():
            for kind in CHARTS[first::_SHARES]:
                figure = kind.draw(data, well)
                if figure is None:
                    continue
                name = f"{kind.key}-{stem}"
                write_whole(folder / f"{name}.png", canvas.png_bytes(figure))
                drawn[kind.key] = canvas.svg_text(figure)
                write_whole(folder / f"{name}.svg", drawn[kind.key].encode("utf-8"))
                canvas.release(figure)
        gc.collect(0)
    finally:
        if collecting:
            gc.enable()
    return drawn


def draw_charts(
    data: ReportData, folder: Path, workers: int = 1, beside: Callable[[], object] | None = None
) -> dict[tuple[str, str], str]:
    """Draw every chart of every well into ``folder`` as ``<chart>-<well>.png`` and ``.svg``.

    beside: called once, in this process, while workers draw. Returns SVG texts by (chart key, well id) of the
    wells on the page. Same tables, same bytes (for one version of Matplotlib), whatever the number of worker processes.
    """
    folder.mkdir(parents=True, exist_ok=True)
    tasks = [(well, first) for well in data.wells for first in range(_SHARES)]
    drawn: dict[tuple[str, str], str] = {}
    shown = set(data.wells[:MOST_WELLS])  # the texts of all wells would fill the memory
    for (well, _), made in run_tasks(_draw, (data, folder), tasks, workers):
        if well in shown:
            drawn |= {(key, well): svg for key, svg in made.items()}
        if beside is not None:
            beside()
            beside = None
    if beside is not None:
        beside()
    return drawn
