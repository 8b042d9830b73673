"""The jobs of a block: drawn values -> job of every strategy -> what response and cash flow need of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from refracmc.case.well_strategies import Strategy
from refracmc.job.arrays import Dates, Orders, Shifts, Trials, Well, ages_of, orders_of, trials_of, well_of
from refracmc.job.cost import COST_PARTS, CostRates, job_cost
from refracmc.job.inputs import JobInputs
from refracmc.job.luck import BlockLuck, prepare
from refracmc.job.methods import simulate_method
from refracmc.job.results import JobResult

from .block_model import _KEPT_TABLES, BlockModel, Draws
from .draws import job_luck
from .job_runs import EFFECTIVE, PRICED, RESULTS, run, simulate_dates
from .plan import WellPlan
from .sized_jobs import effect_of_size, sized_draws

Array = NDArray[np.float64]
Part = slice | NDArray[np.intp]
TOGETHER = 12
"""Strategies simulated together where each is wanted in full."""


@dataclass(frozen=True)
class JobOutcome:
    """What the rest of the model needs of a simulated job; every member is (n,), or (S, n) for several jobs."""

    days: Array
    cost: Array
    kept_share: Array
    effective_share: Array
    stages_effective: Array
    lost: NDArray[np.bool_]


def stress_terms(plan: WellPlan, draws: Draws) -> dict[str, Array | float]:
    """Terms of `stress_multiplier` beside what was placed; strengths of zero where stress is off."""
    stress = plan.well.settings.stress
    return {
        "residual_pressure": draws["stress.residual_pressure_psi"],
        "contrast0": draws["stress.horizontal_contrast_psi"],
        "effect_strength": draws["stress.effect_strength"] if stress.enabled else 0.0,
        "contrast_half": stress.contrast_half_psi,
        "contrast_scale": stress.contrast_scale_psi,
        "limit_strength": draws["stress.limit_strength"] if stress.enabled else 0.0,
        "pressure_limit": draws["stress.pressure_limit_psi"],
        "limit_scale": stress.limit_scale_psi,
    }


def job_inputs(plan: WellPlan, draws: Draws) -> JobInputs:
    """The job's inputs of a block from the drawn values and the fixed settings."""
    job = plan.well.settings.job
    n = draws["luck.z_well"].size
    values: dict[str, Array | float] = {}
    for name in JobInputs.names():
        key = f"job.{name}"
        values[name] = draws[key] if key in draws else float(getattr(job, name))
    return JobInputs.build(n, **values)


def cost_rates(draws: Draws) -> CostRates:
    """Lump sums and rates of a block, before the service-cost index."""
    return CostRates.build(**{k: draws[f"job.cost.{k}"] for k in CostRates.names() if k != "service_index"})


def method_terms(plan: WellPlan, draws: Draws, name: str) -> dict[str, Array]:
    """Inputs (n,) of an isolation method by their keys."""
    prefix = f"strategies.methods.{name}."
    return {key.removeprefix(prefix): value for key, value in draws.items() if key.startswith(prefix)}


def block_luck(plan: WellPlan, draws: Draws) -> BlockLuck:
    """Inputs, luck and sleeves of a block."""
    inputs, luck = job_inputs(plan, draws), job_luck(draws)
    return prepare(inputs, luck, plan.well.tally, plan.policy.max_tries, plan.ages_at(0))


def _by_method(plan: WellPlan, draws: Draws, block: BlockLuck, name: str) -> JobResult:
    return simulate_method(plan.methods[name].method, block, method_terms(plan, draws, name))


def simulate_jobs(
    plan: WellPlan, draws: Draws, strategies: Sequence[Strategy], detail: bool = False
) -> Iterator[tuple[Strategy, JobResult, Array, dict[str, Array]]]:
    """(strategy, job, cost (n,), cost parts) before the service-cost index, in the order of the strategies."""
    sized = {size: sized_draws(plan, draws, size) for size in dict.fromkeys(s.size for s in strategies)}
    blocks = {size: block_luck(plan, values) for size, values in sized.items()}
    rates = {size: cost_rates(values) for size, values in sized.items()}
    done: dict[str, JobResult] = {}  # methods shift no sleeve: the same at any date
    for first in range(0, len(strategies), TOGETHER):
        group = strategies[first : first + TOGETHER]
        found: dict[tuple[str, int], JobResult] = {}
        for job_name, (order, size) in {s.order_and_size: (s.order, s.size) for s in group}.items():
            if order in plan.methods:
                if job_name not in done:
                    done[job_name] = _by_method(plan, sized[size], blocks[size], order)
                continue
            months = sorted({s.month for s in group if s.order_and_size == job_name})
            ages = [plan.ages[month] for month in months]
            jobs = simulate_dates(plan.orders[order].job, blocks[size], ages, plan.policy, detail=detail)
            found |= {(job_name, month): job for month, job in zip(months, jobs, strict=True)}
        for strategy in group:
            job = done.get(strategy.order_and_size) or found[strategy.order_and_size, strategy.month]
            yield strategy, job, *job_cost(job, rates[strategy.size])


def job_at(
    plan: WellPlan, draws: Draws, strategy: Strategy, ages: Array
) -> tuple[JobResult, Array, dict[str, Array]]:
    """Job, cost (n,) and cost parts before the service-cost index of a strategy whose month differs by trial;
    ages (n, N) of the sleeves [years]."""
    order, draws = strategy.order, sized_draws(plan, draws, strategy.size)
    block = block_luck(plan, draws)
    if order in plan.methods:
        job = _by_method(plan, draws, block, order)
    else:
        job = simulate_dates(plan.orders[order].job, block, [ages], plan.policy)[0]
    return job, *job_cost(job, cost_rates(draws))


def outcome_rows(job: JobOutcome, part: int | Sequence[int] | tuple[slice | None, Part]) -> JobOutcome:
    """Some of the jobs (an index, or several), or all jobs at some of their trials (a pair): the members at these
    indices. A pair that begins with None gives members (n,) the axis of jobs."""
    return JobOutcome(**{name: getattr(job, name)[part] for name in JobOutcome.__dataclass_fields__})


def outcomes_of(jobs: Sequence[JobOutcome], trials: int) -> JobOutcome:
    """Several outcomes of so many trials as one, members (S, n)."""
    return JobOutcome(
        **{
            name: np.array([getattr(job, name) for job in jobs]).reshape(len(jobs), trials)
            for name in JobOutcome.__dataclass_fields__
        }
    )


@lru_cache(maxsize=_KEPT_TABLES)
def _packed(
    plan: WellPlan, names: tuple[str, ...], months: tuple[int, ...]
) -> tuple[Well, tuple[Orders, Shifts], tuple[Array, NDArray[np.int64]]]:
    """What no block changes of a well, some of its orders and the ages at some months."""
    tally, policy, chosen = plan.well.tally, plan.policy, [plan.orders[name] for name in names]
    stress = [(order.normal_before, order.contrast_before) for order in chosen]
    orders = orders_of([order.job for order in chosen], tally, policy, stress)
    ages = [plan.ages[month] for month in months]
    return well_of(tally, policy), orders, ages_of(ages) if ages else (np.empty((0, 1, 1)), np.empty(0, int))


def _trials(plan: WellPlan, draws: Draws, model: BlockModel) -> Trials:
    stress = stress_terms(plan, draws)
    return trials_of(block_luck(plan, draws), cost_rates(draws), stress, model.share, model.potential)


def job_outcomes(
    plan: WellPlan, draws: Draws, model: BlockModel, chosen: Sequence[Strategy]
) -> tuple[JobOutcome, dict[str, Array]]:
    """Outcomes, members (S, n), of the jobs of strategies of fixed dates, and cost parts (S, n) [US$], both with the
    service-cost index of the month."""
    table = np.empty((RESULTS, len(chosen), model.trials))
    for size in dict.fromkeys(strategy.size for strategy in chosen):
        rows = [k for k, strategy in enumerate(chosen) if strategy.size == size]
        if len(rows) == len(chosen):
            _fill_jobs(plan, sized_draws(plan, draws, size), model, chosen, table)
            table[EFFECTIVE] *= effect_of_size(plan, draws, size)
            break
        part = np.empty((RESULTS, len(rows), model.trials))
        _fill_jobs(plan, sized_draws(plan, draws, size), model, [chosen[k] for k in rows], part)
        part[EFFECTIVE] *= effect_of_size(plan, draws, size)
        table[:, rows] = part
    return _outcome_of(table)


def _fill_jobs(
    plan: WellPlan, draws: Draws, model: BlockModel, chosen: Sequence[Strategy], table: Array
) -> None:
    """Results (RESULTS, S, n) of the jobs of strategies of one size, whose draws these are, before its effect."""
    index = model.economics.service_index
    rows = [k for k, strategy in enumerate(chosen) if strategy.order not in plan.methods]
    if rows:
        names = list(dict.fromkeys(chosen[k].order for k in rows))
        months = sorted({chosen[k].month for k in rows})
        well, orders, ages = _packed(plan, tuple(names), tuple(months))
        dates = Dates(*ages, np.ascontiguousarray([index[month] for month in months]))
        pairs = {k: (names.index(chosen[k].order), months.index(chosen[k].month)) for k in rows}
        run(well, orders, dates, pairs, _trials(plan, draws, model), table)
    by_method: dict[str, Array] = {}  # methods shift no sleeve: the same at any date, but for the cost
    for k, strategy in enumerate(chosen):
        name = strategy.order
        if name in plan.methods:
            if name not in by_method:
                by_method[name] = _method_outcome(plan, draws, model, name)
            table[:, k] = by_method[name]
            table[PRICED, k] *= index[strategy.month]


def outcome_at(
    plan: WellPlan, draws: Draws, model: BlockModel, strategy: Strategy, ages: Array, index: Array
) -> tuple[JobOutcome, dict[str, Array]]:
    """As `job_outcomes`, of a strategy whose month differs by trial: ages (n, N) of the sleeves [years] and
    service-cost index (n,) there."""
    order, effect = strategy.order, effect_of_size(plan, draws, strategy.size)
    draws = sized_draws(plan, draws, strategy.size)
    table = np.empty((RESULTS, 1, model.trials))
    if order in plan.methods:
        table[:, 0] = _method_outcome(plan, draws, model, order)
        table[PRICED, 0] *= index
    else:
        well, orders, _ = _packed(plan, (order,), ())
        dates = Dates(*ages_of([ages]), np.ascontiguousarray(index[None]))
        run(well, orders, dates, {0: (0, 0)}, _trials(plan, draws, model), table)
    table[EFFECTIVE] *= effect
    return _outcome_of(table)


def _method_outcome(plan: WellPlan, draws: Draws, model: BlockModel, name: str) -> Array:
    """Results (RESULTS, n) of an isolation method before the service-cost index, else as the loop gives them."""
    job = _by_method(plan, draws, block_luck(plan, draws), name)
    cost, parts = job_cost(job, cost_rates(draws))
    effect, method = job.effectiveness, plan.methods[name]
    if (
        plan.well.settings.stress.enabled
        and method.normal_before is not None
        and method.contrast_before is not None
    ):
        from refracmc.production.stress_effect import stress_multiplier

        effect = effect * stress_multiplier(
            job.placed, method.normal_before, method.contrast_before, **stress_terms(plan, draws)
        )
    kept = np.minimum((model.share * job.kept).sum(axis=1), 1.0)
    effective = (model.potential * effect).sum(axis=1)
    return np.array(
        [job.days, cost, kept, effective, job.stages_effective_share, job.lost]
        + [parts[part] for part in COST_PARTS]
    )


def _outcome_of(table: Array) -> tuple[JobOutcome, dict[str, Array]]:
    """The rows of the results (RESULTS, ...): outcome and cost parts by name."""
    days, cost, kept, effective, stages, lost = table[:6]
    return JobOutcome(days, cost, kept, effective, stages, lost > 0.5), dict(
        zip(COST_PARTS, table[6:], strict=True)
    )
