"""Everything `refracmc job` says of one well: planned steps, days, cost and counts of every strategy from all
trials, and the tables behind its charts. Nothing is valued."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.well_strategies import Strategy
from refracmc.decisions.compare import month_reached
from refracmc.decisions.job_tables import (
    day_parts,
    failures,
    parts_of,
    pressure_rows,
    sleeve_map,
    stress_state,
)
from refracmc.decisions.planned_orders import order_rows, step_rows
from refracmc.decisions.reach_table import reach_rows
from refracmc.engine.block_jobs import job_inputs, simulate_jobs
from refracmc.engine.block_model import model_block
from refracmc.engine.draws import draw
from refracmc.engine.money import service_index
from refracmc.engine.one_trial import at_its_date, planned_log, strategy_log
from refracmc.engine.plan import WellPlan
from refracmc.engine.sized_jobs import sized_draws
from refracmc.engine.triggers import trigger_months, triggered_job
from refracmc.job.results import JobResult
from refracmc.measures import USD_GROSS
from refracmc.sampling.estimators import quantile_with_error, summarise
from refracmc.sampling.streams import blocks_of

Array = NDArray[np.float64]
Rows = list[dict[str, Any]]
_Block = tuple[dict[str, Array], dict[str, Array], dict[str, Array], Any]
"""Columns, cost parts, days by part and months of a strategy in a block."""
COUNTS = (
    "close_failed",
    "open_failed",
    "reclose_failed",
    "reopen_failed",
    "tries",
    "trips",
    "screenouts",
    "treated",
)
"""Counts of a job that are told, by their names in `JobResult.counts`."""
UNITS = {
    "days": "days",
    "cost_usd": USD_GROSS,
    "stages_effective_fraction": "fraction",
    "called_off": "fraction",
    "well_lost": "fraction",
    "close_failed": "sleeves",
    "open_failed": "sleeves",
    "reclose_failed": "sleeves",
    "reopen_failed": "sleeves",
    "tries": "tries",
    "trips": "trips",
    "screenouts": "events",
    "treated": "stages",
}
"""What is told of every strategy and its unit, in the order of the table."""
SHARES = (95, 90, 80, 70, 60, 50, 40, 30, 20, 10, 5)
"""Exceedance percentages of the spread of days and cost."""


@dataclass(frozen=True, eq=False)
class StrategyJobs:
    """All trials of one strategy: columns (n,) by the names of `UNITS`, cost parts (n,) [US$, service-cost index
    included]. Where a trigger does not fire there is no job: NaN. mean_days: by kind of step, summing to the mean days,
    None where there is no job. months (n,): month of the job from the valuation month, -1 for none; None for a fixed
    date."""

    strategy: Strategy
    columns: dict[str, Array]
    parts: dict[str, Array]
    mean_days: dict[str, float | None]
    months: NDArray[np.intp] | None = None

    @property
    def started_share(self) -> float:
        """Share of trials in which the job starts [-]."""
        return 1.0 if self.months is None else float((self.months >= 0).mean())

    def month(self, start: int) -> str | None:
        """The month of the job, of a trigger the median one, YYYY-MM; None where it never fires. start: number of
        the valuation month."""
        return self.strategy.date if self.months is None else month_reached(self.months, start, 0.5)


def _columns(job: JobResult, cost: Array) -> dict[str, Array]:
    told = {
        "days": job.days,
        "cost_usd": cost,
        "stages_effective_fraction": job.stages_effective_share,
        "called_off": job.called_off,
        "well_lost": job.lost,
    }
    return {
        name: np.asarray(value, dtype=float) for name, value in (told | job.counts).items() if name in UNITS
    }


def _mean_days(blocks: Sequence[dict[str, Array]]) -> dict[str, float | None]:
    """Mean days by part over the trials with a job, None where there is none."""
    jobs = sum(int(np.isfinite(block["before"]).sum()) for block in blocks)
    return {
        name: float(sum(np.nansum(block[name]) for block in blocks)) / jobs if jobs else None
        for name in blocks[0]
    }


def simulate_all(plan: WellPlan) -> list[StrategyJobs]:
    """Every strategy of the well over all trials of the case, those of a trigger after those of a date."""
    blocks: dict[str, list[_Block]] = {}
    triggered = [strategy for strategy in plan.strategies if strategy.trigger is not None]
    for block, size in enumerate(blocks_of(plan.case.sampling.trials)):
        draws = draw(plan, block, size)
        index, inputs = service_index(plan, draws), job_inputs(plan, draws)
        lost_time = inputs.npt_fraction, inputs.waiting_days
        for strategy, job, cost, by_part in simulate_jobs(plan, draws, plan.dated):
            factor = index[strategy.month]
            made = {name: value * factor for name, value in by_part.items()}
            blocks.setdefault(strategy.name, []).append(
                (_columns(job, cost * factor), made, day_parts(plan, job, *lost_time), None)
            )
        if not triggered:
            continue
        model = model_block(plan, draws)
        months_of = {s.trigger.name: trigger_months(model, s.trigger) for s in triggered if s.trigger}
        for strategy in triggered:
            assert strategy.trigger is not None
            months = months_of[strategy.trigger.name]
            job, cost, by_part = triggered_job(plan, draws, strategy, months)
            by_trial = np.full(size, np.nan)
            for month in np.unique(months[months >= 0]):
                by_trial[months == month] = model.economics.service_index[int(month)][months == month]
            here = np.where(months >= 0, 1.0, np.nan)
            days = {name: value * here for name, value in day_parts(plan, job, *lost_time).items()}
            columns = {name: value * here for name, value in _columns(job, cost * by_trial).items()}
            made = {name: value * by_trial for name, value in by_part.items()}
            blocks.setdefault(strategy.name, []).append((columns, made, days, months))
    jobs = []
    for strategy in plan.strategies:
        found = blocks[strategy.name]
        jobs.append(
            StrategyJobs(
                strategy,
                {name: np.concatenate([columns[name] for columns, *_ in found]) for name in found[0][0]},
                {name: np.concatenate([parts[name] for _, parts, *_ in found]) for name in found[0][1]},
                _mean_days([days for _, _, days, _ in found]),
                None if strategy.trigger is None else np.concatenate([months for *_, months in found]),
            )
        )
    return jobs


def strategy_rows(plan: WellPlan, jobs: Sequence[StrategyJobs]) -> Rows:
    """Mean and percentiles, each with its standard error by the sampling design, of every measure."""
    sizes, design = blocks_of(plan.case.sampling.trials), plan.case.sampling.design
    start = units.month_number(plan.case.valuation.date)
    rows = []
    for made in jobs:
        names = [name for name in UNITS if name in made.columns]
        values = np.stack([made.columns[name] for name in names])
        found = summarise(values, sizes, design)
        for k, name in enumerate(names):
            rows.append(
                {
                    "well": plan.id,
                    "strategy": made.strategy.name,
                    "order": made.strategy.order_and_size,
                    "month": made.month(start),
                    "started_share": made.started_share,
                    "measure": name,
                    "unit": UNITS[name],
                    **{
                        key: float(found[key][k])
                        for key in ("mean", "se", "p90", "p90_se", "p50", "p50_se", "p10", "p10_se")
                    },
                }
            )
    return rows


def cost_rows(plan: WellPlan, jobs: Sequence[StrategyJobs]) -> Rows:
    """Mean cost by part with its standard error [US$ at 8/8] and share of the mean total [-]."""
    sizes, design = blocks_of(plan.case.sampling.trials), plan.case.sampling.design
    rows = []
    for made in jobs:
        found = summarise(np.stack(list(made.parts.values())), sizes, design)
        whole = float(np.nansum(found["mean"]))
        for k, part in enumerate(made.parts):
            mean = float(found["mean"][k])
            if mean > 0.0:
                rows.append(
                    {
                        "well": plan.id,
                        "strategy": made.strategy.name,
                        "part": part,
                        "mean_usd": mean,
                        "se_usd": float(found["se"][k]),
                        "share": mean / whole,
                    }
                )
    return rows


def spread_rows(plan: WellPlan, jobs: Sequence[StrategyJobs]) -> Rows:
    """Exceedance percentiles of days and cost with their standard errors."""
    sizes, design = blocks_of(plan.case.sampling.trials), plan.case.sampling.design
    rows = []
    for made in jobs:
        for measure, unit in (("days", "days"), ("cost_usd", USD_GROSS)):
            for percent in SHARES:
                found = quantile_with_error(made.columns[measure], 1.0 - percent / 100.0, sizes, design)
                rows.append(
                    {
                        "well": plan.id,
                        "strategy": made.strategy.name,
                        "order": made.strategy.order_and_size,
                        "measure": measure.removesuffix("_usd"),
                        "exceedance_percent": float(percent),
                        "unit": unit,
                        "value": float(found.value),
                        "se": float(found.se),
                    }
                )
    return rows


def shown(plan: WellPlan) -> list[Strategy]:
    """The strategies whose job is drawn: each order and method at the first date of the case."""
    first = plan.dated[0].date
    return [strategy for strategy in plan.dated if strategy.date == first]


def typical_row(days: Array, size: int) -> int | None:
    """The trial of the first block (size trials) whose days (n,) are nearest the median of all jobs; NaN: no job.
    None where the block has no job."""
    if np.isnan(days[:size]).all():
        return None
    return int(np.nanargmin(np.abs(days[:size] - np.nanmedian(days))))


def timeline_rows(plan: WellPlan, draws: dict[str, Array], strategy: Strategy, row: int | None) -> Rows:
    """Planned steps of a strategy, and the log of one trial (row of the first block, `draws`; None: no such trial)."""
    scenarios = [("planned", planned_log(plan, sized_draws(plan, draws, strategy.size), strategy.order))]
    if row is not None:
        scenarios.append(("typical", strategy_log(*dated(plan, draws, strategy, row), row)))
    return [
        {
            "well": plan.id,
            "strategy": strategy.name,
            "scenario": scenario,
            "step": step.step,
            "action": step.action,
            "sleeve": step.sleeve,
            "depth_ft": step.depth_ft,
            "start_hour": step.start_hour,
            "end_hour": step.start_hour + step.hours,
            "outcome": step.outcome,
        }
        for scenario, steps in scenarios
        for step in steps
    ]


def dated(
    plan: WellPlan, draws: dict[str, Array], strategy: Strategy, row: int
) -> tuple[WellPlan, dict[str, Array], Strategy]:
    """What a log needs of a strategy in one trial (row of the block) in which its job starts, at its date."""
    if strategy.trigger is None:
        return plan, draws, strategy
    knowing, fixed = at_its_date(plan, draws, strategy, row)
    assert fixed is not None
    return knowing, draws, replace(fixed, name=strategy.name)


def report_tables(plan: WellPlan, jobs: Sequence[StrategyJobs]) -> dict[str, Rows]:
    """All tables of `refracmc job` for one well, by key. Strategies, cost and percentiles come from all
    trials, the other spreads and shares from the first block of them; jobs: of `simulate_all`."""
    size = blocks_of(plan.case.sampling.trials)[0]
    draws = draw(plan, 0, size)
    chosen = shown(plan)
    by_name = {made.strategy.name: made for made in jobs}
    parts, spread, placed, failed = parts_of(plan, draws, chosen)
    tables: dict[str, Rows] = {
        "job_steps": step_rows(plan, order_rows(plan)),
        "job_strategies": strategy_rows(plan, jobs),
        "job_cost": cost_rows(plan, jobs),
        "job_percentiles": spread_rows(plan, jobs),
        "job_parts": parts,
        "job_spread": spread,
        "stress_state": stress_state(plan, draws, chosen, placed),
        "pressure": pressure_rows(plan, draws),
        "reach": reach_rows(plan, draws),
    }
    for strategy in chosen:
        row = typical_row(by_name[strategy.name].columns["days"], size)
        tables.setdefault("timeline", []).extend(timeline_rows(plan, draws, strategy, row))
        if row is not None:
            tables.setdefault("sleeve_map", []).extend(sleeve_map(plan, draws, strategy, row))
        tables.setdefault("failures", []).extend(failures(plan, draws, strategy, failed))
    return tables
