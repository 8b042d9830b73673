"""Isolation methods beside reclosed sleeves: what each takes and what it leaves. No sleeve is shifted.

Time. Coiled tubing runs in and out once and cleans out (straddle: works from there): to the deepest sleeve that
is treated or takes fluid; beyond the reach of the tubing a bullhead is not cleaned out, and a liner is milled
all the same. A liner is run and treated first, then milled and cleaned out. For bullhead and liner the pumping
is a phase of its own with the pumping crew and no coiled tubing on hire: pumping_days = hours * (1 +
npt_fraction) / work_hours_per_day. The liner's days on the workover rig add to the days before. Rare events of
coiled tubing and casing are those of `rules`. counts["treated"] is in stage volumes as the materials and
water are priced by. Stress: the stages of straddle and liner feel those treated before them (the sleeves of one
liner stage are treated at once), a bullheaded one feels none.

Cost beside that of any job: diverter per drop; tools per set; liner_usd, and stage_usd per stage where it is
set. stages_effective_share is the mean of min(1, e_s) over the treatable sleeves (straddle: those it treats).
Source of the rules: common practice, no source; the numbers' sources stand at their keys. Recovery by bullhead
is the floor, by liner an upper bound for a refrac through old sleeves.

To add a method, write one file here that ends in a `Method` (its section, plan, simulation and steps), and name it in
`METHODS`: the case, the strategies, the timeline and the reference follow. A value it needs a new draw for stands in
`luck`, and in `inputs.OPTIONAL_LUCK`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from refracmc.job.days import Counts, days_of
from refracmc.job.luck import BlockLuck
from refracmc.job.methods.bullhead import BULLHEAD
from refracmc.job.methods.liner import LINER
from refracmc.job.methods.method import Method, MethodPlan, Terms
from refracmc.job.methods.straddle import STRADDLE
from refracmc.job.results import JobResult
from refracmc.job.sleeves import Tally

__all__ = ["METHODS", "MethodPlan", "plan_method", "simulate_method"]

METHODS: Final[dict[str, Method]] = {method.name: method for method in (BULLHEAD, STRADDLE, LINER)}


def plan_method(kind: str, tally: Tally, reach_ft: float | None = None, **settings: Any) -> MethodPlan:
    """The plan of a method; reach_ft: how deep the tubing reaches [ft]; settings: fixed keys, defaults where absent.

    Raises PlanRefused, naming the sleeve, where a listed one does not exist, is not open or not in reach, or
    where no sleeve is open; ValueError for an unknown kind.
    """
    if kind not in METHODS:
        raise ValueError(f"unknown method '{kind}'; allowed: {', '.join(METHODS)}")
    method = METHODS[kind]
    return method.plan(tally, reach_ft, method.settings(settings))


def simulate_method(plan: MethodPlan, block: BlockLuck, terms: Terms) -> JobResult:
    """Simulate a method over the trials of a block by the rules of its file; terms by key, each (n,) in the unit of
    its name. Days, hours [h] and US$ as in `JobResult`."""
    inputs, n = block.inputs, block.trials
    work = METHODS[plan.kind].simulate(plan, block, terms)
    zero, whole = np.zeros(n, dtype=np.int64), np.zeros(n)
    counts: dict[str, Any] = dict.fromkeys((name for name in Counts._fields if name != "bha_changes"), zero)
    del counts["slim_stages"], counts["string_changes"]
    counted: Mapping[str, Any] = {"tries": work.tries, "screenouts": work.screenouts, "trips": work.trips}
    counts |= {name: value for name, value in counted.items() if value is not None}
    counts["treated"] = work.volumes
    travel = 2.0 * plan.bottom_ft / (60.0 * inputs.ct_speed_ft_per_min)
    tubing = {"cleanout": inputs.cleanout_hours + whole, "travel": travel + whole, **work.with_tubing}
    before = inputs.days_before_ct + (whole if work.days_before is None else work.days_before)
    ct_hours, pumping_hours = sum(tubing.values(), whole), sum(work.without.values(), whole)
    days = days_of(before, ct_hours, pumping_hours, block.stuck, block.casing_failed, inputs)
    share = (work.measured / max(int(work.measured.sum()), 1)) @ np.minimum(work.effect, 1.0)
    return JobResult(
        days=days.total,
        days_before_ct=before,
        ct_days=days.ct,
        stuck_days=days.stuck,
        days_after_ct=days.after_ct + whole,
        ct_hours=ct_hours + pumping_hours,
        hours={**tubing, **work.without},
        counts=counts,
        kept=work.kept.T,
        effectiveness=work.effect.T,
        placed=work.placed.T,
        treated=np.broadcast_to(work.treated, work.kept.shape).T,
        called_off=np.zeros(n, dtype=bool) if work.set_up is None else ~work.set_up,
        stuck=block.stuck,
        lost=block.lost,
        stages_effective_share=np.where(block.lost, 0.0, share),
        casing_days=days.casing,
        casing_failed=block.casing_failed,
        isolation_usd=work.usd + whole,
        pumping_days=days.pumping,
        frac_days=days.ct if work.crew_waits else days.pumping,
    )
