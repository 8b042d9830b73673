"""Refrac dates set by triggers: the month of the job differs by trial and is decided on what is known then.

At the start of month i the rate of month i - 1, its price, whether the well is past its own limit, and the index
of service costs of month i are known; nothing later is used. The rate is the main-phase volume of the well left
alone over the 30.4375 days of the month (a calendar-day rate, 0 after the limit L), the price the benchmark of the
main phase. `rate_below`: rate < rate_per_d; `economic_limit`: i > L; `date`: always; the gate's bounds are met with
equality. The job starts in the first month of the window in which the trigger's condition and its gate both hold;
where none does, the strategy leaves the well alone, and so it does where the lease has ended before that month. The
window begins with month 1 at the soonest, the first of which anything is known, and ends within the horizon. On a
known price path L is where the running discounted net is largest, so `economic_limit` knows that path. The loop that
values a fixed date values each trial at its month, so a trigger that always fires in month m gives the numbers of that
date (tests/engine).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from refracmc.case.well_strategies import Strategy, Trigger
from refracmc.job.results import JobResult

from .base import MONTH_DAYS
from .block_jobs import JobOutcome, job_at, outcome_at, outcome_rows
from .block_model import BlockModel
from .cash_flow import limit_alone
from .plan import WellPlan

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


def trigger_months(model: BlockModel, trigger: Trigger) -> IntArray:
    """Month of the job (n,), from the valuation month 0; -1 where the trigger never fires."""
    window = np.arange(trigger.first, trigger.last + 1)
    sums = model.own.table.total[model.own.row]
    index = None
    if trigger.max_service_index is not None:
        index = np.stack([model.economics.service_index[int(month)] for month in window], axis=1)
    return first_month(
        trigger,
        limit_alone(model),
        (sums[:, window] - sums[:, window - 1]) / MONTH_DAYS,
        model.economics.main_price[:, window - 1],
        index,
    )


def first_month(
    trigger: Trigger, limit: IntArray, rate: Array, price: Array, index: Array | None
) -> IntArray:
    """As `trigger_months`, from what is known in each month of the window (n, W).

    limit (n,): of the well left alone; rate of a calendar day and price of the month before, as if it went on for ever;
    index: of service costs in the month itself, where the trigger asks for it.
    """
    window = np.arange(trigger.first, trigger.last + 1)
    past = window > limit[:, None]
    rate = np.where(window - 1 > limit[:, None], 0.0, rate)
    fires = np.ones(rate.shape, dtype=bool)
    if trigger.when == "rate_below":
        fires = rate < trigger.rate_per_d
    elif trigger.when == "economic_limit":
        fires = past
    if trigger.min_rate_per_d is not None:
        fires &= rate >= trigger.min_rate_per_d
    if trigger.min_price_usd is not None:
        fires &= price >= trigger.min_price_usd
    if index is not None and trigger.max_service_index is not None:
        fires &= index <= trigger.max_service_index
    return np.where(fires.any(axis=1), trigger.first + np.argmax(fires, axis=1), -1)


def ages_by_trial(plan: WellPlan, strategy: Strategy, months: IntArray) -> Array:
    """Ages (n, N) of the sleeves at the job [years]; never fired: as in the first month of the window."""
    assert strategy.trigger is not None
    found, place = np.unique(np.where(months < 0, strategy.trigger.first, months), return_inverse=True)
    return np.stack([plan.ages_at(int(month)) for month in found])[place]


def triggered_job(
    plan: WellPlan, draws: Mapping[str, Array], strategy: Strategy, months: IntArray
) -> tuple[JobResult, Array, dict[str, Array]]:
    """Job, cost (n,) and cost parts before the service-cost index of a strategy whose month differs by trial."""
    return job_at(plan, draws, strategy, ages_by_trial(plan, strategy, months))


def triggered_outcome(
    plan: WellPlan, draws: Mapping[str, Array], model: BlockModel, strategy: Strategy, months: IntArray
) -> tuple[JobOutcome, dict[str, Array]]:
    """Outcome and cost parts, each (n,), of a strategy whose month differs by trial, with the index of its month."""
    index = np.ones(months.size)
    for month in np.unique(months[months >= 0]).tolist():
        index[months == month] = model.economics.service_index[month][months == month]
    ages = ages_by_trial(plan, strategy, months)
    jobs, parts = outcome_at(plan, draws, model, strategy, ages, index)
    return outcome_rows(jobs, 0), {name: values[0] for name, values in parts.items()}
