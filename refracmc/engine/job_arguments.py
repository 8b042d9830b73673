"""What the compiled job is told of a well, its orders, the chosen strategies and a block of trials.

Everything is packed once a block into arrays that the kernel reads trial by trial. This file imports no compiler.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from refracmc.job.chances import intercept_for_marginal
from refracmc.job.cost import CostRates
from refracmc.job.inputs import JobInputs, JobLuck, JobPolicy
from refracmc.job.machine import KINDS, Plan
from refracmc.job.sleeves import Tally

if TYPE_CHECKING:
    from .job_plans import OrderPlan

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
ByteArray = NDArray[np.uint8]

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
GIVEN = (
    *JobInputs.names(),
    *CostRates.names(),
    *STRESS,
    *(f"mu_{kind}" for kind in KINDS),
    "z_well",
    "u_event",
    "u_casing",
)
"""Columns of `Trials.given`: what a trial has one number of."""
SLOTS = ("close", "open", "reclose", "reopen", "reopen_off")
"""The shifts of an order: reopen_off where the job is called off."""


MASKS = ("closes", "first", "treats", "recloses", "deeper", "early")
"""Rows of `Orders.masks`: as in `Plan`; first: closed before the first stage; early: before some deeper stage."""
STATES = ("known_open", "closed", "leaking", "shut", "patched", "producers", "isolation")
"""Rows of `Well.states`, from the record: 0 or 1; isolation: 0 none, 1 cement, 2 packer, 3 nothing above."""
RULES = ("stop_loss", "patch", "perforate", "perforate2", "lost", "slim", "max_tries")
"""Members of `Well.rules`, the policy in numbers; stop_loss -1: never; max_tries a count; the others 0 or 1."""


LANES = 16
"""Sleeves that the kernel works on together."""


def padded(sleeves: int) -> int:
    """Size of the kernel's arrays over sleeves: whole LANES, with at least one to spare."""
    return (sleeves // LANES + 1) * LANES


class Well(NamedTuple):
    """states (7, N) rows STATES of N sleeves; rules (7,) members RULES."""

    states: ByteArray
    rules: IntArray


class Orders(NamedTuple):
    """O orders of N sleeves. masks: (O, 6, N) rows MASKS; position, sequence: (O, N) place in the order or -1, and
    sleeve indices (from 0) as treated; numbers: (O, 4) stages, whether changes are planned, of assembly, of string;
    feet: (O, 2) travel with planned changes, and called off [ft]; stress: (O, B, W, 2 LANES), W = padded(N),
    B = W/LANES: change at LANES stages of the contrast, then of the normal stress, per psi in the k-th of W stages, 0
    unless that comes before; table: (O, 5) row of `Tables` that serves each of
    SLOTS; watched: (O, V, N) not 0 where the order can meet the outcome of a table at a sleeve."""

    masks: ByteArray
    position: IntArray
    sequence: IntArray
    numbers: IntArray
    feet: Array
    stress: Array
    table: IntArray
    watched: ByteArray


class Tables(NamedTuple):
    """V vectors of planned shifts: kind (V,) index into KINDS; level (V, N) index into cycles (L,) [shifts]."""

    kind: IntArray
    level: IntArray
    cycles: Array


class Dates(NamedTuple):
    """D months: ages (D, G) of G groups of sleeves [years], group (N,), service (D, n) index of their costs [-]."""

    ages: Array
    group: IntArray
    service: Array


class Chosen(NamedTuple):
    """S strategies by order, then date: order, date, and row of the result, each (S,)."""

    order: IntArray
    date: IntArray
    row: IntArray


class Trials(NamedTuple):
    """n trials: given (n, P), columns GIVEN; share, potential and luck (n, N), named as in JobLuck."""

    given: Array
    share: Array
    potential: Array
    z_sleeve: Array
    z_stage: Array
    u_close: Array
    u_open: Array
    u_reclose: Array
    u_reopen: Array
    u_screen: Array
    u_leak: Array
    u_trip: Array
    u_patch: Array
    u_perforate: Array
    u_perforate2: Array
    u_tight_close: Array
    u_tight_reclose: Array


def well_of(tally: Tally, policy: JobPolicy) -> Well:
    """The states on record and the policy in numbers."""
    isolation = np.where(tally.in_isolation("cement"), 1, np.where(tally.in_isolation("packer"), 2, 0))
    isolation[-1] = 3
    states = (
        tally.in_state("stuck_open", "perforated"),
        tally.in_state("closed", "leaking"),
        tally.in_state("leaking"),
        tally.in_state("stuck_closed", "patched"),
        tally.in_state("patched"),
        tally.old_producers,
        isolation,
    )
    stop = policy.stop_loss_failed_closes
    rules = (
        -1 if stop is None else stop,
        policy.when_not_closing == "patch",
        policy.when_not_opening == "perforate",
        policy.when_not_reopening == "perforate",
        policy.patched_restricts == "lost",
        policy.patched_restricts == "slim",
        policy.max_tries,
    )
    return Well(np.array(states, dtype=np.uint8), np.array(rules, dtype=np.int64))


def _shifts(plan: Plan, tally: Tally, policy: JobPolicy) -> list[tuple[int, IntArray, NDArray[np.bool_]]]:
    """Kind, cycles (N,) and the sleeves that may meet it (N,), for each of SLOTS (see rules 1 to 9)."""
    base = tally.shifts + plan.closes
    closed = plan.closes | tally.in_state("closed", "leaking")
    none = np.zeros(tally.count, dtype=bool)
    return [
        (0, plan.cycles[0], plan.closes),
        (1, plan.cycles[1], plan.treated & closed),
        (2, base + plan.opens, plan.recloses),
        (3, base + np.where(plan.treated, plan.opens + 1, 0), (plan.closes & ~plan.treated) | plan.recloses),
        (3, tally.shifts + 1, plan.closes if policy.stop_loss_failed_closes is not None else none),
    ]


def orders_of(plans: Sequence[OrderPlan], tally: Tally, policy: JobPolicy) -> tuple[Orders, Tables]:
    """The orders' plans and the vectors of shifts that they share."""
    count, sleeves = len(plans), tally.count
    keys: dict[tuple[int, bytes], int] = {}
    vectors: list[IntArray] = []
    table = np.zeros((count, len(SLOTS)), dtype=np.int64)
    met: list[tuple[int, int, NDArray[np.bool_]]] = []
    for o, made in enumerate(plans):
        for slot, (kind, cycles, mask) in enumerate(_shifts(made.job, tally, policy)):
            if mask.any():
                key = (kind, cycles.tobytes())
                if key not in keys:
                    keys[key] = len(vectors)
                    vectors.append(cycles)
                table[o, slot] = keys[key]
                met.append((o, keys[key], mask))
    if not vectors:
        keys[0, b""] = 0
        vectors.append(tally.shifts)
    watched = np.zeros((count, len(vectors), sleeves), dtype=np.uint8)
    for o, v, mask in met:
        watched[o, v][mask] = 0xFF
    cycles, level = np.unique(np.stack(vectors), return_inverse=True)
    sequence = np.zeros((count, sleeves), dtype=np.int64)
    wide = padded(sleeves)
    stress = np.zeros((count, wide // LANES, wide, 2, LANES))
    feet, numbers = np.zeros((count, 2)), np.zeros((count, 4), dtype=np.int64)
    masks = np.zeros((count, len(MASKS), sleeves), dtype=np.uint8)
    for o, made in enumerate(plans):
        job, stages = made.job, len(made.job.order)
        early = job.before.any(axis=1)
        masks[o] = (
            job.closes,
            job.closes_before_first,
            job.treated,
            job.recloses,
            job.deeper_planned,
            early,
        )
        places = np.array(job.order) - 1
        sequence[o, :stages] = places
        for row, matrix in enumerate((made.contrast_before, made.normal_before)):
            by_stage = np.zeros((wide, wide))
            by_stage[:stages, :stages] = matrix[np.ix_(places, places)].T
            stress[o, :, :, row] = by_stage.reshape(wide, -1, LANES).swapaxes(0, 1)
        feet[o], numbers[o, 0] = (job.travel_ft, job.call_off_travel_ft), stages
        if job.changes is not None:
            feet[o, 0] += job.changes.travel_ft
            numbers[o, 1:] = 1, job.changes.count("bha"), job.changes.count("string")
    position = np.stack([made.job.position for made in plans])
    orders = Orders(
        masks, position, sequence, numbers, feet, stress.reshape(count, -1, wide, 2 * LANES), table, watched
    )
    kinds = np.array([kind for kind, _ in keys], dtype=np.int64)
    return orders, Tables(kinds, level.reshape(len(vectors), sleeves).astype(np.int64), cycles.astype(float))


def ages_of(ages: Sequence[Array]) -> tuple[Array, IntArray]:
    """`Dates.ages` and `Dates.group` of months with the ages (N,) of their sleeves [years]."""
    found, group = np.unique(np.stack(ages), axis=1, return_inverse=True)
    return np.ascontiguousarray(found), group.ravel().astype(np.int64)


def trials_of(
    inputs: JobInputs,
    luck: JobLuck,
    rates: CostRates,
    stress: Mapping[str, Array | float],
    share: Array,
    potential: Array,
) -> Trials:
    """The drawn numbers of a block. stress: members of STRESS, strengths of 0 where stress is off.

    Raises ValueError where a rule is on whose luck is absent.
    """
    n = luck.z_well.size
    if inputs.closed_leak_chance.any() and (luck.u_tight_close is None or luck.u_tight_reclose is None):
        raise ValueError(
            "a chance of closed sleeves leaking needs the luck u_tight_close and u_tight_reclose"
        )
    if inputs.casing_failure_chance.any() and luck.u_casing is None:
        raise ValueError("a chance of casing failure needs the luck u_casing")
    sd = np.hypot(inputs.well_effect_sd, inputs.sleeve_effect_sd)
    chances = np.stack([getattr(inputs, f"{kind}_chance") for kind in KINDS])
    values = [
        *(getattr(inputs, name) for name in JobInputs.names()),
        *(getattr(rates, name) for name in CostRates.names()),
        *(stress[name] for name in STRESS),
        *intercept_for_marginal(chances, sd),
        luck.z_well,
        luck.u_event,
        luck.u_event if luck.u_casing is None else luck.u_casing,
    ]
    by_name = np.empty((len(GIVEN), n + LANES))[
        :, :n
    ]  # rows a power of two apart would meet in one place of a cache
    for row, value in zip(by_name, values, strict=True):
        row[:] = value
    given = np.ascontiguousarray(by_name.T)
    # where the rule is off its chance is 0, and any luck gives nothing
    spare = {"u_tight_close": luck.u_screen, "u_tight_reclose": luck.u_screen}
    drawn = [getattr(luck, name) for name in Trials._fields[3:]]
    drawn = [spare[name] if u is None else u for name, u in zip(Trials._fields[3:], drawn, strict=True)]
    return Trials(given, *(_by_trial(a) for a in (share, potential, *drawn)))


def _by_trial(values: Array) -> Array:
    """Values (n, N) with those of a trial side by side."""
    if values.flags.c_contiguous:
        return values
    made = np.empty(values.shape)
    for column, found in zip(made.T, values.T, strict=True):
        column[:] = found
    return made
