"""Internal rate of return of many rows of monthly cash flow at once, only where it is unique.

Criterion: Norstrom, C. J. (1972), "A sufficient condition for a unique nonnegative internal rate of
return", Journal of Financial and Quantitative Analysis 7(3), 1835-1839. If the running (cumulative,
undiscounted) total of a row is first negative, ends positive and changes sign exactly once, exactly one rate
above zero makes its present value zero. Months where the running total is zero carry no sign.

All arithmetic is elementwise or along one row in a fixed order (no BLAS), so a row gives the same bits alone,
in a batch of seven or of 512, whatever stands in the other rows.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from .rows import count_true, last_true, scratch, segment_sums

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

SPAN = 36
"""Rows as long as a multiple of this are read where they lie; others are copied first."""
_CHUNK = 640
_FREE_STEPS = 9
_STEPS = 60
_TAIL_SHAPE = 0.8
_EXPONENT_LIMIT = 500.0


def single_upward_crossing(flows: Array) -> BoolArray:
    """True where the running total of a row changes sign exactly once, from - to +, and ends positive.

    flows (n, T) -> (n,). Decided from the runs of negative months where that suffices (at most two such
    runs), from the running total elsewhere.
    """
    flows = np.ascontiguousarray(flows, dtype=np.float64)
    total = flows.sum(axis=1)
    if flows.shape[1] < 2:
        return np.zeros(flows.shape[0], dtype=np.bool_)
    return _crossing(flows, total)[0]


def _crossing(flows: Array, total: Array) -> tuple[BoolArray, IntArray]:
    """Which rows have a single upward crossing, and the first month of each that is negative."""
    n, months = flows.shape
    negative = flows < 0.0
    opens = np.argmax(negative, axis=1)
    good = (total > 0.0) & negative[np.arange(n), opens]
    late = np.flatnonzero(good & (opens > 0))
    if late.size:
        good[late] = np.argmax(flows[late] != 0.0, axis=1) == opens[late]
    runs = count_true(negative[:, 1:] > negative[:, :-1]) + negative[:, 0]
    low = total - segment_sums(flows, last_true(negative) + 1, np.full(n, months))
    left = np.flatnonzero(good & (runs != 1) & ~((runs == 2) & (low > 0.0)))
    if left.size:
        running = flows[left]
        np.cumsum(running, axis=1, out=running)
        positive, below = running > 0.0, running < 0.0
        good[left] = (
            positive.any(axis=1) & below.any(axis=1) & (last_true(below) < np.argmax(positive, axis=1))
        )
    return good, opens


def irr_unique(flows: Array) -> Array:
    """Annual effective internal rate of return of each row; NaN where it is not unique or does not exist.

    flows: (n, T), US$ per month, month i at time i + 1/2 months (the offset and leading zero months do not
    matter). The rate r solves sum_i flows_i (1 + r)^-((i + 0.5) / 12) = 0; it is > 0. Defined only where
    `single_upward_crossing` holds (Norstrom 1972). Accurate to 1e-10 of the rate, except where the end total
    is so small that rounding of the flows themselves decides. A NaN in a row makes its rate NaN. Raises
    ValueError unless flows is 2-D.
    """
    if flows.ndim != 2:
        raise ValueError(f"flows must be (trials, months), got {flows.ndim} dimension(s)")
    flows = np.ascontiguousarray(flows, dtype=np.float64)
    n, months = flows.shape
    rate = np.full(n, np.nan)
    if months < 2:
        return rate
    width = -(-months // SPAN) * SPAN
    total = flows.sum(axis=1)
    for start in range(0, n, _CHUNK):
        part: slice | IntArray = slice(start, min(start + _CHUNK, n))
        ends_up = np.flatnonzero(total[part] > 0.0)
        if not ends_up.size:
            continue
        if width == months and 4 * ends_up.size >= 3 * (min(start + _CHUNK, n) - start):
            chosen = flows[part]
        else:
            part = start + ends_up
            chosen = scratch("rows", part.size * width).reshape(part.size, width)
            chosen[:, :months] = flows[part]
            chosen[:, months:] = 0.0
        good, opens = _crossing(chosen, total[part])
        if good.any():
            force = _monthly_force(chosen, total[part], opens, good)
            with np.errstate(over="ignore"):
                rate[part] = np.expm1(12.0 * force)
    return rate


class _PresentValue:
    """Present value of rows of flows (n, T) at a monthly discount factor per row.

    Months are i = 36 a + b: sums over b with powers of x, then over a with powers of x^36, each along its own
    row (no BLAS).
    """

    def __init__(self, flows: Array) -> None:
        n, width = flows.shape
        self.blocks = flows.reshape(n, width // SPAN, SPAN)

    def __call__(self, x: Array) -> Array:
        height = self.blocks.shape[1]
        low = _powers(x, SPAN, "low powers")
        high = _powers(low[:, -1] * x, height, "high powers")
        value: Array = np.einsum("na,na->n", np.einsum("nab,nb->na", self.blocks, low), high)
        return value


def _powers(x: Array, count: int, name: str) -> Array:
    """x^0 .. x^(count - 1) of each x (n,), (n, count), by doubling."""
    rising = scratch("rising powers", x.size * count).reshape(count, x.size)
    rising[0] = 1.0
    done, factor = 1, x
    while done < count:
        more = min(done, count - done)
        np.multiply(rising[:more], factor, out=rising[done : done + more])
        done += more
        factor = factor * factor
    powers = scratch(name, x.size * count).reshape(x.size, count)
    np.copyto(powers, rising.T)
    return powers


def _monthly_force(flows: Array, total: Array, opens: IntArray, good: BoolArray) -> Array:
    """Continuous monthly rate s > 0 with sum_i flows_i exp(-s i) = 0 for the good rows, NaN for the others.

    Secant steps on h = log(1 + P(s)/K(s)), P the present value and K that of the first outlay, against
    v = log(1 + s/beta): nearly a straight line for an outlay followed by a declining income, with h known at
    s = 0. A row stops when the product of its last two relative steps (the size of the next error) is below
    1e-13. What a few free steps do not settle is bracketed.
    """
    n, months = flows.shape
    rows = np.arange(n)
    largest = np.argmin(flows, axis=1)
    outlay = -flows[rows, opens]
    deep = np.flatnonzero(largest > opens)
    if deep.size:
        outlay[deep] = -segment_sums(flows[deep], opens[deep], largest[deep] + 1)
    plain = (largest >= opens) & (outlay > 0.0)
    outlay = np.where(plain, outlay, -flows[rows, opens])
    at = np.where(plain, largest, opens).astype(np.float64)
    moment = np.einsum("ij,j->i", flows, np.arange(months, dtype=np.float64))
    force = np.full(n, np.nan)
    value = _PresentValue(flows)
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        mean_time = (moment - at * total) / (outlay + total)
        beta = _TAIL_SHAPE / np.where(mean_time > 0.25, mean_time, 12.0)
        h_start = np.log1p(total / outlay)
        alive, present, outlay_left, at_left, beta_left = rows, value, outlay, at, beta
        v_old, h_old, v, step = np.zeros(n), h_start, h_start / _TAIL_SHAPE, np.ones(n)
        s = beta * np.expm1(v)
        for _ in range(_FREE_STEPS):
            h = _log_index(present(np.exp(-s)), s, at_left, outlay_left)
            v_new = v - h * (v - v_old) / (h - h_old)
            v_new = np.minimum(np.where(v_new > 0.0, v_new, 0.25 * v), v + 1.5)
            s_new = beta_left * np.expm1(v_new)
            moved = np.abs(s_new / s - 1.0)
            fresh = (moved * step < 1e-13) & np.isnan(force[alive])
            force[alive[fresh]] = s_new[fresh]
            v_old, h_old, v, s, step = v, h, v_new, s_new, moved
            going = np.isnan(force[alive]) & good[alive]
            count = np.count_nonzero(going)
            if count == 0:
                break
            if 2 * count < going.size:
                alive = alive[going]
                present = _PresentValue(flows[alive])
                outlay_left, at_left, beta_left = outlay[alive], at[alive], beta[alive]
                v_old, h_old, v, s, step = v_old[going], h_old[going], v[going], s[going], step[going]
        force[~good] = np.nan
        left = np.flatnonzero(np.isnan(force) & good)
        if left.size:
            force[left] = _bracketed(flows[left], beta[left], at[left], outlay[left], h_start[left])
    for row in np.flatnonzero(np.isnan(force) & good):
        force[row] = _bisect(flows[row])
    return force


def _log_index(present_value: Array, s: Array, at: Array, outlay: Array) -> Array:
    """log(1 + present value / present value of the outlay), held above log(0.001); NaN out of range."""
    ratio = np.exp(s * at)
    ratio /= outlay
    ratio *= present_value
    h: Array = np.log1p(np.maximum(ratio, -0.999))
    return h


def _bracketed(flows: Array, beta: Array, at: Array, outlay: Array, h_start: Array) -> Array:
    """The same secant inside a bracket that halves when a step would leave it; NaN where out of range."""
    value = _PresentValue(flows)
    n = beta.size
    force = np.full(n, np.nan)
    low, high = np.zeros(n), np.full(n, np.inf)
    v_old, h_old, v = np.zeros(n), h_start, h_start / _TAIL_SHAPE
    moved, going = np.ones(n), np.ones(n, dtype=np.bool_)
    for trip in range(_STEPS):
        s = beta * np.expm1(v)
        h = _log_index(value(np.exp(-s)), s, at, outlay)
        going &= np.isfinite(h) & (s * at < _EXPONENT_LIMIT)
        low = np.where(h > 0.0, v, low)
        high = np.where(h > 0.0, high, v)
        new = v - h * (v - v_old) / (h - h_old)
        new = np.where(np.isinf(high), np.minimum(new, 2.0 * v + 0.1), new)
        inside = (new >= low) & (new <= high)
        if trip % 6 == 5:
            inside &= moved < 0.01
        new = np.where(inside, new, np.where(np.isinf(high), 2.0 * v + 0.1, 0.5 * (low + high)))
        s_new = beta * np.expm1(new)
        step, moved = moved, np.abs(s_new / s - 1.0)
        done = going & ((h == 0.0) | (inside & (moved * step < 1e-13)))
        force[done] = np.where(h == 0.0, s, s_new)[done]
        going &= ~done
        if not going.any():
            break
        v_old, h_old, v = v, h, new
    return force


def _bisect(row: Array) -> float:
    """The same root for one row by plain bisection, for rates beyond the range of the general scheme."""
    used = np.flatnonzero(row)
    terms = [(int(i - used[0]), float(row[i])) for i in used]

    def present_value(s: float) -> float:
        return math.fsum(c * math.exp(-s * i) for i, c in terms)

    low, high = 0.0, 1.0
    while present_value(high) > 0.0 and high < 700.0:
        low, high = high, 2.0 * high
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if present_value(middle) > 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
