"""A block of trials through the whole model: draws -> jobs -> cash flow -> measures of every strategy.

    draws of a block -> own and unit stream -> job of every strategy -> cash flow of every strategy -> measures
                     \\-> price paths ------------------------------------^

All strategies of a trial share its draws.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refracmc.case.well_strategies import Strategy
from refracmc.job.cost import COST_PARTS
from refracmc.measures import PER_TRIAL

from .block_jobs import JobOutcome, job_outcomes, outcome_rows, outcomes_of
from .block_model import BlockModel, Draws, model_block
from .cash_flow import value_block
from .plan import WellPlan
from .triggers import trigger_months, triggered_outcome

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class BlockResult:
    """measures: name of PER_TRIAL -> (S, n), row 0 `nothing`; parts: cost part -> (S - 1, n), US$ at 8/8."""

    measures: dict[str, Array]
    parts: dict[str, Array]


def evaluate(
    plan: WellPlan,
    draws: Draws,
    strategies: Sequence[Strategy] | None = None,
    wanted: Collection[str] | None = None,
    model: BlockModel | None = None,
) -> BlockResult:
    """Measures of `nothing` and the strategies (all of the plan by default) for the drawn trials.

    wanted: the measures to make, out of PER_TRIAL; None makes all. The values do not depend on it. ValueError for a
    name that is not there. model: of `model_block`, where it is made already.
    """
    chosen = plan.strategies if strategies is None else tuple(strategies)
    names = PER_TRIAL if wanted is None else wanted
    if unknown := set(names) - set(PER_TRIAL):
        raise ValueError(f"wanted: {sorted(unknown)}; allowed: {', '.join(PER_TRIAL)}")
    made = [name for name in PER_TRIAL if name in names or name == "executed"]  # the cost parts need it
    model = model_block(plan, draws) if model is None else model
    months, jobs, parts = chosen_jobs(plan, draws, model, chosen)
    measures = value_jobs(plan, model, months, jobs, made)
    executed = measures["executed"][1:]
    if not executed.all():
        for values in parts.values():
            values *= executed
    return BlockResult({name: measures[name] for name in made if name in names}, parts)


def months_of(chosen: Sequence[Strategy], trials: int) -> IntArray:
    """Months (S, n) of the jobs of strategies, -1 for one with a trigger."""
    return np.repeat(np.array([s.month for s in chosen], dtype=np.int64)[:, None], trials, axis=1)


def chosen_jobs(
    plan: WellPlan, draws: Draws, model: BlockModel, chosen: Sequence[Strategy]
) -> tuple[IntArray, JobOutcome, dict[str, Array]]:
    """Months (S, n) of the jobs, -1 where a trigger does not fire; their outcomes, and their cost parts (S, n)."""
    dated = [strategy for strategy in chosen if strategy.trigger is None]
    months = months_of(chosen, model.trials)
    if len(dated) == len(chosen):
        return months, *job_outcomes(plan, draws, model, chosen)
    jobs: list[JobOutcome | None] = [None] * len(chosen)
    parts = {name: np.zeros(months.shape) for name in COST_PARTS}
    if dated:
        places = [k for k, strategy in enumerate(chosen) if strategy.trigger is None]
        together, costs = job_outcomes(plan, draws, model, dated)
        for at, k in enumerate(places):
            jobs[k] = outcome_rows(together, at)
        for name, values in costs.items():
            parts[name][places] = values
    for k, strategy in enumerate(chosen):
        if strategy.trigger is not None:
            months[k] = trigger_months(model, strategy.trigger)
            jobs[k], by_part = triggered_outcome(plan, draws, model, strategy, months[k])
            for name, row in by_part.items():
                parts[name][k] = row
    return months, outcomes_of([job for job in jobs if job is not None], model.trials), parts


def value_jobs(
    plan: WellPlan, model: BlockModel, months: IntArray, jobs: JobOutcome, names: Collection[str]
) -> dict[str, Array]:
    """Measures (1 + S, n) by name, row 0 `nothing`, of jobs in the months (S, n)."""
    return value_block(model, plan.well.settings.opex.lease_holding_months, months, jobs, names).measures
