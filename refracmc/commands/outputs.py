"""What a finished run leaves in its folder: tidy tables, charts, the page, and the trials where asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from refracmc import __version__
from refracmc.case.validated_case import Case
from refracmc.decisions.drivers import Samples
from refracmc.decisions.gather import (
    DRIVER_BLOCKS,
    FAN_BLOCKS,
    driver_rows,
    gather_well,
    input_rows,
    leading,
    sample_drivers,
)
from refracmc.engine.block_model import forget_streams
from refracmc.engine.draws import PROCESSES, draw
from refracmc.engine.executors import run_tasks
from refracmc.engine.plan import Strategy, WellOutline, WellPlan
from refracmc.engine.progress import Silent
from refracmc.engine.trials import stored_measures
from refracmc.engine.wells import StoredPlans
from refracmc.errors import Fault
from refracmc.measures import PER_TRIAL
from refracmc.reporting.columns import TABLES
from refracmc.reporting.report import write_report
from refracmc.reporting.row_files import GROUP_ROWS, ParquetRows
from refracmc.reporting.stored_tables import Piece, StoredTables, write_piece
from refracmc.reporting.tables import ReportData, RunFacts, checked_tables, stored_report_data
from refracmc.reporting.verdicts import verdict
from refracmc.sampling.streams import BLOCK_SIZE

_TABLES = -1
_Leading = tuple[Strategy, Strategy | None]


def keep_summary(plan: WellOutline, summary: pd.DataFrame, folder: Path) -> tuple[_Leading, Piece]:
    """Keep the summary of a well in the work folder; returns its two best refracs too."""
    made = checked_tables({"summary": summary}, {plan.id})
    return leading(plan, summary), write_piece(folder, f"well{plan.number:04d}.summary", made)


def _gather_task(
    state: tuple[StoredPlans, Path, list[int], list[_Leading]], task: tuple[int, int]
) -> tuple[_Leading, Piece] | Samples:
    """The tables of a well, kept in the work folder, or its samples of one block for the drivers."""
    plans, folder, sizes, leaders = state
    index, block = task
    plan = plans[index]
    if block != _TABLES:
        return sample_drivers(plan, *leaders[index], block)
    forget_streams()  # a well's tasks follow each other
    made = gather_well(plan, folder, sizes)
    frames = {key: _frame(rows, key) for key, rows in made.tables.items() if len(rows)}
    tables = checked_tables(frames, {plan.id})
    return (made.best, made.second), write_piece(folder, f"well{plan.number:04d}.tables", tables)


def _gather(
    plans: StoredPlans,
    leaders: list[_Leading],
    folder: Path,
    sizes: list[int],
    workers: int,
    progress: Silent,
) -> list[tuple[Piece, Piece]]:
    """Where the tables of all wells are kept, and their drivers."""
    tasks = [(index, part) for index in range(len(plans)) for part in (_TABLES, *range(DRIVER_BLOCKS))]
    found_at: dict[int, Piece] = {}
    best: dict[int, _Leading] = {}
    samples: dict[int, dict[int, Samples]] = {}
    shares: dict[int, Piece] = {}

    def keep_drivers(index: int, blocks: dict[int, Samples]) -> None:
        plan = plans.outlines[index]
        rows = driver_rows(plan, [blocks[k] for k in range(DRIVER_BLOCKS)])
        tables = checked_tables({"drivers": _frame(rows, "drivers")} if rows else {}, {plan.id})
        shares[index] = write_piece(folder, f"well{plan.number:04d}.drivers", tables)

    for (index, block), found in run_tasks(_gather_task, (plans, folder, sizes, leaders), tasks, workers):
        if isinstance(found, tuple):
            best[index], found_at[index] = found
            progress.step()
            continue
        samples.setdefault(index, {})[block] = found
        if len(samples[index]) == DRIVER_BLOCKS:  # here, beside the workers, which need not load SALib
            keep_drivers(index, samples.pop(index))
    for index, known in enumerate(leaders):
        if best[index] != known:  # means that differ by rounding alone
            again = range(DRIVER_BLOCKS)
            keep_drivers(index, {k: sample_drivers(plans[index], *best[index], k) for k in again})
    return [(found_at[index], shares[index]) for index in range(len(plans))]


def _frame(rows: Any, key: str) -> pd.DataFrame:
    columns = list(TABLES[key].names)
    return pd.DataFrame(rows, columns=columns) if isinstance(rows, list) else pd.DataFrame(rows)[columns]


def report_data(
    case: Case,
    plans: StoredPlans,
    refused: dict[str, tuple[Fault, ...]],
    pieces: Mapping[str, Sequence[Piece]],
    sizes: list[int],
) -> ReportData:
    """The tables of the report; pieces: where those of each well are kept, by well id."""
    inputs = input_rows(case, plans.outlines)[list(TABLES["inputs"].names)]
    whole = checked_tables({"inputs": inputs}, set(pieces))
    notes = _terms(case, plans.outlines)
    for plan, fit in zip(plans.outlines, plans.fits, strict=True):
        if fit is not None:
            notes += [f"{plan.id}: fit: {flag}" for flag in fit.diagnostics.get("flags", [])]
    strategies = {plan.id: plan.names for plan in plans.outlines}
    facts = run_facts(case, sizes, refused, tuple(notes))
    return stored_report_data(facts, StoredTables(pieces, whole), strategies)


def run_facts(
    case: Case, sizes: list[int], refused: dict[str, tuple[Fault, ...]], notes: tuple[str, ...] = ()
) -> RunFacts:
    """What was run; sizes: trials of each block."""
    return RunFacts(
        name=case.name,
        title=case.title,
        data_status=case.data_status,
        trials=case.sampling.trials,
        seed=case.sampling.seed,
        design=case.sampling.design,
        valuation_month=case.valuation.date,
        horizon_months=case.valuation.horizon_months,
        annual_discount_rate=case.valuation.annual_discount_rate,
        terms=case.valuation.terms,
        income_tax=case.fiscal.income_tax is not None,
        price_model=case.prices.model,
        cvar_tail_fraction=case.valuation.cvar_tail_fraction,
        blocks=len(sizes),
        version=__version__,
        refused=tuple(
            (well, "; ".join(str(fault) for fault in faults)) for well, faults in sorted(refused.items())
        ),
        notes=notes,
        fan_trials=sum(sizes[:FAN_BLOCKS]),
        driver_trials=DRIVER_BLOCKS * BLOCK_SIZE,
    )


def _terms(case: Case, plans: Sequence[WellOutline]) -> list[str]:
    """What a reader of the page must know of prices, interests, taxes, the lease and the sleeves."""
    oil, gas = case.deck.monthly(case.valuation.date, case.valuation.horizon_months)
    middle, last = len(oil) // 2, len(oil) - 1
    prices = case.prices
    text = (
        f"Price deck, month 1 / {middle + 1} / {last + 1}: oil {oil[0]:.2f} / {oil[middle]:.2f} / {oil[last]:.2f} "
        f"US$/bbl, gas {gas[0]:.2f} / {gas[middle]:.2f} / {gas[last]:.2f} US$/Mcf"
    )
    if prices.model in PROCESSES:
        text += (
            f"; prices of a trial move around it with volatilities of {prices.oil_annual_volatility:.0%} (oil) and "
            f"{prices.gas_annual_volatility:.0%} (gas) a year"
        )
    notes = [f"{text}."]
    for plan in plans:
        settings = plan.well.settings
        fiscal, interests = settings.fiscal, settings.interests
        states = {
            state: [str(k + 1) for k in np.flatnonzero(plan.well.tally.in_state(state))]
            for state in ("leaking", "stuck_open", "stuck_closed", "patched", "perforated")
        }
        odd = ", ".join(
            f"{state.replace('_', ' ')}: sleeve {' '.join(ks)}" for state, ks in states.items() if ks
        )
        notes.append(
            f"{plan.id}: NPV, capex and cash are net to a working interest of {interests.working:g} and a net revenue "
            f"interest of {interests.net_revenue:g}; job cost, days and EUR are at 100 %. Production taxes "
            f"{fiscal.severance_oil_fraction:.1%} oil, {fiscal.severance_gas_fraction:.1%} gas, ad valorem "
            f"{fiscal.ad_valorem_fraction:.1%}. A well past its limit is held up to "
            f"{settings.opex.lease_holding_months} months for a job; then the lease is lost and no job done. "
            f"Of its {plan.well.tally.count} sleeves on record, {odd or 'none is out of order'}."
        )
    return notes


def write_outputs(
    case: Case,
    plans: StoredPlans,
    refused: dict[str, tuple[Fault, ...]],
    summaries: list[tuple[_Leading, Piece]],
    folder: Path,
    sizes: list[int],
    keep_trials: bool,
    workers: int,
    progress: Silent,
) -> str:
    """Write everything of a run that is not a block file; returns the verdicts in words.

    summaries: what `keep_summary` found of each well.
    """
    progress.start(f"{case.name}: decisions", len(plans))
    found = _gather(plans, [leaders for leaders, _ in summaries], folder, sizes, workers, progress)
    pieces = {
        plan.id: (summary, *more)
        for plan, (_, summary), more in zip(plans.outlines, summaries, found, strict=True)
    }
    data = report_data(case, plans, refused, pieces, sizes)
    if keep_trials:
        write_trials(plans, folder, sizes)
    progress.note(f"{case.name}: charts and page")
    write_report(data, folder, charts=case.outputs.charts, workers=workers)
    said = [verdict(data, well) for well in data.wells]
    return "\n".join(f"{v.headline}. {v.value} {v.timing}" for v in said)


def write_trials(plans: Sequence[WellPlan], folder: Path, sizes: list[int]) -> None:
    """inputs.parquet (well, trial, one column an input) and results.parquet (well, strategy, trial, measures).

    Both are written as they are read, block by block and strategy by strategy.
    """
    _write_inputs(plans, folder, sizes)
    first = pd.DataFrame({"well": [""], "strategy": [""], "trial": np.arange(1)})
    for measure in PER_TRIAL:
        first[measure] = 0.0
    most = max(1, GROUP_ROWS // sizes[0])
    with ParquetRows(folder / "results.parquet", pa.Schema.from_pandas(first, preserve_index=False)) as rows:
        for plan in plans:
            found = stored_measures(plan, folder, sizes)
            for k, name in enumerate(plan.names):
                for block in range(0, len(sizes), most):
                    blocks = range(block, min(block + most, len(sizes)))
                    measures = {m: found[m].rows(k, k + 1, blocks)[0] for m in PER_TRIAL}
                    at = sum(sizes[:block])
                    trials = np.arange(at, at + measures["npv"].size)
                    rows.add(pd.DataFrame({"well": plan.id, "strategy": name, "trial": trials, **measures}))


def _write_inputs(plans: Sequence[WellPlan], folder: Path, sizes: list[int]) -> None:
    def columns(plan: WellPlan, block: int) -> dict[str, Any]:
        draws = draw(plan, block, sizes[block])
        return dict(sorted((name, values) for name, values in draws.items() if values.ndim == 1))

    names = dict.fromkeys(name for plan in plans for name in columns(plan, 0))
    first = pd.DataFrame({"well": [""], "trial": np.arange(1), **dict.fromkeys(names, 0.0)})
    with ParquetRows(folder / "inputs.parquet", pa.Schema.from_pandas(first, preserve_index=False)) as rows:
        for plan in plans:
            at = 0
            for block, size in enumerate(sizes):
                table = pd.DataFrame(
                    {"well": plan.id, "trial": np.arange(at, at + size), **columns(plan, block)}
                )
                rows.add(table.reindex(columns=first.columns))
                at += size
