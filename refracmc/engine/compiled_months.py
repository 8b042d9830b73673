"""Loops over months of the compiled cash flow, for a group of trials side by side (`lanes`).

Tables have a row a month and a column a trial; those of three phases or of several delays (`lag`, months) stand one
below the other, `stride` rows each. `k` counts months from the date of the job; `own_at` is the row of its first
month in the tables of the own stream. shares (rows): those of the old and the new stream that come `lag` months late,
in turn. Money is in US$, volumes in bbl or Mcf, as in `cash`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from .lanes import COUNT, choose, every, fused, inlined, kernel, least, load, most, negated, some, store

BUILT_IN = "8e220404c34b798a"
"""Digest of the modules whose code is built in here: the compiler keeps what it made until this file changes."""
Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

AHEAD = 12
PAD = 16
"""Rows behind the months of a table, for what is read ahead."""
NEVER = 1e9
"""A month beyond all others."""
NEVER_MONEY = 1e300
"""A total beyond all others."""
TINY = 1e-200
U = np.uint64
"""An unsigned index is not counted from the end."""
_LINE = 8
"""Doubles of a line of the cache."""
# rows kept of a strategy: its running total, gain, first month paid out, first month with a total above zero and last
# with one below, life, month of abandonment, total laid out at the job, tax saved per write-off, outlay, shares of the
# old and of the new stream, part of a month shut in, whether capped, whether no longer producing; a value and a month
(
    RUNNING,
    GAIN,
    PAID,
    ABOVE,
    BELOW,
    LIFE,
    END,
    COST,
    SAVED,
    OUTLAY,
    KEEP,
    NEW,
    PART,
    CAPPED_ROW,
    STOPPED,
    BEST,
    WHERE,
) = range(17)
STATE = 17
"""How many they are."""
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


@njit(cache=True)
def room(rows: int) -> Array:
    """Zeros (rows, COUNT) whose rows are lines of the cache."""
    held = np.zeros(rows * COUNT + _LINE)
    skip = (-held.ctypes.data // 8) % _LINE
    return held[skip : skip + rows * COUNT].reshape(rows, COUNT)


@kernel
def phases(
    ratios: Array,
    trials: IntArray,
    main: int,
    edges: int,
    stride: int,
    work: Array,
    sums: Array,
    volumes: Array,
    ahead: Array,
) -> None:
    """Sums at month edges, volumes by month and over AHEAD months, from the main phase's sums; three blocks of
    `stride` rows each; beyond the last edge the sums stay and the volumes are zero."""
    lead = main * stride
    for k in range(2):
        for m in range(COUNT):
            t = trials[m]
            change = ratios[k, 2, t]
            change = change if change > TINY else 0.0
            moved = ratios[k, 1, t] - ratios[k, 0, t]
            work[0, m], work[1, m], work[2, m] = ratios[k, 1, t], change, moved
            work[3, m] = moved / (2.0 * change) if change > 0.0 else moved
        final, change, moved, half = load(work, 0), load(work, 1), load(work, 2), load(work, 3)
        line = (1 - main if k == 0 else 2) * stride
        zero = every(0.0)
        for i in range(edges):
            x = load(sums, lead + i)
            y = least(x, change)
            store(sums, line + i, fused(y, fused(y, half, zero - moved), x * final))
    for phase in range(3):
        line = phase * stride
        last = load(sums, line + edges - 1)
        for i in range(edges, stride):
            store(sums, line + i, last)
        for i in range(stride - 1):
            store(volumes, line + i, load(sums, line + i + 1) - load(sums, line + i))
        for i in range(stride - AHEAD):
            store(ahead, line + i, load(sums, line + i + AHEAD) - load(sums, line + i))


@kernel
def net_prices(
    oil: Array,
    gas: Array,
    costs: Array,
    trials: IntArray,
    work: Array,
    factors: Array,
    escalation: Array,
    kept: float,
    stride: int,
    price: Array,
) -> None:
    """Net revenue per unit volume less the volume cost of three phases, times `kept`, from benchmark prices."""
    for m in range(COUNT):
        t = trials[m]
        work[0, m], work[1, m], work[2, m] = (
            costs[OIL_DIFFERENTIAL, t],
            costs[GAS_DIFFERENTIAL, t],
            costs[LIQUIDS, t],
        )
        work[3, m], work[4, m], work[5, m] = -costs[OIL_COST, t], -costs[GAS_COST, t], -costs[WATER_COST, t]
    oil_level, gas_level, liquids = load(work, 0), load(work, 1), load(work, 2)
    oil_cost, gas_cost, water_cost = load(work, 3), load(work, 4), load(work, 5)
    oil_factor, gas_factor = every(factors[0] * kept), every(factors[1] * kept)
    for i in range(escalation.size):
        grown = every(escalation[i] * kept)
        a, b = load(oil, i), load(gas, i)
        store(price, i, fused(a + oil_level, oil_factor, oil_cost * grown))
        store(price, stride + i, fused(fused(liquids, a, b + gas_level), gas_factor, gas_cost * grown))
        store(price, 2 * stride + i, water_cost * grown)


@inlined
def margin(
    volumes: Array, at: int, price: Array, price_at: int, stride: int, count: int, out: Array, out_at: int
) -> None:
    """out = sum over phases of volume times price, `count` months."""
    for i in range(count):
        found = load(volumes, at + i) * load(price, price_at + i)
        found = fused(load(volumes, stride + at + i), load(price, stride + price_at + i), found)
        found = fused(load(volumes, 2 * stride + at + i), load(price, 2 * stride + price_at + i), found)
        store(out, out_at + i, found)


@inlined
def hope(
    sums: Array,
    ahead: Array,
    at: int,
    price: Array,
    price_at: int,
    stride: int,
    begin: int,
    stop: int,
    whole: int,
    end: int,
    out: Array,
    out_at: int,
) -> None:
    """As `margin` with the volume of the AHEAD months from each on, i from begin to stop, cut at the stream's
    month `end`; `whole`: months to which it needs no cut."""
    reach = min(stop, whole)
    if begin < reach:
        margin(ahead, at + begin, price, price_at + begin, stride, reach - begin, out, out_at + begin)
    for i in range(max(begin, whole), stop):
        found = (load(sums, end) - load(sums, at + i)) * load(price, price_at + i)
        found = fused(
            load(sums, stride + end) - load(sums, stride + at + i), load(price, stride + price_at + i), found
        )
        found = fused(
            load(sums, 2 * stride + end) - load(sums, 2 * stride + at + i),
            load(price, 2 * stride + price_at + i),
            found,
        )
        store(out, out_at + i, found)


@inlined
def _delivered(
    own: Array, new: Array, own_at: int, stride: int, first: int, upto: int, shares: Array, k: int
) -> Any:
    """Sum over lags first <= lag < upto of both streams' parts of month k."""
    found = every(0.0)
    for lag in range(first, upto):
        found = fused(load(shares, 2 * lag), load(own, lag * stride + own_at + k), found)
        found = fused(load(shares, 2 * lag + 1), load(new, lag * stride + k), found)
    return found


@inlined
def _both_lags(shares: Array, first: int) -> tuple[Any, Any, Any, Any]:
    """Shares of both streams at two lags, held in registers."""
    at = 2 * first
    return load(shares, at), load(shares, at + 1), load(shares, at + 2), load(shares, at + 3)


@inlined
def _delivered_by_two(
    parts: tuple[Any, Any, Any, Any], own: Array, new: Array, line: int, own_at: int, stride: int, k: int
) -> Any:
    """As _delivered of two lags, the first of which stands in row `line`; in the same order."""
    a0, b0, a1, b1 = parts
    found = fused(a0, load(own, line + own_at + k), every(0.0))
    found = fused(b0, load(new, line + k), found)
    found = fused(a1, load(own, line + stride + own_at + k), found)
    return fused(b1, load(new, line + stride + k), found)


@inlined
def look(
    own: Array,
    new: Array,
    own_at: int,
    own_sums: Array,
    own_first: int,
    new_sums: Array,
    expected: Array,
    month: int,
    width: int,
    stride: int,
    first: int,
    lags: int,
    shares: Array,
    needed: Array,
    begin: int,
    stop: int,
    dead: Any,
    life: Any,
) -> tuple[Any, Any]:
    """Lanes that end by the look-ahead rule in months begin <= k < stop, and their last months."""
    alive = negated(dead)
    two = lags - first == 2
    for k in range(begin, min(stop, lags) if two else stop):
        found = _delivered(own, new, own_at, stride, first, min(lags, k + 1), shares, k)
        upto = min(k + AHEAD, width)
        for lag in range(max(first, k + 1), lags):  # what has not come yet
            reach = max(upto - lag, 0)
            a, b = load(shares, 2 * lag), load(shares, 2 * lag + 1)
            for phase in range(3):
                base = phase * stride
                mine = load(own_sums, base + own_first + reach) - load(own_sums, base + own_first)
                other = load(new_sums, base + reach) - load(new_sums, base)
                found = fused(fused(a, mine, b * other), load(expected, base + month + k), found)
        below = alive & (found < load(needed, month + k))
        if some(below):
            life = choose(below, every(float(k - 1)), life)
            alive = alive & negated(below)
    if two:
        parts = _both_lags(shares, first)
        for k in range(max(begin, lags), stop):
            below = alive & (
                _delivered_by_two(parts, own, new, first * stride, own_at, stride, k)
                < load(needed, month + k)
            )
            if some(below):
                life = choose(below, every(float(k - 1)), life)
                alive = alive & negated(below)
    return negated(alive), life


@kernel
def _best(net: Any, k: int, factor: float, running: Any, best: Any, where: Any) -> tuple[Any, Any, Any]:
    """The running total of discounted nets with that of month k, the largest so far and its month."""
    running = fused(net, every(factor), running)
    better = running > best
    return running, choose(better, running, best), choose(better, every(float(k)), where)


@inlined
def best_end(
    own: Array,
    new: Array,
    own_at: int,
    stride: int,
    first: int,
    lags: int,
    shares: Array,
    fixed: Array,
    disc: Array,
    month: int,
    begin: int,
    stop: int,
    running: Any,
    best: Any,
    where: Any,
) -> tuple[Any, Any, Any]:
    """The running discounted net, its largest value and the month of that, of months begin <= k < stop."""
    for k in range(begin, stop):
        net = _delivered(own, new, own_at, stride, first, min(lags, k + 1), shares, k) - load(
            fixed, month + k
        )
        if k == 0:
            running = net * every(disc[month])
            best, where = running, every(0.0)
        else:
            running, best, where = _best(net, k, disc[month + k], running, best, where)
    return running, best, where


@inlined
def marks(
    flows: Array, at: int, begin: int, stop: int, running: Any, paid: Any, above: Any, below: Any
) -> tuple[Any, Any, Any]:
    """First month with a running total of 0 or more, first with one above 0, and last with one below, given those of
    the months before `begin` and the total by then."""
    number = every(float(begin))
    for k in range(begin, stop):
        running = running + load(flows, at + k)
        negative = running < every(0.0)
        below = choose(negative, number, below)
        paid = least(paid, choose(negative, every(NEVER), number))
        above = least(above, choose(running > every(0.0), number, every(NEVER)))
        number = number + every(1.0)
    return paid, above, below


@kernel
def _counted(got: Any, factor: float, sums: tuple[Any, Any, Any, Any]) -> tuple[Any, Any, Any, Any]:
    """Running total, sum of discounted flows, least and largest running total with the flow of one month more."""
    running, gain, lowest, highest = sums
    running = running + got
    return running, fused(got, every(factor), gain), least(lowest, running), most(highest, running)


@kernel
def _flow(
    found: Any,
    number: Any,
    at: int,
    based: Array,
    alone: Array,
    escalation: Array,
    written_off: float,
    saved: Any,
    life: Any,
    end: Any,
    leaving: Any,
) -> Any:
    """Flow after tax, beyond what the well left alone pays, of month `number` from the job on, `at` of the calendar."""
    got = choose(number <= life, found - load(based, at), every(0.0) - load(alone, at))
    got = choose(number == end, fused(leaving, every(-escalation[U(at)]), got), got)
    return fused(every(written_off), saved, got)


@inlined
def flows(
    own: Array,
    new: Array,
    own_at: int,
    stride: int,
    first: int,
    lags: int,
    shares: Array,
    based: Array,
    alone: Array,
    disc: Array,
    escalation: Array,
    write_off: Array,
    month: int,
    begin: int,
    stop: int,
    safe: int,
    known: int,
    last: int,
    tracked: bool,
    leaving: Any,
    state: Array,
    at: int,
    out: Array,
    out_at: int,
) -> None:
    """Flows after tax, beyond what the well left alone pays, of months begin <= k < stop and before `last`, into
    out[out_at + k], and what is summed and marked along them, kept in `state`.

    known: months with a margin; safe: months before any lane ends. The months themselves are looked through for marks
    only where the least and the largest total leave them open.
    """
    start = load(state, at + RUNNING)
    sums = start, load(state, at + GAIN), every(NEVER_MONEY), every(-NEVER_MONEY)
    life, end, saved = load(state, at + LIFE), load(state, at + END), load(state, at + SAVED)
    two = lags - first == 2
    living, stop = min(stop, known), min(stop, last)
    apart = max(begin, min(living, lags) if two else living)
    one, number = every(1.0), every(float(begin))
    for k in range(begin, apart):
        here = month + k
        found = _delivered(own, new, own_at, stride, first, min(lags, k + 1), shares, k)
        got = _flow(
            found, number, here, based, alone, escalation, write_off[U(here)], saved, life, end, leaving
        )
        if k == 0:
            got = got - load(state, at + COST)
        store(out, out_at + k, got)
        sums = _counted(got, disc[U(here)], sums)
        number = number + one
        if k == 0:
            store(state, at + OUTLAY, every(0.0) - sums[0])
    if two:
        parts, plain = _both_lags(shares, first), max(min(living, safe), apart)
        for k in range(apart, plain):
            here = month + k
            found = _delivered_by_two(parts, own, new, first * stride, own_at, stride, k)
            got = fused(every(write_off[U(here)]), saved, found - load(based, here))
            store(out, out_at + k, got)
            sums = _counted(got, disc[U(here)], sums)
        number = every(float(plain))
        for k in range(plain, living):
            here = month + k
            found = _delivered_by_two(parts, own, new, first * stride, own_at, stride, k)
            got = _flow(
                found, number, here, based, alone, escalation, write_off[U(here)], saved, life, end, leaving
            )
            store(out, out_at + k, got)
            sums = _counted(got, disc[U(here)], sums)
            number = number + one
    for k in range(max(begin, living), stop):
        here = month + k
        got = _flow(
            every(0.0), number, here, based, alone, escalation, write_off[U(here)], saved, life, end, leaving
        )
        store(out, out_at + k, got)
        sums = _counted(got, disc[U(here)], sums)
        number = number + one
    running, gain, lowest, highest = sums
    store(state, at + RUNNING, running)
    store(state, at + GAIN, gain)
    if tracked and begin < stop:
        zero, never = every(0.0), every(NEVER)
        paid, above, below = load(state, at + PAID), load(state, at + ABOVE), load(state, at + BELOW)
        crossed = (lowest < zero) & (highest >= zero)
        if some(crossed | ((above == never) & (highest > zero) & (lowest <= zero))):
            paid, above, below = marks(out, out_at, begin, stop, start, paid, above, below)
        else:  # no lane passes zero
            below = choose(lowest < zero, every(float(stop - 1)), below)
            paid = least(paid, choose(lowest < zero, never, every(float(begin))))
            above = least(above, choose(highest > zero, every(float(begin)), never))
        store(state, at + PAID, paid)
        store(state, at + ABOVE, above)
        store(state, at + BELOW, below)


@inlined
def worth(
    volumes: Array, at: int, priced: Array, priced_at: int, count: int, out: Array, out_at: int
) -> None:
    """out[out_at + i + 1] = out[out_at + i] + volume times price, i < count."""
    total = load(out, out_at)
    for i in range(count):
        total = fused(load(volumes, at + i), load(priced, priced_at + i), total)
        store(out, out_at + i + 1, total)


@inlined
def worth_by_two(
    volumes: Array, at: int, priced: Array, priced_at: int, count: int, out: Array, out_at: int, later_at: int
) -> None:
    """As `worth`, and once more with the prices of a month later from out[later_at] on."""
    total, later = load(out, out_at), load(out, later_at)
    for i in range(count):
        volume = load(volumes, at + i)
        total = fused(volume, load(priced, priced_at + i), total)
        later = fused(volume, load(priced, priced_at + i + 1), later)
        store(out, out_at + i + 1, total)
        store(out, later_at + i + 1, later)


@kernel
def not_all(which: Any) -> bool:
    """Whether a lane is false."""
    return some(negated(which))
