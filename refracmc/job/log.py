"""The job as a timeline: the planned steps, and the log of one simulated trial, row by row.

Rows are in time order and their hours sum to 24 times the days of the job. Hours of coiled-tubing steps are
calendar hours: work hours times 24 / work_hours_per_day (the same where work goes round the clock).
Non-productive time, waiting and a stuck coiled tubing are rows of their own after the pull-out, since the
model knows their sum and not their hour. A patch is logged where the closing failed, or on the first way down
past a sleeve known to be open; one that bars the way to deeper sleeves after the closings before the first stage.
A trip of the assembly is logged before the stage that needs it. The cleanout goes from the first depth to the
deepest sleeve the plan works and back, half of its hours each way.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass

import numpy as np

from refracmc.job.inputs import JobInputs, JobPolicy
from refracmc.job.luck import BlockLuck
from refracmc.job.machine import KINDS, Plan
from refracmc.job.results import JobResult
from refracmc.job.sleeves import BoolArray, FloatArray, IntArray, Tally

_DONE = {"close": "closed", "open": "opened", "reclose": "reclosed", "reopen": "reopened"}


@dataclass(frozen=True)
class LogRow:
    """step from 1; action; sleeve (None: not at a sleeve); depth_ft of the coiled tubing at the end of the
    row; tries (0 where nothing was shifted); outcome; start_hour and hours in calendar hours since the start
    of the job; work_hours of the coiled-tubing clock (0 for rows outside it)."""

    step: int
    action: str
    sleeve: int | None
    depth_ft: float
    tries: int
    outcome: str
    start_hour: float
    hours: float
    work_hours: float

    def as_dict(self) -> dict[str, object]:
        """The row by column name."""
        return asdict(self)


@dataclass(frozen=True, eq=False)
class _Facts:
    """What happened at each sleeve, (N,)."""

    tried: Mapping[str, BoolArray]
    worked: Mapping[str, BoolArray]
    tries: Mapping[str, IntArray]
    patch_tried: BoolArray
    patched: BoolArray
    perforate_tried: BoolArray
    perforated: BoolArray
    perforate2_tried: BoolArray
    perforated2: BoolArray
    treated: BoolArray
    screenout: BoolArray
    trip: BoolArray
    stage_factor: FloatArray
    called_off: bool
    stuck: bool
    cycled: Mapping[str, BoolArray]
    blocked: BoolArray
    slim: BoolArray
    casing_failed: bool


def planned_steps(plan: Plan, inputs: Mapping[str, float]) -> list[LogRow]:
    """The planned steps with their hours when every shift works at the first try and nothing goes wrong.

    inputs : one number for each member of `JobInputs`, for instance `JobInputs.mean()`. The sum of the hours
    is 24 times the days of such a job: time before and after, non-productive time and waiting included.
    """
    count = plan.treated.size
    none = np.zeros(count, dtype=bool)
    masks = dict(zip(KINDS, (plan.closes, plan.opens, plan.recloses, plan.reopens), strict=True))
    facts = _Facts(
        tried=masks,
        worked=masks,
        tries={
            kind: mask.astype(np.int64) + (kind == "close") * plan.reseats.astype(np.int64)
            for kind, mask in masks.items()
        },
        patch_tried=none,
        patched=none,
        perforate_tried=none,
        perforated=none,
        perforate2_tried=none,
        perforated2=none,
        treated=plan.treated,
        screenout=none,
        trip=none,
        stage_factor=np.ones(count),
        called_off=False,
        stuck=False,
        cycled=dict.fromkeys(("close", "reclose"), none),
        blocked=none,
        slim=none,
        casing_failed=False,
    )
    return _Walk(plan, facts, inputs).rows


def job_log(plan: Plan, block: BlockLuck, policy: JobPolicy, result: JobResult, trial: int) -> list[LogRow]:
    """The log of one trial (row index of the block) of a result simulated with detail=True. The sum of its hours is
    24 * days[trial]; the shifts in it (rows of close, open, reclose, reopen with tries > 0, and two for each of reseat)
    number counts["shifts"][trial]."""
    inputs = block.inputs
    values = {name: float(getattr(inputs, name)[trial % inputs.trials]) for name in JobInputs.names()}
    return _Walk(plan, _facts(result, block, trial, policy), values).rows


def end_states(tally: Tally, result: JobResult, trial: int) -> tuple[str, ...]:
    """State of every sleeve (by sleeve number, no unit) after the job in one trial, in the words of the
    tally.

    open, closed (not touched, or closed in the job below a patch that no tool passes), leaking, stuck_open
    (failed to close or reclose), stuck_closed (failed to open or reopen), patched, perforated.

    Needs a result simulated with detail=True.
    """
    d = result.detail
    if d is None:
        raise ValueError("end_states needs a result simulated with detail=True")
    states = []
    for k, record in enumerate(tally.state):
        failed = {kind: bool(d.tried[kind][k, trial] and not d.worked[kind][k, trial]) for kind in KINDS}
        if d.perforated[k, trial] or d.perforated2[k, trial]:
            state = "perforated"
        elif d.patched[k, trial]:
            state = "patched"
        elif failed["close"] or failed["reclose"]:
            state = "stuck_open"
        elif record == "leaking" and failed["open"] and not d.tried["close"][k, trial]:
            state = "leaking"
        elif failed["open"] or failed["reopen"]:
            state = "stuck_closed"
        elif record in ("closed", "leaking") and result.treated[trial, k]:
            state = "open"
        elif d.blocked[k, trial] and d.worked["close"][k, trial]:
            state = "closed"
        elif d.worked["close"][k, trial]:
            state = "open"
        else:
            state = str(record)
        states.append(state)
    return tuple(states)


def _facts(result: JobResult, shared: BlockLuck, trial: int, policy: JobPolicy) -> _Facts:
    d = result.detail
    if d is None:
        raise ValueError("a log needs a result simulated with detail=True")
    count = shared.tally.count
    none = np.zeros(count, dtype=np.int64)
    slim = np.zeros(count, dtype=bool)
    if policy.patched_restricts == "slim":
        narrow = d.patched[:, trial] | shared.tally.in_state("patched")
        slim[:-1] = np.logical_or.accumulate(narrow[::-1])[::-1][1:]
    return _Facts(
        tried={kind: mask[:, trial] for kind, mask in d.tried.items()},
        worked={kind: mask[:, trial] for kind, mask in d.worked.items()},
        tries={kind: d.tries[kind][:, trial].astype(np.int64) if kind in d.tries else none for kind in KINDS},
        patch_tried=d.patch_tried[:, trial],
        patched=d.patched[:, trial],
        perforate_tried=d.perforate_tried[:, trial],
        perforated=d.perforated[:, trial],
        perforate2_tried=d.perforate2_tried[:, trial],
        perforated2=d.perforated2[:, trial],
        treated=result.treated[trial],
        screenout=shared.screenout[:, trial],
        trip=shared.trip[:, trial],
        stage_factor=shared.stage_factor[:, trial],
        called_off=bool(result.called_off[trial]),
        stuck=bool(result.stuck[trial]),
        cycled={kind: mask[:, trial] for kind, mask in d.cycled.items()},
        blocked=d.blocked[:, trial],
        slim=slim & result.treated[trial],
        casing_failed=bool(result.casing_failed[trial]),
    )


class _Walk:
    """Goes through a plan's steps with what happened, writing rows."""

    def __init__(self, plan: Plan, facts: _Facts, values: Mapping[str, float]) -> None:
        self.plan, self.facts, self.v = plan, facts, values
        self.rows: list[LogRow] = []
        self.clock = self.depth = self.work = 0.0
        self.calendar = 24.0 / values["work_hours_per_day"]
        self.treated = 0
        self.slim = False
        self.ready: set[int] = set()  # assembly in place for the stage
        # known to be open on record: met on the way down
        self.to_patch = {int(k) + 1 for k in np.flatnonzero(facts.patch_tried & ~facts.tried["close"])}
        # a patch that bars the way is set after the closings before the first stage
        self.patch_later = bool(facts.blocked.any())
        self.patch_next: list[int] = []
        self.deepest = max(step.depth_ft for step in plan.steps)
        self.just_closed = False
        self._aside("before_ct", values["days_before_ct"])
        if facts.called_off:
            self._call_off()
        else:
            changes = plan.changes
            due = {} if changes is None else dict(zip(changes.before_step, changes.kinds, strict=True))
            for number, step in enumerate(plan.steps):
                if number in due:
                    self._change(due[number])
                self._step(step.action, step.sleeve, step.depth_ft)
        self._aside("non_productive", self.work * values["npt_fraction"] * self.calendar / 24.0)
        self._aside("waiting", values["waiting_days"])
        if facts.stuck:
            self._aside("ct_stuck", values["stuck_ct_days"])
        if facts.casing_failed:
            self._aside("casing_failure", values["casing_failure_days"])
        self._aside("after_ct", values["days_after_ct"])

    def _row(
        self, action: str, sleeve: int | None, work: float, outcome: str = "done", tries: int = 0
    ) -> None:
        hours = work * self.calendar
        row = LogRow(len(self.rows) + 1, action, sleeve, self.depth, tries, outcome, self.clock, hours, work)
        self.rows.append(row)
        self.clock += hours
        self.work += work

    def _aside(self, action: str, days: float) -> None:
        hours = 24.0 * days
        self.rows.append(LogRow(len(self.rows) + 1, action, None, 0.0, 0, "done", self.clock, hours, 0.0))
        self.clock += hours

    def _travel(self, action: str, sleeve: int | None, depth: float) -> None:
        work = abs(depth - self.depth) / (60.0 * self.v["ct_speed_ft_per_min"])
        self.depth = depth
        self._row(action, sleeve, work)
        if action == "run_in":
            self._cleanout()

    def _cleanout(self) -> None:
        """From where the tubing stands to the deepest sleeve of the plan and back."""
        hours, at = self.v["cleanout_hours"], self.depth
        if at < self.deepest:
            self.depth = self.deepest
            self._row("cleanout", None, hours / 2.0, "to the deepest sleeve")
            self.depth = at
            hours /= 2.0
        self._row("cleanout", None, hours)

    def _change(self, kind: str) -> None:
        """A planned change: out of the hole from where the tubing stands, and back."""
        depth = self.depth
        self._travel("pull_out", None, 0.0)
        text = "assembly changed" if kind == "bha" else "string and assembly changed"
        self._row("trip", None, self.v[f"{kind}_change_hours"], text)
        self._travel("move", None, depth)

    def _shift(self, kind: str, s: int) -> bool:
        """Log a shift; returns whether it worked (False also where it was not tried)."""
        f, k = self.facts, s - 1
        action, kind = kind, "close" if kind == "reseat" else kind
        if not f.tried[kind][k]:
            self._row(action, s, 0.0, self._why_not(kind, k))
            return False
        tries, worked = int(f.tries[kind][k]), bool(f.worked[kind][k])
        cycled = kind in f.cycled and bool(f.cycled[kind][k])
        tries -= cycled
        outcome = _DONE[kind] if worked else f"not {_DONE[kind]}"
        self._row(action, s, tries * self.v["hours_per_try"], outcome, tries)
        if cycled:
            self._row("test", s, self.v["hours_per_test"], "leak found")
            self._row("cycle", s, self.v["hours_per_try"], "closed again", 1)
        return worked

    def _why_not(self, kind: str, k: int) -> str:
        f = self.facts
        if f.patched[k]:
            return "left out: patched"
        if f.blocked[k]:
            return "left out: below a patch"
        if f.perforated[k]:
            return "left out: perforated"
        if f.tried["close"][k] and not f.worked["close"][k]:
            return "left out: did not close"
        if f.tried["open"][k] and not f.worked["open"][k]:
            return "left out: did not open"
        if f.tried["reclose"][k] and not f.worked["reclose"][k]:
            return "left out: did not reclose"
        return f"left out: no {kind} needed"

    def _step(self, action: str, sleeve: int | None, depth: float) -> None:
        f, v = self.facts, self.v
        if self.patch_later and action in ("open", "treat"):
            self.patch_later = False
            for s in self.patch_next:
                self._patch(s)
        if action in ("run_in", "move", "pull_out"):
            for s in sorted(self.to_patch, reverse=True):  # shallowest first
                at = float(self.plan.depth_ft[s - 1])
                if self.depth < at <= depth:
                    self._travel("move" if self.rows[1:] else "run_in", s, at)
                    self._patch(s)
                    self.to_patch.discard(s)
            self._travel("move" if action == "run_in" and self.rows[1:] else action, sleeve, depth)
        elif sleeve is not None:
            k = sleeve - 1
            if action == "treat":
                self._treat(sleeve)
            elif action == "test":
                if self.just_closed:
                    self._row("test", sleeve, v["hours_per_test"], "tight")
            else:
                if action == "open":
                    self._assembly(sleeve)
                worked = self._shift(action, sleeve)
                self.just_closed = worked and action in ("close", "reseat", "reclose")
                if action in ("close", "reseat") and f.patch_tried[k]:
                    self._patch(sleeve)
                elif action == "open" and f.perforate_tried[k]:
                    self._perforate(sleeve, bool(f.perforated[k]))
                elif action == "reopen" and f.perforate2_tried[k]:
                    self._perforate(sleeve, bool(f.perforated2[k]))

    def _treat(self, s: int) -> None:
        f, v, k = self.facts, self.v, s - 1
        if not f.treated[k]:
            self._row("treat", s, 0.0, self._why_not("treat", k))
            return
        self._assembly(s)
        if f.slim[k]:
            self._row("slim_tools", s, v["slim_hours_per_stage"])
        outcome = "screened out" if f.screenout[k] else "treated"
        self._row("treat", s, v["hours_per_stage"] * float(f.stage_factor[k]), outcome)
        if f.screenout[k]:
            self._row("screenout", s, v["screenout_hours"], "cleaned out")
        if f.trip[k]:
            self._row("trip", s, v["hours_per_trip"], "assembly failed")

    def _assembly(self, s: int) -> None:
        """The changes of the assembly that the stage of a sleeve asks for, before its shift; once a stage."""
        f, v, k = self.facts, self.v, s - 1
        if not f.treated[k] or s in self.ready:
            return
        self.ready.add(s)
        self.treated += 1
        if f.slim[k]:
            if not self.slim:
                self._row("trip", s, v["hours_per_trip"], "slim assembly")
            self.slim = True
        runs = v["stages_per_bha"]
        if (
            self.plan.changes is None
            and self.treated > 1
            and math.floor((self.treated - 1) / runs) > math.floor((self.treated - 2) / runs)
        ):
            self._row("trip", s, v["hours_per_trip"], "assembly changed")

    def _patch(self, s: int) -> None:
        if self.patch_later:
            self.patch_next.append(s)
            return
        self._row(
            "patch", s, self.v["patch_hours"], "patched" if self.facts.patched[s - 1] else "not patched"
        )

    def _perforate(self, s: int, worked: bool) -> None:
        self._row("perforate", s, self.v["perforate_hours"], "perforated" if worked else "not perforated")

    def _call_off(self) -> None:
        """Close before the first stage as listed, then reopen what closed on the way out."""
        plan = self.plan
        for step in plan.steps:
            if step.action == "treat":
                break
            if step.action in ("close", "reseat") and step.sleeve is not None:
                if step.depth_ft != self.depth:
                    self._travel("move" if self.rows[1:] else "run_in", step.sleeve, step.depth_ft)
                self._step(step.action, step.sleeve, step.depth_ft)
                self._step("test", step.sleeve, step.depth_ft)
        for k in np.flatnonzero(plan.closes_before_first):
            s, depth = int(k) + 1, float(plan.depth_ft[k])
            if depth != self.depth:
                self._travel("move", s, depth)
            self._step("reopen", s, depth)
        self._travel("pull_out", None, 0.0)
