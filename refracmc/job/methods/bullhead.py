"""Bullhead: everything is pumped down the casing.

bullhead  The whole job is pumped down the casing into every sleeve open on record; diverter is dropped between
          batches. V = round(volume_fraction * treatable sleeves) stage volumes, at least one. Sleeve s takes
          placed_s = V * a_s / sum(a), a_s = exp(sd * z_stage_s) for an open sleeve (open, stuck_open,
          perforated), leak_fluid_fraction times that for a leaking one, sd = share_log_sd * (1 -
          diverter_evens_fraction). effectiveness e_s = effect_fraction * min(1, placed_s). All old production
          is kept. At least one must be open: leaking ones alone take no job. Pumping takes V * hours_per_stage
          of the job * pumping_hours_factor (the casing takes a higher rate) + diverter_drops * hours_per_drop.
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
from refracmc.job.sleeves import Tally

KEYS = (
    Key("volume_fraction", 0.7, "fraction", "fluid over that of all stages", 0.0, 3.0, above=True),
    Key(
        "pumping_hours_factor",
        0.4,
        "",
        "pumping hours of a stage volume down the casing over those of a sleeve stage",
        0.01,
        20.0,
        kind="number",
    ),
    Key("diverter_drops", 8, "drops", "drops of diverter", 0, 500, kind="integer"),
    Key("hours_per_drop", 0.75, "h", "dropping diverter and waiting for it", 0.0),
    Key("diverter_usd_per_drop", 9_000.0, "US$ gross/drop", "diverter", 0.0),
    Key("share_log_sd", 1.2, "", "log sd of what open sleeves take side by side, without diverter", 0.0, 5.0),
    Key("diverter_evens_fraction", 0.5, "fraction", "share of that spread the diverter removes", 0.0, 1.0),
    Key(
        "effect_fraction",
        0.45,
        "fraction",
        "value of a stage's fluid placed so, against one placed alone",
        0.0,
        1.0,
        source="assumption; one well's story: recovery 3.8 % after a bullhead from 3 %, 14 % by liner (trade press)",
    ),
)


def _plan(tally: Tally, reach_ft: float | None, settings: Mapping[str, Any]) -> MethodPlan:
    """Every sleeve that takes fluid; the tubing cleans out as deep as it reaches."""
    taking = (
        np.flatnonzero(tally.old_producers & tally.in_state(*OPEN).any()) + 1
    )  # leaking ones alone take no job
    sleeves = only_where_open(tuple(int(s) for s in taking), "bullhead")
    bottom = min(float(tally.depth_ft[sleeves[0] - 1]), np.inf if reach_ft is None else reach_ft)
    return MethodPlan("bullhead", sleeves, tally.depth_ft, bottom, int(tally.treatable.sum()), settings)


def _volumes(plan: MethodPlan, terms: Mapping[str, Any]) -> Any:
    return np.maximum(np.rint(terms["volume_fraction"] * plan.treatable), 1.0)


def _simulate(plan: MethodPlan, block: BlockLuck, terms: Terms) -> MethodWork:
    tally, inputs, drops = block.tally, block.inputs, plan.settings["diverter_drops"]
    weight = np.zeros((tally.count, block.trials))
    weight[tally.in_state(*OPEN)] = 1.0
    weight[tally.in_state("leaking")] = inputs.leak_fluid_fraction
    sd = terms["share_log_sd"] * (1.0 - terms["diverter_evens_fraction"])
    weight *= np.exp(sd * block.luck.z_stage.T)
    volumes = _volumes(plan, terms)
    placed = weight * (volumes / weight.sum(axis=0))
    hours = inputs.hours_per_stage * plan.settings["pumping_hours_factor"] * volumes
    return MethodWork(
        treated=weight > 0.0,
        placed=placed,
        effect=terms["effect_fraction"] * np.minimum(placed, 1.0),
        kept=np.broadcast_to(tally.old_producers[:, None], placed.shape).astype(float),
        volumes=volumes.astype(np.int64),
        usd=terms["diverter_usd_per_drop"] * drops,
        measured=tally.treatable,
        without={"treating": hours, "diversion": terms["hours_per_drop"] * drops},
    )


def _steps(
    steps: Steps, plan: MethodPlan, inputs: Mapping[str, float], terms: Mapping[str, float], done: Done
) -> None:
    drops = plan.settings["diverter_drops"]
    hours = inputs["hours_per_stage"] * plan.settings["pumping_hours_factor"]
    steps.run("run_in", plan.bottom_ft)
    steps.add("cleanout", inputs["cleanout_hours"])
    steps.run("pull_out", 0.0)
    for batch in range(drops + 1):
        steps.add("pump", hours * done.volumes / (drops + 1), "pumped")
        if batch < drops:
            steps.add("divert", terms["hours_per_drop"], "diverter dropped")


BULLHEAD = Method(
    "bullhead",
    "All is pumped down the casing into the open sleeves, with diverter between batches; fluid goes where it will.",
    KEYS,
    _plan,
    _simulate,
    _volumes,
    _steps,
    feels_stress=False,
)
