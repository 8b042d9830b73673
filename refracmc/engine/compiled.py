"""The cash flow of every strategy compiled by numba, trial by trial, from the drawn streams and price paths on.

The same rules as `cash` in the same units; limit and payout months are identical, values agree to 1e-11
(tests/engine). It needs the optional numba; `cash` alone serves where it is absent. A trial's numbers do not
depend on which other trials, strategies or measures are asked for with it.

Two things make it fast. What strategies share is made once, and only as far as a life reaches: the margin of the
own stream by its delay, that of the new one by the month it starts. And no sum over months waits for the sum
before: sums run in LANES, running totals in quarters, which are joined in a fixed order.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np
from numba import njit
from numpy.typing import NDArray

from refracmc.economics.measures import BREAKEVEN_BOUND, IRR_CEILING

F = TypeVar("F", bound=Callable[..., Any])
Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

MONTH_DAYS = 365.25 / 12.0
AHEAD = 12
SEATS = 8
"""Trials whose jobs are fetched, and measures handed over, together: theirs share lines of memory."""
SCAN = 128
"""Months of a life looked at together."""
LARGEST_FORCE = float(np.log1p(IRR_CEILING) / 12.0)
"""Monthly force of the largest annual rate reported."""
TAIL_SHAPE = 0.8
TINY = 1e-200
U = np.uint64
"""Indices in loops are unsigned, so that none counts from the end and the loops are vectorised."""
PAD = 16
"""Room behind the months, for sums that are taken several at a time."""
CONTRACT = {"contract"}
"""Multiply-adds may be fused; sums are never reordered."""
# rows of the result, in the order of cash.PER_TRIAL
(
    NPV,
    INCREMENTAL_NPV,
    IRR,
    PAYOUT,
    EUR,
    INCREMENTAL_EUR,
    BREAKEVEN,
    JOB_DAYS,
    JOB_COST,
    CAPEX,
    DISCOUNTED_CAPEX,
    EFFECTIVE,
    EXECUTED,
    CAPPED,
) = range(14)
# rows of `costs`: differentials, liquids sold per gas volume and oil price, unit costs, costs per month, abandonment
(
    OIL_DIFFERENTIAL,
    GAS_DIFFERENTIAL,
    LIQUIDS,
    OIL_COST,
    GAS_COST,
    WATER_COST,
    FIXED,
    HOLDING,
    ABANDONMENT,
) = range(9)


def _kernel(function: F) -> F:
    """Compiled without counted references: these functions make no array, and counting costs as much as some do."""
    made: F = njit(cache=True, error_model="numpy", fastmath=CONTRACT, _nrt=False)(function)  # type: ignore[call-overload]
    return made


@_kernel
def _total(values: Array, count: int) -> float:
    """Sum of values[i], i < count, in eight running sums; zeros follow to a multiple of eight."""
    a, b, c, d, e, f, g, h = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(U(0), U(count), U(8)):
        a += values[i]
        b += values[i + U(1)]
        c += values[i + U(2)]
        d += values[i + U(3)]
        e += values[i + U(4)]
        f += values[i + U(5)]
        g += values[i + U(6)]
        h += values[i + U(7)]
    return ((a + e) + (b + f)) + ((c + g) + (d + h))


@_kernel
def _dot(left: Array, right: Array, at: int, count: int, work: Array) -> float:
    """Sum of left[i] right[at + i], i < count; zeros follow in `left`: four quarters at once, then their sum."""
    quarter = (count + 3) // 4
    size, here = U(quarter), U(at)
    for i in range(size):
        j, k, m = i + size, i + U(2) * size, i + U(3) * size
        work[i] = (
            left[i] * right[here + i]
            + left[j] * right[here + j]
            + left[k] * right[here + k]
            + left[m] * right[here + m]
        )
    for i in range(size, size + U(7)):
        work[i] = 0.0
    return _total(work, quarter)


@_kernel
def _running(values: Array, count: int, out: Array, at: int) -> None:
    """out[at + i] = values[0] + ... + values[i], i < count; zeros follow in `values`, out has room for three more.

    Four quarters side by side, each then raised by the sum before it.
    """
    size, one = U((count + 3) // 4), U(at)
    two, three, four = one + size, one + U(2) * size, one + U(3) * size
    a, b, c, d = 0.0, 0.0, 0.0, 0.0
    for i in range(size):
        a += values[i]
        b += values[i + size]
        c += values[i + U(2) * size]
        d += values[i + U(3) * size]
        out[one + i], out[two + i], out[three + i], out[four + i] = a, b, c, d
    b += a
    c += b
    for i in range(two, three):
        out[i] += a
    for i in range(three, four):
        out[i] += b
    for i in range(four, four + size):
        out[i] += c


@_kernel
def _polynomial(flows: Array, count: int, v: float, quarter: float, work: Array) -> float:
    """Sum of flows[i] v^i, i < count; quarter: v to the power of a quarter of count rounded up; zeros follow.

    Horner over the four quarters at once, then in eight strands over what they leave.
    """
    size = U((count + 3) // 4)
    for i in range(size):
        j, k, m = i + size, i + U(2) * size, i + U(3) * size
        work[i] = flows[i] + quarter * (flows[j] + quarter * (flows[k] + quarter * flows[m]))
    for i in range(size, size + U(7)):
        work[i] = 0.0
    v2 = v * v
    v4 = v2 * v2
    power = v4 * v4
    a, b, c, d, e, f, g, h = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    strands = (size + U(7)) // U(8)
    at = U(8) * strands
    for _ in range(strands):
        at -= U(8)
        a = a * power + work[at]
        b = b * power + work[at + U(1)]
        c = c * power + work[at + U(2)]
        d = d * power + work[at + U(3)]
        e = e * power + work[at + U(4)]
        f = f * power + work[at + U(5)]
        g = g * power + work[at + U(6)]
        h = h * power + work[at + U(7)]
    found: float = ((a + v * b) + v2 * (c + v * d)) + v4 * ((e + v * f) + v2 * (g + v * h))
    return found


@_kernel
def _grown(x: float) -> float:
    """exp(x) - 1 for |x| < 0.02, to 1e-14 of its value."""
    return x * (1.0 + x / 2.0 * (1.0 + x / 3.0 * (1.0 + x / 4.0 * (1.0 + x / 5.0 * (1.0 + x / 6.0)))))


@_kernel
def _monthly_force(
    flows: Array, count: int, total: float, at: int, outlay: float, timed: Array, work: Array
) -> float:
    """Root x > 0 of sum of flows[i] exp(-x i), at most LARGEST_FORCE, for flows that cross zero upward once.

    total: their sum; outlay: what is laid out, by about month `at`. Newton steps on h = log(1 + P/K), P the present
    value and K that of the outlay, against log(1 + x/beta): nearly a straight line for an outlay followed by a
    declining income. A step leaves an error of about its square. The start comes from these flows alone. Bisection
    in log force serves where the steps do not settle.
    """
    size = U(count)
    for i in range(size):
        timed[i] = i * flows[i]
    for i in range(size, size + U(8)):
        timed[i] = 0.0
    quarter = (count + 3) // 4
    mean = (_total(timed, count) - at * total) / (outlay + total)
    beta = TAIL_SHAPE / (mean if mean > 0.25 else 12.0)
    v = np.log(1.0 + total / outlay) / TAIL_SHAPE
    x: float = min(beta * (np.exp(v) - 1.0), LARGEST_FORCE)
    low, high = 0.0, LARGEST_FORCE
    for trip in range(1200):
        month, far = np.exp(-x), np.exp(-x * quarter)
        value = _polynomial(flows, count, month, far, work)
        if value < 0.0:
            high = x
        elif x == LARGEST_FORCE:
            return LARGEST_FORCE
        else:
            low = x
        moved = low
        if trip < 12:
            slope = _polynomial(timed, count, month, far, work)
            grown = np.exp(x * at) / outlay if at > 0 else 1.0 / outlay
            ratio = value * grown
            if ratio > -0.999:
                step = np.log(1.0 + ratio) * (1.0 + ratio) / ((slope - at * value) * grown * (x + beta))
                step = max(min(step, 1.5), -1.5)
                moved = x + (x + beta) * (_grown(step) if abs(step) < 0.02 else np.exp(step) - 1.0)
                if abs(moved - x) <= 1e-7 * x:
                    break
                moved = min(moved, LARGEST_FORCE)
        if not low < moved <= high:
            moved = np.sqrt(low * high) if low > 0.0 else 0.5 * high
            if not low < moved < high:
                break
        x = moved
    return min(moved, LARGEST_FORCE)


@_kernel
def _phases(
    total: Array,
    row: int,
    ratios: Array,
    t: int,
    main: int,
    horizon: int,
    sums: Array,
    volume: Array,
    twelve: Array,
) -> None:
    """Sums (3, T + 1) at month edges, volumes (3, T) by month and over AHEAD months, of a stream and its ratios.

    total[row]: main phase at month edges; the others follow as in production.secondary.
    """
    edges, at, lead = U(horizon + 1), U(row), U(main)
    for i in range(edges):
        sums[lead, i] = total[at, i]
    for k in range(2):
        now, final, change = ratios[k, 0, t], ratios[k, 1, t], ratios[k, 2, t]
        change = change if change > TINY else 0.0
        moved = final - now
        half = moved / (2.0 * change) if change > 0.0 else moved
        line = U(1 - main if k == 0 else 2)
        for i in range(edges):
            x = sums[lead, i]
            y = min(x, change)
            sums[line, i] = y * (y * half - moved) + x * final
    for phase in range(U(3)):
        for i in range(U(horizon)):
            volume[phase, i] = sums[phase, i + U(1)] - sums[phase, i]
        if horizon >= AHEAD:
            for i in range(U(horizon + 1 - AHEAD)):
                twelve[phase, i] = sums[phase, i + U(AHEAD)] - sums[phase, i]


@_kernel
def _net_prices(
    oil: Array, gas: Array, costs: Array, t: int, factors: Array, escalation: Array, price: Array
) -> None:
    """Net revenue per unit volume less the volume cost, price (3, T), from benchmark prices (n, T)."""
    row, months = U(t), U(escalation.size)
    oil_level, gas_level = costs[OIL_DIFFERENTIAL, t], costs[GAS_DIFFERENTIAL, t]
    liquids, oil_factor, gas_factor = costs[LIQUIDS, t], factors[0], factors[1]
    oil_cost, gas_cost, water_cost = costs[OIL_COST, t], costs[GAS_COST, t], costs[WATER_COST, t]
    for i in range(months):
        price[0, i] = (oil[row, i] + oil_level) * oil_factor - oil_cost * escalation[i]
    for i in range(months):
        price[1, i] = (gas[row, i] + gas_level + liquids * oil[row, i]) * gas_factor - gas_cost * escalation[
            i
        ]
    for i in range(months):
        price[2, i] = -water_cost * escalation[i]


@_kernel
def _margin(volume: Array, price: Array, late: int, start: int, stop: int, out: Array, row: int) -> None:
    """out[row, j] = sum over phases of volume[p, j] price[p, j + late], start <= j < stop."""
    if start < stop:
        line, shift = U(row), U(late)
        for j in range(U(start), U(stop)):
            out[line, j] = (
                volume[0, j] * price[0, j + shift]
                + volume[1, j] * price[1, j + shift]
                + volume[2, j] * price[2, j + shift]
            )


@_kernel
def _ahead_margin(
    sums: Array, twelve: Array, price: Array, late: int, end: int, start: int, stop: int, out: Array, row: int
) -> None:
    """As _margin with the volume of the AHEAD months from j on, cut at the stream's month `end`."""
    _margin(twelve, price, late, start, min(stop, end - AHEAD + 1), out, row)
    for j in range(max(start, end - AHEAD + 1, 0), stop):
        worth = 0.0
        for phase in range(3):
            worth += (sums[phase, end] - sums[phase, j]) * price[phase, j + late]
        out[row, j] = worth


@_kernel
def _first_below(
    own: Array,
    new: Array,
    own_row: int,
    new_row: int,
    own_at: int,
    new_at: int,
    needed: Array,
    at: int,
    count: int,
    scales: tuple[float, float, float, float],
) -> int:
    """First j < count at which the streams' margin lies below what is needed; count if there is none.

    Month j of a stream that comes early stands in `own_row` at own_at + j, that of the late one in the next row at
    own_at + j - 1; as much for `new`.
    """
    a0, b0, a1, b1 = scales
    here, at_own, at_new = U(at), U(own_at), U(new_at)
    early_own, late_own, early_new, late_new = U(own_row), U(own_row + 1), U(new_row), U(new_row + 1)
    found: Any = U(count)
    for j in range(U(count)):
        margin = (
            a0 * own[early_own, at_own + j]
            + b0 * new[early_new, at_new + j]
            + a1 * own[late_own, at_own + j - U(1)]
            + b1 * new[late_new, at_new + j - U(1)]
        )
        found = min(found, j if margin < needed[here + j] else U(count))
    return np.int64(found)  # type: ignore[return-value]


@_kernel
def _net(
    own: Array,
    new: Array,
    own_row: int,
    new_row: int,
    resume: int,
    fixed: Array,
    month: int,
    whole: int,
    count: int,
    scales: tuple[float, float, float, float],
    out: Array,
) -> None:
    """Operating net out[k], k < count, of months from `month` on; rows as in _first_below, `whole` months late."""
    a0, b0, a1, b1 = scales
    for k in range(min(whole, count)):
        out[k] = -fixed[month + k]
    if whole >= count:
        return
    out[whole] = a0 * own[own_row, resume] + b0 * new[new_row, 0] - fixed[month + whole]
    here, at_own, at_new, place = U(month + whole), U(resume), U(0), U(whole)
    early_own, late_own, early_new, late_new = U(own_row), U(own_row + 1), U(new_row), U(new_row + 1)
    for j in range(U(1), U(count - whole)):
        out[place + j] = (
            a0 * own[early_own, at_own + j]
            + b0 * new[early_new, at_new + j]
            + a1 * own[late_own, at_own + j - U(1)]
            + b1 * new[late_new, at_new + j - U(1)]
            - fixed[here + j]
        )


@_kernel
def _best_end(net: Array, disc: Array, at: int, count: int, first: int, work: Array, totals: Array) -> int:
    """Earliest month >= first at which the running discounted net is largest; -1 for first = -1 and none above 0."""
    here, months = U(at), U(count)
    for k in range(months):
        work[k] = net[k] * disc[here + k]
    for k in range(months, months + U(3)):
        work[k] = 0.0
    _running(work, count, totals, 0)
    limit = first
    best = totals[first] if first >= 0 else 0.0
    for k in range(first + 1, count):
        if totals[k] > best:
            best, limit = totals[k], k
    return limit


@_kernel
def _life(
    own_sums: Array,
    own_twelve: Array,
    new_sums: Array,
    new_twelve: Array,
    expected: Array,
    own_ahead: Array,
    new_ahead: Array,
    own_filled: IntArray,
    new_filled: IntArray,
    needed: Array,
    resume: int,
    month: int,
    whole: int,
    horizon: int,
    scales: tuple[float, float, float, float],
) -> int:
    """Last month, from the job's on, by the look-ahead rule; its tables grow as far as the months looked at."""
    a0, b0, a1, b1 = scales
    width, idle = horizon - month, month - resume
    start = min(whole + 1, width)
    for k in range(1, start):  # nothing but the months that follow: the streams have not come yet
        upto = min(k + AHEAD, width)
        early, late = max(upto - whole, 0), max(upto - whole - 1, 0)
        hope = 0.0
        for phase in range(3):
            volume = a0 * (own_sums[phase, resume + early] - own_sums[phase, resume])
            volume += b0 * (new_sums[phase, early] - new_sums[phase, 0])
            volume += a1 * (own_sums[phase, resume + late] - own_sums[phase, resume])
            volume += b1 * (new_sums[phase, late] - new_sums[phase, 0])
            hope += volume * expected[phase, month + k]
        if hope < needed[month + k]:
            return k - 1
    while start < width:
        stop = min(start + SCAN, width)
        for lag in range(whole, whole + 2):
            row, reach = idle + lag, resume + stop - lag
            begin = max(own_filled[row], resume)
            if begin < reach:
                _ahead_margin(
                    own_sums, own_twelve, expected, row, horizon - row, begin, reach, own_ahead, row
                )
                own_filled[row] = reach
            begin, reach, late = new_filled[lag], stop - lag, month + lag
            if begin < reach:
                _ahead_margin(
                    new_sums, new_twelve, expected, late, horizon - late, begin, reach, new_ahead, lag
                )
                new_filled[lag] = reach
        found = _first_below(
            own_ahead,
            new_ahead,
            idle + whole,
            whole,
            resume + start - whole,
            start - whole,
            needed,
            month + start,
            stop - start,
            scales,
        )
        if found < stop - start:
            return start + found - 1
        start = stop
    return width - 1


@_kernel
def _increment(
    net: Array, alone: Array, month: int, keep_cash: float, living: int, last: int, out: Array, at: int
) -> None:
    """What a strategy pays more than the well left alone, out[at + k], k < last, and zeros; living: its months."""
    here, place = U(month), U(at)
    for k in range(U(living)):
        out[place + k] = net[k] * keep_cash - alone[here + k]
    for k in range(U(living), U(last)):
        out[place + k] = -alone[here + k]
    for k in range(U(last), U(last + 8)):
        out[place + k] = 0.0


@_kernel
def _falls_below(totals: Array, start: int, stop: int) -> bool:
    """Whether a total from `start` on is negative."""
    below = 0
    for k in range(U(start), U(stop)):
        below += 1 if totals[k] < 0.0 else 0
    return below > 0


@_kernel
def _product(left: Array, row: int, right: Array, count: int, out: Array) -> None:
    """out[i] = left[row, i] right[i], i < count, and three zeros."""
    line, months = U(row), U(count)
    for i in range(months):
        out[i] = left[line, i] * right[i]
    for i in range(months, months + U(3)):
        out[i] = 0.0


@_kernel
def _delivered(
    own: Array,
    new: Array,
    main: int,
    resume: int,
    keep: float,
    q2: float,
    priced: Array,
    at: int,
    part: float,
    count: int,
    work: Array,
) -> float:
    """Value of `count` months of the main phase at prices `priced` from `at` on; `part` of each month's volume comes
    a month later, of the last one not at all."""
    line, here, first = U(main), U(at), U(resume)
    early = 1.0 - part
    months = U(count)
    for j in range(months):
        stream = keep * own[line, first + j] + q2 * new[line, j]
        work[j] = stream * (early * priced[here + j] + part * priced[here + j + U(1)])
    last = count - 1
    work[last] = (keep * own[main, resume + last] + q2 * new[main, last]) * early * priced[at + last]
    for j in range(months, months + U(7)):
        work[j] = 0.0
    return _total(work, count)


@_kernel
def _take(source: Array, at: int, many: int, out: Array) -> None:
    """out[r, s, i] = source[r, s, at + i], i < many."""
    for r in range(U(source.shape[0])):
        for s in range(U(source.shape[1])):
            for i in range(U(many)):
                out[r, s, i] = source[r, s, U(at) + i]


@_kernel
def _hand_over(source: Array, wanted: BoolArray, at: int, many: int, out: Array) -> None:
    """out[r, s, at + i] = source[r, s, i], i < many, of wanted rows r."""
    for r in range(U(out.shape[0])):
        if wanted[r]:
            for s in range(U(out.shape[1])):
                for i in range(U(many)):
                    out[r, s, U(at) + i] = source[r, s, i]


@njit(cache=True, error_model="numpy", nogil=True, fastmath=CONTRACT)
def value_trials(
    table: Array,
    rows: IntArray,
    own_ratios: Array,
    unit: Array,
    unit_ratios: Array,
    oil: Array,
    gas: Array,
    oil_ahead: Array,
    gas_ahead: Array,
    use_ahead: bool,
    costs: Array,
    escalation: Array,
    discount: Array,
    factors: Array,
    main_row: int,
    np0: Array,
    terms: Array,
    jobs: Array,
    months: IntArray,
    write_off: Array,
    tax_rate: float,
    working: float,
    lease: int,
    wanted: BoolArray,
    out: Array,
) -> None:
    """Fill `out` (14, S + 1, n); strategy 0 is the well left alone; only the rows of measures that are `wanted` (14,).

    table (K, T + 1): main-phase cumulative at month edges, rows (n,) those of the trials; unit (n, T + 1): that of a
    refrac of one unit a day; own_ratios, unit_ratios (2, 3, n): now, final, change of the other hydrocarbon and of
    water. oil, gas, *_ahead (n, T): benchmark prices, and their mean over the next AHEAD months expected; costs
    (9, n) as named above, at 8/8; escalation (T,): cost factor of the month times the working interest; factors
    (2,): revenue per gross oil and gas revenue. terms (6, n): uplift, q_peak, depletion exponent, kept fraction,
    acceleration fraction, ultimate; jobs (6, S, n): days, cost, kept share, effective share, stages effective, lost;
    months (S,), sorted so that a date's strategies stand together; write_off (S, T): tax deductions per unit of job
    cost by month.
    """
    n, horizon = oil.shape
    count = months.size
    keep_cash = 1.0 - tax_rate
    factor = factors[main_row]
    want_payout, want_irr, want_breakeven = wanted[PAYOUT], wanted[IRR], wanted[BREAKEVEN]
    padded = horizon + PAD
    lags = 2
    for s in range(count):
        for t in range(n):
            lags = max(lags, int(jobs[0, s, t] / MONTH_DAYS) + 2)
    lags = min(lags, horizon)
    delays = lags + min(lease, horizon) + 1
    own, new = np.zeros((3, padded)), np.zeros((3, padded))
    own_sums, new_sums = np.zeros((3, padded)), np.zeros((3, padded))
    own_twelve, new_twelve = np.zeros((3, padded)), np.zeros((3, padded))
    price, expected = np.zeros((3, padded)), np.zeros((3, padded))
    own_margin, own_ahead = np.empty((delays, padded)), np.empty((delays, padded))
    new_margin, new_ahead = np.empty((lags, padded)), np.empty((lags, padded))
    own_filled, own_ahead_filled = np.zeros(delays, np.int64), np.zeros(delays, np.int64)
    new_filled, new_ahead_filled = np.zeros(lags, np.int64), np.zeros(lags, np.int64)
    disc, fixed, fixed_ahead = np.zeros(padded), np.zeros(padded), np.zeros(padded)
    net, flows, alone, work = np.zeros(padded), np.zeros(padded), np.zeros(padded), np.zeros(padded)
    totals, priced, timed = np.zeros(padded), np.zeros(padded), np.zeros(padded)
    own_disc, new_disc, own_priced = np.zeros(padded), np.zeros(padded), np.zeros(padded)
    escalation_ahead = np.zeros(horizon)
    held, made = np.empty((6, count, SEATS)), np.empty((14, 1 + count, SEATS))
    for i in range(horizon):
        disc[i] = discount[i]
        for k in range(i, min(i + AHEAD, horizon)):
            escalation_ahead[i] += escalation[k]

    for t in range(n):
        seat = t % SEATS
        if seat == 0:
            _take(jobs, t, min(SEATS, n - t), held)
        _phases(table, rows[t], own_ratios, t, main_row, horizon, own_sums, own, own_twelve)
        _phases(unit, t, unit_ratios, t, main_row, horizon, new_sums, new, new_twelve)
        _net_prices(oil, gas, costs, t, factors, escalation, price)
        for i in range(horizon):
            fixed[i] = costs[FIXED, t] * escalation[i]
        if use_ahead:
            _net_prices(oil_ahead, gas_ahead, costs, t, factors, escalation, expected)
            for i in range(horizon):
                fixed_ahead[i] = costs[FIXED, t] * escalation_ahead[i]
        for i in range(delays):
            own_filled[i], own_ahead_filled[i] = 0, 0
        start_total = own_sums[main_row, 0]

        # ---- the well left alone
        _margin(own, price, 0, 0, horizon, own_margin, 0)
        own_filled[0] = horizon
        for i in range(horizon):
            net[i] = own_margin[0, i] - fixed[i]
        limit = horizon - 1
        if use_ahead:
            _ahead_margin(own_sums, own_twelve, expected, 0, horizon, 0, horizon, own_ahead, 0)
            own_ahead_filled[0] = horizon
            for i in range(horizon):
                if own_ahead[0, i] < fixed_ahead[i]:
                    limit = i - 1
                    break
        else:
            limit = _best_end(net, disc, 0, horizon, -1, work, totals)
        end = min(limit + 1, horizon - 1)
        for i in range(limit + 1):
            alone[i] = net[i] * keep_cash
        for i in range(limit + 1, padded):
            alone[i] = 0.0
        alone[end] -= costs[ABANDONMENT, t] * escalation[end] * keep_cash
        npv0 = _dot(alone, disc, 0, end + 1, work)
        eur0 = np0[t] + (own_sums[main_row, limit + 1] - start_total)
        for r in range(14):
            made[r, 0, seat] = 0.0
        made[NPV, 0, seat], made[EUR, 0, seat] = npv0, eur0
        made[IRR, 0, seat] = made[PAYOUT, 0, seat] = made[BREAKEVEN, 0, seat] = np.nan
        if want_breakeven:
            for i in range(horizon):
                priced[i] = disc[i] * (oil[t, i] if main_row == 0 else gas[t, i])
            # running sums, one place late: index i holds the months before i
            _product(own, main_row, disc, horizon, work)
            _running(work, horizon, own_disc, 1)
            _product(new, main_row, disc, horizon, work)
            _running(work, horizon, new_disc, 1)
            _product(own, main_row, priced, horizon, work)
            _running(work, horizon, own_priced, 1)

        # ---- the strategies
        previous, resume, width, produced, remaining, decay = -1, 0, 0, 0.0, 0.0, 0.0
        for s in range(count):
            month = months[s]
            row = s + 1
            if month - 1 - limit > lease:
                for r in range(14):
                    made[r, row, seat] = 0.0
                made[NPV, row, seat], made[EUR, row, seat] = npv0, eur0
                made[IRR, row, seat] = made[PAYOUT, row, seat] = made[BREAKEVEN, row, seat] = np.nan
                continue
            if month != previous:
                previous = month
                resume = min(limit + 1, month)
                width = horizon - month
                for i in range(lags):
                    new_filled[i], new_ahead_filled[i] = 0, 0
                produced = np0[t] + (own_sums[main_row, resume] - start_total)
                remaining = own_sums[main_row, horizon] - own_sums[main_row, resume]
                decay = (1.0 - min(produced / terms[5, t], 1.0)) ** terms[2, t]
            days, gross = held[0, s, seat], held[1, s, seat]
            lost = held[5, s, seat] > 0.5
            alive = 0.0 if lost else 1.0
            idle = month - resume

            # response
            ultimate, alpha = terms[5, t], terms[4, t]
            kept = terms[3, t] * held[2, s, seat] * alive
            raw = terms[0, t] * terms[1, t] * held[3, s, seat] * alive * decay
            old = kept * remaining
            fresh = raw * (new_sums[main_row, width] - new_sums[main_row, 0])
            room = ultimate - produced - old
            allowed = 0.0
            if room >= 0.0:
                allowed = room + old
                if alpha < 1.0:
                    allowed = min(allowed, room / (1.0 - alpha))
            scale = allowed / fresh if allowed < fresh else 1.0
            forward = min(alpha * scale * fresh / old, 1.0) if old > 0.0 else 0.0
            q2, keep = raw * scale, kept * (1.0 - forward)

            # streams move by the days shut in: part of a month's volume comes one month later than the rest
            down = days / MONTH_DAYS
            whole = int(down)
            part = down - whole
            whole = min(whole, width)
            scales = (keep * (1.0 - part), q2 * (1.0 - part), keep * part, q2 * part)

            # life, and the tables as far as it may reach
            life = 0
            if use_ahead and not lost:
                life = _life(
                    own_sums,
                    own_twelve,
                    new_sums,
                    new_twelve,
                    expected,
                    own_ahead,
                    new_ahead,
                    own_ahead_filled,
                    new_ahead_filled,
                    fixed_ahead,
                    resume,
                    month,
                    whole,
                    horizon,
                    scales,
                )
            known = 1 if lost else life + 1 if use_ahead else width
            for lag in range(whole, min(whole + 2, known)):
                line, begin, reach = idle + lag, max(own_filled[idle + lag], resume), resume + known - lag
                if begin < reach:
                    _margin(own, price, line, begin, reach, own_margin, line)
                    own_filled[line] = reach
                begin, reach = new_filled[lag], known - lag
                if begin < reach:
                    _margin(new, price, month + lag, begin, reach, new_margin, lag)
                    new_filled[lag] = reach
            _net(own_margin, new_margin, idle + whole, whole, resume, fixed, month, whole, known, scales, net)
            if not use_ahead and not lost:
                life = _best_end(net, disc, month, width, 0, work, totals)
            end = min(life + 1, width - 1)
            cost = gross * working

            # incremental cash after tax from the first month that differs
            for i in range(idle):
                flows[i] = -costs[HOLDING, t] * escalation[resume + i] * keep_cash - alone[resume + i]
            last = width if tax_rate > 0.0 else min(max(life, limit - month) + 2, width)
            size = idle + last
            _increment(net, alone, month, keep_cash, life + 1, last, flows, idle)
            flows[idle + end] -= costs[ABANDONMENT, t] * escalation[month + end] * keep_cash
            flows[idle] -= cost
            if tax_rate > 0.0:
                for k in range(width):
                    flows[idle + k] += write_off[s, month + k] * (cost * tax_rate)
            gain = _dot(flows, disc, resume, size, work)

            # payout and rate of return by the running total
            payout, rate = np.nan, np.nan
            if want_payout or want_irr:
                _running(flows, size, totals, 0)
                paid = idle
                while paid < size and totals[paid] < 0.0:
                    paid += 1
                total = totals[size - 1]
                if paid < size:
                    payout = paid - idle + 1.0
                if want_irr and paid < size and total > 0.0:
                    lead = 0  # the first month whose running total is not zero
                    while totals[lead] == 0.0:
                        lead += 1
                    above = lead  # the first above zero
                    while totals[above] <= 0.0:
                        above = max(above + 1, paid) if above >= idle else above + 1
                    if above > lead and not _falls_below(totals, above, size):
                        at, outlay = idle, -totals[idle]
                        if not outlay > 0.0:
                            at, outlay = lead, -totals[lead]
                        force = _monthly_force(flows, size, total, at, outlay, timed, work)
                        rate = min(np.exp(12.0 * force) - 1.0, IRR_CEILING)

            # volumes and the break-even price of the main phase
            got, later = max(life + 1 - whole, 0), max(life - whole, 0)
            own_first, new_first = own_sums[main_row, resume], new_sums[main_row, 0]
            a0, b0, a1, b1 = scales
            recovered = produced + a0 * (own_sums[main_row, resume + got] - own_first)
            recovered += b0 * (new_sums[main_row, got] - new_first)
            recovered += a1 * (own_sums[main_row, resume + later] - own_first)
            recovered += b1 * (new_sums[main_row, later] - new_first)
            level = np.nan
            if want_breakeven:
                volume, value = 0.0, 0.0
                if limit >= resume:
                    volume -= own_disc[limit + 1] - own_disc[resume]
                    value -= own_priced[limit + 1] - own_priced[resume]
                if got > 0:
                    here = disc[month + whole]
                    volume += a0 * (here / disc[resume]) * (own_disc[resume + got] - own_disc[resume])
                    volume += b0 * (here / disc[0]) * new_disc[got]
                    value += _delivered(
                        own, new, main_row, resume, keep, q2, priced, month + whole, part, got, work
                    )
                if later > 0:
                    here = disc[month + whole + 1]
                    volume += a1 * (here / disc[resume]) * (own_disc[resume + later] - own_disc[resume])
                    volume += b1 * (here / disc[0]) * new_disc[later]
                volume *= keep_cash * factor
                value *= keep_cash * factor
                if volume > 0.0:
                    level = max(min((value - gain) / volume, BREAKEVEN_BOUND), -BREAKEVEN_BOUND)

            made[NPV, row, seat] = npv0 + gain
            made[INCREMENTAL_NPV, row, seat] = gain
            made[IRR, row, seat] = rate
            made[PAYOUT, row, seat] = payout
            made[EUR, row, seat] = recovered
            made[INCREMENTAL_EUR, row, seat] = recovered - eur0
            made[BREAKEVEN, row, seat] = level
            made[JOB_DAYS, row, seat] = days
            made[JOB_COST, row, seat] = gross
            made[CAPEX, row, seat] = cost
            made[DISCOUNTED_CAPEX, row, seat] = cost * disc[month]
            made[EFFECTIVE, row, seat] = held[4, s, seat]
            made[EXECUTED, row, seat] = 1.0
            made[CAPPED, row, seat] = 1.0 if scale < 1.0 else 0.0
        if seat == SEATS - 1 or t == n - 1:
            _hand_over(made, wanted, t - seat, seat + 1, out)


def warm() -> None:
    """Compile, or load from the cache, for the argument types the engine uses."""
    line, sheet, ratios = np.ones(12), np.ones((1, 12)), np.ones((2, 3, 1))
    edges = np.arange(13.0).reshape(1, 13)
    value_trials(
        edges,
        np.zeros(1, dtype=np.int64),
        ratios,
        edges,
        ratios,
        sheet,
        sheet,
        sheet,
        sheet,
        False,
        np.ones((9, 1)),
        line,
        line,
        np.ones(2),
        0,
        np.ones(1),
        np.ones((6, 1)),
        np.ones((6, 1, 1)),
        np.zeros(1, dtype=np.int64),
        np.zeros((1, 12)),
        0.0,
        1.0,
        0,
        np.ones(14, dtype=np.bool_),
        np.empty((14, 2, 1)),
    )
