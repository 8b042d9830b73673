"""Internal rate of return of a monthly cash flow, only where there is one.

Norstrom, C. J. (1972), "A sufficient condition for a unique nonnegative internal rate of return", Journal of Financial
and Quantitative Analysis 7(3), 1835-1839: if the running total, not discounted, is first negative, ends positive and
changes sign exactly once, exactly one rate above zero makes the present value zero. Months where the running total is
zero carry no sign.

Where that does not hold, the present value is looked at on a ladder of rates from 0 to IRR_CEILING:

    below zero on all of it            a loss at every rate: the first rate below 0 at which it is back to zero, on a
                                       ladder down to IRR_FLOOR; TOTAL_LOSS where there is none
    not below zero on any              IRR_CEILING
    above, then below, one change      the rate where it changes
    else                               several rates, or none that is a return: NaN

A running total that is never above zero is a loss at every rate from 0 on: a present value is a sum of running totals
with weights above zero.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from refracmc.compiler import compiled, inlined, rule, summed

Array = NDArray[np.float64]
IRR_CEILING = 10.0
"""Largest annual rate reported (1,000 %): above it the job is paid back within weeks and the rate says no more."""
IRR_FLOOR, TOTAL_LOSS = -0.9, -1.0
"""Least annual rate looked for (-90 %), and what is reported below it: nothing that is spent comes back."""
RUNGS = 48
"""Steps of the ladder of rates above zero, and of that below, even in ln(1 + rate)."""
ROW_MONTHS = 64
"""Months in a row of the polynomial; room for so many more is needed after a cash flow."""
_HIGHEST = (1.0 + IRR_CEILING) ** (1.0 / 12.0) - 1.0


@rule
def crosses_once(flows: Array, first: int, total: float) -> bool:
    """Whether the running total [US$], not zero from month `first` on, is below zero, then above, and ends so."""
    if not (total > 0.0 and flows[first] < 0.0):
        return False
    before, runs = flows[first:], 1
    after = before[1:]
    for i in range(after.size):
        runs += (after[i] < 0.0) & (before[i] >= 0.0)
    if runs == 1:
        return True
    if runs == 2:  # down, up, down, and up to the total: the last low decides
        i, low = flows.size - 1, total
        while flows[i] >= 0.0:
            low -= flows[i]
            i -= 1
        if low > 0.0:
            return True
    running, above = 0.0, False
    for i in range(before.size):
        running += before[i]
        if running < 0.0 and above:
            return False
        above = above or running > 0.0
    return True


@rule
def present_value(flows: Array, v: float, row: Array) -> float:
    """Sum [US$] of flows[i] v^i: rows of 64 months as one polynomial in v^64, then the months of that row.

    The length of flows is a multiple of ROW_MONTHS, 64; row (64,) is worked in.
    """
    v2 = v * v
    v4 = v2 * v2
    v8 = v4 * v4
    v16 = v8 * v8
    v64 = v16 * v16 * (v16 * v16)
    start = flows.size - ROW_MONTHS
    last = flows[start:]
    for i in range(row.size):
        row[i] = last[i]
    while start > 0:
        start -= ROW_MONTHS
        months = flows[start:]
        for i in range(row.size):
            row[i] = row[i] * v64 + months[i]
    a = b = c = d = e = f = g = h = 0.0
    for i in range(ROW_MONTHS - 8, -1, -8):
        a, b, c, d = a * v8 + row[i], b * v8 + row[i + 1], c * v8 + row[i + 2], d * v8 + row[i + 3]
        e, f, g, h = e * v8 + row[i + 4], f * v8 + row[i + 5], g * v8 + row[i + 6], h * v8 + row[i + 7]
    return (a + v * b + v2 * (c + v * d)) + v4 * (e + v * f + v2 * (g + v * h))


@rule
def yearly(monthly: float) -> float:
    """Rate of a year of twelve months, as a fraction."""
    three = monthly * (3.0 + monthly * (3.0 + monthly))
    six = three * (2.0 + three)
    return six * (2.0 + six)


@rule
def next_rate(x: float, y: float, x_a: float, y_a: float, x_b: float, y_b: float) -> float:
    """Root [fraction a month] of the parabola through three points, of a line where two are level; else -1."""
    if y != y_a and y != y_b and y_a != y_b:
        return (
            x * y_a * y_b / ((y - y_a) * (y - y_b))
            + x_a * y * y_b / ((y_a - y) * (y_a - y_b))
            + x_b * y * y_a / ((y_b - y) * (y_b - y_a))
        )
    if y != y_b:
        return x - y * (x - x_b) / (y - y_b)
    return -1.0


@rule
def rate_of_return(
    flows: Array, total: float, worth: float, rate: float, outlay: float, at: int, row: Array
) -> float:
    """Annual rate (fraction) of flows that cross zero upward once, at most IRR_CEILING.

    With P the present value and K the outlay in month `at`, P / (P + K) is nearly a straight line in the monthly rate
    for an outlay followed by a declining income. It is known at a rate of zero (`total`) and at the rate of discount
    (`worth` at `rate` a month); the root of the parabola through the last three points is the next one, inside a
    bracket that halves. flows and row as in `present_value`; total, worth, outlay in US$.
    """
    x_a, y_a = 0.0, total / (total + outlay)
    worth = max(worth * (1.0 + rate) ** at, -0.9 * outlay) if at > 0 else max(worth, -0.9 * outlay)
    x_b, y_b = rate, worth / (worth + outlay)
    low, high = (x_b, _HIGHEST) if y_b > 0.0 else (0.0, _HIGHEST)
    x = x_b - y_b * (x_b - x_a) / (y_b - y_a) if y_b != y_a else 0.5 * _HIGHEST
    moved_before = moved_earlier = 1.0
    if not low < x < high:
        x = high if x >= high else 0.5 * (low + high)
    for _ in range(200):
        value = present_value(flows, 1.0 / (1.0 + x), row)
        if at > 0:
            value *= (1.0 + x) ** at
        if value >= 0.0:
            if x == _HIGHEST:
                return IRR_CEILING
            low = x
        else:
            high = x
        value = max(value, -0.9 * outlay)
        y = value / (value + outlay)
        if y == 0.0:
            return yearly(x)
        new = next_rate(x, y, x_a, y_a, x_b, y_b)
        inside = low < new < high
        moved = abs(new - x) / x
        if moved * moved_before * moved_earlier < 1e-14 and low <= new <= high:
            return yearly(new)
        if not inside:
            new = _HIGHEST if new >= _HIGHEST and high == _HIGHEST else 0.5 * (low + high)
            moved = 1.0
            if new == low or (new == high and high < _HIGHEST):
                return yearly(new)
        x_a, y_a, x_b, y_b = x_b, y_b, x, y
        x, moved_before, moved_earlier = new, moved, moved_before
    return yearly(x)


@rule
def never_above(flow: Array) -> bool:
    """Whether the running total [US$] is never above zero."""
    running, highest = 0.0, 0.0
    for i in range(flow.size):
        running += flow[i]
        highest = max(highest, running)
    return highest <= 0.0


@rule
def root_between(flows: Array, low: float, high: float, row: Array) -> float:
    """Annual rate (fraction) at which the present value falls below zero; low, high: ln(1 + rate) before and after.

    Regula falsi, the end that stays counting half (Dowell & Jarratt 1971, BIT 11, from memory). flows and row as in
    `present_value`.
    """
    at_low = present_value(flows, math.exp(-low / 12.0), row)
    at_high = present_value(flows, math.exp(-high / 12.0), row)
    middle, stayed = high, 0
    for _ in range(100):
        before = middle
        middle = (low * at_high - high * at_low) / (at_high - at_low)
        value = present_value(flows, math.exp(-middle / 12.0), row)
        if value == 0.0 or middle == before or not low < middle < high:
            break
        if value > 0.0:
            low, at_low = middle, value
            at_high *= 0.5 if stayed > 0 else 1.0
            stayed = 1
        else:
            high, at_high = middle, value
            at_low *= 0.5 if stayed < 0 else 1.0
            stayed = -1
    return math.expm1(middle)


@rule
def rate_by_ladder(flows: Array, total: float, lost: bool, row: Array) -> float:
    """Annual rate (fraction) of flows that do not cross zero once, as the module says; NaN where there are several.

    total: their sum [US$]; lost: whether their running total is never above zero; flows and row as in `present_value`.
    """
    if not lost:
        step, last, falls, rises, rung = math.log(1.0 + IRR_CEILING) / RUNGS, total >= 0.0, 0, 0, 0
        for k in range(1, RUNGS + 1):
            here = present_value(flows, math.exp(-step * k / 12.0), row) >= 0.0
            if last and not here:
                falls, rung = falls + 1, k
            elif here and not last:
                rises += 1
            last = here
        if rises > 0:
            return np.nan
        if falls > 0:
            return root_between(flows, step * (rung - 1), step * rung, row)
        if last:
            return IRR_CEILING
    elif total >= 0.0:
        return 0.0
    step = math.log(1.0 + IRR_FLOOR) / RUNGS
    for k in range(1, RUNGS + 1):
        if present_value(flows, math.exp(-step * k / 12.0), row) >= 0.0:
            return root_between(flows, step * k, step * (k - 1), row)
    return TOTAL_LOSS


@inlined
def one_rate(
    flows: Array, stop: int, idle: int, total: float, worth: float, rate: float, row: Array
) -> float:
    """Annual rate (fraction) of the first `stop` months of flows [US$], NaN where there is none or several.

    idle: the month of the job; total: their sum; worth: their present value at `rate` a month; flows has room for
    ROW_MONTHS more, which are zeroed as far as they are read.
    """
    flow = flows[:stop]
    first = 0
    while first < flow.size and flow[first] == 0.0:
        first += 1
    if first == flow.size or total != total:
        return np.nan
    rows = flows[: (stop + ROW_MONTHS - 1) // ROW_MONTHS * ROW_MONTHS]
    for i in range(stop, rows.size):
        rows[i] = 0.0
    if not crosses_once(flow, first, total):
        return rate_by_ladder(rows, total, never_above(flow), row)
    at, outlay = idle, 0.0
    for i in range(idle + 1):
        outlay -= flow[i]
    if not outlay > 0.0:
        at, outlay = first, -flow[first]
    return rate_of_return(rows, total, worth, rate, outlay, at, row)


@summed
def total_of(values: Array) -> float:
    """Sum of values, in their unit (US$)."""
    total = 0.0
    for i in range(values.size):
        total += values[i]
    return total


@compiled
def rates_of_rows(flows: Array, out: Array) -> None:
    """Fill out (n,) with the annual rates (fractions) of rows of flows (n, T) [US$]."""
    months = flows.shape[1]
    line, row, rate = np.zeros(months + ROW_MONTHS), np.empty(ROW_MONTHS), 0.01
    for t in range(out.size):
        for i in range(months):
            line[i] = flows[t, i]
        for i in range(months, line.size):
            line[i] = 0.0
        worth = present_value(
            line[: (months + ROW_MONTHS - 1) // ROW_MONTHS * ROW_MONTHS], 1.0 / (1.0 + rate), row
        )
        out[t] = one_rate(line, months, 0, total_of(line[:months]), worth, rate, row)


def rates_of_return(flows: Array) -> Array:
    """Annual effective internal rate of return (n,) of rows of flows (n, T), US$ a month; NaN where there are several.

    The rate r solves sum_i flows_i (1 + r)^-(i / 12) = 0, from IRR_FLOOR to IRR_CEILING, TOTAL_LOSS below; leading zero
    months do not matter; NaN too where all months are zero. Raises ValueError unless flows is 2-D.
    """
    if flows.ndim != 2:
        raise ValueError(f"flows must be (trials, months), got {flows.ndim} dimension(s)")
    rates = np.empty(flows.shape[0])
    rates_of_rows(np.ascontiguousarray(flows, dtype=np.float64), rates)
    return rates
