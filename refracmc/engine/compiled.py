"""The cash flow of every strategy compiled by numba, some trials side by side, from drawn streams and prices on.

The same rules as `cash` in the same units; limit and payout months are identical, values agree to 1e-11
(tests/engine). It needs the optional numba; `cash` alone serves where it is absent. A trial's numbers do not
depend on which other trials, strategies or measures are asked for with it.

Trials go in groups of COUNT, one a lane (`lanes`): a loop runs over months, and every month is worked for the whole
group. What strategies share is made once, and only as far as the lives reach: the margin of the own stream by its
delay, that of the new one by delay and date. The strategies of a date are worked together, some months at a time, so
that these tables stay in the cache. Tables have a row a month, those of three phases or of several delays stand one
below the other, `stride` rows each; `k` counts months from the date of the job.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from refracmc.economics.measures import BREAKEVEN_BOUND, IRR_CEILING

from .compiled_months import (
    ABANDONMENT,
    ABOVE,
    AHEAD,
    BELOW,
    BEST,
    CAPPED_ROW,
    COST,
    END,
    FIXED,
    GAIN,
    HOLDING,
    KEEP,
    LIFE,
    NEVER,
    NEW,
    OUTLAY,
    PAD,
    PAID,
    PART,
    RUNNING,
    SAVED,
    STATE,
    STOPPED,
    WHERE,
    best_end,
    hope,
    look,
    margin,
    net_prices,
    not_all,
    phases,
    room,
)
from .compiled_months import (
    count as counted,
)
from .compiled_months import (
    flows as fill_flows,
)
from .compiled_months import (
    worth as running_worth,
)
from .compiled_rate import forces, single_rate
from .lanes import (
    CONTRACT,
    COUNT,
    choose,
    every,
    fused,
    growth,
    inlined,
    lane,
    least,
    load,
    put,
    some,
    store,
    turn,
)

BUILT_IN = "f1b135b08245abf6"
"""Digest of the modules whose code is built in here: the compiler keeps what it made until this file changes."""
Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

MONTH_DAYS = 365.25 / 12.0
SPAN = 64
"""Months worked for all strategies of a date before the next ones."""
# rows held of a group: fixed, abandonment and holding cost, month limit, NPV and EUR of the well left alone, produced
# and remaining volume at the date, decay of the response by it, rate of return of a strategy
(
    H_FIXED,
    H_LEAVING,
    H_HOLDING,
    H_LIMIT,
    H_NPV,
    H_EUR,
    H_PRODUCED,
    H_REMAINING,
    H_DECAY,
    H_RATE,
) = range(10)
HELD = 10
"""How many they are."""
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


@inlined
def _left_alone(made: Array, row: int, m: int, hold: Array) -> None:
    """The results of a lane whose lease has ended before the job."""
    for r in range(14):
        made[r, row, m] = 0.0
    made[NPV, row, m], made[EUR, row, m] = hold[H_NPV, m], hold[H_EUR, m]
    made[IRR, row, m] = made[PAYOUT, row, m] = made[BREAKEVEN, row, m] = np.nan


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
    tracked = want_payout or want_irr
    stride = horizon + PAD + SPAN
    most_lags = 2
    for s in range(count):
        for t in range(n):
            most_lags = max(most_lags, int(jobs[0, s, t] / MONTH_DAYS) + 2)
    most_lags = min(most_lags, horizon + 1)
    wide, same = 1, 1
    for s in range(1, count):
        same = same + 1 if months[s] == months[s - 1] else 1
        wide = max(wide, same)
    trials, at_row = np.empty(COUNT, np.int64), np.empty(COUNT, np.int64)
    own_sums, new_sums = room(3 * stride), room(3 * stride)
    own_volumes, new_volumes = room(3 * stride), room(3 * stride)
    own_twelve, new_twelve = room(3 * stride), room(3 * stride)
    dated_sums, dated_volumes, dated_twelve = room(3 * stride), room(3 * stride), room(3 * stride)
    price, expected = room(3 * stride), room(3 * stride)
    oil_path, gas_path = room(stride), room(stride)
    priced = room(stride)
    own_margin, own_hope = room(most_lags * stride), room(most_lags * stride)
    new_margin, new_hope = room(most_lags * stride), room(most_lags * stride)
    own_worth, new_worth = room(most_lags * stride), room(most_lags * stride)
    own_filled, own_hoped = np.zeros(most_lags, np.int64), np.zeros(most_lags, np.int64)
    new_filled, new_hoped = np.zeros(most_lags, np.int64), np.zeros(most_lags, np.int64)
    new_disc = room(stride)
    alone_priced, alone_disc = room(stride), room(stride)
    fixed, based, needed = room(stride), room(stride), room(stride)
    flows, alone = room(wide * stride), room(stride)
    before = room(min(lease, horizon) + 2)
    share_rows = 2 * most_lags
    shares = room(wide * share_rows)
    state = room(wide * STATE)
    work, hold = room(8), room(HELD)
    firsts, lagses, knowns = np.zeros(wide, np.int64), np.zeros(wide, np.int64), np.zeros(wide, np.int64)
    safes, lasts, open_ = np.zeros(wide, np.int64), np.zeros(wide, np.int64), np.zeros(wide, np.bool_)
    single, timed_flows, scratch = (
        np.zeros(2 * stride + 16),
        np.zeros(2 * stride + 16),
        np.zeros(2 * stride + 16),
    )
    limits, resumes, idles = np.zeros(COUNT, np.int64), np.zeros(COUNT, np.int64), np.zeros(COUNT, np.int64)
    wholes = np.zeros((wide, COUNT), np.int64)
    skipped = np.zeros(COUNT, np.bool_)
    made = np.empty((14, 1 + count, COUNT))
    disc, ahead_cost = np.zeros(stride), np.zeros(stride)
    for i in range(horizon):
        disc[i] = discount[i]
        for k in range(i, min(i + AHEAD, horizon)):
            ahead_cost[i] += escalation[k]
    monthly_force = np.log(disc[0] / disc[1]) if horizon > 1 else 0.0
    zero, one = every(0.0), every(1.0)
    lead = main_row * stride
    never = every(NEVER)

    for group in range(0, n, COUNT):
        for m in range(COUNT):
            trials[m] = min(group + m, n - 1)
            at_row[m] = rows[trials[m]]
        turn(table, at_row, horizon + 1, own_sums, main_row * stride)
        turn(unit, trials, horizon + 1, new_sums, main_row * stride)
        phases(own_ratios, trials, main_row, horizon + 1, stride, work, own_sums, own_volumes, own_twelve)
        phases(unit_ratios, trials, main_row, horizon + 1, stride, work, new_sums, new_volumes, new_twelve)
        if use_ahead:
            turn(oil_ahead, trials, horizon, oil_path, 0)
            turn(gas_ahead, trials, horizon, gas_path, 0)
            net_prices(oil_path, gas_path, costs, trials, work, factors, escalation, 1.0, stride, expected)
        turn(oil, trials, horizon, oil_path, 0)
        turn(gas, trials, horizon, gas_path, 0)
        net_prices(oil_path, gas_path, costs, trials, work, factors, escalation, keep_cash, stride, price)
        for m in range(COUNT):
            hold[H_FIXED, m] = costs[FIXED, trials[m]]
            hold[H_LEAVING, m] = costs[ABANDONMENT, trials[m]] * keep_cash
            hold[H_HOLDING, m] = costs[HOLDING, trials[m]] * keep_cash
        monthly, leaving = load(hold, H_FIXED), load(hold, H_LEAVING)
        for i in range(horizon):
            store(fixed, i, monthly * every(escalation[i] * keep_cash))
            store(needed, i, monthly * every(ahead_cost[i]))
        for i in range(most_lags):
            own_filled[i], own_hoped[i] = i, i

        # ---- the wells left alone
        margin(own_volumes, 0, price, 0, stride, horizon, own_margin, 0)
        own_filled[0] = horizon
        if use_ahead:
            hope(
                own_sums,
                own_twelve,
                0,
                expected,
                0,
                stride,
                0,
                horizon,
                horizon + 1 - AHEAD,
                horizon,
                own_hope,
                0,
            )
            own_hoped[0] = horizon
            end = every(float(horizon))
            for i in range(horizon):
                end = least(end, choose(load(own_hope, i) < load(needed, i), every(float(i)), never))
            store(hold, H_LIMIT, end - one)
        else:
            running, best, where = zero, zero, every(-1.0)
            for i in range(horizon):
                running = fused(load(own_margin, i) - load(fixed, i), every(disc[i]), running)
                better = running > best
                best, where = choose(better, running, best), choose(better, every(float(i)), where)
            store(hold, H_LIMIT, where)
        limit = load(hold, H_LIMIT)
        end = least(limit + one, every(float(horizon - 1)))
        npv0 = zero
        for i in range(horizon):
            month_number = every(float(i))
            living, left = (
                month_number <= limit,
                choose(month_number == end, leaving * every(escalation[i]), zero),
            )
            got = choose(living, load(own_margin, i) - load(fixed, i), zero) - left
            npv0 = fused(got, every(disc[i]), npv0)
            store(alone, i, got)
            # the margin itself while it lives, so that a stream left as it is differs by nothing
            store(based, i, choose(living, load(own_margin, i), load(fixed, i)) - left)
        store(hold, H_NPV, npv0)
        last_limit = 0
        for m in range(COUNT):
            limits[m] = int(hold[H_LIMIT, m])
            last_limit = max(last_limit, limits[m])
            first_sum = own_sums[main_row * stride, m]
            hold[H_EUR, m] = np0[trials[m]] + (own_sums[main_row * stride + limits[m] + 1, m] - first_sum)
            for r in range(14):
                made[r, 0, m] = 0.0
            made[NPV, 0, m], made[EUR, 0, m] = hold[H_NPV, m], hold[H_EUR, m]
            made[IRR, 0, m] = made[PAYOUT, 0, m] = made[BREAKEVEN, 0, m] = np.nan
        if want_breakeven:  # running sums, one place late: row i holds the months before i
            path = oil_path if main_row == 0 else gas_path
            worth, volume, own = zero, zero, main_row * stride
            for i in range(horizon):
                store(priced, i, load(path, i) * every(disc[i]))
                store(alone_disc, i, volume)
                store(alone_priced, i, worth)
                volume = fused(load(own_volumes, own + i), every(disc[i]), volume)
                worth = fused(load(own_volumes, own + i), load(priced, i), worth)
            store(alone_disc, horizon, volume)
            store(alone_priced, horizon, worth)
            worth = zero
            for i in range(horizon):
                store(new_disc, i, worth)
                worth = fused(load(new_volumes, own + i), every(disc[i]), worth)
            store(new_disc, horizon, worth)

        # ---- the strategies, date by date
        shifted, s0 = False, 0
        while s0 < count:
            month, s1 = months[s0], s0 + 1
            while s1 < count and months[s1] == month:
                s1 += 1
            at_date = s1 - s0
            width = horizon - month
            most_idle, all_skipped = 0, True
            for m in range(COUNT):
                skipped[m] = month - 1 - limits[m] > lease
                resumes[m] = month if skipped[m] else min(limits[m] + 1, month)
                idles[m] = month - resumes[m]
                all_skipped = all_skipped and skipped[m]
                most_idle = max(most_idle, idles[m])
            if all_skipped:
                for s in range(s0, s1):
                    for m in range(COUNT):
                        _left_alone(made, s + 1, m, hold)
                s0 = s1
                continue
            moved, shifted = shifted, most_idle > 0
            if moved or shifted:
                for lag in range(most_lags):
                    own_filled[lag], own_hoped[lag] = lag, lag
            for lag in range(most_lags):
                new_filled[lag], new_hoped[lag] = lag, lag
            for m in range(COUNT):
                t = trials[m]
                produced = np0[t] + (own_sums[lead + resumes[m], m] - own_sums[lead, m])
                hold[H_PRODUCED, m] = produced
                hold[H_REMAINING, m] = own_sums[lead + horizon, m] - own_sums[lead + resumes[m], m]
                hold[H_DECAY, m] = (1.0 - min(produced / terms[5, t], 1.0)) ** terms[2, t]
            if shifted:
                for m in range(COUNT):
                    for phase in range(3):
                        base = phase * stride
                        for k in range(width + 1):
                            dated_sums[base + k, m] = own_sums[base + resumes[m] + k, m]
                for phase in range(3):
                    base = phase * stride
                    for k in range(width + 1, stride):
                        store(dated_sums, base + k, load(dated_sums, base + width))
                for phase in range(3):
                    base = phase * stride
                    for k in range(stride - 1):
                        store(
                            dated_volumes,
                            base + k,
                            load(dated_sums, base + k + 1) - load(dated_sums, base + k),
                        )
                    for k in range(stride - AHEAD):
                        store(
                            dated_twelve,
                            base + k,
                            load(dated_sums, base + k + AHEAD) - load(dated_sums, base + k),
                        )
                for d in range(most_idle + 1):
                    store(before, d, zero)
                for m in range(COUNT):
                    for i in range(idles[m]):
                        at = resumes[m] + i
                        before[idles[m] - i, m] = -hold[H_HOLDING, m] * escalation[at] - alone[at, m]
            # own streams: months of the calendar, or of the date where a well stood idle before it
            own_at = 0 if shifted else month
            the_sums = dated_sums if shifted else own_sums
            the_volumes = dated_volumes if shifted else own_volumes
            the_twelve = dated_twelve if shifted else own_twelve
            the_month = month if shifted else 0
            the_end = width if shifted else horizon

            # ---- response, and the shares of the streams by lag
            date_first, date_lags = most_lags, 0
            for q in range(at_date):
                s, at = s0 + q, q * STATE
                first, lags = most_lags, 0
                for m in range(COUNT):
                    t = trials[m]
                    days, gross = jobs[0, s, t], jobs[1, s, t]
                    stopped = jobs[5, s, t] > 0.5 or skipped[m]
                    alive = 0.0 if stopped else 1.0
                    ultimate, alpha = terms[5, t], terms[4, t]
                    kept = terms[3, t] * jobs[2, s, t] * alive
                    raw = terms[0, t] * terms[1, t] * jobs[3, s, t] * alive * hold[H_DECAY, m]
                    old = kept * hold[H_REMAINING, m]
                    fresh = raw * (new_sums[lead + width, m] - new_sums[lead, m])
                    space = ultimate - hold[H_PRODUCED, m] - old
                    allowed = 0.0
                    if space >= 0.0:
                        allowed = space + old
                        if alpha < 1.0:
                            allowed = min(allowed, space / (1.0 - alpha))
                    scale = allowed / fresh if allowed < fresh else 1.0
                    forward = min(alpha * scale * fresh / old, 1.0) if old > 0.0 else 0.0
                    down = 0.0 if skipped[m] else days / MONTH_DAYS
                    whole = int(down)
                    state[at + PART, m] = down - whole
                    whole = min(whole, width)
                    wholes[q, m] = whole
                    first, lags = min(first, whole), max(lags, whole + 2)
                    state[at + KEEP, m], state[at + NEW, m] = kept * (1.0 - forward), raw * scale
                    state[at + CAPPED_ROW, m] = 1.0 if scale < 1.0 else 0.0
                    state[at + COST, m] = 0.0 if skipped[m] else gross * working
                    state[at + STOPPED, m] = 1.0 if stopped else 0.0
                lags = min(lags, most_lags)
                firsts[q], lagses[q] = first, lags
                date_first, date_lags = min(date_first, first), max(date_lags, lags)
                base = q * share_rows
                for lag in range(2 * first, 2 * lags):
                    store(shares, base + lag, zero)
                for m in range(COUNT):
                    keep, q2, part, row = (
                        state[at + KEEP, m],
                        state[at + NEW, m],
                        state[at + PART, m],
                        base + 2 * wholes[q, m],
                    )
                    if wholes[q, m] < lags:
                        shares[row, m], shares[row + 1, m] = keep * (1.0 - part), q2 * (1.0 - part)
                    if wholes[q, m] + 1 < lags:
                        shares[row + 2, m], shares[row + 3, m] = keep * part, q2 * part

            # ---- lives, all strategies of the date by some months at a time
            for q in range(at_date):
                at = q * STATE
                stopped = load(state, at + STOPPED) > zero
                store(state, at + LIFE, choose(stopped, zero, every(float(width - 1))))
                knowns[q] = width
                open_[q] = not_all(stopped)
            if use_ahead:
                begin, unknown = 1, True
                while begin < width and unknown:
                    stop = min(begin + SPAN, width)
                    unknown = False
                    for lag in range(date_first, date_lags):
                        if own_hoped[lag] < own_at + stop:
                            hope(
                                the_sums,
                                the_twelve,
                                -lag,
                                expected,
                                the_month,
                                stride,
                                own_hoped[lag],
                                own_at + stop,
                                the_end + 1 - AHEAD,
                                max(the_end - lag, 0),
                                own_hope,
                                lag * stride,
                            )
                            own_hoped[lag] = own_at + stop
                        if new_hoped[lag] < stop:
                            hope(
                                new_sums,
                                new_twelve,
                                -lag,
                                expected,
                                month,
                                stride,
                                new_hoped[lag],
                                stop,
                                width + 1 - AHEAD,
                                max(width - lag, 0),
                                new_hope,
                                lag * stride,
                            )
                            new_hoped[lag] = stop
                    for q in range(at_date):
                        if open_[q]:
                            at = q * STATE
                            dead, life = look(
                                own_hope,
                                new_hope,
                                own_at,
                                the_sums,
                                own_at,
                                new_sums,
                                expected,
                                month,
                                width,
                                stride,
                                firsts[q],
                                lagses[q],
                                shares[q * share_rows : (q + 1) * share_rows],
                                needed,
                                begin,
                                stop,
                                load(state, at + STOPPED) > zero,
                                load(state, at + LIFE),
                            )
                            store(state, at + LIFE, life)
                            store(state, at + STOPPED, choose(dead, one, zero))
                            open_[q] = not_all(dead)
                            unknown = unknown or open_[q]
                    begin = stop
                for q in range(at_date):
                    knowns[q] = 0
                    for m in range(COUNT):
                        knowns[q] = max(knowns[q], int(state[q * STATE + LIFE, m]) + 1)
            reach = 0
            for q in range(at_date):
                reach = max(reach, knowns[q])

            # ---- flows after tax beyond those of the well left alone
            for step in range(1 if use_ahead else 0, 2):
                for q in range(at_date):
                    at = q * STATE
                    if step:
                        top, safes[q] = 0, width - 1
                        for m in range(COUNT):
                            top = max(top, int(state[at + LIFE, m]))
                            safes[q] = min(safes[q], int(state[at + LIFE, m]) + 1)  # months before any end
                        lasts[q] = width if tax_rate > 0.0 else min(max(top, last_limit - month) + 2, width)
                        reach = max(reach, lasts[q])
                        store(state, at + END, least(load(state, at + LIFE) + one, every(float(width - 1))))
                        store(state, at + SAVED, load(state, at + COST) * every(tax_rate))
                        running, gain = zero, zero
                        above, below = never, zero - never
                        for d in range(most_idle, 0, -1):
                            running, gain, _, above, below = counted(
                                load(before, d),
                                every(-float(d)),
                                disc[month - d],
                                tracked,
                                running,
                                gain,
                                never,
                                above,
                                below,
                            )
                        store(state, at + RUNNING, running)
                        store(state, at + GAIN, gain)
                        store(state, at + PAID, never)
                        store(state, at + ABOVE, above)
                        store(state, at + BELOW, below)
                for begin in range(0, reach, SPAN):
                    stop = min(begin + SPAN, reach)
                    for lag in range(date_first, date_lags):
                        if own_filled[lag] < own_at + stop:
                            margin(
                                the_volumes,
                                own_filled[lag] - lag,
                                price,
                                the_month + own_filled[lag],
                                stride,
                                own_at + stop - own_filled[lag],
                                own_margin,
                                lag * stride + own_filled[lag],
                            )
                            own_filled[lag] = own_at + stop
                        if new_filled[lag] < stop:
                            margin(
                                new_volumes,
                                new_filled[lag] - lag,
                                price,
                                month + new_filled[lag],
                                stride,
                                stop - new_filled[lag],
                                new_margin,
                                lag * stride + new_filled[lag],
                            )
                            new_filled[lag] = stop
                    for q in range(at_date):
                        at, part_of = q * STATE, shares[q * share_rows : (q + 1) * share_rows]
                        if step:
                            fill_flows(
                                own_margin,
                                new_margin,
                                own_at,
                                stride,
                                firsts[q],
                                lagses[q],
                                part_of,
                                based,
                                alone,
                                disc,
                                escalation,
                                write_off[s0 + q],
                                month,
                                begin,
                                stop,
                                safes[q],
                                knowns[q],
                                lasts[q],
                                tracked,
                                leaving,
                                state,
                                at,
                                flows,
                                q * stride,
                            )
                        else:
                            running, best, where = best_end(
                                own_margin,
                                new_margin,
                                own_at,
                                stride,
                                firsts[q],
                                lagses[q],
                                part_of,
                                fixed,
                                disc,
                                month,
                                begin,
                                stop,
                                load(state, at + RUNNING),
                                load(state, at + BEST),
                                load(state, at + WHERE),
                            )
                            store(state, at + RUNNING, running)
                            store(state, at + BEST, best)
                            store(state, at + WHERE, where)
                if not step:
                    for q in range(at_date):
                        at = q * STATE
                        store(
                            state,
                            at + LIFE,
                            choose(load(state, at + STOPPED) > zero, zero, load(state, at + WHERE)),
                        )

            # ---- running values of the main phase
            if want_breakeven:
                far = 0
                for q in range(at_date):
                    for m in range(COUNT):
                        far = max(far, int(state[q * STATE + LIFE, m]) + 1)
                for lag in range(date_first, date_lags):
                    # from the date on, so that no trial's sums depend on whether a neighbour stood idle before it
                    row = lag * stride + own_at + lag
                    store(own_worth, row, zero)
                    running_worth(
                        the_volumes,
                        lead + own_at,
                        priced,
                        the_month + own_at + lag,
                        far - lag,
                        own_worth,
                        row,
                    )
                    row = lag * stride + lag
                    store(new_worth, row, zero)
                    running_worth(new_volumes, lead, priced, month + lag, far - lag, new_worth, row)

            # ---- results
            for q in range(at_date):
                s, row, at = s0 + q, s0 + q + 1, q * STATE
                running, gain, outlay = (
                    load(state, at + RUNNING),
                    load(state, at + GAIN),
                    load(state, at + OUTLAY),
                )
                last = lasts[q]
                for k in range(last, last + 7):
                    store(flows, q * stride + k, zero)
                store(hold, H_RATE, every(np.nan))
                if want_irr:
                    crossing = (
                        (outlay > zero)
                        & (running > zero)
                        & (load(state, at + BELOW) < load(state, at + ABOVE))
                    )
                    here = flows[q * stride : (q + 1) * stride]
                    force, odd = forces(
                        here,
                        last,
                        before,
                        most_idle,
                        running,
                        gain / every(disc[month]),
                        monthly_force,
                        outlay,
                        crossing,
                    )
                    store(
                        hold,
                        H_RATE,
                        choose(
                            crossing, least(growth(every(12.0) * force), every(IRR_CEILING)), every(np.nan)
                        ),
                    )
                    odd = odd | ((outlay <= zero) & (running > zero))
                    if some(odd):
                        for m in range(COUNT):
                            if lane(odd, m):
                                hold[H_RATE, m] = single_rate(
                                    here, before, m, idles[m], last, single, timed_flows, scratch
                                )
                for m in range(COUNT):
                    if skipped[m]:
                        _left_alone(made, row, m, hold)
                        continue
                    t, resume, whole, lived = trials[m], resumes[m], wholes[q, m], int(state[at + LIFE, m])
                    keep, q2, part = state[at + KEEP, m], state[at + NEW, m], state[at + PART, m]
                    a0, b0, a1, b1 = keep * (1.0 - part), q2 * (1.0 - part), keep * part, q2 * part
                    gain_here = state[at + GAIN, m]
                    got, later = max(lived + 1 - whole, 0), max(lived - whole, 0)
                    own_first, new_first = own_sums[lead + resume, m], new_sums[lead, m]
                    recovered = hold[H_PRODUCED, m] + a0 * (own_sums[lead + resume + got, m] - own_first)
                    recovered += b0 * (new_sums[lead + got, m] - new_first)
                    recovered += a1 * (own_sums[lead + resume + later, m] - own_first)
                    recovered += b1 * (new_sums[lead + later, m] - new_first)
                    level = np.nan
                    if want_breakeven:
                        volume, value, limit_here = 0.0, 0.0, limits[m]
                        if limit_here >= resume:
                            volume -= alone_disc[limit_here + 1, m] - alone_disc[resume, m]
                            value -= alone_priced[limit_here + 1, m] - alone_priced[resume, m]
                        if got > 0:
                            one_late = disc[month + whole]
                            line = whole * stride
                            volume += (
                                a0
                                * (one_late / disc[resume])
                                * (alone_disc[resume + got, m] - alone_disc[resume, m])
                            )
                            volume += b0 * (one_late / disc[0]) * new_disc[got, m]
                            value += a0 * (
                                own_worth[line + own_at + lived + 1, m] - own_worth[line + own_at + whole, m]
                            )
                            value += b0 * new_worth[line + lived + 1, m]
                        if later > 0:
                            one_late = disc[month + whole + 1]
                            line = (whole + 1) * stride
                            volume += (
                                a1
                                * (one_late / disc[resume])
                                * (alone_disc[resume + later, m] - alone_disc[resume, m])
                            )
                            volume += b1 * (one_late / disc[0]) * new_disc[later, m]
                            value += a1 * (
                                own_worth[line + own_at + lived + 1, m]
                                - own_worth[line + own_at + whole + 1, m]
                            )
                            value += b1 * new_worth[line + lived + 1, m]
                        volume *= keep_cash * factor
                        value *= keep_cash * factor
                        if volume > 0.0:
                            level = max(min((value - gain_here) / volume, BREAKEVEN_BOUND), -BREAKEVEN_BOUND)
                    made[NPV, row, m] = hold[H_NPV, m] + gain_here
                    made[INCREMENTAL_NPV, row, m] = gain_here
                    made[IRR, row, m] = hold[H_RATE, m]
                    paid_at = state[at + PAID, m]
                    made[PAYOUT, row, m] = paid_at + 1.0 if paid_at < NEVER else np.nan
                    made[EUR, row, m] = recovered
                    made[INCREMENTAL_EUR, row, m] = recovered - hold[H_EUR, m]
                    made[BREAKEVEN, row, m] = level
                    made[JOB_DAYS, row, m] = jobs[0, s, t]
                    made[JOB_COST, row, m] = jobs[1, s, t]
                    made[CAPEX, row, m] = state[at + COST, m]
                    made[DISCOUNTED_CAPEX, row, m] = state[at + COST, m] * disc[month]
                    made[EFFECTIVE, row, m] = jobs[4, s, t]
                    made[EXECUTED, row, m] = 1.0
                    made[CAPPED, row, m] = state[at + CAPPED_ROW, m]
            s0 = s1
        many = min(COUNT, n - group)
        for r in range(14):
            if wanted[r]:
                for s in range(count + 1):
                    if many == COUNT:
                        put(out, r, s, group, load(made[r], s))
                    else:
                        for m in range(many):
                            out[r, s, group + m] = made[r, s, m]


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
