"""From the blocks of a case to what its reader gets: tables well by well, the report's data, the page and the files.

Loaded while the workers are at the blocks: the libraries that tables need take a second to import.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

import SALib.analyze.sobol  # noqa: F401  (the workers that make the tables inherit it)

from refracmc.commands.run_facts import price_note, run_facts, well_notes
from refracmc.commands.run_parts import Run
from refracmc.decisions.input_tables import input_rows
from refracmc.decisions.sums_over_wells import SumsOverWells, WellShare, well_share
from refracmc.decisions.well_tables import TABLE_ROWS, sum_up, tables_of
from refracmc.engine.block_model import forget_streams
from refracmc.engine.executors import run_tasks
from refracmc.engine.stored_plans import StoredPlans
from refracmc.errors import Fault
from refracmc.reporting.columns import TABLES
from refracmc.reporting.page import MOST_WELLS
from refracmc.reporting.page_all_wells import advice
from refracmc.reporting.report import write_report, write_tables
from refracmc.reporting.tables import ReportData, checked_tables, report_data_by_well
from refracmc.reporting.tables_by_well import Part, TablesByWell, frame_of
from refracmc.reporting.trial_files import write_trials
from refracmc.reporting.verdicts import verdict

__all__ = [
    "extra_tables",
    "report_data",
    "tables_of_wells",
    "verdicts",
    "write_report",
    "write_tables",
    "write_trials",
]


Made = tuple[Part, WellShare | None]
"""Checked tables of a well, and what it brings to the sums over wells, of a case with several."""


def _tables_of_well(state: tuple[StoredPlans, Path, list[int], Collection[str]], index: int) -> Made:
    """One well."""
    plans, folder, sizes, keys = state
    plan = plans[index]
    forget_streams()  # those of another well
    well = sum_up(plan, folder, sizes)
    made = tables_of(well, keys)
    part = checked_tables({key: _columns(rows) for key, rows in made.items()}, {plan.id})
    return part, well_share(well) if len(plans) > 1 else None


def _columns(rows: Any) -> dict[str, Any]:
    """A table by its columns, made of rows where it has those."""
    return {name: [row[name] for row in rows] for name in rows[0]} if isinstance(rows, list) else rows


def tables_of_wells(
    run: Run, plans: StoredPlans, keys: Collection[str] = TABLE_ROWS.keys()
) -> tuple[dict[str, Part], Part]:
    """Tables of every well, by well id in the order of the case, and those over all wells, of a case with several.

    keys: which tables of a well. A well is added to the sums in its turn, and waits for it where it is done before.
    """
    case, sizes = run.case, run.sizes
    valuation = case.valuation
    run.progress.start(f"{run.name}: decisions", len(plans))
    sums = SumsOverWells(sizes, case.sampling.design, valuation.cvar_tail_fraction, valuation.date)
    made: dict[int, Part] = {}
    waiting: dict[int, WellShare] = {}
    added = 0
    for index, (part, share) in run_tasks(
        _tables_of_well, (plans, run.folder, sizes, keys), range(len(plans)), run.workers
    ):
        made[index] = part
        if share is not None:
            waiting[index] = share
        while added in waiting:
            sums.add(waiting.pop(added))
            added += 1
        run.progress.step()
    wells = {plan.id: made[index] for index, plan in enumerate(plans.outlines)}
    over = sums.tables() if added else {}
    return wells, extra_tables(over, wells)


def report_data(
    run: Run,
    plans: StoredPlans,
    refused: dict[str, tuple[Fault, ...]],
    tables: Mapping[str, Part],
    over_wells: Part,
) -> ReportData:
    """What the page, the charts and the files of tables are made of.

    tables: of every well, by its id; over_wells: tables over all wells.
    """
    case = run.case
    inputs = checked_tables({"inputs": _columns(input_rows(case, plans.outlines))}, set(tables))
    whole = {key: frame_of(TABLES[key], table) for key, table in {**inputs, **over_wells}.items()}
    facts = run_facts(case, run.sizes, refused, (price_note(case),), tuple(well_notes(plans)))
    strategies = {plan.id: plan.names for plan in plans.outlines}
    return report_data_by_well(facts, TablesByWell(tables, whole), strategies)


def extra_tables(tables: Mapping[str, Any], wells: Collection[str]) -> Part:
    """Further tables over wells from their rows, checked."""
    return checked_tables({key: _columns(rows) for key, rows in tables.items() if rows}, set(wells))


def verdicts(data: ReportData) -> list[str]:
    """The decision on every well in words; of many wells the headline of each, then what they come to together."""
    said = [verdict(data, well) for well in data.wells]
    if len(said) > MOST_WELLS:
        sums = advice(data)
        return [*(f"{v.headline}." for v in said), f"{sums.title}. {' '.join(sums.paragraphs)}"]
    return [f"{v.headline}. {' '.join(v.paragraphs)}" for v in said]
