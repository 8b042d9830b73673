"""The charts of `refracmc job`: those of all orders of a well together, and those of one order each."""

from __future__ import annotations

from pathlib import Path

from refracmc.engine.executors import run_tasks
from refracmc.reporting import charts_days_cost
from refracmc.reporting.captions import split_strategy
from refracmc.reporting.charts import CHARTS, Chart, draw_some
from refracmc.reporting.files import file_stems
from refracmc.reporting.tables import ReportData, build_report_data

_OF_RUN = {chart.key: chart for chart in CHARTS}
WHOLE_CHARTS = (
    Chart(
        "distributions", "Share of jobs above so many days and so much cost.", charts_days_cost.distributions
    ),
    *(_OF_RUN[key] for key in ("spread", "reach", "stress")),
)
"""Charts of all orders of a well together: <chart>.png and .svg."""
ORDER_CHARTS = (
    *(_OF_RUN[key] for key in ("timeline", "sleeves", "failures")),
    Chart("cost", "How the mean cost builds up.", charts_days_cost.job_cost),
)
"""Charts of one order at the first date: <chart>-<order>.png and .svg."""

_WHOLE = -1


def of_strategy(data: ReportData, strategy: str) -> ReportData:
    """The same tables with the rows of one strategy, where a table tells strategies apart."""
    tables = {
        key: frame[(frame["strategy"] == strategy).to_numpy(dtype=bool)] if "strategy" in frame else frame
        for key, frame in data.tables.items()
    }
    return build_report_data(
        data.facts, {key: frame for key, frame in tables.items() if len(frame)}, valued=False
    )


def _draw(state: tuple[ReportData, Path], order: int) -> list[str]:
    """Draw the charts of one order, or those of all orders together; returns the names of the files."""
    data, folder = state
    (well,) = data.wells
    charts, shown, end = WHOLE_CHARTS, data, ""
    if order != _WHOLE:
        strategies = list(dict.fromkeys(data.of_well("job_parts", well)["strategy"]))
        orders = [split_strategy(str(name))[0] for name in strategies]
        charts, shown = ORDER_CHARTS, of_strategy(data, strategies[order])
        end = file_stems(orders)[orders[order]]
    drawn = draw_some(charts, shown, well, folder, end)
    return [f"{key}{end and '-'}{end}.{kind}" for key in drawn for kind in ("png", "svg")]


def draw_job(data: ReportData, folder: Path, workers: int = 1) -> list[Path]:
    """Draw all charts of one well's job into ``folder``; returns the paths. Any number of workers, same bytes."""
    count = data.tables["job_parts"]["strategy"].nunique()
    tasks = [_WHOLE, *range(count)]
    return [folder / name for _, names in run_tasks(_draw, (data, folder), tasks, workers) for name in names]
