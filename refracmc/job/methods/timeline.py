"""The timeline of an isolation method: planned, or of one simulated trial, in the rows of `log`.

As in `log`, non-productive time, waiting and rare events are rows of their own after the work, and hours sum to
24 times the days of the job.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from refracmc.job.log import LogRow
from refracmc.job.luck import BlockLuck
from refracmc.job.methods import METHODS
from refracmc.job.methods.method import Done, MethodPlan, Steps, Terms


def planned_method(plan: MethodPlan, inputs: Mapping[str, float], terms: Mapping[str, float]) -> list[LogRow]:
    """The steps of a method if nothing goes wrong; inputs, terms: mean values
    by key, each in the unit of its name [h, days, ft/min]."""
    n = plan.depth_ft.size
    treated, none = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    treated[plan.rows] = True
    volumes = int(METHODS[plan.kind].volumes(plan, terms))
    return _written(
        plan, inputs, terms, Done(treated, treated.astype(np.int64), none, none, np.ones(n), volumes)
    )


def method_log(plan: MethodPlan, block: BlockLuck, terms: Terms, trial: int) -> list[LogRow]:
    """The log of one trial (row of the block); the sum of its hours is 24 * days[trial]."""
    work, inputs = METHODS[plan.kind].simulate(plan, block, terms), block.inputs
    none = np.zeros(plan.depth_ft.size, dtype=bool)
    done = Done(
        treated=work.treated[:, trial],
        sets=none.astype(np.int64) if work.sets is None else work.sets[:, trial],
        screened=none if work.screened is None else work.screened[:, trial],
        trip=block.trip[:, trial],
        factor=block.stage_factor[:, trial],
        volumes=int(work.volumes[trial]),
        set_up=work.set_up is None or bool(work.set_up[trial]),
        stuck=bool(block.stuck[trial]),
        casing_failed=bool(block.casing_failed[trial]),
    )
    values = {name: float(getattr(inputs, name)[trial % inputs.trials]) for name in inputs.names()}
    return _written(plan, values, {name: float(value[trial]) for name, value in terms.items()}, done)


def _written(
    plan: MethodPlan, inputs: Mapping[str, float], terms: Mapping[str, float], done: Done
) -> list[LogRow]:
    steps = Steps(inputs)
    steps.aside("before_ct", inputs["days_before_ct"])
    METHODS[plan.kind].steps(steps, plan, inputs, terms, done)
    steps.aside("non_productive", steps.work * inputs["npt_fraction"] * steps.calendar / 24.0)
    steps.aside("waiting", inputs["waiting_days"])
    if done.stuck:
        steps.aside("ct_stuck", inputs["stuck_ct_days"])
    if done.casing_failed:
        steps.aside("casing_failure", inputs["casing_failure_days"])
    steps.aside("after_ct", inputs["days_after_ct"])
    return steps.rows
