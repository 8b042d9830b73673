"""A trial's luck, and the tries of its shifts that fail at every date: rule 1 of `rules`, and draws of the others."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from refracmc.compiler import rule
from refracmc.job import luck as _luck
from refracmc.job.arrays import CLOSE, OPEN, RECLOSE, REOPEN, Dates, Shifts, Trials, Well
from refracmc.job.sleeves import BoolArray, FloatArray, IntArray

stage_factor, annulus_leaks = rule(_luck.stage_factor), rule(_luck.annulus_leaks)
FAR = 200.0
"""Logit terms beyond this are added before the exponential, lest a product of exponentials leave the range."""


class Luck(NamedTuple):
    """A trial's luck that no date or order changes, (N,): effect [logit] and scale = exp(effect) of the odds; spare
    (4, N) 1 - u of the shifts by kind; hours, factor of a stage's hours; leak, share of a stage's fluid that the
    annulus between the sleeve and the one above lets through, either way; whether its stage screens out or fails the
    assembly, a patch holds, a perforation works, and whether it leaks once closed or reclosed, seen or unseen."""

    effect: FloatArray
    scale: FloatArray
    spare: FloatArray
    hours: FloatArray
    leak: FloatArray
    screens_out: BoolArray
    fails_assembly: BoolArray
    patch_holds: BoolArray
    perforates: BoolArray
    perforates_again: BoolArray
    close_leaks: BoolArray
    close_unseen: BoolArray
    reclose_leaks: BoolArray
    reclose_unseen: BoolArray


@rule
def draw_luck(trials: Trials, t: int, well: Well, luck: Luck) -> None:
    """What a trial's draws decide by their chances, whatever date and order (rules 1, 4 to 7, 9, 12, 15)."""
    g = trials.given[t]
    unseen = g.closed_leak_chance * (1.0 - g.leak_test_finds_chance)
    of_well = g.well_effect_sd * g.z_well
    for s in range(luck.effect.size):
        luck.effect[s] = g.sleeve_effect_sd * trials.z_sleeve[t, s] + of_well
        luck.scale[s] = np.exp(luck.effect[s])
        luck.hours[s] = stage_factor(trials.z_stage[t, s], g)
    for s in range(luck.effect.size):
        luck.spare[CLOSE, s] = 1.0 - trials.u_close[t, s]
        luck.spare[OPEN, s] = 1.0 - trials.u_open[t, s]
        luck.spare[RECLOSE, s] = 1.0 - trials.u_reclose[t, s]
        luck.spare[REOPEN, s] = 1.0 - trials.u_reopen[t, s]
    for s in range(luck.effect.size):
        luck.screens_out[s] = trials.u_screen[t, s] < g.screenout_chance
        luck.fails_assembly[s] = trials.u_trip[t, s] < g.trip_chance_per_stage
        luck.patch_holds[s] = trials.u_patch[t, s] < g.patch_success
        luck.perforates[s] = trials.u_perforate[t, s] < g.perforate_success
        luck.perforates_again[s] = trials.u_perforate2[t, s] < g.perforate_success
    for s in range(luck.effect.size):
        luck.close_leaks[s] = trials.u_tight_close[t, s] < g.closed_leak_chance
        luck.close_unseen[s] = trials.u_tight_close[t, s] < unseen
        luck.reclose_leaks[s] = trials.u_tight_reclose[t, s] < g.closed_leak_chance
        luck.reclose_unseen[s] = trials.u_tight_reclose[t, s] < unseen
    for s in range(luck.effect.size):
        leaks = annulus_leaks(well.isolation[s], trials.u_leak[t, s], g)
        luck.leak[s] = g.leak_fluid_fraction if leaks else 0.0


@rule
def odds_when_new(
    trials: Trials, t: int, shifts: Shifts, luck: Luck, cycling: FloatArray, odds: FloatArray
) -> float:
    """Odds (V, N) of one try of the shifts, but for the age term (rule 1); returns the furthest term [logit]."""
    g, furthest = trials.given[t], 0.0
    for s in range(luck.effect.size):
        furthest = max(furthest, abs(luck.effect[s]))
    for k in range(cycling.size):
        furthest = max(furthest, abs(g.cycle_slope * shifts.cycles[k]))
        cycling[k] = np.exp(min(g.cycle_slope * shifts.cycles[k], 700.0))
    for v in range(shifts.kind.size):
        base = np.exp(min(trials.intercept[t, shifts.kind[v]], 700.0))
        level, row = shifts.level[v], odds[v]
        for s in range(row.size):
            row[s] = base * luck.scale[s] * cycling[level[s]]
    return furthest


@rule
def odds_by_sum(
    trials: Trials,
    t: int,
    shifts: Shifts,
    v: int,
    dates: Dates,
    ages: FloatArray,
    luck: Luck,
    odds: FloatArray,
) -> None:
    """Odds (N,) of one try where some term is far out: exponential of the sum of logits (rule 1)."""
    g, mu = trials.given[t], trials.intercept[t, shifts.kind[v]]
    for s in range(odds.size):
        cycles = shifts.cycles[shifts.level[v, s]]
        rest = luck.effect[s] + (g.cycle_slope * cycles + g.age_slope_per_year * ages[dates.group[s]])
        odds[s] = np.exp(min(mu + rest, 700.0))


@rule
def failed_tries(
    odds: FloatArray, spare: FloatArray, most_tries: int, level: FloatArray, failed: IntArray
) -> None:
    """Number of tries of a shift that fail (N,), all of them where it does not work: the j-th works if
    (1 + odds)^j (1 - u) > 1 (rule 1, written without logarithms)."""
    for s in range(failed.size):
        level[s] = spare[s]
        failed[s] = 0
    for _ in range(most_tries):
        for s in range(failed.size):
            level[s] *= 1.0 + odds[s]
            failed[s] += 0 if level[s] > 1.0 else 1
