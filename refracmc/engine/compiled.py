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

from typing import Any

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
    worth_by_two,
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
    most,
    put,
    some,
    store,
    truncated,
    turn,
)

BUILT_IN = "10a497b9f1fe72b1"
"""Digest of the modules whose code is built in here: the compiler keeps what it made until this file changes."""
Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

MONTH_DAYS = 365.25 / 12.0
# rows of a job's outcome, in the order of cash.JobOutcome
DAYS, GROSS, KEPT, EFFECTIVE_SHARE, STAGES, LOST = range(6)
OUTCOME = 6
"""How many they are."""
SPAN = 32
"""Months worked for all strategies of a date before the next ones."""
# rows held of a group: fixed, abandonment and holding cost, month limit, NPV and EUR of the well left alone; terms of
# the response in the order of the argument; of a date: whether the lease has ended before it (1 or 0), months idle
# before it, volume produced and remaining, decay of the response, sum of the own stream by then, discount factor of the
# month with which that goes on, volume and value given up, both discounted
(
    H_FIXED,
    H_LEAVING,
    H_HOLDING,
    H_LIMIT,
    H_NPV,
    H_EUR,
    H_UPLIFT,
    H_PEAK,
    H_EXPONENT,
    H_KEPT,
    H_ACCELERATION,
    H_ULTIMATE,
    H_SKIPPED,
    H_IDLE,
    H_PRODUCED,
    H_REMAINING,
    H_DECAY,
    H_BEFORE,
    H_RESUMED,
    H_VOLUME,
    H_VALUE,
) = range(21)
HELD = 21
"""How many they are."""
# rows read of a strategy where its life ends: sums of the own and of the new stream, once for each of its two delays;
# discount factors, discounted volumes and their worth for the break-even price, likewise
(
    E_OWN,
    E_NEW,
    E_FACTOR,
    E_OWN_VOLUME,
    E_NEW_VOLUME,
    E_OWN_VALUE,
    E_NEW_VALUE,
) = range(7)
ENDS = 7
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
def _left_alone(made: Array, row: int, skipped: Any, hold: Array) -> None:
    """The results of lanes whose lease has ended before the job."""
    zero, none = every(0.0), every(np.nan)
    for r in range(14):
        value = zero
        if r == NPV:
            value = load(hold, H_NPV)
        elif r == EUR:
            value = load(hold, H_EUR)
        elif r in (IRR, PAYOUT, BREAKEVEN):
            value = none
        store(made[r], row, choose(skipped, value, load(made[r], row)))


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
    order: IntArray,
    places: IntArray,
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
    cost by month. order (n,): the trials in the order in which they are worked, best with those that live alike side
    by side; places (S,): row of each strategy in `out`.
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
    dated_worth = room(most_lags * stride)
    own_valued = np.zeros(most_lags, np.int64)
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
    work, hold, ends = room(8), room(HELD), room(2 * ENDS)
    told = room(wide * OUTCOME)
    firsts, lagses, knowns = np.zeros(wide, np.int64), np.zeros(wide, np.int64), np.zeros(wide, np.int64)
    safes, lasts, open_ = np.zeros(wide, np.int64), np.zeros(wide, np.int64), np.zeros(wide, np.bool_)
    single, timed_flows, scratch = (
        np.zeros(2 * stride + 16),
        np.zeros(2 * stride + 16),
        np.zeros(2 * stride + 16),
    )
    limits, resumes, idles = np.zeros(COUNT, np.int64), np.zeros(COUNT, np.int64), np.zeros(COUNT, np.int64)
    wholes = np.zeros((wide, COUNT), np.int64)
    made, in_order = np.empty((14, 1 + count, COUNT)), np.empty(out.shape)
    disc, ahead_cost = np.zeros(stride), np.zeros(stride)
    for i in range(horizon):
        disc[i] = discount[i]
        for k in range(i, min(i + AHEAD, horizon)):
            ahead_cost[i] += escalation[k]
    monthly_force = np.log(disc[0] / disc[1]) if horizon > 1 else 0.0
    zero, one = every(0.0), every(1.0)
    lead = main_row * stride
    never, undefined = every(NEVER), every(np.nan)

    for group in range(0, n, COUNT):
        for m in range(COUNT):
            trials[m] = order[min(group + m, n - 1)]
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
            for r in range(6):
                hold[H_UPLIFT + r, m] = terms[r, trials[m]]
        monthly, leaving = load(hold, H_FIXED), load(hold, H_LEAVING)
        for i in range(horizon):
            store(fixed, i, monthly * every(escalation[i] * keep_cash))
            store(needed, i, monthly * every(ahead_cost[i]))
        for i in range(most_lags):
            own_filled[i], own_hoped[i], own_valued[i] = i, i, i
            store(own_worth, i * stride + i, zero)

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
        _left_alone(made, 0, zero == zero, hold)
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
            most_idle, least_idle, all_skipped = 0, horizon, True
            for m in range(COUNT):
                lapsed = month - 1 - limits[m] > lease
                hold[H_SKIPPED, m] = 1.0 if lapsed else 0.0
                resumes[m] = month if lapsed else min(limits[m] + 1, month)
                idles[m] = month - resumes[m]
                all_skipped = all_skipped and lapsed
                most_idle, least_idle = max(most_idle, idles[m]), min(least_idle, idles[m])
                hold[H_IDLE, m] = float(idles[m])
            skipped, idle = load(hold, H_SKIPPED) > zero, load(hold, H_IDLE) > zero
            if all_skipped:
                for s in range(s0, s1):
                    _left_alone(made, s + 1, skipped, hold)
                s0 = s1
                continue
            moved, shifted = shifted, most_idle > 0
            if moved or shifted:
                for lag in range(most_lags):
                    own_filled[lag], own_hoped[lag] = lag, lag
            for lag in range(most_lags):
                new_filled[lag], new_hoped[lag] = lag, lag
            for m in range(COUNT):
                resume, ultimate = resumes[m], hold[H_ULTIMATE, m]
                so_far = own_sums[lead + resume, m]
                produced = np0[trials[m]] + (so_far - own_sums[lead, m])
                hold[H_PRODUCED, m], hold[H_BEFORE, m], hold[H_RESUMED, m] = produced, so_far, disc[resume]
                hold[H_REMAINING, m] = own_sums[lead + horizon, m] - so_far
                hold[H_DECAY, m] = (1.0 - min(produced / ultimate, 1.0)) ** hold[H_EXPONENT, m]
                hold[H_VOLUME, m] = hold[H_VALUE, m] = 0.0
                if want_breakeven and limits[m] >= resume:
                    hold[H_VOLUME, m] = alone_disc[resume, m] - alone_disc[limits[m] + 1, m]
                    hold[H_VALUE, m] = alone_priced[resume, m] - alone_priced[limits[m] + 1, m]
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
            the_worth = dated_worth if shifted else own_worth
            the_month = month if shifted else 0
            the_end = width if shifted else horizon

            # ---- response, and the shares of the streams by lag
            date_first, date_lags = most_lags, 0
            for q in range(at_date):
                s, at, job = s0 + q, q * STATE, q * OUTCOME
                for r in range(OUTCOME):
                    for m in range(COUNT):
                        told[job + r, m] = jobs[r, s, trials[m]]
                stopped = (load(told, job + LOST) > every(0.5)) | skipped
                alive = choose(stopped, zero, one)
                ultimate, alpha = load(hold, H_ULTIMATE), load(hold, H_ACCELERATION)
                kept = load(hold, H_KEPT) * load(told, job + KEPT) * alive
                raw = load(hold, H_UPLIFT) * load(hold, H_PEAK) * load(told, job + EFFECTIVE_SHARE) * alive
                raw = raw * load(hold, H_DECAY)
                old = kept * load(hold, H_REMAINING)
                fresh = raw * (load(new_sums, lead + width) - load(new_sums, lead))
                space = ultimate - load(hold, H_PRODUCED) - old
                allowed = choose(alpha < one, least(space + old, space / (one - alpha)), space + old)
                allowed = choose(space >= zero, allowed, zero)
                scale = choose(allowed < fresh, allowed / fresh, one)
                forward = choose(old > zero, least(alpha * scale * fresh / old, one), zero)
                down = choose(skipped, zero, load(told, job + DAYS) / every(MONTH_DAYS))
                months_down = truncated(down)
                store(state, at + PART, down - months_down)
                store(work, 0, least(months_down, every(float(width))))
                store(state, at + KEEP, kept * (one - forward))
                store(state, at + NEW, raw * scale)
                store(state, at + CAPPED_ROW, choose(scale < one, one, zero))
                store(state, at + COST, choose(skipped, zero, load(told, job + GROSS) * every(working)))
                store(state, at + STOPPED, choose(stopped, one, zero))
                first, lags = most_lags, 0
                for m in range(COUNT):
                    whole = int(work[0, m])
                    wholes[q, m] = whole
                    first, lags = min(first, whole), max(lags, whole + 2)
                alike, lags = lags - first == 2, min(lags, most_lags)
                firsts[q], lagses[q] = first, lags
                date_first, date_lags = min(date_first, first), max(date_lags, lags)
                base = q * share_rows
                keep, q2, part = load(state, at + KEEP), load(state, at + NEW), load(state, at + PART)
                store(work, 0, keep * (one - part))
                store(work, 1, q2 * (one - part))
                store(work, 2, keep * part)
                store(work, 3, q2 * part)
                if alike and lags - first == 2:  # also once cut at the horizon
                    for r in range(4):
                        store(shares, base + 2 * first + r, load(work, r))
                else:
                    for lag in range(2 * first, 2 * lags):
                        store(shares, base + lag, zero)
                    for m in range(COUNT):
                        row = base + 2 * wholes[q, m]
                        for r in range(min(2 * (lags - wholes[q, m]), 4)):
                            shares[row + r, m] = work[r, m]

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
            idle_running, idle_gain, idle_above, idle_below = zero, zero, never, zero - never
            for d in range(most_idle, 0, -1):
                got, number = load(before, d), every(-float(d))
                idle_running = idle_running + got
                idle_gain = fused(got, every(disc[month - d]), idle_gain)
                idle_below = choose(idle_running < zero, number, idle_below)
                idle_above = least(idle_above, choose(idle_running > zero, number, never))
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
                        store(state, at + RUNNING, idle_running)
                        store(state, at + GAIN, idle_gain)
                        store(state, at + PAID, never)
                        store(state, at + ABOVE, idle_above)
                        store(state, at + BELOW, idle_below)
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
                    row, filled = lag * stride, own_valued[lag]
                    upto = month + lag if shifted else month + far
                    if filled < upto and least_idle == 0:
                        running_worth(
                            own_volumes,
                            lead + filled - lag,
                            priced,
                            filled,
                            upto - filled,
                            own_worth,
                            row + filled,
                        )
                        own_valued[lag] = upto
                    if shifted:
                        # by the calendar as far as it goes, so that no trial's sums tell whether a neighbour stood idle
                        begun = choose(idle, zero, load(own_worth, row + month + lag))
                        store(dated_worth, row + lag, begun)
                        running_worth(
                            dated_volumes, lead, priced, month + lag, far - lag, dated_worth, row + lag
                        )
                for lag in range(date_first, date_lags, 2):
                    row = lag * stride + lag
                    store(new_worth, row, zero)
                    if lag + 1 < date_lags:
                        later = row + stride + 1
                        store(new_worth, later, zero)
                        worth_by_two(new_volumes, lead, priced, month + lag, far - lag, new_worth, row, later)
                    else:
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
                rate = undefined
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
                    rate = least(growth(every(12.0) * force), every(IRR_CEILING))
                    rate = choose(crossing, rate, undefined)
                    odd = odd | ((outlay <= zero) & (running > zero))
                    if some(odd):
                        store(work, 0, rate)
                        for m in range(COUNT):
                            if lane(odd, m):
                                work[0, m] = single_rate(
                                    here, before, m, idles[m], last, single, timed_flows, scratch
                                )
                        rate = load(work, 0)
                for m in range(COUNT):
                    resume, lived = resumes[m], int(state[at + LIFE, m])
                    for late in range(2):
                        whole, end_row = wholes[q, m] + late, late * ENDS
                        got = max(lived + 1 - whole, 0)
                        ends[end_row + E_OWN, m] = own_sums[lead + resume + got, m]
                        ends[end_row + E_NEW, m] = new_sums[lead + got, m]
                        if want_breakeven:
                            for r in range(E_FACTOR, ENDS):
                                ends[end_row + r, m] = 0.0
                            if got > 0:
                                line = whole * stride + lived + 1
                                ends[end_row + E_FACTOR, m] = disc[month + whole]
                                ends[end_row + E_OWN_VOLUME, m] = (
                                    alone_disc[resume + got, m] - alone_disc[resume, m]
                                )
                                ends[end_row + E_NEW_VOLUME, m] = new_disc[got, m]
                                ends[end_row + E_OWN_VALUE, m] = (
                                    the_worth[line + own_at, m] - the_worth[line + own_at - got, m]
                                )
                                ends[end_row + E_NEW_VALUE, m] = new_worth[line, m]
                keep, q2, part = load(state, at + KEEP), load(state, at + NEW), load(state, at + PART)
                own_first, new_first = load(hold, H_BEFORE), load(new_sums, lead)
                recovered = load(hold, H_PRODUCED)
                volume, value = load(hold, H_VOLUME), load(hold, H_VALUE)
                for late in range(2):
                    own_part, new_part = keep * (one - part), q2 * (one - part)
                    if late == 1:
                        own_part, new_part = keep * part, q2 * part
                    end_row = late * ENDS
                    recovered = fused(own_part, load(ends, end_row + E_OWN) - own_first, recovered)
                    recovered = fused(new_part, load(ends, end_row + E_NEW) - new_first, recovered)
                    if want_breakeven:
                        factor_here = load(ends, end_row + E_FACTOR)
                        volume = fused(
                            own_part * (factor_here / load(hold, H_RESUMED)),
                            load(ends, end_row + E_OWN_VOLUME),
                            volume,
                        )
                        volume = fused(
                            new_part * (factor_here / every(disc[0])),
                            load(ends, end_row + E_NEW_VOLUME),
                            volume,
                        )
                        value = fused(own_part, load(ends, end_row + E_OWN_VALUE), value)
                        value = fused(new_part, load(ends, end_row + E_NEW_VALUE), value)
                level = undefined
                if want_breakeven:
                    volume, value = volume * every(keep_cash * factor), value * every(keep_cash * factor)
                    level = (value - gain) / volume
                    level = most(least(level, every(BREAKEVEN_BOUND)), every(-BREAKEVEN_BOUND))
                    level = choose(volume > zero, level, undefined)
                paid, cost, job = load(state, at + PAID), load(state, at + COST), q * OUTCOME
                store(made[NPV], row, load(hold, H_NPV) + gain)
                store(made[INCREMENTAL_NPV], row, gain)
                store(made[IRR], row, rate)
                store(made[PAYOUT], row, choose(paid < never, paid + one, undefined))
                store(made[EUR], row, recovered)
                store(made[INCREMENTAL_EUR], row, recovered - load(hold, H_EUR))
                store(made[BREAKEVEN], row, level)
                store(made[JOB_DAYS], row, load(told, job + DAYS))
                store(made[JOB_COST], row, load(told, job + GROSS))
                store(made[CAPEX], row, cost)
                store(made[DISCOUNTED_CAPEX], row, cost * every(disc[month]))
                store(made[EFFECTIVE], row, load(told, job + STAGES))
                store(made[EXECUTED], row, one)
                store(made[CAPPED], row, load(state, at + CAPPED_ROW))
                if some(skipped):
                    _left_alone(made, row, skipped, hold)
            s0 = s1
        many = min(COUNT, n - group)
        for r in range(14):
            if wanted[r]:
                for s in range(count + 1):
                    if many == COUNT:
                        put(in_order, r, s, group, load(made[r], s))
                    else:
                        for m in range(many):
                            in_order[r, s, group + m] = made[r, s, m]
    # by strategy and trial: a pass of its own over whole rows; to write single numbers all over `out` took longer
    for r in range(14):
        if wanted[r]:
            for s in range(count + 1):
                place = places[s - 1] if s else 0
                for i in range(n):
                    out[r, place, order[i]] = in_order[r, s, i]


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
        np.zeros(1, dtype=np.int64),
        np.ones(1, dtype=np.int64),
        np.ones(14, dtype=np.bool_),
        np.empty((14, 2, 1)),
    )
