"""Closing, stop-loss, patches and openings of a job: rules 2 to 5 of `simulate`.

They depend on the date and on which sleeves are closed, opened and treated, but not on the order of the
stages, so orders of one date share them (all named orders do under the closing policy "all"). Arrays are (N,
n).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from refracmc.job.inputs import JobPolicy
from refracmc.job.machine import Plan
from refracmc.job.results import count
from refracmc.job.shared import ByteArray, JobShared
from refracmc.job.sleeves import BoolArray, FloatArray, IntArray

_KEPT_FRONTS = 16


@dataclass(frozen=True, eq=False)
class Front:
    """State after rules 2 to 5.

    tried, worked, tries : of "close" and "open", absent where none is planned; closed : stands closed after
    the closing; not_closed : tried and failed; not_opened : closed or leaking for good; start : exposure of a
    sleeve to deeper stages before its own stage [-], n_open its sum over the sleeves above; fluid : pumped
    into the treated stages [-]; cycled : found leaking after closing and cycled; blocked : deeper than a patch
    that the tools do not pass; called_off, stage_factor (sum over treated) and number : (n,).
    """

    tried: dict[str, BoolArray]
    worked: dict[str, BoolArray]
    tries: dict[str, ByteArray]
    closed: BoolArray
    not_closed: BoolArray
    patch_tried: BoolArray
    patched: BoolArray
    not_opened: BoolArray
    perforate_tried: BoolArray
    perforated: BoolArray
    treated: BoolArray
    called_off: BoolArray
    any_off: bool
    start: FloatArray
    n_open: FloatArray
    fluid: FloatArray
    stage_factor: FloatArray
    counts: dict[str, IntArray]
    cycled: BoolArray
    blocked: BoolArray


def front(plan: Plan, sh: JobShared, age: FloatArray, policy: JobPolicy) -> Front:
    """Rules 2 to 5 for ages [years] (N,) or (n, N); kept in `sh` for plans that share them (common age
    only)."""
    if age.ndim == 2:
        return _front(plan, sh, age, policy)
    static = (
        plan.closes,
        plan.closes_before_first,
        plan.treated,
        plan.opens,
        plan.deeper_planned,
        plan.cycles[:2],
    )
    key = (age.tobytes(), policy, plan.changes is None, *(a.tobytes() for a in static))
    if key not in sh.fronts:
        sh.fronts[key] = _front(plan, sh, age, policy)
        if len(sh.fronts) > _KEPT_FRONTS:
            sh.fronts.popitem(last=False)
    kept: Front = sh.fronts[key]
    return kept


def _front(plan: Plan, sh: JobShared, age: FloatArray, policy: JobPolicy) -> Front:
    tally = sh.tally
    rows = (tally.count, sh.trials)
    never = sh.never
    tried: dict[str, BoolArray] = {}
    worked: dict[str, BoolArray] = {}
    tries: dict[str, ByteArray] = {}
    closes, treats = plan.closes[:, None], plan.treated[:, None]
    known_open = tally.in_state("stuck_open", "perforated")[:, None]

    # 2-3 closing, stop-loss
    closed = not_closed = never
    called_off = np.zeros(sh.trials, dtype=bool)
    if plan.closes.any():
        works, used = sh.outcome("close", plan.cycles[0], age)
        made = np.broadcast_to(closes, rows)
        if policy.stop_loss_failed_closes is not None:
            failed = count(plan.closes_before_first[:, None] & ~works)
            called_off = failed > policy.stop_loss_failed_closes
            made = np.where(called_off, plan.closes_before_first[:, None], closes)
        closed = made & works
        not_closed = made & ~works
        tried["close"], worked["close"], tries["close"] = made, closed, used * made
    live = ~called_off

    # 4 patches
    patch_tried = patched = never
    if policy.when_not_closing == "patch":
        patch_tried = (not_closed | known_open) & plan.deeper_planned[:, None] & live
        patched = patch_tried & sh.patch_works
    blocked = never
    if policy.patched_restricts == "lost" and patched.any():
        blocked = sh.above @ patched.astype(float) > 0.0
        patch_tried, patched = patch_tried & ~blocked, patched & ~blocked
        if "close" in tried:
            made = tried["close"] & ~(blocked & ~plan.closes_before_first[:, None])
            closed, not_closed = closed & made, not_closed & made
            tried["close"], worked["close"], tries["close"] = made, closed, tries["close"] * made

    # tightness
    unseen, cycled = sh.tightness("close", closed)
    if sh.closed_leak and "close" in tries:
        tries["close"] = tries["close"] + cycled

    # 5 stages
    treated = treats & ~patched & live
    if blocked is not never:
        treated = treated & ~blocked
    not_opened = perforate_tried = perforated = never
    if plan.opens.any():
        works, used = sh.outcome("open", plan.cycles[1], age)
        made = (closed | tally.in_state("closed", "leaking")[:, None]) & treated
        not_opened = made & ~works
        tried["open"], worked["open"], tries["open"] = made, made & works, used * made
        if policy.when_not_opening == "perforate":
            perforate_tried = not_opened
            perforated = perforate_tried & sh.perforate_works
            not_opened = not_opened & ~perforated
        treated = treated & ~not_opened

    start = ((not_closed | known_open) & ~patched).astype(float)
    start[tally.in_state("leaking")] = sh.inputs.leak_fluid_fraction
    if sh.closed_leak:
        start += sh.inputs.leak_fluid_fraction * unseen
    number = count(treated)
    trips = np.zeros(sh.trials, dtype=np.int64)
    if plan.changes is None:
        trips = np.floor(np.maximum(number - 1, 0) / sh.inputs.stages_per_bha).astype(np.int64)
    slim: dict[str, IntArray] = {}
    if policy.patched_restricts == "slim":
        narrow = patched | tally.in_state("patched")[:, None]
        slim["slim_stages"] = count(treated & (sh.above @ narrow.astype(float) > 0.0))
        trips = trips + (slim["slim_stages"] > 0)
    return Front(
        tried=tried,
        worked=worked,
        tries=tries,
        closed=closed,
        not_closed=not_closed,
        patch_tried=patch_tried,
        patched=patched,
        not_opened=not_opened,
        perforate_tried=perforate_tried,
        perforated=perforated,
        treated=treated,
        called_off=called_off,
        any_off=bool(called_off.any()),
        start=start,
        n_open=sh.above @ start,
        fluid=sh.pumped * treated,
        stage_factor=np.einsum("ij,ij->j", treated.astype(float), sh.stage_factor),
        counts={
            "treated": number,
            "trips": trips + count(treated & sh.trip),
            "screenouts": count(treated & sh.screenout),
            "patch_tries": count(patch_tried),
            "patched": count(patched),
            "perforate_tries": count(perforate_tried),
            "perforated": count(perforated),
            **slim,
        },
        cycled=cycled,
        blocked=blocked,
    )
