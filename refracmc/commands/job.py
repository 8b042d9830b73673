"""The coiled-tubing job per strategy: planned steps, days and cost, without valuing it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from refracmc.case import units
from refracmc.case.load import load_case
from refracmc.case.well_strategies import well_reach_ft
from refracmc.commands.chosen_well import plan_of, well_of
from refracmc.commands.job_text import job_text
from refracmc.commands.output_folders import check_folder
from refracmc.decisions.job_report import COUNTS, UNITS, StrategyJobs, simulate_all
from refracmc.decisions.planned_orders import order_rows
from refracmc.engine.plan import WellPlan
from refracmc.errors import Fault, InputError
from refracmc.sampling.estimators import summarise
from refracmc.sampling.streams import blocks_of

CAUTION = (
    "Screening, not a job design: pressure, coiled-tubing work and well control defer to local codes, the "
    "operator's procedures and licensed engineers."
)


@dataclass(frozen=True)
class JobReport:
    """Jobs of a case as plain data (`content` has the keys that `refracmc explain json` lists), the wells refused, and
    the folder written, None where nothing was to be written."""

    content: dict[str, Any]
    refused: dict[str, tuple[Fault, ...]]
    folder: Path | None = None

    def json(self) -> str:
        """The report as JSON."""
        return json.dumps(self.content, indent=2, allow_nan=False)

    def text(self, steps: bool = False) -> str:
        """The report for a reader: a page a well; steps: with every step and every strategy."""
        return job_text(self.content, steps)


def _statistics(values: Any, sizes: list[int], design: str) -> dict[str, float | None]:
    rows = np.asarray(values, dtype=float)[None, :]
    found = summarise(rows, sizes, design)
    keys = ("mean", "se", *(f"{name}{end}" for name in ("p90", "p50", "p10") for end in ("", "_se")))
    got = {key: float(found[key][0]) for key in keys}
    return {key: (None if np.isnan(value) else value) for key, value in got.items()}


def _well_jobs(plan: WellPlan, jobs: Sequence[StrategyJobs]) -> dict[str, Any]:
    sizes, design = blocks_of(plan.case.sampling.trials), plan.case.sampling.design
    start = units.month_number(plan.case.valuation.date)
    strategies = []
    for made in jobs:
        told = {
            name: _statistics(made.columns[name], sizes, design) for name in UNITS if name in made.columns
        }
        strategies.append(
            {
                "strategy": made.strategy.name,
                "order": made.strategy.order_and_size,
                "date": made.month(start),
                "started_fraction": made.started_share,
                **{name: told[name] for name in ("days", "cost_usd", "stages_effective_fraction")},
                "called_off_fraction": told["called_off"]["mean"],
                "well_lost_fraction": told["well_lost"]["mean"],
                "mean_counts": {name: told[name]["mean"] for name in COUNTS},
                "mean_days_by_kind": made.mean_days,
                "mean_cost_parts_usd": {
                    name: None if np.isnan(values).all() else float(np.nanmean(values))
                    for name, values in made.parts.items()
                },
            }
        )
    return {
        "well": plan.id,
        "sleeves": plan.well.tally.count,
        "sleeves_beyond_reach": int((~plan.well.tally.reachable(well_reach_ft(plan.well))).sum()),
        "close_policy": plan.well.settings.strategies.close_policy,
        "reclose_habit": plan.well.settings.strategies.reclose_habit,
        "leaking_sleeve": plan.well.settings.strategies.leaking_sleeve,
        "orders": order_rows(plan),
        "strategies": strategies,
    }


def plan_job(
    path: str | Path,
    *,
    trials: int | None = None,
    seed: int | None = None,
    well: str | None = None,
    out: str | Path | None = None,
    workers: int = 1,
) -> JobReport:
    """Plan and simulate the job of every strategy, without its value; writes OUT/<case name>/job/ if told where.

    well: one well only. workers: processes that draw the charts. Raises InputError where the case, or every well
    asked for, is refused.
    """
    case = load_case(path).with_sampling(trials, seed)
    refused = dict(case.refused) if well is None else {}
    wells = []
    folder = None if out is None else Path(out) / case.name / "job"
    names = [w.id for w in case.wells] if well is None else [well]
    for name in names:
        if well is not None:
            well_of(case, name)
        if folder is not None and out is not None:
            from refracmc.commands.job_outputs import well_folder

            check_folder(folder / well_folder(case, name), Path(out))
        try:
            plan = plan_of(case, name)
            jobs = simulate_all(plan)
            wells.append(_well_jobs(plan, jobs))
            if folder is not None:
                from refracmc.commands.job_outputs import write_job

                write_job(case, plan, jobs, folder / well_folder(case, name), workers)
        except InputError as error:
            if len(names) == 1:
                raise
            refused[name] = error.faults
    if not wells:
        raise InputError([fault for faults in refused.values() for fault in faults])
    content = {
        "case": case.name,
        "trials": case.sampling.trials,
        "seed": case.sampling.seed,
        "percentiles": "exceedance: P90 low, P10 high",
        "caution": CAUTION,
        "wells": wells,
    }
    return JobReport(content, refused, folder)
