"""The job of every strategy compiled by numba: rules 1 to 17 of `refracmc.job.simulate`, trial by trial.

Booleans and counts are those of `simulate`, values agree to 1e-12 (tests/engine). Between dates only the age term of
the chances differs, so most dates repeat the outcomes of the one before: they are compared and the results copied.
A result is a function of its trial, order and outcomes alone, so it does not depend on which other trials or
strategies are evaluated with it. Needs the optional numba.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from refracmc.job.cost import COST_PARTS

from .cash import JobOutcome
from .job_arguments import (
    GIVEN,
    LANES,
    MASKS,
    RULES,
    SLOTS,
    STATES,
    Chosen,
    Dates,
    Orders,
    Tables,
    Trials,
    Well,
    padded,
)

Array = NDArray[np.float64]
ByteArray = NDArray[np.uint8]
IntArray = NDArray[np.int64]

DAYS, COST, KEPT, EFFECTIVE, STAGES, LOST = range(len(JobOutcome.__dataclass_fields__))
TRIES, TESTS, TREATED, TRIPS, SCREENOUTS, PATCHES, PERFORATIONS, SLIM, OFF, HOURS = range(10)
"""Members of a job's sums."""
WORKS = 128
"""Bit of an outcome: the shift works; the bits below are the tries used."""
FAR = 200.0
"""Logit terms beyond this are added before the exponential, lest a product of exponentials leave the range."""
CONTRACT = {"contract"}
LOG2_E, MAGIC = 1.0 / math.log(2.0), 1.5 * 2.0**52
LN2_HIGH = 0.6931471803691238  # ln 2 with the last bits zero, so that whole multiples are exact
LN2_LOW = 1.9082149292705877e-10
C2, C3, C4, C5, C6, C7, C8, C9, C10, C11, C12, C13 = (1.0 / math.factorial(n) for n in range(2, 14))
TILE = 16
"""Trials whose results are kept together and then written out as whole lines of the cache."""

_G = {name: k for k, name in enumerate(GIVEN)}
MU = _G["mu_close"]
AGE_SLOPE, CYCLE_SLOPE = _G["age_slope_per_year"], _G["cycle_slope"]
WELL_SD, SLEEVE_SD, Z_WELL = _G["well_effect_sd"], _G["sleeve_effect_sd"], _G["z_well"]
STAGE_SD, SCREEN_CHANCE = _G["stage_hours_log_sd"], _G["screenout_chance"]
SCREEN_PLACED, TRIP_CHANCE = _G["screenout_placed_fraction"], _G["trip_chance_per_stage"]
CEMENT, PACKER, LEAK = _G["leak_chance_cement"], _G["leak_chance_packer"], _G["leak_fluid_fraction"]
TAKE, STRAY = _G["open_sleeve_take"], _G["stray_fluid_value"]
PATCH, PERFORATE = _G["patch_success"], _G["perforate_success"]
TIGHT, FINDS = _G["closed_leak_chance"], _G["leak_test_finds_chance"]
PER_BHA, BHA_HOURS, STRING_HOURS = _G["stages_per_bha"], _G["bha_change_hours"], _G["string_change_hours"]
CLEANOUT, SPEED = _G["cleanout_hours"], _G["ct_speed_ft_per_min"]
PER_TRY, PER_TEST, PER_STAGE = _G["hours_per_try"], _G["hours_per_test"], _G["hours_per_stage"]
SCREEN_HOURS, PATCH_HOURS = _G["screenout_hours"], _G["patch_hours"]
PERFORATE_HOURS, TRIP_HOURS, SLIM_HOURS = (
    _G["perforate_hours"],
    _G["hours_per_trip"],
    _G["slim_hours_per_stage"],
)
NPT, WORK_DAY, WAITING = _G["npt_fraction"], _G["work_hours_per_day"], _G["waiting_days"]
BEFORE, AFTER = _G["days_before_ct"], _G["days_after_ct"]
U_EVENT, STUCK, STUCK_DAYS = _G["u_event"], _G["stuck_ct_chance"], _G["stuck_ct_days"]
LOST_IF_STUCK, U_CASING = _G["well_lost_chance_given_stuck"], _G["u_casing"]
CASING, CASING_DAYS = _G["casing_failure_chance"], _G["casing_failure_days"]
LOST_IF_CASING = _G["well_lost_chance_given_casing_failure"]
MOBILISATION, WORKOVER = _G["mobilisation_usd"], _G["workover_usd_per_day"]
CT_SPREAD, FRAC_SPREAD = _G["ct_spread_usd_per_day"], _G["frac_spread_usd_per_day"]
MATERIALS, WATER, WATER_USD = _G["stage_materials_usd"], _G["water_bbl_per_stage"], _G["water_usd_per_bbl"]
TRIP_USD, PATCH_USD, PERFORATE_USD = _G["trip_usd"], _G["patch_usd"], _G["perforate_usd"]
SCREEN_USD, STUCK_USD, LOST_USD = _G["screenout_usd"], _G["stuck_ct_usd"], _G["well_lost_usd"]
CANCEL_USD, FLOWBACK = _G["cancellation_usd"], _G["flowback_usd_per_day"]
LOAD, LOAD_USD, SERVICE = _G["load_recovery_fraction"], _G["load_disposal_usd_per_bbl"], _G["service_index"]
STRING_USD, SLIM_USD, CASING_USD = _G["string_change_usd"], _G["slim_stage_usd"], _G["casing_failure_usd"]
PRESSURE, CONTRAST0, GAIN = _G["residual_pressure"], _G["contrast0"], _G["effect_strength"]
HALF, SCALE, LOSS = _G["contrast_half"], _G["contrast_scale"], _G["limit_strength"]
LIMIT, WIDTH = _G["pressure_limit"], _G["limit_scale"]


@njit(cache=True, error_model="numpy", fastmath=CONTRACT)
def _exponentials(x: Array, bits: IntArray) -> None:
    """exp of x in place, clipped to +-700, to 1e-15: 2^k e^r with |r| <= ln 2 / 2 (Taylor). Size: whole LANES."""
    powers = bits.view(np.float64)
    for start in range(0, x.size, LANES):
        part = x[start : start + LANES]
        for i in range(LANES):
            value = min(max(part[i], -700.0), 700.0)
            whole = value * LOG2_E + MAGIC  # its last bits are k
            powers[i] = whole
            k = whole - MAGIC
            r = (value - k * LN2_HIGH) - k * LN2_LOW
            high = C8 + r * (C9 + r * (C10 + r * (C11 + r * (C12 + r * C13))))
            part[i] = 1.0 + r * (
                1.0 + r * (C2 + r * (C3 + r * (C4 + r * (C5 + r * (C6 + r * (C7 + r * high))))))
            )
        for i in range(LANES):
            bits[i] = (bits[i] + 1023) << 52
        for i in range(LANES):
            part[i] *= powers[i]


@njit(cache=True, error_model="numpy")
def _outcome(odds: float, spare: float, max_tries: int) -> int:
    """Works (WORKS) and tries used, from the odds of one try and 1 - u: by j tries if (1 + odds)^j (1 - u) > 1."""
    fails, factor = 0, 1.0 + odds
    for _ in range(max_tries):
        spare *= factor
        fails += spare <= 1.0
    return fails + 1 + WORKS if fails < max_tries else fails


@njit(cache=True, error_model="numpy")
def _fails(odds: Array, ageing: Array, spare: Array, max_tries: int, power: Array, fails: Array) -> None:
    """Tries that fail out of max_tries, as in `_outcome`, for all sleeves. Size: whole LANES."""
    for start in range(0, fails.size, LANES):
        ratio, factor, left, count = odds[start:], ageing[start:], spare[start:], fails[start:]
        for i in range(LANES):
            power[i] = left[i]
            count[i] = 0.0
        for _ in range(max_tries):
            for i in range(LANES):
                power[i] *= 1.0 + ratio[i] * factor[i]
                count[i] += 1.0 if power[i] <= 1.0 else 0.0


@njit(cache=True, error_model="numpy")
def _odds(mu: float, effect: float, cycle: float, age: float, fast: float) -> float:
    """Odds of one try: the product of exponentials `fast`, unless a term is far out."""
    if max(max(abs(effect), abs(cycle)), abs(age)) > FAR or (abs(mu) > FAR and abs(mu) < np.inf):
        return math.exp(mu + (effect + cycle + age))
    return fast


@njit(cache=True, error_model="numpy", fastmath=CONTRACT)
def _multipliers(g: Array, matrix: Array, placed: Array, strain: Array, out: Array, bits: IntArray) -> None:
    """Stress multipliers of the stages in their order (production.stress), from what each of them placed.

    matrix (B, W, 2 LANES), strain (B, 2 LANES): by LANES of stages, the contrast first, then the normal stress.
    """
    for block in range(strain.shape[0]):
        sums, by_stage = strain[block], matrix[block]
        sums[:] = 0.0
        for k in range(0, (block + 1) * LANES, 2):  # the matrix is zero from there on
            one, two = placed[k] * g[PRESSURE], placed[k + 1] * g[PRESSURE]
            by_one, by_two = by_stage[k], by_stage[k + 1]
            for i in range(2 * LANES):
                sums[i] += by_one[i] * one + by_two[i] * two
        for i in range(LANES):
            sums[i] = -(sums[i] / g[SCALE]) - (g[HALF] - g[CONTRAST0]) / g[SCALE]
        for i in range(LANES, 2 * LANES):
            sums[i] = -(sums[i] / g[WIDTH]) + g[LIMIT] / g[WIDTH]
        _exponentials(sums, bits)
    # the last stage is none, so that nothing changed there: the others differ from it
    still, slack = 1.0 / (1.0 + strain[-1, LANES - 1]), 1.0 / (1.0 + strain[-1, 2 * LANES - 1])
    for block in range(strain.shape[0]):
        sums, part = strain[block], out[block * LANES :]
        for i in range(LANES):
            gain, loss = 1.0 / (1.0 + sums[i]) - still, 1.0 / (1.0 + sums[i + LANES]) - slack
            part[i] = g[GAIN] * gain - g[LOSS] * loss
    _exponentials(out, bits)


@njit(cache=True, error_model="numpy", fastmath=CONTRACT)
def _job(
    g: Array,
    states: ByteArray,
    masks: ByteArray,
    position: IntArray,
    planned: IntArray,
    table: IntArray,
    rules: IntArray,
    now: ByteArray,
    luck: ByteArray,
    tight_close: Array,
    tight_reclose: Array,
    factor: Array,
    tried: ByteArray,
    work: Array,
    sums: Array,
) -> None:
    """Rules 2 to 10: sleeve by sleeve from the shallowest, then the fluid from the deepest. Flags are 0 or 1.

    now (V, N): outcomes of the date. Fills tried (5, N), sums, and of work (8, N) placed, effectiveness, producing.
    """
    count = luck.size
    fluid, exposed, start, change = work[0], work[1], work[2], work[3]
    own, effect, producing, keep = work[4], work[5], work[6], work[7]
    take, leak, short = g[TAKE], g[LEAK], 1.0 - g[SCREEN_PLACED]
    leaky, missed = g[TIGHT], g[TIGHT] * (1.0 - g[FINDS])
    stop, can_patch, can_perforate, can_perforate2, can_lose = (
        rules[0],
        rules[1],
        rules[2],
        rules[3],
        rules[4],
    )
    closing, opening, reclosing = now[table[0]], now[table[1]], now[table[2]]
    off = 0
    if stop >= 0:
        failed = 0
        for s in range(count):
            failed += masks[1, s] & ~(closing[s] >> 7)
        off = 1 if failed > stop else 0
    tries, tests, stages, trips, screenouts, patches, perforations, slim = 0, 0, 0, 0, 0, 0, 0, 0
    hours, above, patch_above, narrow_above, changed = 0.0, 0.0, 0, 0, 0
    for s in range(count - 1, -1, -1):
        known_open, on_record, leaking, old_patch = states[0, s], states[1, s], states[2, s], states[4, s]
        first, treats = masks[1, s], masks[2, s]
        bits = luck[s]
        made, works = first if off else masks[0, s], closing[s] >> 7
        blocked = can_lose & patch_above
        stays_open = (made & ~works) | known_open
        patched = can_patch & (1 - off) & masks[4, s] & stays_open
        tried_patch = patched & (1 - blocked)
        patched &= bits >> 2
        patch_above |= patched
        patched &= 1 - blocked
        made &= first | (1 - blocked)
        not_closed, closed = made & ~works, made & works
        unseen = closed & (tight_close[s] < missed)
        cycled = closed & (tight_close[s] < leaky) & (1 - unseen)
        tried[0, s] = made

        live = treats & (1 - patched) & (1 - off) & (1 - blocked)
        opened = live & (closed | on_record)
        perforate = opened & ~(opening[s] >> 7) & can_perforate
        perforated = perforate & (bits >> 3)
        not_opened = opened & ~(opening[s] >> 7) & (1 - perforated)
        treated = live & (1 - not_opened)
        tried[1, s] = opened

        before = leak * leaking + ((not_closed | known_open) & (1 - patched) & (1 - leaking)) + leak * unseen
        start[s] = before
        exposed[s] = above
        above += before
        fluid[s] = treated * (1.0 - short * (bits & 1))

        reclose = masks[3, s] & treated & (1 - not_closed) & (1 - perforated)
        reclosed = reclose & (reclosing[s] >> 7)
        unseen2 = reclosed & (tight_reclose[s] < missed)
        cycled2 = reclosed & (tight_reclose[s] < leaky) & (1 - unseen2)
        tried[2, s] = reclose
        open_after = (reclose & (1 - reclosed)) | (perforated & treated)
        change[s] = masks[5, s] * (open_after + leak * unseen2 - before * (open_after | reclosed))
        changed |= change[s] != 0.0

        reopen = ((closed & ((1 - treats) | off)) | reclosed) & (1 - blocked)
        slot = 4 if off else 3
        tried[3, s], tried[4, s] = 0, 0
        tried[slot, s] = reopen
        stay_shut = reopen & ~(now[table[slot], s] >> 7)
        perforate2 = stay_shut & can_perforate2
        stay_shut = (stay_shut & (1 - (perforate2 & (bits >> 4)))) | (closed & blocked)
        shut = ((not_opened | (on_record & (1 - treated))) & (1 - leaking)) | states[3, s]
        producing[s] = 1 - (stay_shut | patched | shut)

        stages += treated
        hours += treated * factor[s]
        trips += treated & (bits >> 1)
        screenouts += treated & bits
        slim += treated & rules[5] & narrow_above
        narrow_above |= patched | old_patch
        tests += closed + cycled + reclosed + cycled2
        tries += cycled + cycled2
        patches += tried_patch
        perforations += perforate + perforate2
    for slot in range(5):
        outcome = now[table[slot]]
        for s in range(count):
            tries += tried[slot, s] * (outcome[s] & 127)
    trips += 1 if slim else 0
    if planned[1] == 0:
        trips += int(max(stages - 1, 0) / g[PER_BHA])
    sums[TRIES], sums[TESTS], sums[TREATED], sums[TRIPS], sums[OFF] = tries, tests, stages, trips, off
    sums[SCREENOUTS], sums[PATCHES], sums[PERFORATIONS], sums[SLIM] = screenouts, patches, perforations, slim
    sums[HOURS] = hours

    # 6-7 fluid: placed in `own`, received in `effect`
    for s in range(count):
        change[s] *= changed
        if change[s] != 0.0:
            for i in range(s):
                exposed[i] += change[s] if position[i] > position[s] else 0.0
    run = 0.0
    for s in range(count):
        own[s] = fluid[s] / (1.0 + exposed[s] * take)
        effect[s] = start[s] * run
        run += own[s] * take
    for s in range(count):
        if change[s] != 0.0:
            taken = 0.0
            for i in range(s):
                taken += own[i] if position[i] > position[s] else 0.0
            effect[s] += change[s] * (taken * take)
    below, lower = 0.0, 0.0  # what leaks up from the sleeve below, and its own share
    for s in range(count):
        share = own[s]
        effect[s] += below * lower
        if s > 0:
            effect[s - 1] += below * share
        own[s] = share * (1.0 - keep[s] - below)
        below, lower = keep[s], share
    for s in range(count):
        effect[s] = min(effect[s] * g[STRAY] + own[s], 1.0) * producing[s]


@njit(cache=True, error_model="numpy", fastmath=CONTRACT)
def _cost(g: Array, planned: IntArray, feet: Array, sums: Array, usd: Array) -> float:
    """Rules 11 to 13 and the parts of job_cost before the index; returns the days."""
    off, treated, trips = sums[OFF], sums[TREATED], sums[TRIPS]
    assemblies, strings = (1.0 - off) * planned[2], (1.0 - off) * planned[3]
    distance = feet[1] if off else feet[0]
    hours = g[CLEANOUT] + distance / (60.0 * g[SPEED]) + g[PER_TRY] * sums[TRIES] + g[PER_TEST] * sums[TESTS]
    hours += g[PER_STAGE] * sums[HOURS] + g[SCREEN_HOURS] * sums[SCREENOUTS] + g[PATCH_HOURS] * sums[PATCHES]
    hours += g[PERFORATE_HOURS] * sums[PERFORATIONS] + g[SLIM_HOURS] * sums[SLIM]
    hours += g[TRIP_HOURS] * trips + g[BHA_HOURS] * assemblies + g[STRING_HOURS] * strings
    ct_days = hours * (1.0 + g[NPT]) / g[WORK_DAY] + g[WAITING]
    stuck = 1.0 if g[U_EVENT] < g[STUCK] else 0.0
    broken = 1.0 if g[U_CASING] < g[CASING] else 0.0
    stuck_days, casing_days = g[STUCK_DAYS] * stuck, g[CASING_DAYS] * broken
    water = treated * g[WATER]
    usd[0] = g[MOBILISATION]
    usd[1] = g[WORKOVER] * g[BEFORE]
    usd[2] = g[CT_SPREAD] * (ct_days + stuck_days)
    usd[3] = g[FRAC_SPREAD] * ct_days
    usd[4] = g[MATERIALS] * treated
    usd[5] = water * g[WATER_USD]
    usd[6] = g[TRIP_USD] * (trips + assemblies)
    usd[7] = g[PATCH_USD] * sums[PATCHES]
    usd[8] = g[PERFORATE_USD] * sums[PERFORATIONS]
    usd[9] = g[SCREEN_USD] * sums[SCREENOUTS]
    usd[10] = g[STUCK_USD] * stuck
    usd[11] = g[LOST_USD] * _lost(g)
    usd[12] = g[CANCEL_USD] * off
    usd[13] = g[FLOWBACK] * g[AFTER]
    usd[14] = water * g[LOAD] * g[LOAD_USD]
    usd[15] = g[STRING_USD] * strings
    usd[16] = g[SLIM_USD] * sums[SLIM]
    usd[17] = g[CASING_USD] * broken + g[WORKOVER] * casing_days
    usd[18] = 0.0
    days: float = g[BEFORE] + ct_days + stuck_days + casing_days + g[AFTER]
    return days


@njit(cache=True, error_model="numpy")
def _lost(g: Array) -> float:
    """1 where the well is lost (rules 11 and 16)."""
    stuck = g[U_EVENT] < g[STUCK] * g[LOST_IF_STUCK]
    return 1.0 if stuck or g[U_CASING] < g[CASING] * g[LOST_IF_CASING] else 0.0


@njit(cache=True, error_model="numpy", fastmath=CONTRACT)
def run_jobs(
    well: Well, orders: Orders, tables: Tables, dates: Dates, chosen: Chosen, trials: Trials, out: Array
) -> None:
    """Fill out (6 + 19, S, n): the fields of JobOutcome, and COST_PARTS [US$], both with the service-cost index."""
    n, count = trials.z_sleeve.shape
    vectors, months, groups = tables.kind.size, dates.ages.shape[0], dates.ages.shape[1]
    states, max_tries = well.states, well.rules[6]
    wide = (count // LANES + 1) * LANES
    effects, scale, bits, power = (
        np.empty(count),
        np.zeros(wide),
        np.empty(LANES, dtype=np.int64),
        np.empty(LANES),
    )
    odds, now = np.zeros((vectors, wide)), np.empty((vectors, count), dtype=np.uint8)
    ageing, ends, by_sleeve = np.empty((months, groups)), np.empty((2, groups)), np.zeros((2, wide))
    by_cycles, fails, spare = np.empty(tables.cycles.size), np.empty((2, wide)), np.zeros(wide)
    luck, tried = np.empty(count, dtype=np.uint8), np.empty((5, count), dtype=np.uint8)
    factor, work, sums, usd = np.zeros(wide), np.empty((8, count)), np.empty(10), np.empty(len(COST_PARTS))
    strain, multiplier = np.empty((wide // LANES, 2 * LANES)), np.empty(wide)
    placed, last_placed = np.zeros(wide), np.empty(count)
    # outcomes that differ between dates: table and sleeve, and the outcome by date
    varying = np.empty((vectors * count, 2), dtype=np.int64)
    by_date = np.empty((vectors * count, months), dtype=np.uint8)
    tile = np.empty((out.shape[0], chosen.order.size, TILE))

    for t in range(n):
        g = trials.given[t]
        u_shift = (trials.u_close[t], trials.u_open[t], trials.u_reclose[t], trials.u_reopen[t])
        furthest = 0.0
        for s in range(count):
            effects[s] = g[SLEEVE_SD] * trials.z_sleeve[t, s] + g[WELL_SD] * g[Z_WELL]
            furthest = max(furthest, abs(effects[s]))
            scale[s] = effects[s]
            factor[s] = trials.z_stage[t, s] * g[STAGE_SD] - 0.5 * g[STAGE_SD] * g[STAGE_SD]
        _exponentials(factor, bits)
        _exponentials(scale, bits)
        for kind in range(4):
            furthest = max(furthest, abs(g[MU + kind]) if abs(g[MU + kind]) < np.inf else 0.0)
        for k in range(tables.cycles.size):
            term = g[CYCLE_SLOPE] * tables.cycles[k]
            by_cycles[k] = np.exp(min(max(term, -700.0), 700.0))
            furthest = max(furthest, abs(term))
        for group in range(groups):
            ends[0, group], ends[1, group] = np.inf, 0.0
            for d in range(months):
                term = g[AGE_SLOPE] * dates.ages[d, group]
                ageing[d, group] = np.exp(min(max(term, -700.0), 700.0))
                ends[0, group] = min(ends[0, group], ageing[d, group])
                ends[1, group] = max(ends[1, group], ageing[d, group])
                furthest = max(furthest, abs(term))
        far = furthest > FAR
        for s in range(count):
            by_sleeve[0, s], by_sleeve[1, s] = ends[0, dates.group[s]], ends[1, dates.group[s]]

        # outcomes rise with the odds: where those of the least and the greatest agree, so do those of all dates
        many = 0
        for v in range(vectors):
            kind = tables.kind[v]
            chance, u = np.exp(g[MU + kind]), u_shift[kind]
            for s in range(count):
                odds[v, s] = chance * scale[s] * by_cycles[tables.level[v, s]]
                spare[s] = 1.0 - u[s]
            _fails(odds[v], by_sleeve[0], spare, max_tries, power, fails[0])
            _fails(odds[v], by_sleeve[1], spare, max_tries, power, fails[1])
            for s in range(count):
                failed = int(fails[0, s])
                now[v, s] = failed if failed == max_tries else failed + 1 + WORKS
                if far or fails[0, s] != fails[1, s]:
                    varying[many, 0], varying[many, 1] = v, s
                    for d in range(months):
                        x = odds[v, s] * ageing[d, dates.group[s]]
                        if far:
                            cycle = g[CYCLE_SLOPE] * tables.cycles[tables.level[v, s]]
                            age = g[AGE_SLOPE] * dates.ages[d, dates.group[s]]
                            x = _odds(g[MU + kind], effects[s], cycle, age, x)
                        by_date[many, d] = _outcome(x, spare[s], max_tries)
                    many += 1

        # luck that no date or order changes
        for s in range(count):
            code = states[6, s]
            chance = 1.0 if code == 0 else g[CEMENT] if code == 1 else g[PACKER] if code == 2 else 0.0
            work[7, s] = g[LEAK] if trials.u_leak[t, s] < chance else 0.0
            luck[s] = (
                (trials.u_screen[t, s] < g[SCREEN_CHANCE])
                | ((trials.u_trip[t, s] < g[TRIP_CHANCE]) << 1)
                | ((trials.u_patch[t, s] < g[PATCH]) << 2)
                | ((trials.u_perforate[t, s] < g[PERFORATE]) << 3)
                | ((trials.u_perforate2[t, s] < g[PERFORATE]) << 4)
            )
        lost, strained = _lost(g), g[GAIN] != 0.0 or g[LOSS] != 0.0

        previous, kept, effective, share, days = -1, 0.0, 0.0, 0.0, 0.0
        for k in range(chosen.order.size):
            o, d = chosen.order[k], chosen.date[k]
            stages, planned, table = orders.numbers[o, 0], orders.numbers[o], orders.table[o]
            fresh = o != previous
            again, stale, previous = fresh, fresh, o
            for e in range(many):
                v, s = varying[e, 0], varying[e, 1]
                old, new = now[v, s], by_date[e, d]
                now[v, s] = new
                if old != new and orders.watched[o, v, s] and not fresh:
                    stale = True
                    again = again or (old ^ new) & WORKS != 0
                    for slot in range(5):
                        if table[slot] == v and tried[slot, s]:
                            sums[TRIES] += float(new) - float(old)  # if both work or both fail
            if again:
                _job(
                    g,
                    states,
                    orders.masks[o],
                    orders.position[o],
                    planned,
                    table,
                    well.rules,
                    now,
                    luck,
                    trials.u_tight_close[t],
                    trials.u_tight_reclose[t],
                    factor,
                    tried,
                    work,
                    sums,
                )
                moved = fresh
                kept, effective, share = 0.0, 0.0, 0.0
                for i in range(stages):
                    placed[i] = work[4, orders.sequence[o, i]]
                    moved = moved or placed[i] != last_placed[i]
                placed[stages:] = 0.0
                if moved:
                    multiplier[:] = 1.0
                    if strained and sums[TREATED] > 0.0:  # else nothing is effective
                        _multipliers(g, orders.stress[o], placed, strain, multiplier, bits)
                    for i in range(stages):
                        last_placed[i] = placed[i]
                for s in range(count):
                    kept += states[5, s] * trials.share[t, s] * work[6, s]
                    share += orders.masks[o, 2, s] * work[5, s]
                    effective += (1 - orders.masks[o, 2, s]) * trials.potential[t, s] * work[5, s]
                for i in range(stages):
                    s = orders.sequence[o, i]
                    effective += trials.potential[t, s] * work[5, s] * multiplier[i]
                kept, share = min(kept, 1.0), (1.0 - lost) * share / stages
            if stale:
                days = _cost(g, planned, orders.feet[o], sums, usd)
            rate, total, at = g[SERVICE] * dates.service[d, t], 0.0, t % TILE
            for part in range(len(COST_PARTS)):
                tile[LOST + 1 + part, k, at] = usd[part] * rate
                total += usd[part] * rate
            tile[DAYS, k, at], tile[COST, k, at], tile[KEPT, k, at] = days, total, kept
            tile[EFFECTIVE, k, at], tile[STAGES, k, at], tile[LOST, k, at] = effective, share, lost
        if t % TILE == TILE - 1 or t == n - 1:
            begin, filled = t - t % TILE, t % TILE + 1
            for r in range(out.shape[0]):
                for k in range(chosen.order.size):
                    line, made = out[r, chosen.row[k], begin:], tile[r, k]
                    if filled == TILE:
                        for i in range(TILE):
                            line[i] = made[i]
                    else:
                        for i in range(filled):
                            line[i] = made[i]


def warm() -> None:
    """Compile, or load from the cache, for the argument types the engine uses: a job of one sleeve."""
    wide = padded(1)
    line, one = np.zeros((1, 1)), np.zeros(1, dtype=np.int64)
    place, mark = np.zeros((1, 1), dtype=np.int64), np.zeros((1, 1, 1), dtype=np.uint8)
    orders = Orders(
        np.zeros((1, len(MASKS), 1), dtype=np.uint8),
        place,
        place,
        np.ones((1, 4), dtype=np.int64),
        np.zeros((1, 2)),
        np.zeros((1, wide // LANES, wide, 2 * LANES)),
        np.zeros((1, len(SLOTS)), dtype=np.int64),
        mark,
    )
    run_jobs(
        Well(np.zeros((len(STATES), 1), dtype=np.uint8), np.ones(len(RULES), dtype=np.int64)),
        orders,
        Tables(one, place, np.zeros(1)),
        Dates(line, one, line),
        Chosen(one, one, one),
        Trials(np.ones((1, len(GIVEN))), *(line for _ in Trials._fields[1:])),
        np.zeros((LOST + 1 + len(COST_PARTS), 1, 1)),
    )
