"""Straddle: two packers on the tubing over one open sleeve after another.

straddle  Two packers on the tubing straddle one open sleeve after another, toe to heel, of those listed (all
          open ones within reach where none are). A set seals where u_open < seal_chance; up to max_tries sets
          (one uniform tells all: sealed within j if u < 1 - (1 - p)^j), then the sleeve is left out. A stage
          screens out and leaks along the annulus as in `rules`, but no open sleeve above takes fluid.
          e_s = effect_fraction * min(1, placed_s + stray_fluid_value * received_s) where s produces (open or
          leaking on record). All old production is kept. Each set takes hours_per_set, each stage
          pumping_hours_factor times its hours in `rules` (the tubing takes a lower rate). Trips:
          floor((sets - 1)/sets_per_trip) + treated stages with u_trip < chance.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from refracmc.job.luck import BlockLuck
from refracmc.job.methods.method import (
    OPEN,
    Done,
    Key,
    Method,
    MethodPlan,
    MethodWork,
    Steps,
    Terms,
    only_where_open,
)
from refracmc.job.sleeves import PlanRefused, Tally

KEYS = (
    Key("sleeves", None, "", "list of sleeve numbers, all open ones if absent", kind="sleeves"),
    Key(
        "pumping_hours_factor",
        2.0,
        "",
        "pumping hours of a stage down the tubing over those of a sleeve stage",
        0.01,
        20.0,
        kind="number",
    ),
    Key("hours_per_set", 0.8, "h", "setting and releasing the packers once", 0.0),
    Key("seal_chance", 0.9, "fraction", "one set seals", 0.0, 1.0),
    Key("sets_per_trip", 12, "sets", "sets the packers last", 1, 1000, kind="integer"),
    Key("tool_usd_per_set", 3_500.0, "US$ gross/set", "packers and tools per set", 0.0),
    Key(
        "effect_fraction",
        0.85,
        "fraction",
        "value of a stage through the straddle at its lower rate",
        0.0,
        1.0,
    ),
)


def _plan(tally: Tally, reach_ft: float | None, settings: Mapping[str, Any]) -> MethodPlan:
    """Sleeves as listed, or all open ones within reach; PlanRefused naming the sleeve that stands against it."""
    is_open, reachable = tally.in_state(*OPEN), tally.reachable(reach_ft)
    listed = settings["sleeves"]
    for s in listed or ():
        if not 1 <= s <= tally.count:
            raise PlanRefused(f"the straddle names sleeve {s}; the tally has sleeves 1 to {tally.count}", s)
        if not is_open[s - 1]:
            text = f"which is {tally.state[s - 1]} on record; it treats open ones"
            raise PlanRefused(f"the straddle names sleeve {s}, {text}", s)
        if not reachable[s - 1]:
            raise PlanRefused(f"the straddle names sleeve {s}, beyond the reach of the tubing", s)
    chosen = sorted(set(listed)) if listed is not None else np.flatnonzero(is_open & reachable) + 1
    sleeves = only_where_open(tuple(int(s) for s in chosen), "straddle")
    bottom = float(tally.depth_ft[sleeves[0] - 1])
    return MethodPlan("straddle", sleeves, tally.depth_ft, bottom, int(tally.treatable.sum()), settings)


def _volumes(plan: MethodPlan, terms: Mapping[str, Any]) -> Any:
    return len(plan.sleeves)


def _simulate(plan: MethodPlan, block: BlockLuck, terms: Terms) -> MethodWork:
    tally, inputs = block.tally, block.inputs
    listed = np.zeros((tally.count, 1), dtype=bool)
    listed[plan.rows] = True
    u, miss = block.luck.u_open.T, 1.0 - terms["seal_chance"]
    sets = np.ones(u.shape, dtype=np.int64)
    for j in range(1, block.max_tries):
        sets += u >= 1.0 - miss**j
    sets *= listed
    sealed = listed & (u < 1.0 - miss**block.max_tries)
    own = block.pumped * sealed
    up = (block.leaks * inputs.leak_fluid_fraction)[:-1]
    received, left = np.zeros(u.shape), np.ones(u.shape)
    received[1:] += own[:-1] * up
    received[:-1] += own[1:] * up
    left[:-1] -= up
    left[1:] -= up
    placed, screened = own * left, sealed & block.screenout
    value = np.minimum(placed + inputs.stray_fluid_value * received, 1.0)
    total, screenouts = sets.sum(axis=0), screened.sum(axis=0)
    trips = np.maximum(total - 1, 0) // plan.settings["sets_per_trip"] + (sealed & block.trip).sum(axis=0)
    stage_hours = inputs.hours_per_stage * plan.settings["pumping_hours_factor"]
    return MethodWork(
        treated=sealed,
        placed=placed,
        effect=terms["effect_fraction"] * value * tally.old_producers[:, None],
        kept=np.broadcast_to(tally.old_producers[:, None], u.shape).astype(float),
        volumes=sealed.sum(axis=0),
        usd=terms["tool_usd_per_set"] * total,
        measured=listed[:, 0],
        with_tubing={
            "setting": terms["hours_per_set"] * total,
            "treating": stage_hours * (sealed * block.stage_factor).sum(axis=0),
            "screenouts": inputs.screenout_hours * screenouts,
            "trips": inputs.hours_per_trip * trips,
        },
        crew_waits=True,
        sets=sets,
        screened=screened,
        tries=total,
        screenouts=screenouts,
        trips=trips,
    )


def _steps(
    steps: Steps, plan: MethodPlan, inputs: Mapping[str, float], terms: Mapping[str, float], done: Done
) -> None:
    stage_hours = inputs["hours_per_stage"] * plan.settings["pumping_hours_factor"]
    steps.run("run_in", plan.bottom_ft)
    steps.add("cleanout", inputs["cleanout_hours"])
    sets = 0
    for s in plan.sleeves:
        k = s - 1
        if plan.depth_ft[k] != steps.depth:
            steps.run("move", float(plan.depth_ft[k]), s)
        for j in range(1, int(done.sets[k]) + 1):
            if sets and sets % plan.settings["sets_per_trip"] == 0:
                steps.add("trip", inputs["hours_per_trip"], "packers changed", s)
            sets += 1
            sealed = bool(done.treated[k]) and j == int(done.sets[k])
            steps.add("set", terms["hours_per_set"], "sealed" if sealed else "did not seal", s, 1)
        if not done.treated[k]:
            steps.add("treat", 0.0, "left out: did not seal", s)
            continue
        outcome = "screened out" if done.screened[k] else "treated"
        steps.add("treat", stage_hours * float(done.factor[k]), outcome, s)
        if done.screened[k]:
            steps.add("screenout", inputs["screenout_hours"], "cleaned out", s)
        if done.trip[k]:
            steps.add("trip", inputs["hours_per_trip"], "assembly failed", s)
    steps.run("pull_out", 0.0)


STRADDLE = Method(
    "straddle",
    "Two packers on the tubing over one open sleeve after another; a set may not seal.",
    KEYS,
    _plan,
    _simulate,
    _volumes,
    _steps,
)
