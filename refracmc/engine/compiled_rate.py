"""Rates of return in the compiled cash flow: of a group of trials by secant steps, of one trial by Newton steps and
bisection where those do not settle."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.economics.measures import IRR_CEILING

from .lanes import (
    choose,
    every,
    fused,
    growth,
    inlined,
    kernel,
    least,
    load,
    logarithm_past_one,
    magnitude,
    most,
    negated,
    some,
)

BUILT_IN = "8e220404c34b798a"
"""Digest of the modules whose code is built in here: the compiler keeps what it made until this file changes."""
Array = NDArray[np.float64]

LARGEST_FORCE = float(np.log1p(IRR_CEILING) / 12.0)
"""Monthly force of the largest annual rate reported."""
TAIL_SHAPE = 0.8
U = np.uint64
"""Indices in loops are unsigned, so that none counts from the end and the loops are vectorised."""


@kernel
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


@kernel
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


@kernel
def _grown(x: float) -> float:
    """exp(x) - 1 for |x| < 0.02, to 1e-14 of its value."""
    return x * (1.0 + x / 2.0 * (1.0 + x / 3.0 * (1.0 + x / 4.0 * (1.0 + x / 5.0 * (1.0 + x / 6.0)))))


@kernel
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


@inlined
def present(flows: Array, count: int, before: Array, months_before: int, v: Any, w: Any) -> Any:
    """Sum of flows[k] v^k, k < count, and of before[d] w^d, 1 <= d <= months_before; zeros follow in `flows`."""
    v2 = v * v
    v4 = v2 * v2
    v8 = v4 * v4
    value = every(0.0)
    at = (count + 7) // 8 * 8
    while at > 0:
        at -= 8
        a, b = (
            fused(v, load(flows, at + 1), load(flows, at)),
            fused(v, load(flows, at + 3), load(flows, at + 2)),
        )
        c, d = (
            fused(v, load(flows, at + 5), load(flows, at + 4)),
            fused(v, load(flows, at + 7), load(flows, at + 6)),
        )
        part = fused(v4, fused(v2, d, c), fused(v2, b, a))
        value = fused(v8, value, part)
    if months_before:
        past = every(0.0)
        for d in range(months_before, 0, -1):
            past = fused(w, past, load(before, d))
        value = fused(w, past, value)
    return value


@inlined
def forces(
    flows: Array,
    count: int,
    before: Array,
    months_before: int,
    total: Any,
    gain: Any,
    force: float,
    outlay: Any,
    asked: Any,
) -> tuple[Any, Any]:
    """Roots x > 0 of sum of flows[k] exp(-x k), at most LARGEST_FORCE, of the lanes that are asked for, whose flows
    cross zero upward once; and the lanes whose steps did not settle.

    Month 0 is that of the job; before[d] is the flow d months earlier. total: sum of all flows; gain: their present
    value at the monthly `force` of discount, 0 or more; outlay: what is laid out by month 0. Secant steps on
    h = log(1 + P/K), P the present value and K the outlay, against s = log(1 + x/beta), which is nearly a straight
    line for an outlay followed by a declining income; h is known at x = 0 and at the force of discount. The error left
    by a step is about the product of it and the step before. A lane's steps do not depend on the others.
    """
    zero, one = every(0.0), every(1.0)
    outlay = choose(asked, outlay, one)
    top = logarithm_past_one(choose(asked, total / outlay, one))
    kept = gain / outlay
    known = (kept > every(-0.9)) & (every(force) > every(1e-5))
    lower = logarithm_past_one(choose(known, kept, zero))
    mean = (top - lower) / every(force if force > 1e-5 else 1.0)
    known = known & (mean > every(0.25))
    beta = every(TAIL_SHAPE) / choose(known, mean, every(12.0))
    most_s = logarithm_past_one(every(LARGEST_FORCE) / beta)
    last_s = choose(known, logarithm_past_one(every(force) / beta), zero)
    last_height = choose(known, lower, top)
    plain = top / every(TAIL_SHAPE)
    s = choose(known, top * last_s / (top - lower), plain)
    s = least(most(least(s, plain + plain), every(0.25) * plain), most_s)
    largest = every(LARGEST_FORCE)
    x = choose(s < most_s, beta * growth(s), largest)
    low, high, found = zero, largest, zero
    active, odd = asked, one < zero
    last_step = s - last_s
    trip = 0
    while some(active):
        v = growth(zero - x) + one
        value = present(flows, count, before, months_before, v, one / v)
        negative = value < zero
        high = choose(active & negative, x, high)
        above = active & negated(negative)
        capped = above & (x == largest)
        found = choose(capped, largest, found)
        active = active & negated(capped)
        low = choose(above, x, low)
        ratio = value / outlay
        usable = ratio > every(-0.999)
        height = logarithm_past_one(choose(usable, ratio, zero))
        step = most(least(height * (s - last_s) / (last_height - height), every(1.5)), every(-1.5))
        step = choose(height == zero, zero, step)
        moved_s = least(s + step, most_s)
        moved = choose(moved_s < most_s, beta * growth(moved_s), largest)
        settled = magnitude(step * last_step) * (x + beta) <= every(1e-13) * x
        done = active & usable & settled
        found = choose(done, moved, found)
        active = active & negated(done)
        lost = active & negated(usable & (low < moved) & (moved <= high))
        trip += 1
        if trip == 16:
            lost = active
        odd = odd | lost
        active = active & negated(lost)
        last_s, last_height, last_step = s, height, step
        s, x = moved_s, choose(active, moved, x)
    return found, odd


@kernel
def single_rate(
    flows: Array, before: Array, m: int, idle: int, last: int, single: Array, timed: Array, scratch: Array
) -> float:
    """Rate of return of one lane by `_monthly_force`; `idle` months stand before the job."""
    size = idle + last
    total = 0.0
    lead, above, below_last, paid = -1, -1, -1, -1
    outlay_idle = 0.0
    lead_total = 0.0
    for i in range(size):
        single[i] = before[idle - i, m] if i < idle else flows[i - idle, m]
        total += single[i]
        if lead < 0 and total != 0.0:
            lead, lead_total = i, total
        if above < 0 and total > 0.0:
            above = i
        if total < 0.0:
            below_last = i
        if i >= idle and paid < 0 and total >= 0.0:
            paid = i
        if i == idle:
            outlay_idle = -total
    for i in range(size, size + 16):
        single[i] = 0.0
    while size > idle + 1 and single[size - 1] == 0.0:  # `last` is the group's
        size -= 1
    if paid < 0 or not total > 0.0 or above <= lead or below_last > above:
        return np.nan
    at, outlay = idle, outlay_idle
    if not outlay > 0.0:
        at, outlay = lead, -lead_total
    force: float = _monthly_force(single, size, total, at, outlay, timed, scratch)
    rate: float = min(np.exp(12.0 * force) - 1.0, IRR_CEILING)
    return rate
