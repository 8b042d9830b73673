"""What `refracmc job` leaves in a well's folder: its tables as CSV and Parquet, its charts as PNG and SVG."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from refracmc.case.validated_case import Case
from refracmc.commands.output_folders import make_folder
from refracmc.commands.run_facts import run_facts
from refracmc.decisions.job_report import StrategyJobs, report_tables
from refracmc.engine.plan import WellPlan
from refracmc.reporting.files import file_stems
from refracmc.reporting.job_charts import ORDER_CHARTS, WHOLE_CHARTS, draw_job
from refracmc.reporting.job_columns import ALL_TABLES
from refracmc.reporting.report import write_table
from refracmc.reporting.tables import ReportData, build_report_data
from refracmc.sampling.streams import blocks_of


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
        written += draw_job(data, folder, workers)
    keys = {*ALL_TABLES, *(chart.key for chart in (*WHOLE_CHARTS, *ORDER_CHARTS))}
    for path in folder.iterdir():
        ours = path.suffix in (".csv", ".parquet", ".png", ".svg") and path.stem.partition("-")[0] in keys
        if ours and path not in written:
            path.unlink()
    return sorted(written)
