"""What the draws of a trial decide whatever the order and the date.

Plain statements that serve one trial in compiled code, and whole arrays of trials for the isolation methods: `g` is a
trial's record, or anything with the members of `JobInputs`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from refracmc.job.inputs import JobInputs, JobLuck
from refracmc.job.sleeves import BoolArray, FloatArray, IntArray, Tally

NO_ISOLATION, CEMENT, PACKER, SHALLOWEST = range(4)
"""Codes of what isolates the annulus above a sleeve."""


def isolation_codes(tally: Tally) -> IntArray:
    """(N,) code of what isolates the annulus above each sleeve [no unit]; the shallowest has none above."""
    codes = np.where(tally.in_isolation("cement"), CEMENT, NO_ISOLATION)
    codes[tally.in_isolation("packer")] = PACKER
    codes[-1] = SHALLOWEST
    return codes.astype(np.int64)


def share_pumped(screens_out: Any, g: Any) -> Any:
    """Share of a stage's fluid that is pumped [fraction], less where it screens out (rule 6)."""
    return screens_out * g.screenout_placed_fraction + (1.0 - screens_out)


def annulus_leaks(code: Any, u_leak: Any, g: Any) -> Any:
    """Whether the annulus above a sleeve leaks, from a uniform and the chance of its isolation (rule 7)."""
    by_cement = (code == CEMENT) & (u_leak < g.leak_chance_cement)
    by_packer = (code == PACKER) & (u_leak < g.leak_chance_packer)
    return (code == NO_ISOLATION) | by_cement | by_packer


def ct_stuck(u_event: Any, g: Any) -> Any:
    """Whether the coiled tubing gets stuck, from a uniform and its chance (rule 11)."""
    return u_event < g.stuck_ct_chance


def casing_failed(u_casing: Any, g: Any) -> Any:
    """Whether the casing fails, from a uniform and its chance (rule 16)."""
    return u_casing < g.casing_failure_chance


def well_lost(u_event: Any, u_casing: Any, g: Any) -> Any:
    """Whether the well is lost, from two uniforms and the chances of both causes (rules 11 and 16)."""
    by_tubing = u_event < g.stuck_ct_chance * g.well_lost_chance_given_stuck
    return by_tubing | (u_casing < g.casing_failure_chance * g.well_lost_chance_given_casing_failure)


def stage_factor(z_stage: Any, g: Any) -> Any:
    """Hours of a stage over their mean [ratio]: lognormal with mean one (rule 12)."""
    return np.exp(z_stage * g.stage_hours_log_sd - 0.5 * g.stage_hours_log_sd * g.stage_hours_log_sd)


class BlockLuck:
    """Inputs, luck and sleeves of a block of n trials, and what they decide: made once by `prepare`.

    ages_now (N,): ages [years] at which the mean over the sleeves is the stated chance of a shift.

    screenout, trip (N, n) whether a treated stage screens out or fails the assembly; pumped (N, n) fluid pumped into a
    stage as a share of the plan; stage_factor (N, n); leaks (N, n) whether the annulus above a sleeve leaks; stuck,
    lost, casing_failed (n,).
    """

    def __init__(
        self, inputs: JobInputs, luck: JobLuck, tally: Tally, max_tries: int, ages_now: FloatArray | None
    ) -> None:
        n, count = luck.z_sleeve.shape
        if count != tally.count:
            raise ValueError(f"luck is for {count} sleeves, the tally has {tally.count}")
        if inputs.trials not in (1, n):
            raise ValueError(f"inputs are for {inputs.trials} trials, luck for {n}")
        if inputs.closed_leak_chance.any() and (luck.u_tight_close is None or luck.u_tight_reclose is None):
            raise ValueError(
                "a chance of closed sleeves leaking needs the luck u_tight_close and u_tight_reclose"
            )
        if inputs.casing_failure_chance.any() and luck.u_casing is None:
            raise ValueError("a chance of casing failure needs the luck u_casing")
        self.ages_now = np.zeros(count) if ages_now is None else ages_now
        if self.ages_now.shape != (count,):
            raise ValueError(f"ages have shape {self.ages_now.shape} for {count} sleeves")
        self.inputs, self.luck, self.tally, self.max_tries, self.trials = inputs, luck, tally, max_tries, n
        u_casing = (
            luck.u_event if luck.u_casing is None else luck.u_casing
        )  # its chance is 0 where it is absent
        self.u_casing: FloatArray = u_casing
        self.stuck: BoolArray = np.broadcast_to(ct_stuck(luck.u_event, inputs), (n,))
        self.casing_failed: BoolArray = np.broadcast_to(casing_failed(u_casing, inputs), (n,))
        self.lost: BoolArray = np.broadcast_to(well_lost(luck.u_event, u_casing, inputs), (n,))

    @property
    def screenout(self) -> BoolArray:
        """(N, n)."""
        return np.asarray(self.inputs.screenout_chance > self.luck.u_screen.T)

    @property
    def pumped(self) -> FloatArray:
        """(N, n) [fraction]."""
        return np.asarray(share_pumped(self.screenout, self.inputs))

    @property
    def trip(self) -> BoolArray:
        """(N, n)."""
        return np.asarray(self.inputs.trip_chance_per_stage > self.luck.u_trip.T)

    @property
    def stage_factor(self) -> FloatArray:
        """(N, n) [ratio]."""
        return np.asarray(stage_factor(self.luck.z_stage.T, self.inputs))

    @property
    def leaks(self) -> BoolArray:
        """(N, n)."""
        return np.asarray(
            annulus_leaks(isolation_codes(self.tally)[:, None], self.luck.u_leak.T, self.inputs)
        )


def prepare(
    inputs: JobInputs,
    luck: JobLuck,
    tally: Tally,
    max_tries: int = 3,
    ages_now: FloatArray | None = None,
) -> BlockLuck:
    """What belongs to all jobs of one well in one block; max_tries is a count; ages_now (N,) of the
    sleeves on the date the chances are stated for [years], 0 where absent. Raises ValueError where parts do not
    belong together, or a rule is on whose luck is absent."""
    return BlockLuck(inputs, luck, tally, max_tries, ages_now)
