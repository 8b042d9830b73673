"""The timeline of an isolation method: planned, or of one simulated trial, in the rows of `log`.

As in `log`, non-productive time, waiting and rare events are rows of their own after the work, and hours sum to
24 times the days of the job.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from refracmc.job.log import LogRow
from refracmc.job.luck import BlockLuck
from refracmc.job.methods import MethodFacts, MethodPlan, method_facts
from refracmc.job.sleeves import BoolArray, FloatArray, IntArray


class _Rows:
    """Rows in time order on the calendar of the job."""

    def __init__(self, values: Mapping[str, float]) -> None:
        self.rows: list[LogRow] = []
        self.clock = self.depth = self.work = 0.0
        self.calendar = 24.0 / values["work_hours_per_day"]
        self.speed = 60.0 * values["ct_speed_ft_per_min"]

    def add(
        self, action: str, work: float, outcome: str = "done", sleeve: int | None = None, tries: int = 0
    ) -> None:
        hours = work * self.calendar
        self.rows.append(
            LogRow(len(self.rows) + 1, action, sleeve, self.depth, tries, outcome, self.clock, hours, work)
        )
        self.clock += hours
        self.work += work

    def aside(self, action: str, days: float) -> None:
        hours = 24.0 * days
        self.rows.append(LogRow(len(self.rows) + 1, action, None, 0.0, 0, "done", self.clock, hours, 0.0))
        self.clock += hours

    def run(self, action: str, depth: float, sleeve: int | None = None) -> None:
        feet, self.depth = abs(depth - self.depth), depth
        self.add(action, feet / self.speed, sleeve=sleeve)


def planned_method(plan: MethodPlan, inputs: Mapping[str, float], terms: Mapping[str, float]) -> list[LogRow]:
    """The steps of a method if nothing goes wrong; inputs, terms: mean values
    by key, each in the unit of its name [h, days, ft/min]."""
    n = plan.depth_ft.size
    treated = np.zeros(n, dtype=bool)
    treated[np.array(plan.sleeves) - 1] = True
    volumes = plan.stages
    if plan.kind == "bullhead":
        volumes = int(max(np.rint(terms["volume_fraction"] * plan.treatable), 1.0))
    none = np.zeros(n, dtype=bool)
    return _walk(plan, inputs, terms, treated, treated.astype(np.int64), none, none, np.ones(n), volumes)


def method_log(plan: MethodPlan, sh: BlockLuck, terms: Mapping[str, FloatArray], trial: int) -> list[LogRow]:
    """The log of one trial (row of the block); the sum of its hours is 24 * days[trial]."""
    f: MethodFacts = method_facts(plan, sh, terms)
    inputs = {name: float(getattr(sh.inputs, name)[trial % sh.inputs.trials]) for name in sh.inputs.names()}
    factor = sh.stage_factor[:, trial]
    return _walk(
        plan,
        inputs,
        {name: float(value[trial]) for name, value in terms.items()},
        f.treated[:, trial],
        f.sets[:, trial],
        f.screened[:, trial],
        sh.trip[:, trial],
        factor,
        int(f.volumes[trial]),
        set_up=bool(f.set_up[trial]),
        stuck=bool(sh.stuck[trial]),
        casing_failed=bool(sh.casing_failed[trial]),
    )


def _walk(
    plan: MethodPlan,
    v: Mapping[str, float],
    t: Mapping[str, float],
    treated: BoolArray,
    sets: IntArray,
    screened: BoolArray,
    trip: BoolArray,
    factor: FloatArray,
    volumes: int,
    *,
    set_up: bool = True,
    stuck: bool = False,
    casing_failed: bool = False,
) -> list[LogRow]:
    rows = _Rows(v)
    stage_hours = v["hours_per_stage"] * plan.pumping_hours_factor
    rows.aside("before_ct", v["days_before_ct"])
    if plan.kind == "liner":
        rows.aside("liner", t["liner_days"])
    if plan.kind == "straddle":
        rows.run("run_in", plan.bottom_ft)
        rows.add("cleanout", v["cleanout_hours"])
        made = 0
        for s in plan.sleeves:
            k = s - 1
            if plan.depth_ft[k] != rows.depth:
                rows.run("move", float(plan.depth_ft[k]), s)
            for j in range(1, int(sets[k]) + 1):
                if made and made % plan.sets_per_trip == 0:
                    rows.add("trip", v["hours_per_trip"], "packers changed", s)
                made += 1
                sealed = bool(treated[k]) and j == int(sets[k])
                rows.add("set", t["hours_per_set"], "sealed" if sealed else "did not seal", s, 1)
            if not treated[k]:
                rows.add("treat", 0.0, "left out: did not seal", s)
                continue
            outcome = "screened out" if screened[k] else "treated"
            rows.add("treat", stage_hours * float(factor[k]), outcome, s)
            if screened[k]:
                rows.add("screenout", v["screenout_hours"], "cleaned out", s)
            if trip[k]:
                rows.add("trip", v["hours_per_trip"], "assembly failed", s)
        rows.run("pull_out", 0.0)
    elif plan.kind == "bullhead":
        rows.run("run_in", plan.bottom_ft)
        rows.add("cleanout", v["cleanout_hours"])
        rows.run("pull_out", 0.0)
        for batch in range(plan.drops + 1):
            rows.add("pump", stage_hours * volumes / (plan.drops + 1), "pumped")
            if batch < plan.drops:
                rows.add("divert", t["hours_per_drop"], "diverter dropped")
    else:
        if set_up:
            for k in range(plan.stages):
                covered = np.flatnonzero(plan.stage_of == k)
                worked = not covered.size or bool(treated[covered[0]])
                sleeve = int(covered[0]) + 1 if covered.size else None
                rows.add("treat", t["hours_per_stage"], "treated" if worked else "stage lost", sleeve)
        if set_up and plan.stages > 1:  # the plugs stand between the stages: the tubing mills its way down
            rows.run("run_in", float(plan.depth_ft[-1]))
            rows.add("drill_out", t["drill_out_hours_per_plug"] * (plan.stages - 1))
            rows.run("move", plan.bottom_ft)
        else:
            rows.run("run_in", plan.bottom_ft)
        rows.add("cleanout", v["cleanout_hours"])
        rows.run("pull_out", 0.0)
        if not set_up:
            rows.add("called_off", 0.0, "liner not set")
    rows.aside("non_productive", rows.work * v["npt_fraction"] * rows.calendar / 24.0)
    rows.aside("waiting", v["waiting_days"])
    if stuck:
        rows.aside("ct_stuck", v["stuck_ct_days"])
    if casing_failed:
        rows.aside("casing_failure", v["casing_failure_days"])
    rows.aside("after_ct", v["days_after_ct"])
    return rows.rows
