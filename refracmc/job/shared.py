"""What all dates and orders of one well and one block share: critical logits, annulus, screenouts, events.

Memory inside the job is sleeve-major, (N, n), so that a plan's static masks pick whole rows.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable
from typing import Any

import numpy as np

from refracmc.job.chances import critical_logits, intercept_for_marginal
from refracmc.job.inputs import JobInputs, JobLuck
from refracmc.job.machine import KINDS
from refracmc.job.sleeves import BoolArray, FloatArray, IntArray, Tally

ByteArray = np.ndarray[tuple[int, ...], np.dtype[np.uint8]]
_CACHED_OUTCOMES = 32


class JobShared:
    """Made once per (well, block) by `prepare`; read by every `simulate` of that block. Not for two threads
    at once.

    Members (all sleeve-major): pumped (N, n) fluid P pumped into a stage as a share of the plan; screenout,
    trip (N, n) whether a treated stage screens out or fails the assembly; stage_factor (N, n) lognormal with
    mean one; annulus_up (N, n) share of a stage's own fluid that goes to the sleeve above; never (N, n) all
    false; patch_works, perforate_works, perforate2_works (N, n); stuck, lost (n,).
    """

    def __init__(self, inputs: JobInputs, luck: JobLuck, tally: Tally, max_tries: int) -> None:
        n, count = luck.z_sleeve.shape
        if count != tally.count:
            raise ValueError(f"luck is for {count} sleeves, the tally has {tally.count}")
        if inputs.trials not in (1, n):
            raise ValueError(f"inputs are for {inputs.trials} trials, luck for {n}")
        self.inputs, self.tally, self.max_tries, self.trials = inputs, tally, max_tries, n
        self.luck = luck
        self._sd = np.hypot(inputs.well_effect_sd, inputs.sleeve_effect_sd)
        self._effects = np.ascontiguousarray(luck.z_sleeve.T) * inputs.sleeve_effect_sd
        self._effects += inputs.well_effect_sd * luck.z_well
        self._thresholds: dict[str, list[FloatArray]] = {}
        self._cache: OrderedDict[tuple[str, bytes, bytes], tuple[BoolArray, ByteArray]] = OrderedDict()

        self.fronts: OrderedDict[Hashable, Any] = OrderedDict()
        self.never: BoolArray = np.zeros((count, n), dtype=bool)
        self.never.flags.writeable = False

        self.screenout: BoolArray = np.ascontiguousarray(inputs.screenout_chance > luck.u_screen.T)
        self.pumped: FloatArray = np.where(self.screenout, inputs.screenout_placed_fraction, 1.0)
        self.trip: BoolArray = np.ascontiguousarray(inputs.trip_chance_per_stage > luck.u_trip.T)
        sd = inputs.stage_hours_log_sd
        self.stage_factor: FloatArray = np.exp(np.ascontiguousarray(luck.z_stage.T) * sd - 0.5 * sd * sd)
        chance = np.zeros((count, n))
        chance[tally.in_isolation("none")] = 1.0
        chance[tally.in_isolation("cement")] = inputs.leak_chance_cement
        chance[tally.in_isolation("packer")] = inputs.leak_chance_packer
        chance[-1] = 0.0
        self.annulus_up: FloatArray = (chance > luck.u_leak.T) * inputs.leak_fluid_fraction
        self.annulus_kept: FloatArray = 1.0 - self.annulus_up
        self.annulus_kept[1:] -= self.annulus_up[:-1]
        self.above: FloatArray = np.triu(np.ones((count, count)), 1)
        self.below: FloatArray = np.ascontiguousarray(self.above.T)
        self.annulus_tight = not self.annulus_up.any()
        self.patch_works: BoolArray = np.ascontiguousarray(inputs.patch_success > luck.u_patch.T)
        self.perforate_works: BoolArray = np.ascontiguousarray(inputs.perforate_success > luck.u_perforate.T)
        self.perforate2_works: BoolArray = np.ascontiguousarray(
            inputs.perforate_success > luck.u_perforate2.T
        )
        self.stuck: BoolArray = np.broadcast_to(luck.u_event < inputs.stuck_ct_chance, (n,))
        lost_chance = inputs.stuck_ct_chance * inputs.well_lost_chance_given_stuck
        self.lost: BoolArray = np.broadcast_to(luck.u_event < lost_chance, (n,))
        self.casing_failed: BoolArray = np.zeros(n, dtype=bool)
        if luck.u_casing is not None:
            chance_lost = inputs.casing_failure_chance * inputs.well_lost_chance_given_casing_failure
            self.casing_failed = luck.u_casing < inputs.casing_failure_chance
            self.lost = self.lost | (luck.u_casing < chance_lost)
        elif inputs.casing_failure_chance.any():
            raise ValueError("a chance of casing failure needs the luck u_casing")
        self.closed_leak: bool = bool(inputs.closed_leak_chance.any())
        if self.closed_leak and (luck.u_tight_close is None or luck.u_tight_reclose is None):
            raise ValueError(
                "a chance of closed sleeves leaking needs the luck u_tight_close and u_tight_reclose"
            )

    def thresholds(self, kind: str) -> list[FloatArray]:
        """[(N, n)] for j = 1..K: within j tries the shift works if age and cycle terms together exceed
        this."""
        if kind not in self._thresholds:
            mu = intercept_for_marginal(getattr(self.inputs, f"{kind}_chance"), self._sd)
            u = np.ascontiguousarray(getattr(self.luck, f"u_{kind}").T)
            with np.errstate(invalid="ignore"):  # u = 0 at chance 0: -inf + inf, compares as failed
                known = mu + self._effects
                self._thresholds[kind] = [c - known for c in critical_logits(u, self.max_tries)]
        return self._thresholds[kind]

    def tightness(self, kind: str, closed: BoolArray) -> tuple[BoolArray, BoolArray]:
        """Of the sleeves just closed (N, n) by a shift of the kind (close, reclose): those that leak unseen,
        and those whose leak the test finds, which are cycled once more and are tight then."""
        if not self.closed_leak:
            return self.never, self.never
        u = getattr(self.luck, f"u_tight_{kind}").T
        chance = self.inputs.closed_leak_chance
        unseen = closed & (u < chance * (1.0 - self.inputs.leak_test_finds_chance))
        return unseen, closed & (u < chance) & ~unseen

    def outcome(
        self, kind: str, cycles: IntArray, age_years: FloatArray, trials: IntArray | None = None
    ) -> tuple[BoolArray, ByteArray]:
        """Would a shift of the kind work, and after how many tries (K where it fails), were it tried.

        cycles (N,); age_years (N,) or (n, N). Returns two (N, n), or (N, len(trials)) for chosen trials.
        Results for a common age are kept, so orders of one date that share a vector of cycles share the work.
        """
        if kind not in KINDS:
            raise ValueError(f"unknown kind of shift '{kind}'")
        key = (
            (kind, cycles.tobytes(), age_years.tobytes()) if age_years.ndim == 1 and trials is None else None
        )
        if key is not None and key in self._cache:
            return self._cache[key]
        age_slope, cycle_slope = self.inputs.age_slope_per_year, self.inputs.cycle_slope
        age = age_years[:, None] if age_years.ndim == 1 else age_years.T
        limits = self.thresholds(kind)
        if trials is not None:
            limits = [limit[:, trials] for limit in limits]
            age = age if age.shape[1] == 1 else age[:, trials]
            if age_slope.size > 1:
                age_slope, cycle_slope = age_slope[trials], cycle_slope[trials]
        shift = age * age_slope
        shift += cycles[:, None] * cycle_slope
        tries = np.ones(limits[0].shape, dtype=np.uint8)
        for limit in limits[:-1]:
            tries += ~(shift > limit)
        result = (shift > limits[-1], tries)
        if key is not None:
            self._cache[key] = result
            if len(self._cache) > _CACHED_OUTCOMES:
                self._cache.popitem(last=False)
        return result


def prepare(inputs: JobInputs, luck: JobLuck, tally: Tally, max_tries: int = 3) -> JobShared:
    """The shared part of all simulations of one well in one block (see `JobShared`); max_tries is a count."""
    return JobShared(inputs, luck, tally, max_tries)
