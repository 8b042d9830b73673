"""What `refracmc job` leaves in a well's folder: its tables as CSV and Parquet, its charts as PNG and SVG."""

from __future__ import annotations

import gc
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from refracmc.case.validated_case import Case
from refracmc.commands.output_folders import make_folder
from refracmc.commands.outputs import run_facts
from refracmc.decisions.job_report import StrategyJobs, report_tables
from refracmc.engine.executors import run_tasks
from refracmc.engine.plan import WellPlan, blocks_of
from refracmc.reporting import canvas, style
from refracmc.reporting.charts import ChartKind
from refracmc.reporting.charts_plan import ORDER_CHARTS, WHOLE_CHARTS, of_strategy
from refracmc.reporting.files import file_stems, write_whole
from refracmc.reporting.job_columns import ALL_TABLES
from refracmc.reporting.page import write_table
from refracmc.reporting.tables import ReportData, build_report_data

_WHOLE = -1


def well_folder(case: Case, well: str) -> str:
    """Name of a well's folder, the same whether the call is for one well or for all."""
    return file_stems([*(w.id for w in case.wells), *case.refused])[well]


def job_data(case: Case, plan: WellPlan, jobs: Sequence[StrategyJobs]) -> ReportData:
    """The checked tables of one well's job."""
    tables = {
        key: pd.DataFrame(rows, columns=list(ALL_TABLES[key].names))
        for key, rows in report_tables(plan, jobs).items()
        if rows
    }
    return build_report_data(run_facts(case, blocks_of(case.sampling.trials), {}), tables, valued=False)


def _draw(state: tuple[ReportData, Path], order: int) -> list[str]:
    """Draw the charts of one order, or those of all orders together; returns the names of the files."""
    data, folder = state
    (well,) = data.wells
    strategies = list(dict.fromkeys(data.of_well("job_parts", well)["strategy"]))
    orders = [str(name).rpartition("@")[0] for name in strategies]
    kinds: tuple[ChartKind, ...] = WHOLE_CHARTS
    shown, end = data, ""
    if order != _WHOLE:
        kinds, shown = ORDER_CHARTS, of_strategy(data, strategies[order])
        end = f"-{file_stems(orders)[orders[order]]}"
    names = []
    with style.drawing():
        for kind in kinds:
            figure = kind.draw(shown, well)
            if figure is not None:
                write_whole(folder / f"{kind.key}{end}.png", canvas.png_bytes(figure))
                write_whole(folder / f"{kind.key}{end}.svg", canvas.svg_text(figure).encode("utf-8"))
                canvas.release(figure)
                names += [f"{kind.key}{end}.png", f"{kind.key}{end}.svg"]
    gc.collect(0)
    return names


def write_job(
    case: Case, plan: WellPlan, jobs: Sequence[StrategyJobs], folder: Path, workers: int = 1
) -> list[Path]:
    """Write tables and charts of one well's job into `folder`; returns the paths written.

    Every file is whole or not there. Charts and tables of an earlier call that this one has no place for (an
    order no longer in the case) are removed; other files stay. workers: processes that draw; the bytes are the same.
    """
    make_folder(folder)
    data = job_data(case, plan, jobs)
    written = [path for key, frame in data.tables.items() for path in write_table(frame, folder / key)]
    if case.outputs.charts:
        count = data.tables["job_parts"]["strategy"].nunique()
        for _, names in run_tasks(_draw, (data, folder), [_WHOLE, *range(count)], workers):
            written += [folder / name for name in names]
    keys = {*ALL_TABLES, *(kind.key for kind in (*WHOLE_CHARTS, *ORDER_CHARTS))}
    for path in folder.iterdir():
        ours = path.suffix in (".csv", ".parquet", ".png", ".svg") and path.stem.partition("-")[0] in keys
        if ours and path not in written:
            path.unlink()
    return sorted(written)
