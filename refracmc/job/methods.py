"""Isolation methods beside reclosed sleeves: what each takes and what it leaves. No sleeve is shifted.

bullhead  The whole job is pumped down the casing into every sleeve open on record; diverter is dropped between
          batches. V = round(volume_fraction * treatable sleeves) stage volumes, at least one. Sleeve s takes
          placed_s = V * a_s / sum(a), a_s = exp(sd * z_stage_s) for an open sleeve (open, stuck_open,
          perforated), leak_fluid_fraction times that for a leaking one, sd = share_log_sd * (1 -
          diverter_evens_fraction). effectiveness e_s = effect_fraction * min(1, placed_s). All old production
          is kept. At least one must be open: leaking ones alone take no job. Pumping takes V * hours_per_stage
          of the job * pumping_hours_factor (the casing takes a higher rate) + diverter_drops * hours_per_drop.
straddle  Two packers on the tubing straddle one open sleeve after another, toe to heel, of those listed (all
          open ones within reach where none are). A set seals where u_open < seal_chance; up to max_tries sets
          (one uniform tells all: sealed within j if u < 1 - (1 - p)^j), then the sleeve is left out. A stage
          screens out and leaks along the annulus as in `simulate`, but no open sleeve above takes fluid.
          e_s = effect_fraction * min(1, placed_s + stray_fluid_value * received_s) where s produces (open or
          leaking on record). All old production is kept. Each set takes hours_per_set, each stage
          pumping_hours_factor times its hours in `simulate` (the tubing takes a lower rate). Trips:
          floor((sets - 1)/sets_per_trip) + treated stages with u_trip < chance.
liner     A liner is cemented inside the old casing and treated by plugs and perforations, toe to heel, stages
          stage_spacing_ft long from the deepest sleeve up to the shallowest, those without a sleeve too; a
          stage covers the sleeves in its length. It is not set where u_method < liner_fails_chance: called
          off, nothing treated, failed_kept_fraction of the old production left. Else old_kept_fraction of it
          comes back through the new perforations, and e_s = effect_factor, but 0 where u_screen of the deepest
          sleeve of its stage < stage_fails_chance (its hours and cost are spent). placed_s is 1 or 0. Pumping
          takes the liner's hours_per_stage for each stage, milling drill_out_hours_per_plug for all plugs but
          the top one's (stages - 1). round(volume_factor * stages) stage volumes are pumped. The old sleeves
          and the bore are lost for any later job. A sleeve that cannot be treated has no share of the
          potential, so new perforations there gain nothing.

Time. Coiled tubing runs in and out once and cleans out (straddle: works from there): to the deepest sleeve that
is treated or takes fluid; beyond the reach of the tubing a bullhead is not cleaned out, and a liner is milled
all the same. A liner is run and treated first, then milled and cleaned out. For bullhead and liner the pumping
is a phase of its own with the pumping crew and no coiled tubing on hire: pumping_days = hours * (1 +
npt_fraction) / work_hours_per_day. The liner's days on the workover rig add to the days before. Rare events of
coiled tubing and casing are those of `simulate`. counts["treated"] is in stage volumes as the materials and
water are priced by. Stress: the stages of straddle and liner feel those treated before them (the sleeves of one
liner stage are treated at once), a bullheaded one feels none.

Cost beside that of any job: diverter per drop; tools per set; liner_usd, and stage_usd per stage where it is
set. stages_effective_share is the mean of min(1, e_s) over the treatable sleeves (straddle: those it treats).
Source of the rules: common practice, no source; the numbers' sources stand at their keys. Recovery by bullhead
is the floor, by liner an upper bound for a refrac through old sleeves.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from refracmc.job.days import days_of
from refracmc.job.luck import BlockLuck
from refracmc.job.machine import KINDS
from refracmc.job.results import JobResult
from refracmc.job.sleeves import BoolArray, FloatArray, IntArray, PlanRefused, Tally

METHODS: Final = ("bullhead", "straddle", "liner")
_COUNTS: Final = (
    "tries",
    "tests",
    "shifts",
    "treated",
    "trips",
    "screenouts",
    "patch_tries",
    "patched",
    "perforate_tries",
    "perforated",
)


@dataclass(frozen=True, eq=False)
class MethodPlan:
    """What a method does in every trial.

    kind : of `METHODS`; sleeves : numbers of the sleeves it treats, in order; stage_of : (N,) liner stage of each
    sleeve from 0 at the toe (-1 where there is none); stages : number of liner stages; drops, sets_per_trip :
    fixed numbers of the bullhead and the straddle; depth_ft : (N,) depths [ft]; bottom_ft : how deep the tubing
    runs [ft]; treatable : number of sleeves a stage could be pumped through;
    pumping_hours_factor : pumping hours of a stage volume over those of a sleeve stage (bullhead, straddle) [-].
    """

    kind: str
    sleeves: tuple[int, ...]
    stage_of: IntArray
    stages: int
    drops: int
    sets_per_trip: int
    depth_ft: FloatArray
    bottom_ft: float
    treatable: int
    pumping_hours_factor: float = 1.0


def plan_method(
    kind: str,
    tally: Tally,
    reach_ft: float | None = None,
    *,
    sleeves: Sequence[int] | None = None,
    drops: int = 0,
    sets_per_trip: int = 1,
    stage_spacing_ft: float = 200.0,
    pumping_hours_factor: float = 1.0,
) -> MethodPlan:
    """The plan of a method; reach_ft [ft] bounds the straddle, stage_spacing_ft [ft] is the liner's.

    Raises PlanRefused, naming the sleeve, where a listed one does not exist, is not open or not in reach, or
    where no sleeve is open; ValueError for an unknown kind.
    """
    if kind not in METHODS:
        raise ValueError(f"unknown method '{kind}'; allowed: {', '.join(METHODS)}")
    n = tally.count
    stage_of = np.full(n, -1, dtype=np.int64)
    stages = 0
    is_open = tally.in_state("open", "stuck_open", "perforated")
    taking = tally.old_producers if kind == "bullhead" else is_open
    reachable = tally.reachable(reach_ft)
    if kind == "liner":
        stage_of = np.floor((tally.depth_ft[0] - tally.depth_ft) / stage_spacing_ft).astype(np.int64)
        stages = int(stage_of[-1]) + 1
        chosen = tuple(range(1, n + 1))
    elif kind == "straddle" and sleeves is not None:
        for s in sleeves:
            if not 1 <= s <= n:
                raise PlanRefused(f"the straddle names sleeve {s}; the tally has sleeves 1 to {n}", s)
            if not taking[s - 1]:
                raise PlanRefused(
                    f"the straddle names sleeve {s}, which is {tally.state[s - 1]} on record; it treats open ones",
                    s,
                )
            if not reachable[s - 1]:
                raise PlanRefused(f"the straddle names sleeve {s}, beyond the reach of the tubing", s)
        chosen = tuple(sorted(set(sleeves)))
    else:
        within = taking & (reachable if kind == "straddle" else True)
        chosen = tuple(int(k) + 1 for k in np.flatnonzero(within))
    if not chosen or (kind == "bullhead" and not is_open.any()):  # leaking ones alone take no job
        raise PlanRefused(f"no sleeve is open for the method '{kind}'")
    bottom = float(tally.depth_ft[chosen[0] - 1])
    if reach_ft is not None and kind == "bullhead":
        bottom = min(bottom, reach_ft)
    return MethodPlan(
        kind,
        chosen,
        stage_of,
        stages,
        drops,
        sets_per_trip,
        tally.depth_ft,
        bottom,
        int(tally.treatable.sum()),
        pumping_hours_factor,
    )


@dataclass(frozen=True, eq=False)
class MethodFacts:
    """What happened at the sleeves, (N, n) unless marked: volume placed, received by leaks, treated; sets made
    (straddle); screened out; set_up (n,) whether the liner was set (true for the others); volumes (n,)."""

    placed: FloatArray
    received: FloatArray
    treated: BoolArray
    sets: IntArray
    screened: BoolArray
    set_up: BoolArray
    volumes: IntArray


def method_facts(plan: MethodPlan, sh: BlockLuck, terms: Mapping[str, FloatArray]) -> MethodFacts:
    """Where the fluid goes; terms: the method's inputs by key, each (n,) in the unit of its name."""
    tally, n = sh.tally, sh.trials
    shape = (tally.count, n)
    none, zero = np.zeros(shape), np.zeros(shape, dtype=np.int64)
    sure, never = np.ones(n, dtype=bool), np.zeros(shape, dtype=bool)
    if plan.kind == "bullhead":
        weight = np.zeros(shape)
        weight[tally.in_state("open", "stuck_open", "perforated")] = 1.0
        weight[tally.in_state("leaking")] = sh.inputs.leak_fluid_fraction
        sd = terms["share_log_sd"] * (1.0 - terms["diverter_evens_fraction"])
        weight *= np.exp(sd * sh.luck.z_stage.T)
        volumes = np.maximum(np.rint(terms["volume_fraction"] * plan.treatable), 1.0)
        placed = weight * (volumes / weight.sum(axis=0))
        return MethodFacts(
            placed, none, weight > 0.0, zero, np.zeros(shape, dtype=bool), sure, volumes.astype(np.int64)
        )
    rows = np.array(plan.sleeves) - 1
    if plan.kind == "straddle":
        listed = np.zeros((tally.count, 1), dtype=bool)
        listed[rows] = True
        u, miss = sh.luck.u_open.T, 1.0 - terms["seal_chance"]
        sets = np.ones(shape, dtype=np.int64)
        for j in range(1, sh.max_tries):
            sets += u >= 1.0 - miss**j
        sealed = listed & (u < 1.0 - miss**sh.max_tries)
        own = sh.pumped * sealed
        received = np.zeros(shape)
        up = (sh.leaks * sh.inputs.leak_fluid_fraction)[:-1]
        received[1:] += own[:-1] * up
        received[:-1] += own[1:] * up
        kept = np.ones(shape)
        kept[:-1] -= up
        kept[1:] -= up
        screened = sealed & sh.screenout
        return MethodFacts(own * kept, received, sealed, sets * listed, screened, sure, sealed.sum(axis=0))
    assert sh.luck.u_method is not None
    set_up = np.asarray(sh.luck.u_method >= terms["liner_fails_chance"])
    deepest = np.array([int(np.argmax(plan.stage_of == k)) for k in plan.stage_of])
    works = (sh.luck.u_screen.T[deepest] >= terms["stage_fails_chance"]) & set_up
    volumes = np.rint(terms["volume_factor"] * plan.stages).astype(np.int64) * set_up
    return MethodFacts(works.astype(float), none, works, zero, never, set_up, volumes)


def simulate_method(plan: MethodPlan, sh: BlockLuck, terms: Mapping[str, FloatArray]) -> JobResult:
    """Simulate a method over the trials of a block by the rules of the module; terms as in `method_facts`.
    Days, hours [h] and US$ as in `JobResult`."""
    tally, inputs, n = sh.tally, sh.inputs, sh.trials
    f = method_facts(plan, sh, terms)
    zero = np.zeros(n, dtype=np.int64)
    counts = dict.fromkeys(
        (*_COUNTS, *(f"{kind}_{what}" for kind in KINDS for what in ("tried", "failed"))), zero
    )
    counts["treated"] = f.volumes
    kept = np.broadcast_to(tally.old_producers[:, None], (tally.count, n)).astype(float)
    before = inputs.days_before_ct + np.zeros(n)
    hours = {
        "cleanout": inputs.cleanout_hours + np.zeros(n),
        "travel": 2.0 * plan.bottom_ft / (60.0 * inputs.ct_speed_ft_per_min) + np.zeros(n),
    }
    pumping: dict[str, FloatArray] = {}
    if plan.kind == "bullhead":
        effect = terms["effect_fraction"] * np.minimum(f.placed, 1.0)
        pumping["treating"] = inputs.hours_per_stage * plan.pumping_hours_factor * f.volumes
        pumping["diversion"] = terms["hours_per_drop"] * plan.drops
        usd = terms["diverter_usd_per_drop"] * plan.drops
        measured = tally.treatable
    elif plan.kind == "straddle":
        open_now = tally.old_producers[:, None]
        value = np.minimum(f.placed + inputs.stray_fluid_value * f.received, 1.0)
        effect = terms["effect_fraction"] * value * open_now
        sets = f.sets.sum(axis=0)
        counts["tries"] = sets
        counts["screenouts"] = f.screened.sum(axis=0)
        whole = np.maximum(sets - 1, 0) // plan.sets_per_trip
        counts["trips"] = whole + (f.treated & sh.trip).sum(axis=0)
        hours["setting"] = terms["hours_per_set"] * sets
        stage_hours = inputs.hours_per_stage * plan.pumping_hours_factor
        hours["treating"] = stage_hours * (f.treated * sh.stage_factor).sum(axis=0)
        hours["screenouts"] = inputs.screenout_hours * counts["screenouts"]
        hours["trips"] = inputs.hours_per_trip * counts["trips"]
        usd = terms["tool_usd_per_set"] * sets
        measured = np.isin(np.arange(tally.count) + 1, plan.sleeves)
    else:
        effect = f.placed * terms["effect_factor"]
        kept = kept * np.where(f.set_up, terms["old_kept_fraction"], terms["failed_kept_fraction"])
        before = before + terms["liner_days"]
        pumping["treating"] = terms["hours_per_stage"] * plan.stages * f.set_up
        hours["drill_out"] = terms["drill_out_hours_per_plug"] * max(plan.stages - 1, 0) * f.set_up
        usd = terms["liner_usd"] + terms["stage_usd"] * plan.stages * f.set_up
        measured = tally.treatable
    with_tubing, without = np.zeros(n), np.zeros(n)
    for part in hours.values():
        with_tubing += part
    for part in pumping.values():
        without += part
    days = days_of(before, with_tubing, without, sh.stuck, sh.casing_failed, inputs)
    share = (measured / max(int(measured.sum()), 1)) @ np.minimum(effect, 1.0)
    return JobResult(
        days=days.total,
        days_before_ct=before,
        ct_days=days.ct,
        stuck_days=days.stuck,
        days_after_ct=days.after_ct + np.zeros(n),
        ct_hours=with_tubing + without,
        hours={**hours, **pumping},
        counts=counts,
        kept=kept.T,
        effectiveness=effect.T,
        placed=f.placed.T,
        treated=np.broadcast_to(f.treated, kept.shape).T,
        called_off=~f.set_up,
        stuck=sh.stuck,
        lost=sh.lost,
        stages_effective_share=np.where(sh.lost, 0.0, share),
        casing_days=days.casing,
        casing_failed=sh.casing_failed,
        isolation_usd=usd + np.zeros(n),
        pumping_days=days.pumping,
        frac_days=days.ct if plan.kind == "straddle" else days.pumping,
    )
