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
  ct_days + (stuck_ct_days if stuck) + (casing_failure_days if the casing failed) + days_after_ct.

Rules that are off unless asked for
14 Patches that narrow the bore (policy.patched_restricts). "slim": every treated stage deeper than a sleeve
  patched in the job or on record takes slim_hours_per_stage more, and the job one trip more if there is any.
  "lost": after a patch is set, no tool passes it. Stages deeper than the shallowest one are not treated;
  patches deeper than it are not tried, nor closings of deeper sleeves planned after the first stage, nor
  reopenings and what takes their place: deeper sleeves stay as they are, and one closed before the first
  stage stays closed, its production lost. Travel and planned changes remain those of the plan. (On record,
  such a patch bounds the reach of the tubing: see `engine.plan`.)
15 Tightness. A sleeve that closed or reclosed leaks where u_tight_kind < closed_leak_chance. The test finds
  it unless u_tight_kind < closed_leak_chance*(1 - leak_test_finds_chance); a leak found costs one try and one
  test more and is gone. One not found exposes the sleeve by leak_fluid_fraction to deeper stages while it
  stands closed.
16 Casing failure: u_casing < casing_failure_chance; the well is lost where u_casing < casing_failure_chance *
  well_lost_chance_given_casing_failure. As with stuck tubing, the work done is left as it is.
17 Planned changes (plan.changes, see `changes`) stand in place of floor((treated - 1)/stages_per_bha): every
  one is made unless the job is called off; bha_change_hours and string_change_hours each, and their travel.
"""

from __future__ import annotations

import numpy as np

from refracmc.job.front import Front, front
from refracmc.job.inputs import JobInputs, JobLuck, JobPolicy
from refracmc.job.machine import KINDS, Plan
from refracmc.job.results import JobDetail, JobResult, count, measure
from refracmc.job.shared import JobShared, prepare
from refracmc.job.sleeves import BoolArray, FloatArray, Tally

__all__ = ["JobDetail", "JobInputs", "JobLuck", "JobPolicy", "JobResult", "JobShared", "prepare", "simulate"]


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
    tally = sh.tally
    f = front(plan, sh, age, policy)
    tried, worked, tries = dict(f.tried), dict(f.worked), dict(f.tries)
    base = tally.shifts + plan.closes

    # 8 reclosing (before the fluid, which needs to know what stayed open)
    reclosed = not_reclosed = unseen = cycled = sh.never
    if plan.recloses.any():
        to_reclose = plan.recloses[:, None] & f.treated & ~f.not_closed & ~f.perforated
        works, used = sh.outcome("reclose", base + plan.opens, age)
        reclosed, not_reclosed = to_reclose & works, to_reclose & ~works
        tried["reclose"], worked["reclose"], tries["reclose"] = to_reclose, reclosed, used * to_reclose
        if sh.closed_leak:
            unseen, cycled = sh.tightness("reclose", reclosed)
            tries["reclose"] = tries["reclose"] + cycled

    # 9 reopening: after all planned shifts of a treated sleeve, after the one closing of another
    perforate2_tried = perforated2 = stay_shut = sh.never
    if plan.reopens.any() or f.any_off:
        to_reopen = (f.closed & ~plan.treated[:, None]) | reclosed
        if f.any_off:
            to_reopen |= f.closed & f.called_off
        if f.blocked is not sh.never:  # rule 14: out of reach
            to_reopen &= ~f.blocked
        works, used = sh.outcome("reopen", base + np.where(plan.treated, plan.opens + 1, 0), age)
        reopened, used = to_reopen & works, used * to_reopen
        if f.any_off:  # rule 3: reopened after one closing only
            trials = np.flatnonzero(f.called_off)
            works, tries_off = sh.outcome("reopen", tally.shifts + 1, age, trials)
            reopened[:, trials] = to_reopen[:, trials] & works
            used[:, trials] = tries_off * to_reopen[:, trials]
        tried["reopen"], worked["reopen"], tries["reopen"] = to_reopen, reopened, used
        stay_shut = to_reopen & ~reopened
        if policy.when_not_reopening == "perforate":
            perforate2_tried = stay_shut
            perforated2 = stay_shut & sh.perforate2_works
            stay_shut = stay_shut & ~perforated2

    # 10 who produces at the end
    shut_for_good = f.not_opened | (tally.in_state("closed", "leaking")[:, None] & ~f.treated)
    shut_for_good &= ~tally.in_state("leaking")[:, None]
    shut_for_good |= tally.in_state("stuck_closed", "patched")[:, None]
    if f.blocked is not sh.never:
        shut_for_good |= f.closed & f.blocked
    producing = ~(stay_shut | f.patched | shut_for_good)

    # 6-7 fluid
    placed, received = _fluid(plan, sh, f, not_reclosed, reclosed, unseen)
    effectiveness = received * sh.inputs.stray_fluid_value
    effectiveness += placed
    np.minimum(effectiveness, 1.0, out=effectiveness)
    effectiveness *= producing

    record = JobDetail(
        tried={kind: tried.get(kind, sh.never) for kind in KINDS},
        worked={kind: worked.get(kind, sh.never) for kind in KINDS},
        tries=tries,
        patch_tried=f.patch_tried,
        patched=f.patched,
        perforate_tried=f.perforate_tried,
        perforated=f.perforated,
        perforate2_tried=perforate2_tried,
        perforated2=perforated2,
        received=received,
        producing=producing,
        cycled={"close": f.cycled, "reclose": cycled},
        blocked=f.blocked,
    )
    counts = dict(f.counts)
    if policy.when_not_reopening == "perforate":
        counts["perforate_tries"] = counts["perforate_tries"] + count(perforate2_tried)
        counts["perforated"] = counts["perforated"] + count(perforated2)
    return measure(
        plan, sh, record, counts, f.stage_factor, f.treated, f.called_off, effectiveness, placed, detail
    )


def _fluid(
    plan: Plan, sh: JobShared, f: Front, not_reclosed: BoolArray, reclosed: BoolArray, unseen: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Rules 6 and 7: placed and received, (N, n).

    Exposure of a sleeve above a stage = start before its own stage, start + change after it, so that the sums
    over sleeves are matrix products with masks known beforehand.
    """
    take = sh.inputs.open_sleeve_take
    early = np.flatnonzero(plan.before.any(axis=1))  # treated before some deeper stage
    denominator = f.n_open * take
    if early.size:
        open_after = not_reclosed[early] | (f.perforated[early] & f.treated[early])
        change = open_after.astype(float)
        if sh.closed_leak:
            change += sh.inputs.leak_fluid_fraction * unseen[early]
            change -= f.start[early] * (open_after | reclosed[early])
        else:
            for row in np.flatnonzero(sh.tally.in_state("leaking")[early]):
                change[row] -= sh.inputs.leak_fluid_fraction * (open_after[row] | reclosed[early[row]])
        before = plan.before[early]
        denominator += (before.T @ change) * take
    denominator += 1.0
    own = f.fluid / denominator
    strayed = np.multiply(own, take, out=denominator)
    received: FloatArray = sh.below @ strayed
    received *= f.start
    if early.size:
        change *= before @ strayed
        received[early] += change
    if sh.annulus_tight:
        return own, received
    up = sh.annulus_up[:-1]
    received[1:] += own[:-1] * up
    received[:-1] += own[1:] * up
    own *= sh.annulus_kept
    return own, received
