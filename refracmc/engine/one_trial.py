"""One strategy, or one trial, in full: every step between its draws and its measures."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from refracmc.case.well_strategies import Strategy
from refracmc.job.log import LogRow, job_log, planned_steps
from refracmc.job.methods.timeline import method_log, planned_method
from refracmc.job.results import JobResult
from refracmc.measures import PER_TRIAL
from refracmc.production.forms import FORMS

from .block_jobs import (
    JobOutcome,
    block_luck,
    job_inputs,
    job_outcomes,
    method_terms,
    outcome_rows,
    simulate_jobs,
)
from .block_model import BlockModel, Draws, model_block, posterior_rows
from .cash_flow import CashFlow, value_block
from .plan import WellPlan
from .sized_jobs import sized_draws
from .triggers import trigger_months

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class StrategyInFull:
    """One strategy of a fixed date in full, over the trials of a block.

    outcome: members (n,); parts: cost parts (n,); cash: of this strategy alone, with its details.
    """

    month: int
    model: BlockModel
    job: JobResult
    outcome: JobOutcome
    parts: dict[str, Array]
    cash: CashFlow

    def detail(self, name: str, row: int) -> float:
        """One of `Details` in a trial."""
        assert self.cash.details is not None
        return float(getattr(self.cash.details, name)[0, row])

    def executed(self, row: int) -> bool:
        """Whether the job is carried out in a trial."""
        return bool(self.cash.measures["executed"][1, row] > 0.0)


def evaluate_one(plan: WellPlan, draws: Draws, strategy: Strategy) -> StrategyInFull:
    """One strategy of a fixed date with every intermediate result; the numbers are those of `evaluate`, to the bit."""
    model = model_block(plan, draws)
    ((_, job, _, _),) = simulate_jobs(plan, draws, [strategy], detail=True)
    jobs, parts = job_outcomes(plan, draws, model, [strategy])
    costs = {name: values[0] for name, values in parts.items()}
    months = np.full((1, model.trials), strategy.month, dtype=np.int64)
    lease = plan.well.settings.opex.lease_holding_months
    cash = value_block(model, lease, months, jobs, PER_TRIAL, detailed=True)
    return StrategyInFull(strategy.month, model, job, outcome_rows(jobs, 0), costs, cash)


def at_its_date(
    plan: WellPlan, draws: Draws, strategy: Strategy, row: int
) -> tuple[WellPlan, Strategy | None]:
    """A triggered strategy as the fixed date it has in one trial, with a plan that knows the date; None where the
    trigger does not fire there."""
    assert strategy.trigger is not None
    month = int(trigger_months(model_block(plan, draws), strategy.trigger)[row])
    if month < 0:
        return plan, None
    fixed = replace(strategy, month=month, trigger=None)
    return replace(plan, ages={**plan.ages, month: plan.ages_at(month)}), fixed


def forecast_row(plan: WellPlan, draws: Draws, row: int) -> dict[str, object]:
    """The decline of one trial in words and numbers: form, slots, uptime and present ratios."""
    if plan.posterior is None:
        return {"form": "modified_hyperbolic", "from": "type curve of the case"}
    posterior = plan.posterior
    k = int(posterior_rows(plan, draws)[row])
    return {
        "form": FORMS[int(posterior.form[k])],
        "from": "posterior of the fit",
        "posterior_row": k,
        "slots": [float(value) for value in posterior.slots[:, k]],
        "uptime_fraction": float(posterior.uptime[k]),
        "running_uptime_fraction": float(
            (posterior.uptime if posterior.running_uptime is None else posterior.running_uptime)[k]
        ),
        "ratios": {
            phase: [float(np.asarray(part)[k]) for part in parts]
            for phase, parts in posterior.secondary.items()
        },
        "months_before_valuation": plan.months_before,
        "cumulative_at_anchor": plan.np_anchor,
    }


def strategy_log(plan: WellPlan, draws: Draws, strategy: Strategy, row: int) -> list[LogRow]:
    """The timeline of one trial (row of the block) of a strategy."""
    sized = sized_draws(plan, draws, strategy.size)
    block = block_luck(plan, sized)
    if strategy.order in plan.methods:
        terms = method_terms(plan, sized, strategy.order)
        return method_log(plan.methods[strategy.order].method, block, terms, row)
    ((_, job, _, _),) = simulate_jobs(plan, draws, [strategy], detail=True)
    return job_log(plan.orders[strategy.order].job, block, plan.policy, job, row)


def planned_log(plan: WellPlan, draws: Draws, order: str) -> list[LogRow]:
    """The timeline of an order or method if nothing goes wrong, with the mean hours of the block."""
    inputs = job_inputs(plan, draws).mean()
    if order not in plan.methods:
        return planned_steps(plan.orders[order].job, inputs)
    terms = {key: float(value.mean()) for key, value in method_terms(plan, draws, order).items()}
    return planned_method(plan.methods[order].method, inputs, terms)
