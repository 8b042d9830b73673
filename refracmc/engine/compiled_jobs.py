"""The job of every strategy compiled by numba: rules 1 to 17 of `refracmc.job.simulate`, trial by trial.

Booleans and counts are those of `simulate`, values agree to 1e-12 (tests/engine). What is true or false of a sleeve
is a bit of a word, so that a rule takes one operation for 64 sleeves; numbers of sleeves are taken in plain loops over
whole arrays, which the compiler turns into vectors. Between dates only the age term of the chances differs, so most
dates repeat the outcomes of the one before: they are compared and the results copied.
A result is a function of its trial, order and outcomes alone, so it does not depend on which other trials or
strategies are evaluated with it. Needs the optional numba.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit, types
from numba.extending import intrinsic
from numpy.typing import NDArray

from refracmc.job.cost import COST_PARTS

from .block_jobs import JobOutcome
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
from .lanes import CONTRACT, kernel

BUILT_IN = "c03053eaba360fcf"
"""Digest of the modules whose code is built in here: the compiler keeps what it made until this file changes."""
Array = NDArray[np.float64]
ByteArray = NDArray[np.uint8]
IntArray = NDArray[np.int64]

DAYS, COST, KEPT, EFFECTIVE, STAGES, LOST = range(len(JobOutcome.__dataclass_fields__))
TRIES, TESTS, TREATED, TRIPS, SCREENOUTS, PATCHES, PERFORATIONS, SLIM, OFF, HOURS, AGAIN = range(11)
"""Members of a job's sums; AGAIN: tries after a leak was found."""
WORD = 64
"""Sleeves of a word: what is true or false of a sleeve is a bit, and a rule works on all sleeves of a word at once."""
KNOWN_OPEN, ON_RECORD, LEAKING, SHUT, OLD_PATCH, PRODUCERS, CEMENT_ABOVE, PACKER_ABOVE, NONE_ABOVE, ALL = (
    range(10)
)
"""Words of the record; ALL: every sleeve there is."""
SCREENED, TRIPPED, PATCHES_HOLD, PERFORATES, PERFORATES2 = range(5)
CLOSE_LEAKS, CLOSE_UNSEEN, RECLOSE_LEAKS, RECLOSE_UNSEEN, ANNULUS = range(5, 10)
"""Words of the luck that no date or order changes."""
CLOSES, FIRST, TREATS, RECLOSES, DEEPER, EARLY = range(len(MASKS))
OPEN, HIDDEN, TREATED_NOW, SHORT, PRODUCING, OPEN_AFTER, RECLOSED, HIDDEN2, PATCHED, BLOCKED, NARROW = range(
    11
)
"""Words of a job. At the start: open, leaking unseen; treated, and with a screenout; producing at the end; early
sleeves open after their stage, closed again, and leaking unseen then; patched; out of reach; below a patch."""
FAR = 200.0
"""Logit terms beyond this are added before the exponential, lest a product of exponentials leave the range."""
LOG2_E, MAGIC = 1.0 / math.log(2.0), 1.5 * 2.0**52
LN2_HIGH = 0.6931471803691238  # ln 2 with the last bits zero, so that whole multiples are exact
LN2_LOW = 1.9082149292705877e-10
C2, C3, C4, C5, C6, C7, C8, C9, C10, C11 = (
    0.5000000000000019,
    0.16666666666666702,
    0.04166666666648756,
    0.008333333333309456,
    0.001388888895245707,
    0.0001984126990936877,
    2.4801485330455693e-05,
    2.7557224818395814e-06,
    2.7632695699976396e-07,
    2.511491606445952e-08,
)  # the Chebyshev series of e^r on |r| <= 0.3467, cut after degree 11: within 4e-18
TILE = 32
"""Trials whose results are kept together and then written out as some whole lines of the cache."""

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


@intrinsic  # type: ignore[untyped-decorator]
def _bits_of(context: Any, value: Any) -> Any:
    """The 64 bits of a float as an integer."""

    def code(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.bitcast(arguments[0], context.get_value_type(types.int64))

    return types.int64(types.float64), code


@intrinsic  # type: ignore[untyped-decorator]
def _float_of(context: Any, value: Any) -> Any:
    """The float that 64 bits stand for."""

    def code(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.bitcast(arguments[0], context.get_value_type(types.float64))

    return types.float64(types.int64), code


@kernel
def _exp(x: float) -> float:
    """exp of x clipped to +-700, to 1e-15, which loops do for several x at once: 2^k e^r with |r| <= ln 2 / 2."""
    value = min(max(x, -700.0), 700.0)
    whole = value * LOG2_E + MAGIC  # its last bits are k
    k = whole - MAGIC
    r = (value - k * LN2_HIGH) - k * LN2_LOW
    square = r * r
    fourth = square * square
    low = (1.0 + r) + square * (C2 + C3 * r)
    high = (C4 + C5 * r) + square * (C6 + C7 * r) + fourth * ((C8 + C9 * r) + square * (C10 + C11 * r))
    power: float = _float_of((_bits_of(whole) + 1023) << 52)  # type: ignore[call-arg]
    return (low + fourth * high) * power


@kernel
def _failed(odds: float, spare: float, max_tries: int) -> int:
    """Tries that fail, from the odds of one try and 1 - u: it works by j tries if (1 + odds)^j (1 - u) > 1."""
    fails, factor = 0, 1.0 + odds
    for _ in range(max_tries):
        spare *= factor
        fails += spare <= 1.0
    return fails


@kernel
def _fails(
    odds: Array, ageing: Array, spare: Array, kind: int, max_tries: int, power: Array, fails: Array
) -> None:
    """Tries that fail out of max_tries, as in `_failed`, for all sleeves, four tries at once; spare (4, W) by kind."""
    for s in range(fails.size):
        power[s], fails[s] = spare[kind, s], 0.0
    for done in range(0, max_tries, 4):
        second, third, last = done + 1 < max_tries, done + 2 < max_tries, done + 3 < max_tries
        for s in range(fails.size):
            factor = 1.0 + odds[s] * ageing[s]
            one = power[s] * factor
            two = one * factor
            three = two * factor
            four = three * factor
            failed = 1.0 if one <= 1.0 else 0.0
            failed += 1.0 if second & (two <= 1.0) else 0.0
            failed += 1.0 if third & (three <= 1.0) else 0.0
            failed += 1.0 if last & (four <= 1.0) else 0.0
            fails[s] += failed
            power[s] = four


@kernel
def _odds(mu: float, effect: float, cycle: float, age: float, fast: float) -> float:
    """Odds of one try: the product of exponentials `fast`, unless a term is far out."""
    if max(max(abs(effect), abs(cycle)), abs(age)) > FAR or (abs(mu) > FAR and abs(mu) < np.inf):
        return math.exp(mu + (effect + cycle + age))
    return fast


@kernel
def _multipliers(
    g: Array,
    orders: Orders,
    order: int,
    placed: Array,
    shape: Array,
    strain: Array,
    flat: Array,
    out: Array,
) -> None:
    """Stress multipliers of the stages in their order (production.stress), from what each of them placed.

    strain (B, 2 LANES) and flat, its line: by LANES of stages, the contrast first, then the normal stress.
    shape (2, 2 W): slope and place of the logistic of each.
    """
    pressure, much, little = g[PRESSURE], g[GAIN], g[LOSS]
    for block in range(strain.shape[0]):
        sums, by_stage = strain[block], orders.stress[order, block]
        sums[:] = 0.0
        for k in range(0, (block + 1) * LANES, 4):  # the matrix is zero from there on
            one, two = placed[k] * pressure, placed[k + 1] * pressure
            three, four = placed[k + 2] * pressure, placed[k + 3] * pressure
            by_one, by_two, by_three, by_four = by_stage[k], by_stage[k + 1], by_stage[k + 2], by_stage[k + 3]
            for i in range(2 * LANES):
                sums[i] += by_one[i] * one + by_two[i] * two + by_three[i] * three + by_four[i] * four
    slope, place = shape[0], shape[1]
    for i in range(flat.size):
        flat[i] = 1.0 / (1.0 + _exp(place[i] - flat[i] * slope[i]))
    # the last stage is none, so that nothing changed there: the others differ from it
    still, slack = strain[-1, LANES - 1], strain[-1, 2 * LANES - 1]
    for block in range(strain.shape[0]):
        sums, part = strain[block], out[block * LANES :]
        for i in range(LANES):
            part[i] = much * (sums[i] - still) - little * (sums[i + LANES] - slack)
    for s in range(out.size):
        out[s] = _exp(out[s])


@kernel
def _ones(word: int) -> int:
    """Bits of a word that are set."""
    x = word - ((word >> 1) & 0x5555555555555555)
    x = (x & 0x3333333333333333) + ((x >> 2) & 0x3333333333333333)
    return (((x + (x >> 4)) & 0x0F0F0F0F0F0F0F0F) * 0x0101010101010101) >> 56


@kernel
def _below(words: IntArray, row: int, to: int) -> None:
    """In row `to` mark the sleeves deeper than the shallowest one marked in a row."""
    rest = 0
    for w in range(words.shape[1] - 1, -1, -1):
        x = words[row, w]
        for step in (1, 2, 4, 8, 16, 32):
            x |= x >> step
        words[to, w] = rest | ((x >> 1) & 0x7FFFFFFFFFFFFFFF)
        rest = rest | (-1 if words[row, w] != 0 else 0)


@kernel
def _mark_less(values: Array, trial: int, bound: float, out: IntArray, row: int) -> None:
    """Mark in a row the sleeves whose value in a trial lies below the bound."""
    for w in range(out.shape[1]):
        bits, first = 0, WORD * w
        if bound > 0.0:
            for i in range(min(WORD, values.shape[1] - first)):
                bits |= (1 if values[trial, first + i] < bound else 0) << i
        out[row, w] = bits


@kernel
def _mark_digit(numbers: IntArray, digit: int, out: IntArray, row: int) -> None:
    """Mark in a row the sleeves whose number has that binary digit."""
    for w in range(out.shape[1]):
        bits, first = 0, WORD * w
        for i in range(min(WORD, numbers.size - first)):
            bits |= ((numbers[first + i] >> digit) & 1) << i
        out[row, w] = bits


@kernel
def _mark_unlike(ends: Array, every: bool, record: IntArray, out: IntArray, row: int) -> bool:
    """Mark in a row the sleeves whose two values differ, or every one; whether there is any."""
    found = False
    for w in range(out.shape[1]):
        bits, first = 0, WORD * w
        for i in range(min(WORD, ends.shape[1] - first)):
            bits |= (1 if ends[0, first + i] != ends[1, first + i] else 0) << i
        out[row, w] = record[ALL, w] & (-1 if every else bits)
        found = found or out[row, w] != 0
    return found


@kernel
def _mark(marks: ByteArray, out: IntArray) -> None:
    """Mark the sleeves whose mark is not 0."""
    out[:] = 0
    for s in range(marks.size):
        out[s // WORD] |= (1 if marks[s] else 0) << (s % WORD)


@kernel
def _bit(words: IntArray, row: int, s: int) -> float:
    return 1.0 if (words[row, s // WORD] >> (s % WORD)) & 1 else 0.0


@kernel
def _rules(
    record: IntArray,
    masks: IntArray,
    orders: Orders,
    order: int,
    rules: IntArray,
    outcomes: IntArray,
    date: int,
    luck: IntArray,
    per_bha: float,
    tried: IntArray,
    job: IntArray,
    sums: Array,
) -> None:
    """Rules 2 to 5, 8 to 10, 14 and 15 on words (W,) of sleeves.

    outcomes (D, V, 1 + digits, W): first whether the shifts of a date work. Fills tried (5, W), job (11, W) and the
    counts of sums, without the tries of the shifts themselves.
    """
    words = luck.shape[1]
    closing, opening, reclosing = (orders.table[order, 0], orders.table[order, 1], orders.table[order, 2])
    off = 0
    if rules[0] >= 0:
        failed = 0
        for w in range(words):
            failed += _ones(masks[order, FIRST, w] & ~outcomes[date, closing, 0, w])
        off = -1 if failed > rules[0] else 0
    can_perforate, can_perforate2 = -1 if rules[2] else 0, -1 if rules[3] else 0
    tests, stages, trips, screenouts, patches, perforations, slim, again = 0, 0, 0, 0, 0, 0, 0, 0
    if rules[1] or rules[5]:
        may_patch = ~off if rules[1] else 0
        for w in range(words):
            made = masks[order, FIRST, w] if off else masks[order, CLOSES, w]
            stays_open = (made & ~outcomes[date, closing, 0, w]) | record[KNOWN_OPEN, w]
            job[SHORT, w] = may_patch & masks[order, DEEPER, w] & stays_open
            job[PATCHED, w] = job[SHORT, w] & luck[PATCHES_HOLD, w]
        if rules[4]:
            _below(job, PATCHED, BLOCKED)
        for w in range(words):
            patches += _ones(job[SHORT, w] & ~job[BLOCKED, w])
            job[PATCHED, w] &= ~job[BLOCKED, w]
            job[SHORT, w] = job[PATCHED, w] | record[OLD_PATCH, w]
        if rules[5]:
            _below(job, SHORT, NARROW)
    for w in range(words):
        patched, blocked, known_open, on_record = (
            job[PATCHED, w],
            job[BLOCKED, w],
            record[KNOWN_OPEN, w],
            record[ON_RECORD, w],
        )
        made = masks[order, FIRST, w] if off else masks[order, CLOSES, w]
        made &= masks[order, FIRST, w] | ~blocked
        closed = made & outcomes[date, closing, 0, w]
        not_closed = made & ~closed
        unseen = closed & luck[CLOSE_UNSEEN, w]
        cycled = closed & luck[CLOSE_LEAKS, w] & ~unseen

        live = masks[order, TREATS, w] & ~(patched | off | blocked)
        opened = live & (closed | on_record)
        stuck = opened & ~outcomes[date, opening, 0, w]
        perforate = stuck & can_perforate
        perforated = perforate & luck[PERFORATES, w]
        not_opened = stuck & ~perforated
        treated = live & ~not_opened
        stand_open = (not_closed | known_open) & ~patched & ~record[LEAKING, w]
        exposed = stand_open | unseen | record[LEAKING, w]

        reclose = masks[order, RECLOSES, w] & treated & ~not_closed & ~perforated
        reclosed = reclose & outcomes[date, reclosing, 0, w]
        unseen2 = reclosed & luck[RECLOSE_UNSEEN, w]
        cycled2 = reclosed & luck[RECLOSE_LEAKS, w] & ~unseen2
        open_after = (reclose & ~reclosed) | (perforated & treated)

        reopen = ((closed & (~masks[order, TREATS, w] | off)) | reclosed) & ~blocked
        stay_shut = reopen & ~outcomes[date, orders.table[order, 4 if off else 3], 0, w]
        perforate2 = stay_shut & can_perforate2
        stay_shut = (stay_shut & ~(perforate2 & luck[PERFORATES2, w])) | (closed & blocked)
        shut = ((not_opened | (on_record & ~treated)) & ~record[LEAKING, w]) | record[SHUT, w]

        tried[0, w], tried[1, w], tried[2, w] = made, opened, reclose
        tried[3, w], tried[4, w] = reopen & ~off, reopen & off
        job[OPEN, w], job[HIDDEN, w], job[TREATED_NOW, w] = stand_open, unseen, treated
        job[SHORT, w] = treated & luck[SCREENED, w]
        job[PRODUCING, w] = record[ALL, w] & ~(stay_shut | patched | shut)
        job[OPEN_AFTER, w] = masks[order, EARLY, w] & open_after
        job[RECLOSED, w] = masks[order, EARLY, w] & reclosed & (exposed | unseen2)
        job[HIDDEN2, w] = masks[order, EARLY, w] & unseen2

        stages += _ones(treated)
        trips += _ones(treated & luck[TRIPPED, w])
        screenouts += _ones(treated & luck[SCREENED, w])
        slim += _ones(treated & job[NARROW, w])
        again += _ones(cycled) + _ones(cycled2)
        tests += _ones(closed) + _ones(reclosed)
        perforations += _ones(perforate) + _ones(perforate2)
    trips += 1 if slim else 0
    if orders.numbers[order, 1] == 0:
        trips += int(max(stages - 1, 0) / per_bha)
    sums[AGAIN], sums[TESTS], sums[TREATED], sums[TRIPS], sums[OFF] = (
        again,
        tests + again,
        stages,
        trips,
        -off,
    )
    sums[SCREENOUTS], sums[PATCHES], sums[PERFORATIONS], sums[SLIM] = screenouts, patches, perforations, slim


@kernel
def _tries(tried: IntArray, orders: Orders, order: int, outcomes: IntArray, date: int, sums: Array) -> None:
    """Tries of all shifts, from those tried (5, W) and the binary digits of their numbers, as in `_rules`."""
    tries = 0
    for slot in range(tried.shape[0]):
        v = orders.table[order, slot]
        for w in range(tried.shape[1]):
            if tried[slot, w] != 0:
                for k in range(1, outcomes.shape[2]):
                    tries += _ones(tried[slot, w] & outcomes[date, v, k, w]) << (k - 1)
    sums[TRIES] = tries + sums[AGAIN]


@kernel
def _as_numbers(words: IntArray, row: int, value: float, out: Array) -> None:
    """Write the value where a sleeve is marked in a row, and 0 elsewhere."""
    for w in range(words.shape[1]):
        word, first = words[row, w], WORD * w
        for i in range(min(WORD, out.size - first)):
            out[first + i] = value if (word >> i) & 1 else 0.0


@kernel
def _fluid(
    g: Array,
    record: IntArray,
    job: IntArray,
    orders: Orders,
    order: int,
    keep: Array,
    placed: Array,
    own: Array,
    effect: Array,
    exposed: Array,
    start: Array,
    change: Array,
    scratch: Array,
) -> None:
    """Rules 6 and 7, sleeve by sleeve from the shallowest, then from the deepest.

    keep: what leaks through the interface above the sleeve before. Fills effect, and placed with one sleeve more at
    both ends; own: placed without them; the others are scratch.
    """
    position, count, wide = orders.position, orders.position.shape[1], own.size
    take, leak, lacks, stray = g[TAKE], g[LEAK], 1.0 - g[SCREEN_PLACED], g[STRAY]
    changed, hidden, exposes, screened = 0, 0, 0, 0
    for w in range(record.shape[1]):
        changed |= job[OPEN_AFTER, w] | job[RECLOSED, w]
        hidden |= record[LEAKING, w] | job[HIDDEN, w]
        exposes |= job[OPEN, w]
        screened |= job[SHORT, w]
    _as_numbers(job, TREATED_NOW, 1.0, own)
    if screened:
        _as_numbers(job, SHORT, lacks, scratch)
        for s in range(wide):
            own[s] -= scratch[s]
    if changed | hidden | exposes:
        _as_numbers(job, OPEN, 1.0, start)
        if hidden:
            _as_numbers(record, LEAKING, leak, scratch)
            for s in range(wide):
                start[s] += scratch[s]
            _as_numbers(job, HIDDEN, leak, scratch)
            for s in range(wide):
                start[s] += scratch[s]
        above = 0.0
        for s in range(count - 1, -1, -1):
            exposed[s] = above
            above += start[s]
        if changed:
            for w in range(record.shape[1]):
                left = job[OPEN_AFTER, w] | job[RECLOSED, w]
                while left != 0:
                    s = w * WORD + _ones((left & -left) - 1)
                    left &= left - 1
                    after = _bit(job, OPEN_AFTER, s)
                    change[s] = after + leak * _bit(job, HIDDEN2, s)
                    change[s] -= start[s] * max(after, _bit(job, RECLOSED, s))
                    for i in range(s):
                        exposed[i] += change[s] if position[order, i] > position[order, s] else 0.0
        for s in range(wide):
            own[s] /= 1.0 + exposed[s] * take
        run = 0.0
        for s in range(count):
            effect[s] = start[s] * run
            run += own[s]
        for s in range(count):
            effect[s] *= take
        if changed:
            for w in range(record.shape[1]):
                left = job[OPEN_AFTER, w] | job[RECLOSED, w]
                while left != 0:
                    s = w * WORD + _ones((left & -left) - 1)
                    left &= left - 1
                    taken = 0.0
                    for i in range(s):
                        taken += own[i] if position[order, i] > position[order, s] else 0.0
                    effect[s] += change[s] * (taken * take)
    else:
        effect[:] = 0.0
    # what leaks along the annulus to the sleeve before and after
    for s in range(wide):
        effect[s] += keep[s] * placed[s] + keep[s + 1] * placed[s + 2]
    for s in range(wide):
        own[s] *= 1.0 - keep[s + 1] - keep[s]
    _as_numbers(job, PRODUCING, 1.0, scratch)
    for s in range(wide):
        effect[s] = min(effect[s] * stray + own[s], 1.0) * scratch[s]


@njit(cache=True, error_model="numpy", fastmath={"contract", "reassoc"})
def _sum(values: Array, factor: Array) -> float:
    """Sum of values times factor."""
    total = 0.0
    for s in range(values.size):
        total += values[s] * factor[s]
    return total


@kernel
def _cost(g: Array, orders: Orders, order: int, sums: Array, usd: Array) -> tuple[float, float]:
    """Rules 11 to 13 and the parts of job_cost before the index; returns the days and the sum of the parts."""
    planned, feet = orders.numbers[order], orders.feet[order]
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
    total = 0.0
    for part in range(usd.size):
        total += usd[part]
    return g[BEFORE] + ct_days + stuck_days + casing_days + g[AFTER], total


@kernel
def _lost(g: Array) -> float:
    """1 where the well is lost (rules 11 and 16)."""
    stuck = g[U_EVENT] < g[STUCK] * g[LOST_IF_STUCK]
    return 1.0 if stuck or g[U_CASING] < g[CASING] * g[LOST_IF_CASING] else 0.0


@njit(cache=True, error_model="numpy")
def _words_of(well: Well, orders: Orders, words: int) -> tuple[IntArray, IntArray, IntArray]:
    """The record (10, W), the orders' masks (O, 6, W) and what they watch (O, V, W), as words."""
    count = orders.sequence.shape[1]
    record = np.zeros((10, words), dtype=np.int64)
    for row in range(6):
        _mark(well.states[row], record[row])
    for s in range(count):
        code, bit = well.states[6, s], 1 << (s % WORD)
        record[ALL, s // WORD] |= bit
        if code < 3:
            row = NONE_ABOVE if code == 0 else CEMENT_ABOVE if code == 1 else PACKER_ABOVE
            record[row, s // WORD] |= bit
    masks = np.zeros((orders.masks.shape[0], orders.masks.shape[1], words), dtype=np.int64)
    watched = np.zeros((orders.watched.shape[0], orders.watched.shape[1], words), dtype=np.int64)
    for o in range(masks.shape[0]):
        for row in range(masks.shape[1]):
            _mark(orders.masks[o, row], masks[o, row])
        for v in range(watched.shape[1]):
            _mark(orders.watched[o, v], watched[o, v])
    return record, masks, watched


@njit(cache=True, error_model="numpy")
def _parts_that_occur(rules: IntArray, orders: Orders, given: Array) -> ByteArray:
    """1 for the cost parts that can differ from zero in some trial."""
    occurs = np.ones(len(COST_PARTS), dtype=np.uint8)
    stuck, broken = 0.0, 0.0
    for t in range(given.shape[0]):
        stuck, broken = max(stuck, given[t, STUCK]), max(broken, given[t, CASING])
    occurs[7], occurs[8], occurs[12], occurs[16] = rules[1], rules[2] | rules[3], rules[0] >= 0, rules[5]
    occurs[10], occurs[11], occurs[17] = stuck > 0.0, stuck + broken > 0.0, broken > 0.0
    occurs[15], occurs[18] = orders.numbers[:, 3].max() > 0, 0
    return occurs


@kernel
def _write(tile: Array, begin: int, filled: int, rows: IntArray, live: IntArray, out: Array) -> None:
    """Write tile (S, results, TILE), of which `filled` trials are made, to out from trial `begin` on."""
    for k in range(rows.size):
        for i in range(tile.shape[1]):
            row = i if i <= LOST else LOST + 1 + live[i - LOST - 1]
            place, made = out[row, rows[k], begin:], tile[k, i]
            for j in range(filled):
                place[j] = made[j]


@njit(cache=True, error_model="numpy", fastmath=CONTRACT)
def run_jobs(
    well: Well, orders: Orders, tables: Tables, dates: Dates, chosen: Chosen, trials: Trials, out: Array
) -> None:
    """Fill out (6 + 19, S, n): the fields of JobOutcome, and COST_PARTS [US$], both with the service-cost index."""
    # named once: to take an array out of a tuple, or a row out of an array, counts references, which are shared
    (
        given,
        shares,
        potentials,
        z_sleeve,
        z_stage,
        u_close,
        u_open,
        u_reclose,
        u_reopen,
        u_screen,
        u_leak,
        u_trip,
        u_patch,
        u_perforate,
        u_perforate2,
        u_tight_close,
        u_tight_reclose,
    ) = trials
    n, count = z_sleeve.shape
    kinds, levels, cycles = tables
    ages, group_of, service = dates
    order_of, date_of, row_of = chosen
    vectors, months, groups = kinds.size, ages.shape[0], ages.shape[1]
    rules, max_tries = well.rules, well.rules[6]
    wide, words = (count // LANES + 1) * LANES, (count + WORD - 1) // WORD
    room = max(words, (wide + WORD - 1) // WORD)
    record, masks, watched = _words_of(well, orders, room)
    occurs = _parts_that_occur(rules, orders, given)
    live = np.flatnonzero(occurs)
    for part in range(len(COST_PARTS)):
        if not occurs[part]:
            out[LOST + 1 + part] = 0.0
    digits = 0
    while max_tries >> digits:
        digits += 1
    effects, scale, power = np.zeros(wide), np.zeros(wide), np.empty(wide)
    odds, used = np.zeros((vectors, wide)), np.empty(wide, dtype=np.int64)
    # by date: whether the shifts of a table work, and the binary digits of their tries; alike: a number that dates of
    # the same outcomes share
    outcomes = np.zeros((months, vectors, 1 + digits, room), dtype=np.int64)
    ageing, ends, by_sleeve = np.empty((groups, months)), np.empty((2, groups)), np.zeros((2, wide))
    by_cycles, fails, spare = np.empty(cycles.size), np.empty((2, wide)), np.zeros((4, wide))
    youngest, oldest, fails_young, fails_old = by_sleeve[0], by_sleeve[1], fails[0], fails[1]
    luck, tried = np.zeros((10, room), dtype=np.int64), np.zeros((5, room), dtype=np.int64)
    job, differ = np.zeros((11, room), dtype=np.int64), np.zeros((vectors, room), dtype=np.int64)
    factor, treats = np.zeros(wide), np.zeros((masks.shape[0], wide))
    work, keep, sums = np.zeros((6, wide + 2)), np.zeros(wide + 2), np.empty(11)
    share_of, potential = np.zeros(wide), np.zeros(wide)
    usd, rates, alike = np.empty(len(COST_PARTS)), np.empty(months), np.zeros(months, dtype=np.int64)
    strain, multiplier = np.zeros((wide // LANES, 2 * LANES)), np.empty(wide)
    flat, shape = strain.reshape(2 * wide), np.empty((2, 2 * wide))
    placed, last_placed, by_stage = np.zeros(wide), np.empty(count), np.ones(wide)
    tile = np.empty((order_of.size, LOST + 1 + live.size, TILE))
    placed_by, own, effect, exposed = work[0], work[0, 1 : 1 + wide], work[1, :wide], work[2, :wide]
    start, change_by, scratch = work[3, :wide], work[4, :wide], work[5, :wide]
    for o in range(masks.shape[0]):
        _as_numbers(masks[o], TREATS, 1.0, treats[o])

    for t in range(n):
        g = given[t]
        furthest = 0.0
        sleeve_sd, well_effect, stage_sd = g[SLEEVE_SD], g[WELL_SD] * g[Z_WELL], g[STAGE_SD]
        for s in range(count):
            share_of[s], potential[s] = shares[t, s], potentials[t, s]
        for s in range(count):
            spare[0, s], spare[1, s] = 1.0 - u_close[t, s], 1.0 - u_open[t, s]
            spare[2, s], spare[3, s] = 1.0 - u_reclose[t, s], 1.0 - u_reopen[t, s]
        for s in range(count):
            effects[s] = sleeve_sd * z_sleeve[t, s] + well_effect
        for s in range(count):
            factor[s] = _exp(z_stage[t, s] * stage_sd - 0.5 * stage_sd * stage_sd)
        for s in range(count):
            scale[s] = _exp(effects[s])
        for s in range(count):
            furthest = max(furthest, abs(effects[s]))
        for kind in range(4):
            furthest = max(furthest, abs(g[MU + kind]) if abs(g[MU + kind]) < np.inf else 0.0)
        for k in range(cycles.size):
            term = g[CYCLE_SLOPE] * cycles[k]
            by_cycles[k] = np.exp(min(max(term, -700.0), 700.0))
            furthest = max(furthest, abs(term))
        slope = g[AGE_SLOPE]
        for group in range(groups):
            for d in range(months):
                ageing[group, d] = slope * ages[d, group]
            for d in range(months):
                furthest = max(furthest, abs(ageing[group, d]))
            for d in range(months):
                ageing[group, d] = _exp(ageing[group, d])
            least, most = np.inf, 0.0
            for d in range(months):
                least, most = min(least, ageing[group, d]), max(most, ageing[group, d])
            ends[0, group], ends[1, group] = least, most
        far = furthest > FAR
        for s in range(count):
            by_sleeve[0, s], by_sleeve[1, s] = ends[0, group_of[s]], ends[1, group_of[s]]

        # outcomes rise with the odds: where those of the least and the greatest agree, so do those of all dates
        varying = False
        for v in range(vectors):
            kind, first, ratio = kinds[v], outcomes[0, v], odds[v]
            chance = np.exp(g[MU + kind])
            for s in range(count):
                ratio[s] = by_cycles[levels[v, s]]
            for s in range(count):
                ratio[s] *= chance * scale[s]
            _fails(ratio, youngest, spare, kind, max_tries, power, fails_young)
            _fails(ratio, oldest, spare, kind, max_tries, power, fails_old)
            for s in range(wide):
                used[s] = min(int(fails[0, s]) + 1, max_tries)
            _mark_less(fails, 0, float(max_tries), first, 0)
            for k in range(digits):
                _mark_digit(used, k, first, 1 + k)
            varying = _mark_unlike(fails, far, record, differ, v) or varying
        if varying:
            for d in range(1, months):
                outcomes[d] = outcomes[0]
            alike[:] = 0
            for v in range(vectors):
                for w in range(words):
                    left = differ[v, w]
                    while left != 0:
                        i = _ones((left & -left) - 1)
                        left &= left - 1
                        s, kind = w * WORD + i, kinds[v]
                        last = -1
                        for d in range(months):
                            x = odds[v, s] * ageing[group_of[s], d]
                            if far:
                                cycle = g[CYCLE_SLOPE] * cycles[levels[v, s]]
                                age = g[AGE_SLOPE] * ages[d, group_of[s]]
                                x = _odds(g[MU + kind], effects[s], cycle, age, x)
                            failed = _failed(x, spare[kind, s], max_tries)
                            code = (1 if failed < max_tries else 0) | (min(failed + 1, max_tries) << 1)
                            alike[d] |= 1 if code != last else 0
                            last = code
                            for k in range(1 + digits):
                                word = outcomes[d, v, k, w] & ~(1 << i)
                                outcomes[d, v, k, w] = word | (((code >> k) & 1) << i)
            for d in range(1, months):
                alike[d] += alike[d - 1]

        # luck that no date or order changes
        _mark_less(u_screen, t, g[SCREEN_CHANCE], luck, SCREENED)
        _mark_less(u_trip, t, g[TRIP_CHANCE], luck, TRIPPED)
        _mark_less(u_patch, t, g[PATCH] * rules[1], luck, PATCHES_HOLD)
        _mark_less(u_perforate, t, g[PERFORATE] * rules[2], luck, PERFORATES)
        _mark_less(u_perforate2, t, g[PERFORATE] * rules[3], luck, PERFORATES2)
        _mark_less(u_tight_close, t, g[TIGHT], luck, CLOSE_LEAKS)
        _mark_less(u_tight_close, t, g[TIGHT] * (1.0 - g[FINDS]), luck, CLOSE_UNSEEN)
        _mark_less(u_tight_reclose, t, g[TIGHT], luck, RECLOSE_LEAKS)
        _mark_less(u_tight_reclose, t, g[TIGHT] * (1.0 - g[FINDS]), luck, RECLOSE_UNSEEN)
        _mark_less(u_leak, t, g[CEMENT], luck, ANNULUS)
        _mark_less(u_leak, t, g[PACKER], tried, 0)
        for w in range(words):
            leaks = (record[CEMENT_ABOVE, w] & luck[ANNULUS, w]) | (record[PACKER_ABOVE, w] & tried[0, w])
            luck[ANNULUS, w] = leaks | record[NONE_ABOVE, w]
        for s in range(count):
            keep[1 + s] = g[LEAK] * _bit(luck, ANNULUS, s)
        for d in range(months):
            rates[d] = g[SERVICE] * service[d, t]
        lost, strained = _lost(g), g[GAIN] != 0.0 or g[LOSS] != 0.0
        for begin in range(0, 2 * wide, 2 * LANES):
            shape[0, begin : begin + LANES] = 1.0 / g[SCALE]
            shape[1, begin : begin + LANES] = -(g[HALF] - g[CONTRAST0]) / g[SCALE]
            shape[0, begin + LANES : begin + 2 * LANES] = 1.0 / g[WIDTH]
            shape[1, begin + LANES : begin + 2 * LANES] = g[LIMIT] / g[WIDTH]

        previous, date, kept, effective, share, days, total = -1, 0, 0.0, 0.0, 0.0, 0.0, 0.0
        for k in range(order_of.size):
            o, d = order_of[k], date_of[k]
            at, was = (d, date) if varying else (0, 0)
            fresh = o != previous
            again, stale, previous, date = fresh, fresh, o, d
            if varying and not fresh and alike[at] != alike[was]:
                for v in range(vectors):
                    for w in range(words):
                        change = outcomes[at, v, 0, w] ^ outcomes[was, v, 0, w]
                        again = again or (change & watched[o, v, w]) != 0
                        for digit in range(1, 1 + digits):
                            change = outcomes[at, v, digit, w] ^ outcomes[was, v, digit, w]
                            stale = stale or (change & watched[o, v, w]) != 0
                stale = stale or again
            if again:
                stages = orders.numbers[o, 0]
                _rules(record, masks, orders, o, rules, outcomes, at, luck, g[PER_BHA], tried, job, sums)
                _fluid(
                    g,
                    record,
                    job,
                    orders,
                    o,
                    keep,
                    placed_by,
                    own,
                    effect,
                    exposed,
                    start,
                    change_by,
                    scratch,
                )
                _as_numbers(job, TREATED_NOW, 1.0, scratch)
                sums[HOURS] = _sum(factor, scratch)
                share = (1.0 - lost) * _sum(effect, treats[o]) / stages
                for w in range(words):
                    job[SHORT, w] = job[PRODUCING, w] & record[PRODUCERS, w]
                _as_numbers(job, SHORT, 1.0, scratch)
                kept = min(_sum(share_of, scratch), 1.0)
                if strained:
                    moved = fresh
                    for i in range(stages):
                        placed[i] = own[orders.sequence[o, i]]
                        moved = moved or placed[i] != last_placed[i]
                    placed[stages:] = 0.0
                    if fresh:
                        by_stage[:] = 1.0
                    if moved:
                        multiplier[:] = 1.0
                        if sums[TREATED] > 0.0:  # else nothing is effective
                            _multipliers(g, orders, o, placed, shape, strain, flat, multiplier)
                        for i in range(stages):
                            last_placed[i] = placed[i]
                            by_stage[orders.sequence[o, i]] = multiplier[i]
                    for s in range(count):
                        effect[s] *= by_stage[s]
                effective = _sum(effect, potential)
            if stale:
                _tries(tried, orders, o, outcomes, at, sums)
                days, total = _cost(g, orders, o, sums, usd)
            j, rate = t % TILE, rates[d]
            tile[k, DAYS, j], tile[k, COST, j], tile[k, KEPT, j] = days, total * rate, kept
            tile[k, EFFECTIVE, j], tile[k, STAGES, j], tile[k, LOST, j] = effective, share, lost
            for i in range(live.size):
                tile[k, LOST + 1 + i, j] = usd[live[i]] * rate
        if t % TILE == TILE - 1 or t == n - 1:
            _write(tile, t - t % TILE, t % TILE + 1, row_of, live, out)


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
