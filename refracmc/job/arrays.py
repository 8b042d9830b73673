"""What the loop over trials reads of a well, its orders, dates and draws: arrays packed once a block.

N sleeves, O orders, V vectors of planned shifts, D dates, S strategies, n trials. This file imports no compiler.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from refracmc.job.chances import intercept_for_mean
from refracmc.job.cost import CostRates
from refracmc.job.inputs import JobInputs, JobPolicy
from refracmc.job.luck import BlockLuck, isolation_codes
from refracmc.job.machine import KINDS, Plan
from refracmc.job.sleeves import BoolArray, FloatArray, IntArray, Tally

STRESS = (
    "residual_pressure",
    "contrast0",
    "effect_strength",
    "contrast_half",
    "contrast_scale",
    "limit_strength",
    "pressure_limit",
    "limit_scale",
)
"""Terms of `production.stress_effect`."""
NO_STRESS = dict.fromkeys(STRESS, 1.0) | {"effect_strength": 0.0, "limit_strength": 0.0}
GIVEN = (*JobInputs.names(), *CostRates.names(), *STRESS, "z_well", "u_event", "u_casing")
"""What a trial has one number of: the fields of `Trials.given`."""
CLOSE, OPEN, RECLOSE, REOPEN, REOPEN_OFF = range(5)
"""Columns of `Orders.shifts`; REOPEN_OFF: reopenings of a job called off."""


class Well(NamedTuple):
    """Sleeves on record, (N,) bool, and isolation above them, (N,) int; the policy in numbers.

    known_open : stuck open or perforated; closed : closed or leaking; shut : stuck closed or patched
    stop_loss : failed closings that call the job off are more than these, -1: never
    patch, perforate, perforate_again, patch_bars, patch_narrows : fallbacks chosen
    """

    known_open: BoolArray
    closed: BoolArray
    leaking: BoolArray
    shut: BoolArray
    old_patch: BoolArray
    producers: BoolArray
    isolation: IntArray
    stop_loss: int
    patch: bool
    perforate: bool
    perforate_again: bool
    patch_bars: bool
    patch_narrows: bool
    max_tries: int


class Orders(NamedTuple):
    """Orders, as in `Plan`: closes, reseats, first (closed before the first stage), treats, recloses, deeper (a deeper
    stage is planned) (O, N) bool; sequence (O, N) sleeve indices as treated, stages (O,) how many; changes (O, 3)
    whether changes are planned, of assembly, of string; feet (O, 2) travel, and that of a job called off [ft];
    contrast, normal (O, N, N): stress change at the second sleeve per psi in the first, 0 where that is not treated
    before; shifts (O, 5): row of `Shifts` for each kind; watched (O, V, N): whether the order can meet the outcome."""

    closes: BoolArray
    reseats: BoolArray
    first: BoolArray
    treats: BoolArray
    recloses: BoolArray
    deeper: BoolArray
    sequence: IntArray
    stages: IntArray
    changes: IntArray
    feet: FloatArray
    contrast: FloatArray
    normal: FloatArray
    shifts: IntArray
    watched: BoolArray


class Shifts(NamedTuple):
    """V vectors of shifts that a sleeve has had by then: kind (V,) index into KINDS; level (V, N) index into
    cycles (L,) [shifts]."""

    kind: IntArray
    level: IntArray
    cycles: FloatArray


class Dates(NamedTuple):
    """D dates: ages (D, 1 or n, G) of G groups of sleeves [years], the same or another in every trial; group (N,);
    service (D, n) index of the service costs [-]."""

    ages: FloatArray
    group: IntArray
    service: FloatArray


class Chosen(NamedTuple):
    """S strategies by order, then date: order, date, and row of the result, each (S,)."""

    order: IntArray
    date: IntArray
    row: IntArray


class Trials(NamedTuple):
    """n trials: given (n,) records with the fields GIVEN; intercept (n, 4) of the chances by kind of shift [logit];
    shares of old production and of potential (n, N); luck (n, N), named as in `JobLuck`."""

    given: np.recarray[tuple[int], np.dtype[np.void]]
    intercept: FloatArray
    share: FloatArray
    potential: FloatArray
    z_sleeve: FloatArray
    z_stage: FloatArray
    u_close: FloatArray
    u_open: FloatArray
    u_reclose: FloatArray
    u_reopen: FloatArray
    u_screen: FloatArray
    u_leak: FloatArray
    u_trip: FloatArray
    u_patch: FloatArray
    u_perforate: FloatArray
    u_perforate2: FloatArray
    u_tight_close: FloatArray
    u_tight_reclose: FloatArray


def well_of(tally: Tally, policy: JobPolicy) -> Well:
    """The sleeves on record and the policy in numbers [counts]."""
    stop = policy.stop_loss_failed_closes
    return Well(
        known_open=tally.in_state("stuck_open", "perforated"),
        closed=tally.in_state("closed", "leaking"),
        leaking=tally.in_state("leaking"),
        shut=tally.in_state("stuck_closed", "patched"),
        old_patch=tally.in_state("patched"),
        producers=tally.old_producers,
        isolation=isolation_codes(tally),
        stop_loss=-1 if stop is None else int(stop),
        patch=policy.when_not_closing == "patch",
        perforate=policy.when_not_opening == "perforate",
        perforate_again=policy.when_not_reopening == "perforate",
        patch_bars=policy.patched_restricts == "lost",
        patch_narrows=policy.patched_restricts == "slim",
        max_tries=int(policy.max_tries),
    )


def _shifts(plan: Plan, tally: Tally, policy: JobPolicy) -> list[tuple[int, IntArray, BoolArray]]:
    """Kind, shifts by then (N,) and the sleeves that may meet it (N,), by CLOSE to REOPEN_OFF (rules 1 to 9)."""
    base = plan.cycles[0] + plan.closes
    closed = plan.closes | tally.in_state("closed", "leaking")
    stop = policy.stop_loss_failed_closes is not None
    return [
        (CLOSE, plan.cycles[0], plan.closes),
        (OPEN, plan.cycles[1], plan.treated & closed),
        (RECLOSE, base + plan.opens, plan.recloses),
        (
            REOPEN,
            base + np.where(plan.treated, plan.opens + 1, 0),
            (plan.closes & ~plan.treated) | plan.recloses,
        ),
        (REOPEN, plan.cycles[0] + 1, plan.closes & stop),
    ]


def orders_of(
    plans: Sequence[Plan],
    tally: Tally,
    policy: JobPolicy,
    stress: Sequence[tuple[FloatArray, FloatArray]] | None = None,
) -> tuple[Orders, Shifts]:
    """The orders' plans and the vectors of shifts that they share [counts, ft].

    stress: changes of normal stress and of contrast (N, N) at the first sleeve per psi in the second, by order.
    """
    count, n = len(plans), tally.count
    rows: dict[tuple[int, bytes], int] = {}
    vectors: list[IntArray] = []
    shifts = np.zeros((count, REOPEN_OFF + 1), dtype=np.int64)
    met: list[tuple[int, int, BoolArray]] = []
    for o, plan in enumerate(plans):
        for column, (kind, cycles, mask) in enumerate(_shifts(plan, tally, policy)):
            if mask.any() or not rows:
                key = (kind, cycles.tobytes())
                if key not in rows:
                    rows[key] = len(vectors)
                    vectors.append(cycles)
                shifts[o, column] = rows[key]
                met.append((o, rows[key], mask))
    watched = np.zeros((count, len(vectors), n), dtype=bool)
    for o, v, mask in met:
        watched[o, v] |= mask
    cycles, level = np.unique(np.stack(vectors), return_inverse=True)
    sequence = np.zeros((count, n), dtype=np.int64)
    changes = np.zeros((count, 3), dtype=np.int64)
    feet = np.zeros((count, 2))
    normal, contrast = np.zeros((2, count, n, n))
    for o, plan in enumerate(plans):
        sequence[o, : len(plan.order)] = np.array(plan.order) - 1
        feet[o] = plan.travel_ft, plan.call_off_travel_ft
        if plan.changes is not None:
            feet[o, 0] += plan.changes.travel_ft
            changes[o] = 1, plan.changes.count("bha"), plan.changes.count("string")
        if stress is not None:
            normal[o], contrast[o] = stress[o][0].T, stress[o][1].T
    orders = Orders(
        closes=np.stack([plan.closes for plan in plans]),
        reseats=np.stack([plan.reseats for plan in plans]),
        first=np.stack([plan.closes_before_first for plan in plans]),
        treats=np.stack([plan.treated for plan in plans]),
        recloses=np.stack([plan.recloses for plan in plans]),
        deeper=np.stack([plan.deeper_planned for plan in plans]),
        sequence=sequence,
        stages=np.array([len(plan.order) for plan in plans]),
        changes=changes,
        feet=feet,
        contrast=contrast,
        normal=normal,
        shifts=shifts,
        watched=watched,
    )
    kinds = np.array([kind for kind, _ in rows], dtype=np.int64)
    return orders, Shifts(kinds, level.reshape(len(vectors), n).astype(np.int64), cycles.astype(float))


def ages_of(ages: Sequence[FloatArray]) -> tuple[FloatArray, IntArray]:
    """`Dates.ages` and `Dates.group` of dates with the ages of their sleeves [years], each (N,) or (n, N)."""
    whole = np.stack([np.atleast_2d(each) for each in ages])
    found, group = np.unique(whole.reshape(-1, whole.shape[2]), axis=1, return_inverse=True)
    grouped = np.ascontiguousarray(found.reshape(*whole.shape[:2], -1))
    return grouped, group.ravel().astype(np.int64)


def _intercepts(block: BlockLuck) -> FloatArray:
    """Intercepts (4, 1 or n) of the chances by kind of shift [logit]: rule 1, groups of sleeves of the same age and
    shifts."""
    inputs = block.inputs
    groups, count = np.unique(np.stack([block.ages_now, block.tally.shifts]), axis=1, return_counts=True)
    offsets = inputs.age_slope_per_year * groups[0][:, None] + inputs.cycle_slope * groups[1][:, None]
    sd = np.hypot(inputs.well_effect_sd, inputs.sleeve_effect_sd)
    chances = np.stack([getattr(inputs, f"{kind}_chance") for kind in KINDS])
    return intercept_for_mean(chances, sd, offsets, count / count.sum())


def trials_of(
    block: BlockLuck,
    rates: CostRates,
    stress: Mapping[str, FloatArray | float],
    share: FloatArray,
    potential: FloatArray,
) -> Trials:
    """The drawn numbers of a block, each in the unit of its name. stress: members of STRESS, NO_STRESS where it is
    off; share, potential (n, N) [fraction]."""
    inputs, luck = block.inputs, block.luck
    values = [
        *(getattr(inputs, name) for name in JobInputs.names()),
        *(getattr(rates, name) for name in CostRates.names()),
        *(stress[name] for name in STRESS),
        luck.z_well,
        luck.u_event,
        block.u_casing,
    ]
    rows = np.empty((block.trials, len(GIVEN)))
    for column, value in enumerate(values):
        rows[:, column] = value
    given = rows.view([(name, np.float64) for name in GIVEN])[:, 0].view(np.recarray)
    intercept = np.empty((block.trials, len(KINDS)))
    intercept[:] = _intercepts(block).T
    # where the rule is off its chance is 0, and any luck gives nothing
    spare = {"u_tight_close": luck.u_screen, "u_tight_reclose": luck.u_screen}
    names = Trials._fields[4:]
    drawn = [spare[name] if getattr(luck, name) is None else getattr(luck, name) for name in names]
    return Trials(given, intercept, *(np.ascontiguousarray(a) for a in (share, potential, *drawn)))
