"""The tables of a well, each beside the function that makes its rows.

A well's trials are read from disk once and summed up; decisions, job, drivers and evidence follow from them and from
the few model runs that need more. Wells are independent of each other, so that they may be done side by side. The
columns of the tables stand in :mod:`refracmc.reporting.columns`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.well_strategies import NOTHING, Strategy
from refracmc.decisions import compare, drivers, trigger_tables
from refracmc.decisions.input_tables import cleaning_rows, uptime_rows
from refracmc.decisions.job_report import dated, timeline_rows, typical_row
from refracmc.decisions.job_tables import failures, parts_of, pressure_rows, sleeve_map, stress_state
from refracmc.decisions.production import production_columns, year_starts
from refracmc.decisions.reach_table import reach_rows
from refracmc.decisions.turning_points import turning_rows
from refracmc.decisions.verdict_rule import verdict_row
from refracmc.engine.draws import draw
from refracmc.engine.plan import WellPlan
from refracmc.engine.summary import PERCENTS_OF, STATISTICS, WellSummary, summarise_well, summary_columns
from refracmc.engine.trials import RECOVERY, RESPONDED, WellResults, input_names, read_results
from refracmc.engine.volumes import PHASES, branch_volumes
from refracmc.job.cost import COST_PARTS
from refracmc.sampling.estimators import mean_with_error

Array = NDArray[np.float64]
Rows = list[dict[str, Any]] | dict[str, Any]
"""Rows of a table, or its columns."""
FAN_BLOCKS = 2
"""Blocks whose trials draw the monthly production fan."""


@dataclass(frozen=True, eq=False)
class SummedWell:
    """A well with its trials summed up: what the rows of its tables are made from."""

    plan: WellPlan
    trials: WellResults
    summary: WellSummary

    @cached_property
    def results(self) -> compare.Results:
        """The trials as the comparison reads them."""
        plan, found = self.plan, self.trials
        triple = [STATISTICS.index(name) for name in ("p90", "p50", "p10")]
        known = {
            name: np.concatenate([self.summary.percentiles[name], self.summary.of(name)[:, triple]], axis=1)
            for name in PERCENTS_OF
        }
        return compare.Results(
            plan.id,
            plan.names,
            (NOTHING, *(s.order_and_size for s in plan.strategies)),
            ("", *(s.date for s in plan.strategies)),
            found.measures,
            trigger_tables.months_of(plan, found.sizes, found.measures["executed"]),
            units.month_number(plan.case.valuation.date),
            known,
            plan.well.settings.decision.tail_weight,
            plan.case.valuation.cvar_tail_fraction,
        )

    def error_of(self, values: Array) -> tuple[float, float]:
        """Mean of values (n,) and its standard error by the run's design."""
        got = mean_with_error(values, self.trials.sizes, self.plan.case.sampling.design)
        return float(got.value), float(got.se)

    @cached_property
    def best(self) -> Strategy:
        """The refrac that is worth most."""
        return self.plan.strategies[self.results.best - 1]

    @cached_property
    def verdict(self) -> dict[str, Any]:
        """The row of the table of verdicts."""
        asked = self.plan.well.settings.decision
        return verdict_row(self.results, self.error_of, asked)

    @property
    def mean_cost(self) -> float:
        """Mean cost of the jobs of the best refrac that are carried out [US$]; 0 for none."""
        found, best = self.trials.measures, self.results.best
        done = float(found["executed"][best].sum())
        return float(found["job_cost"][best].sum()) / done if done else 0.0

    @cached_property
    def second(self) -> Strategy | None:
        """The refrac with the next highest, None where there is only one."""
        row = self.results.runner_up
        return None if row is None else self.plan.strategies[row - 1]

    @cached_property
    def draws(self) -> list[dict[str, Array]]:
        """Draws of the first blocks: the first for the job, all for the production fan."""
        return [draw(self.plan, block, size) for block, size in enumerate(self.trials.sizes[:FAN_BLOCKS])]

    @cached_property
    def volumes(self) -> tuple[Array, Array]:
        """Volumes of the trials of the fan, left alone and with the best refrac: the main phase by month (2, n, T), bbl
        or Mcf, and all of PHASES by calendar year (2, 3, Y, n)."""
        starts = year_starts(self.plan.case.valuation.date, self.plan.horizon)
        monthly: list[Array] = []
        yearly: list[Array] = []
        for draws in self.draws:
            branches = branch_volumes(self.plan, draws, self.best)
            monthly.append(np.stack([branch[self.plan.well.main_phase] for branch in branches]))
            sums = [[np.add.reduceat(branch[p], starts, axis=1).T for p in PHASES] for branch in branches]
            yearly.append(np.array(sums))
        return np.concatenate(monthly, axis=1), np.concatenate(yearly, axis=3)

    @cached_property
    def shown_trial(self) -> int | None:
        """The trial of the first block whose job is shown as an example."""
        return typical_row(self.results.of_jobs("job_days", self.results.best), self.trials.sizes[0])

    @cached_property
    def shown_job(self) -> tuple[WellPlan, Strategy]:
        """The best refrac at its date in that trial, and the plan that knows it."""
        if self.shown_trial is None:
            return self.plan, self.best
        plan, _, strategy = dated(self.plan, self.draws[0], self.best, self.shown_trial)
        return plan, strategy

    @cached_property
    def orders(self) -> list[Strategy]:
        """Each order, in every size, at its own best date."""
        return _one_of_each(self.plan, self.results)

    @cached_property
    def job_parts(self) -> tuple[Rows, Rows, dict[str, Array], dict[str, Array]]:
        """As `job_tables.parts_of`."""
        return parts_of(self.shown_job[0], self.draws[0], self.orders)


TABLE_ROWS: Mapping[str, Callable[[SummedWell], Rows]] = {
    "summary": lambda well: summary_columns(well.plan, well.summary),
    "decision": lambda well: [
        compare.decision(well.results, well.error_of, well.plan.case.valuation.cvar_tail_fraction)
    ],
    "verdicts": lambda well: [well.verdict],
    "turning_points": lambda well: turning_rows(
        well.plan, well.best, well.verdict, well.trials.sizes, well.mean_cost
    ),
    "distribution": lambda well: compare.distribution(well.results),
    "timing": lambda well: compare.timing(well.results, well.error_of),
    "triggers": lambda well: trigger_tables.value_rows(well.results, well.error_of),
    "trigger_months": lambda well: trigger_tables.month_rows(well.results),
    "orders": lambda well: compare.orders_at_best_date(well.results, well.error_of, _shifts(well.plan)),
    "production": lambda well: production_columns(well.trials, well.volumes[0], well.best),
    "uptime": lambda well: uptime_rows(well.plan),
    "cost": lambda well: _cost_rows(well.trials, well.results.best),
    "timeline": lambda well: timeline_rows(well.plan, well.draws[0], well.best, well.shown_trial),
    "job_parts": lambda well: well.job_parts[0],
    "job_spread": lambda well: well.job_parts[1],
    "sleeve_map": lambda well: _sleeve_map(well),
    "stress_state": lambda well: stress_state(
        well.shown_job[0], well.draws[0], well.orders, well.job_parts[2]
    ),
    "failures": lambda well: failures(*_shown(well), well.job_parts[3]),
    "pressure": lambda well: pressure_rows(well.shown_job[0], well.draws[0]),
    "reach": lambda well: reach_rows(well.shown_job[0], well.draws[0]),
    "drivers": lambda well: drivers.driver_rows(well.plan, well.best, well.second),
    "tornado": lambda well: _tornado(well),
    "cleaning": lambda well: cleaning_rows(well.plan),
}
"""Table -> the function that makes its rows."""
OF_TRIALS = (
    "summary",
    "decision",
    "verdicts",
    "distribution",
    "timing",
    "triggers",
    "trigger_months",
    "orders",
)
"""Tables that follow from the trials of a run alone."""


def sum_up(plan: WellPlan, folder: Path, sizes: list[int]) -> SummedWell:
    """Read the trials of a well and sum them up; sizes: trials of each block. RunFailure where a block is damaged."""
    trials = read_results(plan, folder, sizes)
    tail = plan.case.valuation.cvar_tail_fraction
    return SummedWell(plan, trials, summarise_well(trials.measures, sizes, plan.case.sampling.design, tail))


def tables_of(well: SummedWell, keys: Collection[str] = TABLE_ROWS.keys()) -> dict[str, Rows]:
    """Rows, or columns, of all tables of a well that have any, or of some of them."""
    made = {key: rows(well) for key, rows in TABLE_ROWS.items() if key in keys}
    return {key: rows for key, rows in made.items() if len(rows)}


def _shifts(plan: WellPlan) -> dict[str, int]:
    """Planned sleeve shifts of each order and method, in every size."""
    shifts = {name: made.job.shifts for name, made in plan.orders.items()} | dict.fromkeys(plan.methods, 0)
    return {strategy.order_and_size: shifts[strategy.order] for strategy in plan.strategies}


def _shown(well: SummedWell) -> tuple[WellPlan, dict[str, Array], Strategy]:
    plan, strategy = well.shown_job
    return plan, well.draws[0], strategy


def _sleeve_map(well: SummedWell) -> Rows:
    return [] if well.shown_trial is None else sleeve_map(*_shown(well), well.shown_trial)


def _one_of_each(plan: WellPlan, results: compare.Results) -> list[Strategy]:
    """Each order at its own best date."""
    worths = results.worths
    chosen: dict[str, int] = {}
    for k, strategy in enumerate(plan.dated):
        job = strategy.order_and_size
        if job not in chosen or worths[1 + k] > worths[1 + chosen[job]]:
            chosen[job] = k
    return [plan.dated[k] for k in chosen.values()]


def _cost_rows(found: WellResults, best: int) -> list[dict[str, Any]]:
    """Mean cost by part of the jobs that are done."""
    n = max(float(found.measures["executed"][best].sum()), 1.0)
    rows = []
    totals = {name: float(found.parts[name][best - 1, 0]) / n for name in COST_PARTS}
    whole = sum(totals.values()) or 1.0
    for name in COST_PARTS:
        second = found.parts[name][best - 1, 1]
        variance = max(float(second) / n - totals[name] ** 2, 0.0)
        se = float(np.sqrt(variance / n))
        if totals[name] > 0.0:
            rows.append(
                {
                    "well": found.plan.id,
                    "strategy": found.plan.names[best],
                    "part": name,
                    "mean_usd": totals[name],
                    "se_usd": se,
                    "share": totals[name] / whole,
                }
            )
    return rows


def _tornado(well: SummedWell) -> Rows:
    """Conditional means of the incremental NPV over low and high fifths of every uncertain input."""
    plan, found = well.plan, well.trials
    unit_of = {variable.name: variable.unit for variable in plan.variables}
    unit_of[RESPONDED] = "1 or 0"
    unit_of[RECOVERY] = "bbl" if plan.well.main_phase == "oil" else "Mcf"
    inputs = ((name, found.inputs[k]) for k, name in enumerate(input_names(plan)))
    rows = drivers.tornado(found.measures["incremental_npv"][well.results.best], inputs)
    return [
        {"well": plan.id, "strategy": well.best.name, "unit": unit_of[row["input"]], **row} for row in rows
    ]
