"""From the blocks of a case to what its reader gets: tables well by well, the report's data, the page and the files.

Loaded while the workers are at the blocks: the libraries that tables need take a second to import.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import SALib.analyze.sobol  # noqa: F401  (the workers that make the tables inherit it)

from refracmc.case.validated_case import Case
from refracmc.commands.run_facts import notes_of, run_facts
from refracmc.decisions.input_tables import input_rows
from refracmc.decisions.well_tables import well_tables
from refracmc.engine.block_model import forget_streams
from refracmc.engine.executors import run_tasks
from refracmc.engine.progress import Silent
from refracmc.engine.stored_plans import StoredPlans
from refracmc.errors import Fault
from refracmc.reporting.columns import TABLES
from refracmc.reporting.report import write_report
from refracmc.reporting.tables import ReportData, checked_tables, report_data_by_well
from refracmc.reporting.tables_by_well import Part, TablesByWell, frame_of
from refracmc.reporting.trial_files import write_trials
from refracmc.reporting.verdicts import verdict

__all__ = ["report_data", "tables_of_wells", "verdicts", "write_report", "write_trials"]


def _tables_of_well(state: tuple[StoredPlans, Path, list[int]], index: int) -> Part:
    """The checked tables of one well."""
    plans, folder, sizes = state
    plan = plans[index]
    forget_streams()  # those of another well
    made = well_tables(plan, folder, sizes)
    return checked_tables({key: _columns(rows) for key, rows in made.items()}, {plan.id})


def _columns(rows: Any) -> dict[str, Any]:
    """A table by its columns, made of rows where it has those."""
    return {name: [row[name] for row in rows] for name in rows[0]} if isinstance(rows, list) else rows


def tables_of_wells(
    plans: StoredPlans, folder: Path, sizes: list[int], workers: int, progress: Silent
) -> dict[str, Part]:
    """Tables of every well, by well id in the order of the case; sizes: trials of each block."""
    made: dict[int, Part] = {}
    for index, part in run_tasks(_tables_of_well, (plans, folder, sizes), range(len(plans)), workers):
        made[index] = part
        progress.step()
    return {plan.id: made[index] for index, plan in enumerate(plans.outlines)}


def report_data(
    case: Case,
    plans: StoredPlans,
    refused: dict[str, tuple[Fault, ...]],
    tables: Mapping[str, Part],
    sizes: list[int],
) -> ReportData:
    """What the page, the charts and the files of tables are made of. tables: of every well, by its id."""
    inputs = checked_tables({"inputs": _columns(input_rows(case, plans.outlines))}, set(tables))["inputs"]
    whole = {"inputs": frame_of(TABLES["inputs"], inputs)}
    facts = run_facts(case, sizes, refused, tuple(notes_of(case, plans)))
    strategies = {plan.id: plan.names for plan in plans.outlines}
    return report_data_by_well(facts, TablesByWell(tables, whole), strategies)


def verdicts(data: ReportData) -> list[str]:
    """The decision on every well in words."""
    said = [verdict(data, well) for well in data.wells]
    return [f"{v.headline}. {' '.join(v.paragraphs)}" for v in said]
