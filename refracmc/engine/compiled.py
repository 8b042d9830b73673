"""The cash flow of every strategy compiled by numba: one pass over the months, trial by trial.

The same rules as `cash` in the same units; limit and payout months are identical, values agree to 1e-11
(tests/engine). It needs the optional numba; `cash` alone serves where it is absent. A trial's numbers do not
depend on which other trials or strategies are evaluated with it.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from refracmc.economics.measures import BREAKEVEN_BOUND, IRR_CEILING

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

MONTH_DAYS = 365.25 / 12.0
AHEAD = 12
LANES = 16
LARGEST_FORCE = float(np.log1p(IRR_CEILING) / 12.0)
"""Monthly force of the largest annual rate reported."""
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


@njit(cache=True, error_model="numpy", fastmath=CONTRACT)
def _horner(flows: Array, count: int, v: float, acc: Array) -> float:
    """Sum of flows[i] v^i, i < count; flows padded with zeros to a multiple of LANES."""
    power = v
    for _ in range(4):
        power *= power
    blocks = (count + LANES - 1) // LANES
    for lane in range(LANES):
        acc[lane] = 0.0
    for block in range(blocks - 1, -1, -1):
        part = flows[block * LANES :]
        for lane in range(LANES):
            acc[lane] = acc[lane] * power + part[lane]
    total = 0.0
    for lane in range(LANES - 1, -1, -1):
        total = total * v + acc[lane]
    return total


@njit(cache=True, error_model="numpy", fastmath=CONTRACT)
def _dot(a: Array, b: Array, count: int, acc: Array) -> float:
    """Sum of a[i] b[i], i < count, in LANES running sums added in a fixed order."""
    for lane in range(LANES):
        acc[lane] = 0.0
    whole = count // LANES
    for block in range(whole):
        left, right = a[block * LANES :], b[block * LANES :]
        for lane in range(LANES):
            acc[lane] += left[lane] * right[lane]
    total = 0.0
    for lane in range(LANES):
        total += acc[lane]
    for i in range(whole * LANES, count):
        total += a[i] * b[i]
    return total


@njit(cache=True, error_model="numpy", fastmath=CONTRACT)
def _index(value: float, scale: float) -> float:
    """A net value relative to the first outlay, bent so that it is nearly linear in log force; same sign and zero."""
    relative = value / scale
    return np.log1p(relative) if relative > -0.9 else relative


@njit(cache=True, error_model="numpy", fastmath=CONTRACT)
def _monthly_force(flows: Array, count: int, total: float, guess: float, acc: Array) -> float:
    """Root x > 0 of sum of flows[i] exp(-x i), for flows that cross zero upward once; x is found to rounding.

    At most LARGEST_FORCE. Chandrupatla's bracketed inverse quadratic steps (1997, Adv. Eng. Software 28(3)),
    from a geometric search that starts at `guess`.
    """
    scale = 1.0
    for i in range(count):
        if flows[i] != 0.0:
            scale = abs(flows[i])
            break
    high = LARGEST_FORCE
    f_high = _index(_horner(flows, count, np.exp(-high), acc), scale)
    if f_high >= 0.0:
        return high
    low, f_low = 0.0, _index(total, scale)
    inner = min(guess, 0.5 * high)
    for _ in range(12):
        f_inner = _index(_horner(flows, count, np.exp(-inner), acc), scale)
        if f_inner >= 0.0:
            low, f_low = inner, f_inner
            break
        high, f_high = inner, f_inner
        inner *= 0.5
    # steps are taken in log force between positive ends; from a zero end by halves of the force itself
    a, fa, b, fb = high, f_high, low, f_low
    c, fc = a, fa
    t = (f_high / (f_high - f_low)) if low > 0.0 else 0.5
    for _ in range(200):
        x = a * (b / a) ** t if b > 0.0 and a > 0.0 else a + t * (b - a)
        fx = _index(_horner(flows, count, np.exp(-x), acc), scale)
        if (fx > 0.0) == (fa > 0.0):
            c, fc = a, fa
        else:
            c, fc = b, fb
            b, fb = a, fa
        a, fa = x, fx
        best = a if abs(fa) < abs(fb) else b
        if fa == 0.0 or abs(b - a) <= 2.0e-15 * abs(best):
            return best
        limit = 1.0e-15 * abs(best) / abs(b - a)
        t = 0.5
        if a > 0.0 and b > 0.0 and c > 0.0 and fc != fa and fc != fb:
            span = np.log(b / a)
            xi, phi = span / np.log(b / c), (fa - fb) / (fc - fb)
            if 1.0 - np.sqrt(max(1.0 - xi, 0.0)) < phi < np.sqrt(max(xi, 0.0)):
                t = fa / (fb - fa) * fc / (fb - fc) + np.log(c / a) / span * fa / (fc - fa) * fb / (fc - fb)
        t = min(1.0 - limit, max(limit, t))
    return a


@njit(cache=True, error_model="numpy", fastmath=CONTRACT)
def _look_ahead(volume: Array, months: int, out: Array) -> None:
    """out[i] = sum of volume[i .. i + AHEAD - 1], cut at `months`."""
    running = 0.0
    for i in range(months - 1, -1, -1):
        running += volume[i]
        if i + AHEAD < months:
            running -= volume[i + AHEAD]
        out[i] = running


@njit(cache=True, error_model="numpy", fastmath=CONTRACT)
def _margin(volume: Array, price: Array, start: int, month: int, lag: int, count: int, out: Array) -> None:
    """out[k] = sum over phases of volume[p, start + k - lag] price[p, month + k], 0 for k < lag.

    Slices keep every index of the loop from 0 on, so that it is vectorised.
    """
    size = max(count - lag, 0)
    oil, gas, water = volume[0, start:], volume[1, start:], volume[2, start:]
    first = month + min(lag, count)
    oil_price, gas_price, water_price = price[0, first:], price[1, first:], price[2, first:]
    late = out[min(lag, count) :]
    for k in range(min(lag, count)):
        out[k] = 0.0
    for k in range(size):
        late[k] = oil[k] * oil_price[k] + gas[k] * gas_price[k] + water[k] * water_price[k]


@njit(cache=True, error_model="numpy", fastmath=CONTRACT)
def _ahead_margin(
    total: Array, price: Array, start: int, month: int, lag: int, count: int, out: Array
) -> None:
    """Expected margin of the next AHEAD months for a stream `lag` months late; volumes end at `count`.

    total (3, T + 1): prefix sums of the phases' volumes.
    """
    for k in range(count):
        out[k] = 0.0
    body = max(lag, count - AHEAD)
    for phase in range(3):
        first = total[phase, start]
        for k in range(max(0, lag - AHEAD + 1), min(lag, count)):
            last = min(k + AHEAD, count)
            out[k] += (total[phase, start - lag + last] - first) * price[phase, month + k]
        now, then = total[phase, start:], total[phase, start + AHEAD :]
        worth, late = price[phase, month + lag :], out[lag:]
        for k in range(max(body - lag, 0)):
            late[k] += (then[k] - now[k]) * worth[k]
        for k in range(body, count):
            out[k] += (total[phase, start - lag + count] - total[phase, start - lag + k]) * price[
                phase, month + k
            ]


@njit(cache=True, error_model="numpy", nogil=True, fastmath=CONTRACT)
def value_trials(
    volumes: Array,
    units: Array,
    prices: Array,
    ahead: Array,
    use_ahead: bool,
    fixed: Array,
    holding: Array,
    abandonment: Array,
    main_price: Array,
    main_factor: float,
    main_row: int,
    discount: Array,
    np0: Array,
    terms: Array,
    jobs: Array,
    months: IntArray,
    write_off: Array,
    tax_rate: float,
    working: float,
    lease: int,
    out: Array,
) -> None:
    """Fill `out` (14, S + 1, n); strategy 0 is the well left alone.

    volumes, units, prices, ahead: (3, n, T), phases oil, gas, water; terms (6, n): uplift, q_peak, depletion
    exponent, kept fraction, acceleration fraction, ultimate; jobs (6, S, n): days, cost, kept share, effective
    share, stages effective, lost; months (S,), sorted so that a date's strategies stand together; write_off
    (S, T): tax deductions per unit of job cost by month; the rest as in cash.Money.
    """
    n, horizon = fixed.shape
    count = months.size
    keep_cash = 1.0 - tax_rate
    padded = horizon + LANES
    net, flows, alone = np.empty(horizon), np.zeros(padded), np.empty(horizon)
    acc, pv_alone = np.empty(LANES), np.zeros(horizon + 1)
    own, new = np.empty((3, horizon)), np.empty((3, horizon))
    price, expected = np.empty((3, horizon)), np.empty((3, horizon))
    own_sums, new_sums = np.zeros((3, horizon + 1)), np.zeros((3, horizon + 1))
    own_total, new_total = own_sums[main_row], new_sums[main_row]
    own_main, new_main = own[main_row], new[main_row]
    fixed_ahead, test = np.empty(horizon), np.empty(horizon)
    own_disc, new_disc = np.zeros(horizon + 1), np.zeros(horizon + 1)
    priced, stream = np.empty(horizon), np.empty(horizon)
    lags = 2
    for s in range(count):
        for t in range(n):
            lags = max(lags, int(jobs[0, s, t] / MONTH_DAYS) + 2)
    lags = min(lags, horizon)
    own_margin, new_margin = np.zeros((lags, horizon)), np.zeros((lags, horizon))
    own_ahead, new_ahead = np.zeros((lags, horizon)), np.zeros((lags, horizon))
    ready = np.empty(lags, dtype=np.int64)

    for t in range(n):
        for phase in range(3):
            for i in range(horizon):
                own[phase, i], new[phase, i] = volumes[phase, t, i], units[phase, t, i]
                price[phase, i] = prices[phase, t, i]
        if use_ahead:
            for phase in range(3):
                for i in range(horizon):
                    expected[phase, i] = ahead[phase, t, i]
            _look_ahead(fixed[t], horizon, fixed_ahead)
        for phase in range(3):
            for i in range(horizon):
                own_sums[phase, i + 1] = own_sums[phase, i] + own[phase, i]
                new_sums[phase, i + 1] = new_sums[phase, i] + new[phase, i]

        ratio = 1.0
        for i in range(horizon):
            priced[i] = discount[i] * main_price[t, i]
            own_disc[i + 1] = own_disc[i] + own_main[i] * discount[i]
            new_disc[i + 1] = new_disc[i] + new_main[i] * ratio
            ratio *= discount[1] / discount[0]

        # ---- the well left alone
        _margin(own, price, 0, 0, 0, horizon, net)
        for i in range(horizon):
            net[i] -= fixed[t, i]
        limit = -1
        if use_ahead:
            _ahead_margin(own_sums, expected, 0, 0, 0, horizon, test)
            limit = horizon - 1
            for i in range(horizon):
                if test[i] - fixed_ahead[i] < 0.0:
                    limit = i - 1
                    break
        else:
            best, running = 0.0, 0.0
            for i in range(horizon):
                running += net[i] * discount[i]
                if running > best:
                    best, limit = running, i
        end = min(limit + 1, horizon - 1)
        for i in range(horizon):
            if i > limit:
                net[i] = 0.0
            pv_alone[i + 1] = pv_alone[i] + net[i] * keep_cash * discount[i]
            alone[i] = net[i] * keep_cash
        alone[end] -= abandonment[t, end] * keep_cash
        npv0 = pv_alone[horizon] - abandonment[t, end] * keep_cash * discount[end]
        eur0 = np0[t] + own_total[limit + 1]
        for r in range(14):
            out[r, 0, t] = 0.0
        out[NPV, 0, t], out[EUR, 0, t] = npv0, eur0
        out[IRR, 0, t] = out[PAYOUT, 0, t] = out[BREAKEVEN, 0, t] = np.nan

        # ---- the strategies
        previous, forgone, forgone_value = -1, 0.0, 0.0
        for s in range(count):
            month = months[s]
            idle = month - 1 - limit
            row = s + 1
            if idle > lease:
                for r in range(14):
                    out[r, row, t] = 0.0
                out[NPV, row, t], out[EUR, row, t] = npv0, eur0
                out[IRR, row, t] = out[PAYOUT, row, t] = out[BREAKEVEN, row, t] = np.nan
                continue
            resume = min(limit + 1, month)
            width = horizon - month
            if month != previous:
                previous = month
                for lag in range(lags):
                    ready[lag] = 0
                forgone, forgone_value = 0.0, 0.0
                if limit >= resume:
                    forgone = own_disc[limit + 1] - own_disc[resume]
                    forgone_value = _dot(own_main[resume:], priced[resume:], limit + 1 - resume, acc)
            days, gross = jobs[0, s, t], jobs[1, s, t]
            lost = jobs[5, s, t] > 0.5
            alive = 0.0 if lost else 1.0

            # response
            ultimate, alpha = terms[5, t], terms[4, t]
            produced = np0[t] + own_total[resume]
            depletion = min(produced / ultimate, 1.0)
            kept = terms[3, t] * jobs[2, s, t] * alive
            raw = terms[0, t] * terms[1, t] * jobs[3, s, t] * alive * (1.0 - depletion) ** terms[2, t]
            old = kept * (own_total[horizon] - own_total[resume])
            fresh = raw * new_total[width]
            room = ultimate - produced - old
            allowed = 0.0
            if room >= 0.0:
                allowed = room + old
                if alpha < 1.0:
                    allowed = min(allowed, room / (1.0 - alpha))
            scale = allowed / fresh if allowed < fresh else 1.0
            forward = min(alpha * scale * fresh / old, 1.0) if old > 0.0 else 0.0
            q2, keep = raw * scale, kept * (1.0 - forward)

            # streams move by the days shut in
            down = days / MONTH_DAYS
            whole = int(down)
            part = down - whole
            whole = min(whole, width)
            for step in range(2):
                lag = whole + step
                if lag < width and ready[lag] == 0:
                    ready[lag] = 1
                    _margin(own, price, resume, month, lag, width, own_margin[lag])
                    _margin(new, price, 0, month, lag, width, new_margin[lag])
                    if use_ahead:
                        _ahead_margin(own_sums, expected, resume, month, lag, width, own_ahead[lag])
                        _ahead_margin(new_sums, expected, 0, month, lag, width, new_ahead[lag])
            a0, b0 = keep * (1.0 - part), q2 * (1.0 - part)
            a1, b1 = keep * part, q2 * part
            first_lag, second_lag = min(whole, lags - 1), min(whole + 1, lags - 1)
            if whole >= width:
                a0, b0 = 0.0, 0.0
            if whole + 1 >= width:
                a1, b1 = 0.0, 0.0
            own_0, own_1 = own_margin[first_lag], own_margin[second_lag]
            new_0, new_1 = new_margin[first_lag], new_margin[second_lag]

            # life, and the operating net up to it
            life = 0
            if use_ahead and not lost:
                near_own, near_new = own_ahead[first_lag], new_ahead[first_lag]
                far_own, far_new = own_ahead[second_lag], new_ahead[second_lag]
                life = width - 1
                needed = fixed_ahead[month:]
                for k in range(1, width):
                    if a0 * near_own[k] + b0 * near_new[k] + a1 * far_own[k] + b1 * far_new[k] < needed[k]:
                        life = k - 1
                        break
            known = 1 if lost else life + 1 if use_ahead else width
            fixed_here, disc, alone_here = fixed[t, month:], discount[month:], alone[month:]
            for k in range(known):
                net[k] = a0 * own_0[k] + b0 * new_0[k] + a1 * own_1[k] + b1 * new_1[k] - fixed_here[k]
            if not use_ahead and not lost:
                running = net[0] * discount[month]
                best = running
                for k in range(1, width):
                    running += net[k] * discount[month + k]
                    if running > best:
                        best, life = running, k
            end = min(life + 1, width - 1)
            cost = gross * working

            # cash after tax, incremental flows from the first month that differs
            first = resume
            npv = pv_alone[first]
            shift = month - first
            for i in range(first, month):
                cash = -holding[t, i] * keep_cash
                npv += cash * discount[i]
                flows[i - first] = cash - alone[i]
            inc = flows[shift:]
            for k in range(life + 1):
                inc[k] = net[k] * keep_cash - alone_here[k]
            npv += keep_cash * _dot(net, disc, life + 1, acc)
            last = width if tax_rate > 0.0 else min(max(life, limit - month) + 2, width)
            for k in range(life + 1, last):
                inc[k] = -alone_here[k]
            given_up = abandonment[t, month + end] * keep_cash
            flows[shift + end] -= given_up
            flows[shift] -= cost
            npv -= given_up * discount[month + end] + cost * discount[month]
            if tax_rate > 0.0:
                for k in range(width):
                    relief = write_off[s, month + k] * cost * tax_rate
                    flows[shift + k] += relief
                    npv += relief * discount[month + k]
            gain = npv - npv0
            size = shift + last
            for k in range(size, size + LANES):
                flows[k] = 0.0

            # payout, IRR
            running, crossings, sign, paid = 0.0, 0, 0, -1
            for k in range(size):
                running += flows[k]
                now = 1 if running > 0.0 else -1 if running < 0.0 else 0
                if now != sign and now != 0:
                    if sign < 0:
                        crossings += 1
                    elif sign > 0 or now > 0:
                        crossings += 2
                    sign = now
                if paid < 0 and k >= shift and now >= 0:
                    paid = k
            payout = paid - shift + 1.0 if paid >= 0 else np.nan
            rate = np.nan
            if crossings == 1 and sign > 0:
                force = _monthly_force(flows, size, running, 1.0 / (1.0 + paid), acc)
                rate = min(np.expm1(12.0 * force), IRR_CEILING)

            # volumes and the break-even price of the main phase
            upto = life + 1
            volume, value = -forgone, -forgone_value
            early, late = 1.0 - part, part
            got, later = max(upto - whole, 0), max(upto - whole - 1, 0)
            old0 = own_total[resume]
            made = old0 + early * (keep * (own_total[resume + got] - old0) + q2 * new_total[got])
            made += late * (keep * (own_total[resume + later] - old0) + q2 * new_total[later])
            if got > 0:
                here = month + whole
                step = discount[here] / discount[resume]
                own_then = own_disc[resume + got] - own_disc[resume]
                volume += early * (keep * step * own_then + q2 * discount[here] * new_disc[got])
                stream[0] = early * (keep * own_main[resume] + q2 * new_main[0])
                near_own_main, near_new_main = own_main[resume + 1 :], new_main[1:]
                far_own_main, rest = own_main[resume:], stream[1:]
                for j in range(got - 1):
                    rest[j] = early * (keep * near_own_main[j] + q2 * near_new_main[j]) + late * (
                        keep * far_own_main[j] + q2 * new_main[j]
                    )
                value += _dot(stream, priced[here:], got, acc)
                if later > 0:
                    own_then = own_disc[resume + later] - own_disc[resume]
                    step = discount[here + 1] / discount[resume]
                    volume += late * (keep * step * own_then + q2 * discount[here + 1] * new_disc[later])
            volume *= keep_cash * main_factor
            value *= keep_cash * main_factor

            out[NPV, row, t] = npv
            out[INCREMENTAL_NPV, row, t] = gain
            out[IRR, row, t] = rate
            out[PAYOUT, row, t] = payout
            out[EUR, row, t] = np0[t] + made
            out[INCREMENTAL_EUR, row, t] = np0[t] + made - eur0
            out[BREAKEVEN, row, t] = np.nan
            if volume > 0.0:
                level = (value - gain) / volume
                out[BREAKEVEN, row, t] = max(min(level, BREAKEVEN_BOUND), -BREAKEVEN_BOUND)
            out[JOB_DAYS, row, t] = days
            out[JOB_COST, row, t] = gross
            out[CAPEX, row, t] = cost
            out[DISCOUNTED_CAPEX, row, t] = cost * discount[month]
            out[EFFECTIVE, row, t] = jobs[4, s, t]
            out[EXECUTED, row, t] = 1.0
            out[CAPPED, row, t] = 1.0 if scale < 1.0 else 0.0


def warm() -> None:
    """Compile, or load from the cache, for the argument types the engine uses."""
    one, cube = np.ones((1, 12)), np.ones((3, 1, 12))
    value_trials(
        cube,
        cube,
        cube,
        cube,
        False,
        one,
        one,
        one,
        one,
        1.0,
        0,
        np.ones(12),
        np.ones(1),
        np.ones((6, 1)),
        np.ones((6, 1, 1)),
        np.zeros(1, dtype=np.int64),
        np.zeros((1, 12)),
        0.0,
        1.0,
        0,
        np.empty((14, 2, 1)),
    )
