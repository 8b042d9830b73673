"""The jobs of a block: drawn values -> job of every strategy -> what response and cash flow need of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from refracmc.job.cost import COST_PARTS, CostRates, job_cost
from refracmc.job.inputs import JobInputs
from refracmc.job.methods import simulate_method
from refracmc.job.shared import prepare
from refracmc.job.simulate import JobResult, simulate
from refracmc.production.stress import stress_multiplier

from .block_model import _KEPT_TABLES, BlockModel, Draws
from .draws import job_luck
from .job_arguments import Chosen, Dates, Orders, Tables, Well, ages_of, orders_of, trials_of, well_of
from .plan import Strategy, WellPlan
from .shapes import check_jobs

Array = NDArray[np.float64]
Part = slice | NDArray[np.intp]


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


def _stress(plan: WellPlan, draws: Draws, order: str, job: JobResult) -> Array | None:
    stress = plan.well.settings.stress
    made = plan.methods[order] if order in plan.methods else plan.orders[order]
    if not stress.enabled or made.normal_before is None or made.contrast_before is None:
        return None
    return stress_multiplier(
        job.placed, made.normal_before, made.contrast_before, **stress_terms(plan, draws)
    )


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


def simulate_jobs(
    plan: WellPlan, draws: Draws, strategies: Sequence[Strategy], detail: bool = False
) -> Iterator[tuple[Strategy, JobResult, Array, dict[str, Array]]]:
    """(strategy, job, cost (n,), cost parts) before the service-cost index; dates share what they can."""
    inputs, luck, rates = job_inputs(plan, draws), job_luck(draws), cost_rates(draws)
    shared = prepare(inputs, luck, plan.well.tally, plan.policy.max_tries)
    done: dict[str, JobResult] = {}  # methods shift no sleeve: the same at any date
    for strategy in strategies:
        if strategy.order in plan.methods:
            if strategy.order not in done:
                terms = method_terms(plan, draws, strategy.order)
                done[strategy.order] = simulate_method(plan.methods[strategy.order].method, shared, terms)
            job = done[strategy.order]
        else:
            job = simulate(
                plan.orders[strategy.order].job,
                plan.well.tally,
                inputs,
                luck,
                plan.ages[strategy.month],
                plan.policy,
                shared,
                detail=detail,
            )
        total, parts = job_cost(job, rates)
        yield strategy, job, total, parts


def outcome(
    plan: WellPlan,
    draws: Draws,
    model: BlockModel,
    strategy: Strategy,
    job: JobResult,
    cost: Array,
    index: Array | None = None,
) -> JobOutcome:
    """What the response and the cash flow need of a job: shares kept and effective, days, cost with its index.

    index (n,): service-cost index of each trial's month; None: that of the strategy's month.
    """
    effect = job.effectiveness
    multiplier = _stress(plan, draws, strategy.order, job)
    if multiplier is not None:
        effect = effect * multiplier
    return JobOutcome(
        days=job.days,
        cost=cost * (model.economics.service_index[strategy.month] if index is None else index),
        kept_share=np.minimum(np.einsum("ij,ij->i", model.share, job.kept), 1.0),
        effective_share=np.einsum("ij,ij->i", model.potential, effect),
        stages_effective=job.stages_effective_share,
        lost=job.lost,
    )


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


def job_outcomes(
    plan: WellPlan, draws: Draws, model: BlockModel, chosen: Sequence[Strategy]
) -> tuple[JobOutcome, dict[str, Array]]:
    """Outcomes, members (S, n), of the jobs of strategies of fixed dates, and cost parts (S, n) [US$], both with the
    service-cost index of the month."""
    return (_jobs_compiled if plan.compiled else _jobs_arrays)(plan, draws, model, chosen)


def _jobs_arrays(
    plan: WellPlan, draws: Draws, model: BlockModel, chosen: Sequence[Strategy]
) -> tuple[JobOutcome, dict[str, Array]]:
    """As `job_outcomes`, by the array code."""
    jobs: list[JobOutcome] = []
    parts: dict[str, list[Array]] = {}
    for strategy, job, cost, by_part in simulate_jobs(plan, draws, chosen):
        jobs.append(outcome(plan, draws, model, strategy, job, cost))
        for name, values in by_part.items():
            parts.setdefault(name, []).append(values * model.economics.service_index[strategy.month])
    return outcomes_of(jobs, model.trials), {name: np.stack(values) for name, values in parts.items()}


@lru_cache(maxsize=_KEPT_TABLES)
def _told(
    plan: WellPlan, names: tuple[str, ...], months: tuple[int, ...]
) -> tuple[Well, Orders, Tables, tuple[Array, NDArray[np.int64]]]:
    """What the compiled jobs are told of a well, some of its orders and months, which no block changes."""
    orders = orders_of([plan.orders[name] for name in names], plan.well.tally, plan.policy)
    return well_of(plan.well.tally, plan.policy), *orders, ages_of([plan.ages[month] for month in months])


def _jobs_compiled(
    plan: WellPlan, draws: Draws, model: BlockModel, chosen: Sequence[Strategy]
) -> tuple[JobOutcome, dict[str, Array]]:
    """As `job_outcomes`, by the compiled jobs; isolation methods by the array code."""
    from .compiled_jobs import run_jobs

    index = model.economics.service_index
    by_method = [k for k, strategy in enumerate(chosen) if strategy.order in plan.methods]
    by_order = [k for k, strategy in enumerate(chosen) if strategy.order not in plan.methods]
    members = tuple(JobOutcome.__dataclass_fields__)
    table = np.empty((len(members) + len(COST_PARTS), len(chosen), model.trials))
    if by_order:
        names = list(dict.fromkeys(chosen[k].order for k in by_order))
        months = sorted({chosen[k].month for k in by_order})
        places = sorted((names.index(chosen[k].order), months.index(chosen[k].month), k) for k in by_order)
        well, orders, tables, (ages, group) = _told(plan, tuple(names), tuple(months))
        arguments = (
            well,
            orders,
            tables,
            Dates(ages, group, np.ascontiguousarray([index[month] for month in months])),
            Chosen(*(np.array(column, dtype=np.int64) for column in zip(*places, strict=True))),
            trials_of(
                job_inputs(plan, draws),
                job_luck(draws),
                cost_rates(draws),
                stress_terms(plan, draws),
                model.share,
                model.potential,
            ),
            table,
        )
        check_jobs(arguments)
        run_jobs(*arguments)
    if by_method:
        jobs, costs = _jobs_arrays(plan, draws, model, [chosen[k] for k in by_method])
        for row, name in enumerate(members):
            table[row, by_method] = getattr(jobs, name)
        for row, name in enumerate(COST_PARTS, start=len(members)):
            table[row, by_method] = costs[name]
    days, cost, kept, effective, stages, lost = table[: len(members)]
    made = JobOutcome(days, cost, kept, effective, stages, lost > 0.5)
    return made, dict(zip(COST_PARTS, table[len(members) :], strict=True))
