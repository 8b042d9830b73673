"""The job, simulated over trials: what works, what it takes, what is stimulated and what still produces.

The rules, per trial (S = sleeve; "above" = higher number; K = max_tries; luck is named as in `JobLuck`)

1 Chance. A shift of kind k in {close, open, reclose, reopen} of S has logit p = mu_k + age_slope*age_S +
  cycle_slope*cycles_kS + well_effect_sd*z_well + sleeve_effect_sd*z_S; mu_k from `chances`; cycles_kS are the
  shifts on record plus those planned for S before this one (plan.cycles), whether or not they came about. It
  works within j tries if logit p > c_j(u_kS). Tries used: the least such j <= K; K where it fails.
2 Closing (plan.closes): tried. Failed -> S is open for the rest of the job.
3 Stop-loss: failed closings among plan.closes_before_first > stop_loss_failed_closes -> called off: of the
  closings only those before the first stage were tried, nothing else of 4 to 8 is done, and each sleeve
  closed is reopened (9, with cycles = shifts on record + 1).
4 Patch, with when_not_closing = "patch", not if called off: one attempt for each sleeve with a stage deeper
  than it planned that failed to close, or is stuck_open or perforated on record. u_patch < patch_success ->
  patched: tight, its production lost, its own stage not treated, never reopened. Otherwise it stays open.
  (A sleeve that no planned stage is deeper than is not patched: nothing would be gained. The stop-loss is
  decided before the patching.)
5 Stage of S, in order. Patched -> not treated. Open (never closed, failed to close, stuck_open, perforated)
  -> treated without a shift. Closed or leaking -> opening tried. Failed -> "skip": stays as it is for good,
  not tried again; "perforate": one attempt, u_perforate < perforate_success -> treated and open for good,
  otherwise as "skip".
6 Fluid. A treated stage gets P = screenout_placed_fraction where u_screen < screenout_chance, else 1. n_open
  = sum over the sleeves above it of their exposure at that time: 1 open, 0 closed or patched,
  leak_fluid_fraction a leaking one that has not been opened. Own share P/(1 + take*n_open); a sleeve above
  with exposure a receives a*take*P/(1 + take*n_open). take = open_sleeve_take.
7 Annulus. The interface above S (to S+1) leaks where u_leak_S < leak_chance of S's isolation ("none": always;
  the shallowest sleeve has none). For each of the two interfaces of a treated S that leaks,
  leak_fluid_fraction of S's own share is received by that neighbour. placed_S = what is left of the own
  share. Over all sleeves: sum of placed + received = sum of P.
8 Reclosing (plan.recloses): tried if S was treated and is not perforated and did not fail to close. Failed ->
  open for the rest of the job. Works -> closed and tight (also a formerly leaking one). No patch is tried
  after it.
9 Reopening: tried for every sleeve that stands closed at the end and was closed in the job, except those
  whose opening failed at 5. Failed -> "accept": stays closed; "perforate": one attempt, u_perforate2 <
  perforate_success -> open.
10 End. S produces if it ends open, stuck_open, perforated or leaking (a leaking sleeve never opened is as it
  was). kept_S = 1 if it is an old producer and produces, else 0. effectiveness e_S = min(1, placed_S +
  stray_fluid_value*received_S) if it produces, else 0, treated or not; all 0 if called off.
11 Events. CT stuck: u_event < stuck_ct_chance. Well lost: u_event <
  stuck_ct_chance*well_lost_chance_given_stuck. A lost well's kept and e are left as they are here (the
  response sets the streams to zero); stages_effective_share is 0 for it.
12 Hours [h of CT work]: cleanout_hours; travel = feet/(60*ct_speed); shifting = hours_per_try*tries; testing
  = hours_per_test*(closings and reclosings that worked); treating = sum over treated of
  hours_per_stage*exp(sd* z_stage - sd^2/2); screenouts, patching, perforating = hours each * number
  (attempts); trips = hours_per_trip * trips, trips = floor(max(treated - 1, 0)/stages_per_bha) + treated
  stages with u_trip < trip_chance_per_stage. Feet: plan.travel_ft; called off plan.call_off_travel_ft (to the
  deepest closing and back).
13 Days: ct_days = ct_hours*(1 + npt_fraction)/work_hours_per_day + waiting_days; days = days_before_ct +
  ct_days + (stuck_ct_days if stuck) + days_after_ct.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from refracmc.job.inputs import JobInputs, JobLuck, JobPolicy
from refracmc.job.machine import Plan
from refracmc.job.shared import ByteArray, JobShared, prepare
from refracmc.job.sleeves import BoolArray, FloatArray, IntArray, Tally

__all__ = ["JobDetail", "JobInputs", "JobLuck", "JobPolicy", "JobResult", "JobShared", "prepare", "simulate"]


@dataclass(frozen=True, eq=False)
class JobDetail:
    """Sleeve by sleeve, all (N, n): tried, worked (of those tried) and tries for each kind of shift; patch
    and perforation attempts and successes; what was received elsewhere; which sleeves produce at the end."""

    tried: dict[str, BoolArray]
    worked: dict[str, BoolArray]
    tries: dict[str, ByteArray]
    patch_tried: BoolArray
    patched: BoolArray
    perforate_tried: BoolArray
    perforated: BoolArray
    perforate2_tried: BoolArray
    perforated2: BoolArray
    received: FloatArray
    producing: BoolArray


@dataclass(frozen=True, eq=False)
class JobResult:
    """Outcome of a job. (n,) over trials unless marked.

    days = days_before_ct + ct_days + stuck_days + days_after_ct [days]; ct_days [days] with non-productive
    time and waiting; ct_hours [h] of CT work without; hours parts cleanout, travel, shifting, testing,
    treating, screenouts, patching, perforating, trips [h], which sum to ct_hours.
    counts: close_tried/_failed and so on for open, reclose, reopen; shifts (those tried), tries, tests,
    treated, trips, screenouts, patch_tries, patched, perforate_tries, perforated.
    kept, effectiveness (before stress), placed : (n, N) [-]; treated : (n, N) bool. These four are transposed
    views of sleeve-major memory: keep weights in the same layout (np.asfortranarray) for speed.
    called_off, stuck, lost : bool. stages_effective_share : mean effectiveness over the planned stages, 0
    where the job is called off or the well lost [-].
    """

    days: FloatArray
    days_before_ct: FloatArray
    ct_days: FloatArray
    stuck_days: FloatArray
    days_after_ct: FloatArray
    ct_hours: FloatArray
    hours: dict[str, FloatArray]
    counts: dict[str, IntArray]
    kept: FloatArray
    effectiveness: FloatArray
    placed: FloatArray
    treated: BoolArray
    called_off: BoolArray
    stuck: BoolArray
    lost: BoolArray
    stages_effective_share: FloatArray
    detail: JobDetail | None = None


def _count(mask: BoolArray | ByteArray) -> IntArray:
    """Sum over sleeves of a (N, n) mask or of small counts, as (n,) int64."""
    bytes_ = mask.view(np.uint8)
    kind = np.uint8 if mask.dtype == np.bool_ and mask.shape[0] < 256 else np.uint32
    return np.asarray(np.add.reduce(bytes_, axis=0, dtype=kind), dtype=np.int64)


def simulate(
    plan: Plan,
    tally: Tally,
    inputs: JobInputs,
    luck: JobLuck,
    age_years: FloatArray,
    policy: JobPolicy,
    shared: JobShared | None = None,
    *,
    detail: bool = False,
) -> JobResult:
    """Simulate a plan over the trials of a block by the rules of the module.

    Parameters
    ----------
    age_years : (N,) ages of the sleeves at the job [years], or (n, N) where the date differs by trial
    shared : from `prepare(inputs, luck, tally, policy.max_tries)`; made here if absent
    detail : also return the sleeve-by-sleeve record (for logs and tests)

    Raises ValueError where shapes or max_tries of the parts do not belong together.
    """
    if shared is None:
        shared = prepare(inputs, luck, tally, policy.max_tries)
    elif shared.max_tries != policy.max_tries or shared.tally is not tally or shared.inputs is not inputs:
        raise ValueError("the shared part was prepared for other inputs, another tally or number of tries")
    age = np.asarray(age_years, dtype=float)
    n, count = shared.trials, tally.count
    if age.shape not in ((count,), (n, count)) or plan.treated.shape != (count,):
        raise ValueError(f"ages have shape {age.shape} and the plan {plan.treated.shape} for {count} sleeves")
    return _simulate(plan, shared, age, policy, detail)


def _simulate(plan: Plan, sh: JobShared, age: FloatArray, policy: JobPolicy, detail: bool) -> JobResult:
    tally, n = sh.tally, sh.trials
    rows = (tally.count, n)
    never = np.zeros(rows, dtype=bool)
    tried: dict[str, BoolArray] = dict.fromkeys(("close", "open", "reclose", "reopen"), never)
    worked = dict(tried)
    tries: dict[str, ByteArray] = {}

    def attempt(kind: str, mask: BoolArray, kind_index: int) -> BoolArray:
        """Try the shift where the mask says so; returns where it worked."""
        works, used = sh.outcome(kind, plan.cycles[kind_index], age)
        tried[kind], worked[kind], tries[kind] = mask, mask & works, used * mask
        return worked[kind]

    closes, treats = plan.closes[:, None], plan.treated[:, None]
    known_open = tally.in_state("stuck_open", "perforated")[:, None]
    shut = tally.in_state("closed", "leaking")[:, None]

    # 2-3 closing, stop-loss
    closed = never
    called_off = np.zeros(n, dtype=bool)
    if plan.closes.any():
        closed = attempt("close", np.broadcast_to(closes, rows), 0)
        if policy.stop_loss_failed_closes is not None:
            failed = _count(plan.closes_before_first[:, None] & ~closed)
            called_off = failed > policy.stop_loss_failed_closes
    off = bool(called_off.any())
    live = ~called_off
    if off:
        made = np.where(called_off, plan.closes_before_first[:, None], closes)
        tried["close"], worked["close"] = made, closed & made
        tries["close"] = tries["close"] * made
        closed = worked["close"]
    not_closed = tried["close"] & ~closed

    # 4 patches
    patch_tried = patched = never
    if policy.when_not_closing == "patch":
        patch_tried = (not_closed | known_open) & plan.deeper_planned[:, None] & live
        patched = patch_tried & sh.patch_works

    # 5 stages
    treated = treats & ~patched & live
    opened = not_opened = perforate_tried = perforated = never
    if plan.opens.any():
        to_open = (closed | shut) & treated
        opened = attempt("open", to_open, 1)
        not_opened = to_open & ~opened
        if policy.when_not_opening == "perforate":
            perforate_tried = not_opened
            perforated = perforate_tried & sh.perforate_works
            not_opened = not_opened & ~perforated
        treated = treated & ~not_opened

    # 8 reclosing (before the fluid, which needs to know what stayed open)
    reclosed = not_reclosed = never
    if plan.recloses.any():
        to_reclose = plan.recloses[:, None] & treated & ~not_closed & ~perforated
        reclosed = attempt("reclose", to_reclose, 2)
        not_reclosed = to_reclose & ~reclosed

    # 9 reopening
    to_reopen = (closed & ~treats) | reclosed
    if off:
        to_reopen |= closed & called_off
    perforate2_tried = perforated2 = stay_shut = never
    if plan.reopens.any() or off:
        reopened = attempt("reopen", to_reopen, 3)
        if off:
            _reopen_called_off(sh, age, called_off, tried, worked, tries)
        stay_shut = to_reopen & ~reopened
        if policy.when_not_reopening == "perforate":
            perforate2_tried = stay_shut
            perforated2 = stay_shut & sh.perforate2_works
            stay_shut = stay_shut & ~perforated2

    # 10 who produces at the end
    shut_for_good = not_opened | (shut & ~treated)
    shut_for_good &= ~tally.in_state("leaking")[:, None]
    shut_for_good |= tally.in_state("stuck_closed", "patched")[:, None]
    producing = ~(stay_shut | patched | shut_for_good)

    # 6-7 fluid
    placed, received = _fluid(
        plan, sh, treated, (not_closed | known_open) & ~patched, not_reclosed | perforated, reclosed
    )
    effectiveness = received * sh.inputs.stray_fluid_value
    effectiveness += placed
    np.minimum(effectiveness, 1.0, out=effectiveness)
    effectiveness *= producing

    record = JobDetail(
        tried=tried,
        worked=worked,
        tries=tries,
        patch_tried=patch_tried,
        patched=patched,
        perforate_tried=perforate_tried,
        perforated=perforated,
        perforate2_tried=perforate2_tried,
        perforated2=perforated2,
        received=received,
        producing=producing,
    )
    return _measure(plan, sh, record, treated, effectiveness, placed, called_off, detail)


def _reopen_called_off(
    sh: JobShared,
    age: FloatArray,
    called_off: BoolArray,
    tried: dict[str, BoolArray],
    worked: dict[str, BoolArray],
    tries: dict[str, ByteArray],
) -> None:
    """Rule 3: in trials called off a sleeve is reopened after one closing only, with the cycles of that."""
    trials = np.flatnonzero(called_off)
    works, used = sh.outcome("reopen", sh.tally.shifts + 1, age, trials)
    mask = tried["reopen"][:, trials]
    worked["reopen"][:, trials] = mask & works
    tries["reopen"][:, trials] = used * mask


def _fluid(
    plan: Plan,
    sh: JobShared,
    treated: BoolArray,
    open_throughout: BoolArray,
    open_after: BoolArray,
    reclosed: BoolArray,
) -> tuple[FloatArray, FloatArray]:
    """Rules 6 and 7: placed and received, (N, n).

    Exposure of a sleeve above a stage = `start` before its own stage, `start + change` after it, so that the
    sums over sleeves are two matrix products with masks known beforehand.
    """
    inputs = sh.inputs
    take = inputs.open_sleeve_take
    start = open_throughout.astype(float)
    leaking = np.flatnonzero(sh.tally.in_state("leaking"))
    start[leaking] = inputs.leak_fluid_fraction
    n_open = sh.above @ start
    early = np.flatnonzero(plan.before.any(axis=1))  # treated before some deeper stage
    change = None
    if early.size:
        change = (open_after & treated)[early].astype(float)
        for row, k in enumerate(early):
            if k in leaking:
                change[row] -= inputs.leak_fluid_fraction * (open_after[k] | reclosed[k])
        before = plan.before[early]
        n_open += before.T @ change

    n_open *= take
    n_open += 1.0
    own = sh.pumped * treated
    own /= n_open
    strayed = own * take
    received: FloatArray = sh.below @ strayed
    received *= start
    if change is not None:
        received[early] += change * (before @ strayed)
    if sh.annulus_tight:
        return own, received
    placed: FloatArray = own * sh.annulus_kept
    received[1:] += own[:-1] * sh.annulus_up[:-1]
    received[:-1] += own[1:] * sh.annulus_up[:-1]
    return placed, received


def _measure(
    plan: Plan,
    sh: JobShared,
    record: JobDetail,
    treated: BoolArray,
    effectiveness: FloatArray,
    placed: FloatArray,
    called_off: BoolArray,
    detail: bool,
) -> JobResult:
    """Rules 11 to 13: counts, hours, days."""
    inputs, n = sh.inputs, sh.trials
    zero = np.zeros(n, dtype=np.int64)
    counts: dict[str, IntArray] = {}
    shifts, tries, tests = zero, zero, zero
    for kind, mask in record.tried.items():
        if kind in record.tries:
            tried, worked = _count(mask), _count(record.worked[kind])
            tries = tries + _count(record.tries[kind])
            shifts = shifts + tried
            if kind in ("close", "reclose"):
                tests = tests + worked
        else:
            tried = worked = zero
        counts[f"{kind}_tried"], counts[f"{kind}_failed"] = tried, tried - worked
    number = _count(treated)
    trips = np.floor(np.maximum(number - 1, 0) / inputs.stages_per_bha).astype(np.int64)
    counts |= {
        "shifts": shifts,
        "tries": tries,
        "tests": tests,
        "treated": number,
        "trips": trips + _count(treated & sh.trip),
        "screenouts": _count(treated & sh.screenout),
        "patch_tries": _count(record.patch_tried),
        "patched": _count(record.patched),
        "perforate_tries": _count(record.perforate_tried) + _count(record.perforate2_tried),
        "perforated": _count(record.perforated) + _count(record.perforated2),
    }
    feet = np.where(called_off, plan.call_off_travel_ft, plan.travel_ft)
    hours: dict[str, FloatArray] = {
        "cleanout": inputs.cleanout_hours + np.zeros(n),
        "travel": feet / (60.0 * inputs.ct_speed_ft_per_min),
        "shifting": inputs.hours_per_try * tries,
        "testing": inputs.hours_per_test * tests,
        "treating": inputs.hours_per_stage * np.einsum("ij,ij->j", treated.astype(float), sh.stage_factor),
        "screenouts": inputs.screenout_hours * counts["screenouts"],
        "patching": inputs.patch_hours * counts["patch_tries"],
        "perforating": inputs.perforate_hours * counts["perforate_tries"],
        "trips": inputs.hours_per_trip * counts["trips"],
    }
    ct_hours = np.zeros(n)
    for part in hours.values():
        ct_hours += part
    ct_days = ct_hours * (1.0 + inputs.npt_fraction) / inputs.work_hours_per_day + inputs.waiting_days
    stuck_days = np.where(sh.stuck, inputs.stuck_ct_days, 0.0)
    share = (plan.treated / len(plan.order)) @ effectiveness
    return JobResult(
        days=inputs.days_before_ct + ct_days + stuck_days + inputs.days_after_ct,
        days_before_ct=inputs.days_before_ct + np.zeros(n),
        days_after_ct=inputs.days_after_ct + np.zeros(n),
        ct_days=ct_days,
        ct_hours=ct_hours,
        stuck_days=stuck_days,
        hours=hours,
        counts=counts,
        kept=(record.producing & sh.tally.old_producers[:, None]).astype(float).T,
        effectiveness=effectiveness.T,
        placed=placed.T,
        treated=treated.T,
        called_off=called_off,
        stuck=sh.stuck,
        lost=sh.lost,
        stages_effective_share=np.where(sh.lost, 0.0, share),
        detail=record if detail else None,
    )
