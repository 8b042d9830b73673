"""Plans of the job run over the trials of a block: what the loop is handed, and what it gives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from refracmc.job.array_checks import check_jobs
from refracmc.job.arrays import (
    NO_STRESS,
    Chosen,
    Dates,
    Orders,
    Shifts,
    Trials,
    Well,
    ages_of,
    orders_of,
    trials_of,
    well_of,
)
from refracmc.job.cost import COST_PARTS, CostRates
from refracmc.job.inputs import PER_SLEEVE_LUCK, PER_TRIAL_LUCK, JobInputs, JobLuck, JobPolicy, limits
from refracmc.job.luck import BlockLuck, prepare
from refracmc.job.machine import Plan
from refracmc.job.planner import plan as plan_steps
from refracmc.job.results import JobResult, Record, record_for, result_of
from refracmc.job.sleeves import Tally

Array = NDArray[np.float64]
RESULTS = 6 + len(COST_PARTS)
"""Rows of the results: days, cost, kept, effective and stages' share, lost; then the parts of the cost."""
EFFECTIVE, STAGES = 3, 4
PRICED = np.array([1, *range(6, RESULTS)])
"""Rows that carry the service-cost index."""


def run(
    well: Well,
    orders: tuple[Orders, Shifts],
    dates: Dates,
    pairs: Mapping[int, tuple[int, int]],
    trials: Trials,
    out: Array,
    record: Record | None = None,
) -> None:
    """Fill out (RESULTS, S, n) for pairs of an order and a date by row [days, US$, fractions], and the record.

    Raises ValueError naming the array whose shape, or whose use as an index, is out of bounds: compiled code does not
    look.
    """
    from .job_trials import room_for, run_jobs

    places = sorted((order, date, row) for row, (order, date) in pairs.items())
    chosen = Chosen(*(np.array(column, dtype=np.int64) for column in zip(*places, strict=True)))
    record = record_for(0, 0, 0) if record is None else record
    check_jobs(well, *orders, dates, chosen, trials, out, RESULTS)
    run_jobs(well, *orders, dates, chosen, trials, room_for(*orders, dates, chosen), out, record)


def simulate_dates(
    plan: Plan, block: BlockLuck, ages: Sequence[Array], policy: JobPolicy, *, detail: bool = False
) -> list[JobResult]:
    """One plan at several dates, by the ages of the sleeves there, each (N,) or (n, N) [years]."""
    n, count = block.trials, block.tally.count
    none, flat = np.zeros((n, count)), dict.fromkeys(CostRates.names(), 0.0)
    trials = trials_of(block, CostRates.build(**flat), NO_STRESS, none, none)
    record, out = record_for(len(ages), n, count), np.empty((RESULTS, len(ages), n))
    dates = Dates(*ages_of(ages), np.ones((len(ages), n)))
    orders = orders_of([plan], block.tally, policy)
    run(
        well_of(block.tally, policy),
        orders,
        dates,
        {d: (0, d) for d in range(len(ages))},
        trials,
        out,
        record,
    )
    return [result_of(record, c, out[STAGES, c], block, plan, policy, detail) for c in range(len(ages))]


def simulate(
    plan: Plan,
    tally: Tally,
    inputs: JobInputs,
    luck: JobLuck,
    age_years: Array,
    policy: JobPolicy,
    *,
    ages_now: Array | None = None,
    detail: bool = False,
) -> JobResult:
    """Simulate a plan over the trials of a block by the rules of `job.rules`.

    age_years : (N,) ages of the sleeves at the job [years], or (n, N) where the date differs by trial
    ages_now : (N,) ages on the date for which the chances of the shifts are stated [years]; 0 where absent
    detail : also return the sleeve-by-sleeve record (for logs and tests)

    Raises ValueError where shapes of the parts do not belong together.
    """
    block = prepare(inputs, luck, tally, policy.max_tries, ages_now)
    age = np.asarray(age_years, dtype=float)
    n, count = block.trials, tally.count
    if age.shape not in ((count,), (n, count)) or plan.treated.shape != (count,):
        raise ValueError(f"ages have shape {age.shape} and the plan {plan.treated.shape} for {count} sleeves")
    return simulate_dates(plan, block, [age], policy, detail=detail)[0]


def warm() -> None:
    """Compile, or load from the cache, for the argument types the engine uses: a job of one sleeve."""
    one = np.array(["open"])
    tally = Tally(
        np.ones(1), np.array(["none"]), one, np.zeros(1, dtype="datetime64[M]"), np.zeros(1, dtype=np.int64)
    )
    some = {name: limits(name)[0] for name in JobInputs.names()}
    inputs = JobInputs.build(1, **{name: low if np.isfinite(low) else 0.0 for name, low in some.items()})
    zeros = {name: np.zeros((1, 1)) for name in PER_SLEEVE_LUCK} | {
        name: np.zeros(1) for name in PER_TRIAL_LUCK
    }
    simulate(plan_steps(tally, (1,)), tally, inputs, JobLuck(**zeros), np.zeros(1), JobPolicy())
