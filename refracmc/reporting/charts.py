"""The charts of a report: one record each, and how they are drawn into files, from the checked tables only.

A chart is added by adding a :class:`Chart` to :data:`CHARTS`; the page shows it with the tables that follow it.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from matplotlib.figure import Figure

from refracmc.engine.executors import run_tasks
from refracmc.reporting import (
    charts_dates,
    charts_days_cost,
    charts_drivers,
    charts_production,
    charts_reach,
    charts_scenarios,
    charts_sleeves,
    charts_timeline,
    charts_value,
)
from refracmc.reporting.files import file_stems
from refracmc.reporting.page import DrawnChart
from refracmc.reporting.pictures import png_bytes, svg_text
from refracmc.reporting.style import drawing
from refracmc.reporting.tables import ReportData
from refracmc.whole_file import write_whole


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart of a well: key (part of the file name), what it shows, and the drawing function.

    The function takes the checked tables and the well's id; it computes nothing but places on the paper, and
    returns None where the tables have no rows for the well.
    """

    key: str
    caption: str
    draw: Callable[[ReportData, str], Figure | None]


CHARTS: tuple[Chart, ...] = (
    Chart(
        "distribution",
        "Share of trials above a value: further right is better; the height where a curve of incremental NPV "
        "meets zero is the chance that the refrac beats doing nothing.",
        charts_value.distribution,
    ),
    Chart(
        "scenarios",
        "The best refrac in the case as it stands and under each of its scenarios, on the same trials; only with "
        "scenarios.",
        charts_scenarios.scenarios,
    ),
    Chart(
        "dates",
        "Value against the month in which the job starts; doing nothing is the line at zero. The lower panel "
        "shows the same means on a scale on which dates and orders can be told apart.",
        charts_dates.dates,
    ),
    Chart(
        "strategies",
        "NPV of all strategies over the band of doing nothing; dates run from left to right in each block.",
        charts_value.strategies,
    ),
    Chart(
        "orders",
        "What the stage order changes: value, days, cost and the share of stages effectively treated.",
        charts_value.orders,
    ),
    Chart(
        "production",
        "Monthly volume on a log scale: history, then the mean and P90 to P10 with and without the refrac.",
        charts_production.production,
    ),
    Chart("cost", "How the mean cost of the job builds up, largest part first.", charts_days_cost.best_cost),
    Chart(
        "timeline",
        "Where the coiled tubing is and what it does, as planned and in one simulated trial.",
        charts_timeline.timeline,
    ),
    Chart(
        "sleeves",
        "What every sleeve is, hour by hour, in the simulated trial of the timeline.",
        charts_sleeves.sleeve_map,
    ),
    Chart(
        "spread",
        "Days and cost of each order: the mean built up from its parts, and the spread of the trials.",
        charts_days_cost.by_order,
    ),
    Chart(
        "stress",
        "How far the stages placed so far lower the horizontal stress contrast along the lateral, and what each stage "
        "meets when it is pumped: the same sum in any order, met by other stages.",
        charts_sleeves.stress_state,
    ),
    Chart(
        "failures",
        "What one failed shift costs by the sleeve it happens at, with its chance and if it happens.",
        charts_sleeves.failures,
    ),
    Chart(
        "reach",
        "Push and pull at the tool by depth against the force a sleeve needs, and the share of trials in which it is "
        "enough: a screen.",
        charts_reach.reach,
    ),
    Chart(
        "drivers",
        "Which groups of inputs the variance comes from, alone and with their interactions.",
        charts_drivers.drivers,
    ),
    Chart(
        "tornado",
        "How far the mean value lies from that of all trials where one input is low or high.",
        charts_drivers.tornado,
    ),
)


_SHARES = 3
"""Parts into which the charts of a well are cut for worker processes."""


def write_pictures(figure: Figure, stem: Path) -> str:
    """Write a figure as STEM.png and STEM.svg, each whole or not at all; returns the SVG text."""
    svg = svg_text(figure)
    write_whole(stem.with_name(f"{stem.name}.png"), png_bytes(figure))
    write_whole(stem.with_name(f"{stem.name}.svg"), svg.encode("utf-8"))
    return svg


def draw_some(charts: Iterable[Chart], data: ReportData, well: str, folder: Path, end: str) -> dict[str, str]:
    """Draw charts of a well into ``folder`` as ``<chart>-<end>.png`` and ``.svg`` (no end: ``<chart>``).

    Returns the SVG texts by chart key, in order, without charts that had nothing to show.
    """
    drawn: dict[str, str] = {}
    collecting = gc.isenabled()
    gc.disable()  # figures are full of cycles: collect the young ones once, at the end
    try:
        with drawing():
            for chart in charts:
                figure = chart.draw(data, well)
                if figure is not None:
                    drawn[chart.key] = write_pictures(figure, folder / f"{chart.key}{end and '-'}{end}")
        gc.collect(0)
    finally:
        if collecting:
            gc.enable()
    return drawn


def _draw_share(state: tuple[ReportData, Path], task: tuple[str, int]) -> dict[str, str]:
    """Draw every third chart of one well, beginning with a given one; returns SVG texts by chart key."""
    data, folder = state
    well, first = task
    return draw_some(CHARTS[first::_SHARES], data, well, folder, file_stems(data.wells)[well])


def draw_charts(
    data: ReportData, folder: Path, workers: int = 1, beside: Callable[[], object] | None = None
) -> Mapping[str, tuple[DrawnChart, ...]]:
    """Draw every chart of every well into ``folder`` as ``<chart>-<well>.png`` and ``.svg``.

    beside: called once, in this process, while workers draw. Returns all charts by well id.
    Same tables, same bytes (for one version of Matplotlib), whatever the number of worker processes.
    """
    folder.mkdir(parents=True, exist_ok=True)
    tasks = [(well, first) for well in data.wells for first in range(_SHARES)]
    texts: dict[str, dict[str, str]] = {well: {} for well in data.wells}
    for (well, _), drawn in run_tasks(_draw_share, (data, folder), tasks, workers):
        texts[well] |= drawn
        if beside is not None:
            beside()
            beside = None
    if beside is not None:
        beside()
    return {well: _on_the_page(svg) for well, svg in texts.items()}


def _on_the_page(svg: Mapping[str, str]) -> tuple[DrawnChart, ...]:
    """All charts of a well from their SVG texts by key."""
    return tuple(DrawnChart(chart.key, chart.caption, svg.get(chart.key, "")) for chart in CHARTS)


def draw_well(data: ReportData, well: str, folder: Path) -> tuple[DrawnChart, ...]:
    """Draw every chart of one well into ``folder``, as `draw_charts` does; figures are let go of share by share."""
    texts: dict[str, str] = {}
    for first in range(_SHARES):
        texts |= _draw_share((data, folder), (well, first))
    return _on_the_page(texts)
