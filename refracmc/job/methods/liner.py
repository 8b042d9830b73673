"""Liner: cemented inside the old casing and treated by plugs and perforations.

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
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from refracmc.job.luck import BlockLuck
from refracmc.job.methods.method import Done, Key, Method, MethodPlan, MethodWork, Steps, Terms
from refracmc.job.sleeves import Tally

KEYS = (
    Key("liner_days", 6.0, "d", "running, cementing and testing the liner", 0.0),
    Key("liner_usd", 550_000.0, "US$ gross", "liner, hanger, cement and crews", 0.0),
    Key("liner_fails_chance", 0.04, "fraction", "the liner is not set or not tight", 0.0, 1.0),
    Key("stage_spacing_ft", 200.0, "ft", "length of a stage", 1.0, 5000.0, kind="number"),
    Key("hours_per_stage", 4.0, "h", "plug, perforations and pumping of a stage", 0.0),
    Key(
        "stage_usd",
        25_000.0,
        "US$ gross/stage",
        "plug, guns and wireline, beside crew days, materials and water",
        0.0,
        source="assumption; a whole plug-and-perf stage cost 50,000 to 78,000 at a market low (trade press)",
    ),
    Key("volume_factor", 2.0, "", "fluid of a liner stage over that of a sleeve stage", 0.0, 20.0),
    Key("stage_fails_chance", 0.03, "fraction", "a stage is lost", 0.0, 1.0),
    Key("drill_out_hours_per_plug", 0.8, "h", "milling a plug by coiled tubing", 0.0),
    Key(
        "old_kept_fraction",
        0.5,
        "fraction",
        "old production that comes back through the new perforations",
        0.0,
        1.0,
    ),
    Key("failed_kept_fraction", 0.6, "fraction", "old production left where the liner is not set", 0.0, 1.0),
    Key(
        "effect_factor",
        1.3,
        "",
        "value of a stage through new perforations, against one through its old sleeve",
        0.0,
        5.0,
        source="assumption; liner results are an upper bound (recovery 14 % against 3.8 %, one well, trade press)",
    ),
)


def _plan(tally: Tally, reach_ft: float | None, settings: Mapping[str, Any]) -> MethodPlan:
    """All sleeves, in stages of equal length from the toe; milled all the way down."""
    stage_of = np.floor((tally.depth_ft[0] - tally.depth_ft) / settings["stage_spacing_ft"]).astype(np.int64)
    return MethodPlan(
        "liner",
        tuple(range(1, tally.count + 1)),
        tally.depth_ft,
        float(tally.depth_ft[0]),
        int(tally.treatable.sum()),
        settings,
        int(stage_of[-1]) + 1,
        stage_of,
    )


def _volumes(plan: MethodPlan, terms: Mapping[str, Any]) -> Any:
    return np.rint(terms["volume_factor"] * plan.stages)


def _simulate(plan: MethodPlan, block: BlockLuck, terms: Terms) -> MethodWork:
    tally, stages = block.tally, plan.stages
    assert block.luck.u_method is not None
    assert plan.stage_of is not None
    set_up = np.asarray(block.luck.u_method >= terms["liner_fails_chance"])
    deepest = np.array([int(np.argmax(plan.stage_of == k)) for k in plan.stage_of])
    works = (block.luck.u_screen.T[deepest] >= terms["stage_fails_chance"]) & set_up
    left = np.where(set_up, terms["old_kept_fraction"], terms["failed_kept_fraction"])
    return MethodWork(
        treated=works,
        placed=works.astype(float),
        effect=works * terms["effect_factor"],
        kept=np.asarray(tally.old_producers[:, None] * left, dtype=float),
        volumes=_volumes(plan, terms).astype(np.int64) * set_up,
        usd=terms["liner_usd"] + terms["stage_usd"] * stages * set_up,
        measured=tally.treatable,
        with_tubing={"drill_out": terms["drill_out_hours_per_plug"] * max(stages - 1, 0) * set_up},
        without={"treating": terms["hours_per_stage"] * stages * set_up},
        days_before=terms["liner_days"],
        set_up=set_up,
    )


def _steps(
    steps: Steps, plan: MethodPlan, inputs: Mapping[str, float], terms: Mapping[str, float], done: Done
) -> None:
    steps.aside("liner", terms["liner_days"])
    for k in range(plan.stages if done.set_up else 0):
        covered = np.flatnonzero(plan.stage_of == k)
        worked = not covered.size or bool(done.treated[covered[0]])
        sleeve = int(covered[0]) + 1 if covered.size else None
        steps.add("treat", terms["hours_per_stage"], "treated" if worked else "stage lost", sleeve)
    if done.set_up and plan.stages > 1:  # the plugs stand between the stages: the tubing mills its way down
        steps.run("run_in", float(plan.depth_ft[-1]))
        steps.add("drill_out", terms["drill_out_hours_per_plug"] * (plan.stages - 1))
        steps.run("move", plan.bottom_ft)
    else:
        steps.run("run_in", plan.bottom_ft)
    steps.add("cleanout", inputs["cleanout_hours"])
    steps.run("pull_out", 0.0)
    if not done.set_up:
        steps.add("called_off", 0.0, "liner not set")


LINER = Method(
    "liner",
    "A liner is cemented inside and treated by plugs and perforations; sleeves and bore are lost for later jobs.",
    KEYS,
    _plan,
    _simulate,
    _volumes,
    _steps,
    luck=("u_method",),
)
