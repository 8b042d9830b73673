"""The rules of the job: what works, what it takes, what is stimulated and what still produces.

One function a rule, for one order in one trial; `engine.job_trials` calls them in turn for every trial. Rules 11 to 13,
16 and 17 stand in `days`, the cost in `cost`.

The rules, per trial (S = sleeve; "above" = higher number; K = max_tries; luck is named as in `JobLuck`)

1 Chance. A shift of kind k in {close, open, reclose, reopen} of S has logit p = mu_k + age_slope*age_S +
  cycle_slope*cycles_kS + well_effect_sd*z_well + sleeve_effect_sd*z_S; mu_k from `chances`: the stated chance
  is the mean over the well's sleeves at their age and their shifts on record on the valuation date; age_S are the
  years since S was installed; cycles_kS are the shifts on record plus those planned for S before this one
  (plan.cycles), whether or not they came about. It works within j
  tries if logit p > c_j(u_kS). Tries used: the least such j <= K; K where it fails.
2 Closing (plan.closes): tried. Failed -> S is open for the rest of the job. A sleeve that leaks on record
  (plan.reseats) is opened first and then closed, to seal: a try is these two shifts, with two tries' hours, and
  works by the chance and luck of the closing; that it opens is taken as sure. It no longer leaks as found.
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
  leak_fluid_fraction a leaking one not opened or closed again. Own share P/(1 + take*n_open); a sleeve above
  with exposure a receives a*take*P/(1 + take*n_open). take = open_sleeve_take.
7 Annulus. The interface above S (to S+1) leaks where u_leak_S < leak_chance of S's isolation ("none": always;
  the shallowest sleeve has none). For each of the two interfaces of a treated S that leaks,
  leak_fluid_fraction of S's own share is received by that neighbour. placed_S = what is left of the own
  share. Over all sleeves: sum of placed + received = sum of P.
8 Reclosing (plan.recloses): tried if S was treated and is not perforated and did not fail to close. Failed ->
  open for the rest of the job. Works -> closed and tight (also one that leaked). No patch is tried
  after it.
9 Reopening: tried for every sleeve that stands closed at the end and was closed in the job, except those
  whose opening failed at 5. Failed -> "accept": stays closed; "perforate": one attempt, u_perforate2 <
  perforate_success -> open.
10 End. S produces if it ends open, stuck_open, perforated or leaking (a leaking sleeve never opened or closed
  again is as it was). kept_S = 1 if it is an old producer and produces, else 0. effectiveness e_S = min(1, placed_S +
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

from refracmc.compiler import inlined, rule
from refracmc.job.arrays import CLOSE, OPEN, RECLOSE, REOPEN, REOPEN_OFF, Orders, Well
from refracmc.job.days import Counts
from refracmc.job.fallbacks import is_patched, is_perforated
from refracmc.job.fluid import Fluid, expose, pump, value_fluid
from refracmc.job.results import Sleeves
from refracmc.job.sleeves import BoolArray, IntArray
from refracmc.job.tries import Luck


@rule
def is_called_off(first: BoolArray, failed: IntArray, well: Well) -> bool:
    """3 Stop-loss, on the number of closings before the first stage that fail."""
    count = 0
    for s in range(first.size):
        count += first[s] & (failed[s] >= well.max_tries)
    return (well.stop_loss >= 0) & (count > well.stop_loss)


@rule
def close(
    closes: BoolArray, first: BoolArray, failed: IntArray, off: bool, most_tries: int, job: Sleeves
) -> None:
    """2 Closing; failed: number of tries that fail."""
    for s in range(job.closed.size):
        job.close_tried[s] = first[s] | (closes[s] & (not off))
        job.closed[s] = job.close_tried[s] & (failed[s] < most_tries)


@rule
def patch(deeper: BoolArray, off: bool, well: Well, luck: Luck, job: Sleeves) -> None:
    """4 Patches, by their chance, of the sleeves that stay open above a stage to come."""
    may = well.patch & (not off)
    for s in range(job.closed.size):
        stays_open = (job.close_tried[s] & (not job.closed[s])) | well.known_open[s]
        job.patch_tried[s] = is_patched(stays_open, deeper[s], may)
        job.patched[s] = job.patch_tried[s] & luck.patch_holds[s]
        job.blocked[s] = False


@rule
def bar_below_patches(first: BoolArray, job: Sleeves) -> None:
    """14 Patches that no tool passes: by sleeve number, from the shallowest down."""
    barred = False
    for s in range(job.closed.size - 1, -1, -1):
        job.blocked[s] = barred
        if barred:
            job.patch_tried[s] = job.patched[s] = False
            job.close_tried[s] &= first[s]
            job.closed[s] &= first[s]
        barred |= job.patched[s]


@rule
def test_closed(luck: Luck, job: Sleeves) -> None:
    """15 Tightness of the sleeves closed, by the chances of a leak and of its being found."""
    for s in range(job.closed.size):
        job.close_unseen[s] = job.closed[s] & luck.close_unseen[s]
        job.close_cycled[s] = job.closed[s] & luck.close_leaks[s] & (not luck.close_unseen[s])


@rule
def open_and_treat(
    treats: BoolArray, failed: IntArray, off: bool, well: Well, luck: Luck, job: Sleeves
) -> None:
    """5 Stages: which sleeves are opened for theirs, and which treated; failed: number of tries that fail."""
    for s in range(job.closed.size):
        planned = treats[s] & (not (job.patched[s] | job.blocked[s] | off))
        job.open_tried[s] = planned & (job.closed[s] | (well.closed[s] & (not job.close_tried[s])))
        job.opened[s] = job.open_tried[s] & (failed[s] < well.max_tries)
        stuck = job.open_tried[s] & (not job.opened[s])
        job.perforate_tried[s] = is_perforated(stuck, well.perforate)
        job.perforated[s] = job.perforate_tried[s] & luck.perforates[s]
        job.treated[s] = planned & ((not stuck) | job.perforated[s])


@rule
def narrow_below_patches(well: Well, job: Sleeves) -> None:
    """14 Patches that take a slim assembly below: by sleeve number, from the shallowest down."""
    narrow = False
    for s in range(job.closed.size - 1, -1, -1):
        job.slim[s] = job.treated[s] & narrow & well.patch_narrows
        narrow |= job.patched[s] | well.old_patch[s]


@rule
def reclose(recloses: BoolArray, failed: IntArray, most_tries: int, luck: Luck, job: Sleeves) -> None:
    """8 Reclosing, and 15 the tightness of the sleeves reclosed; failed: number of tries that fail."""
    for s in range(job.closed.size):
        stays_open = (job.close_tried[s] & (not job.closed[s])) | job.perforated[s]
        job.reclose_tried[s] = recloses[s] & job.treated[s] & (not stays_open)
        job.reclosed[s] = job.reclose_tried[s] & (failed[s] < most_tries)
        job.reclose_unseen[s] = job.reclosed[s] & luck.reclose_unseen[s]
        job.reclose_cycled[s] = job.reclosed[s] & luck.reclose_leaks[s] & (not luck.reclose_unseen[s])


@rule
def reopen(treats: BoolArray, failed: IntArray, off: bool, well: Well, luck: Luck, job: Sleeves) -> None:
    """9 Reopening; failed: number of tries that fail."""
    for s in range(job.closed.size):
        stands_closed = (job.closed[s] & ((not treats[s]) | off)) | job.reclosed[s]
        job.reopen_tried[s] = stands_closed & (not job.blocked[s])
        job.reopened[s] = job.reopen_tried[s] & (failed[s] < well.max_tries)
        shut = job.reopen_tried[s] & (not job.reopened[s])
        job.perforate2_tried[s] = is_perforated(shut, well.perforate_again)
        job.perforated2[s] = job.perforate2_tried[s] & luck.perforates_again[s]


@rule
def find_producers(well: Well, job: Sleeves) -> None:
    """10 End: which sleeves produce, by the counts of what worked."""
    for s in range(job.closed.size):
        not_opened = job.open_tried[s] & (not (job.opened[s] | job.perforated[s]))
        not_reopened = job.reopen_tried[s] & (not (job.reopened[s] | job.perforated2[s]))
        as_found = not job.close_tried[s]
        left = not_opened | (well.closed[s] & as_found & (not job.treated[s]))
        leaks = well.leaking[s] & as_found
        shut = (left & (not leaks)) | not_reopened | (job.closed[s] & job.blocked[s])
        job.producing[s] = not (shut | job.patched[s] | well.shut[s])


@inlined
def do_job(
    orders: Orders, o: int, failed: IntArray, g: np.record, well: Well, luck: Luck, job: Sleeves, fluid: Fluid
) -> bool:
    """Rules 2 to 10, 14 and 15 for an order in one trial, into `job` and `fluid`; whether it is called off.

    failed (V, N): number of failed tries by row of the shifts. Eight arguments: they are what a rule may ask.
    """
    shifts, treats, first = orders.shifts[o], orders.treats[o], orders.first[o]
    off = is_called_off(first, failed[shifts[CLOSE]], well)
    close(orders.closes[o], first, failed[shifts[CLOSE]], off, well.max_tries, job)
    patch(orders.deeper[o], off, well, luck, job)
    if well.patch_bars:
        bar_below_patches(first, job)
    test_closed(luck, job)
    open_and_treat(treats, failed[shifts[OPEN]], off, well, luck, job)
    narrow_below_patches(well, job)
    reclose(orders.recloses[o], failed[shifts[RECLOSE]], well.max_tries, luck, job)
    reopen(treats, failed[shifts[REOPEN_OFF if off else REOPEN]], off, well, luck, job)
    find_producers(well, job)
    expose(well, g.leak_fluid_fraction, job, fluid)
    pump(orders.sequence[o, : orders.stages[o]], g, luck, job, fluid)
    value_fluid(g.stray_fluid_value, job, fluid)
    return off


@rule
def number(marks: BoolArray) -> int:
    """Number of sleeves marked."""
    count = 0
    for s in range(marks.size):
        count += marks[s]
    return count


@rule
def number_of_both(marks: BoolArray, others: BoolArray) -> int:
    """Number of sleeves marked in both."""
    count = 0
    for s in range(marks.size):
        count += marks[s] & others[s]
    return count


@rule
def tries_of(tried: BoolArray, failed: IntArray, most_tries: int) -> int:
    """Number of tries that the shifts tried have taken (rule 1)."""
    count = 0
    for s in range(tried.size):
        count += min(failed[s] + 1, most_tries) if tried[s] else 0
    return count


@rule
def tries_of_both(tried: BoolArray, others: BoolArray, failed: IntArray, most_tries: int) -> int:
    """Number of tries that the shifts tried have taken at sleeves marked in both (rule 2: openings of a reseating)."""
    count = 0
    for s in range(tried.size):
        count += min(failed[s] + 1, most_tries) if tried[s] & others[s] else 0
    return count


@inlined
def count_job(
    orders: Orders, o: int, failed: IntArray, g: np.record, well: Well, luck: Luck, job: Sleeves, off: bool
) -> Counts:
    """The counts of a job (rules 2, 8, 12, 14, 15 and 17). Eight arguments: they are what a rule may ask."""
    shifts, most = orders.shifts[o], well.max_tries
    closing, opening = number(job.close_tried), number(job.open_tried)
    reclosing, reopening = number(job.reclose_tried), number(job.reopen_tried)
    closed, reclosed = number(job.closed), number(job.reclosed)
    cycled = number(job.close_cycled) + number(job.reclose_cycled)
    tries = cycled + tries_of(job.close_tried, failed[shifts[CLOSE]], most)
    tries += tries_of_both(job.close_tried, orders.reseats[o], failed[shifts[CLOSE]], most)
    tries += tries_of(job.open_tried, failed[shifts[OPEN]], most)
    tries += tries_of(job.reclose_tried, failed[shifts[RECLOSE]], most)
    tries += tries_of(job.reopen_tried, failed[shifts[REOPEN_OFF if off else REOPEN]], most)
    treated, slim = number(job.treated), number(job.slim)
    trips = number_of_both(job.treated, luck.fails_assembly)
    if orders.changes[o, 0] == 0:
        trips += int(max(treated - 1, 0) / g.stages_per_bha)
    if slim > 0:
        trips += 1
    assemblies = 0 if off else orders.changes[o, 1]
    strings = 0 if off else orders.changes[o, 2]
    return Counts(
        closing,
        closing - closed,
        opening,
        opening - number(job.opened),
        reclosing,
        reclosing - reclosed,
        reopening,
        reopening - number(job.reopened),
        closing + number_of_both(job.close_tried, orders.reseats[o]) + opening + reclosing + reopening,
        tries,
        closed + reclosed + cycled,
        treated,
        trips + assemblies,
        number_of_both(job.treated, luck.screens_out),
        number(job.patch_tried),
        number(job.patched),
        number(job.perforate_tried) + number(job.perforate2_tried),
        number(job.perforated) + number(job.perforated2),
        slim,
        assemblies,
        strings,
    )
