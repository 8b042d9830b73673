"""The jobs of all chosen strategies, trial by trial: the short loop that calls the rules of the job and the stress.

Between dates only the age term of the chances differs, so most dates repeat the outcomes of the one before: an order is
worked through again only where the outcome of a shift that it can meet has changed, and added up again where its tries
have. A result is a function of its trial, order
and date alone: it does not depend on which other trials or strategies are worked with it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from refracmc.compiler import entry, inlined, rule
from refracmc.job import cost as _cost
from refracmc.job import days as _days
from refracmc.job import luck as _luck
from refracmc.job.arrays import REOPEN, REOPEN_OFF, Chosen, Dates, Orders, Shifts, Trials, Well
from refracmc.job.days import Counts, Days, Hours
from refracmc.job.fluid import Fluid
from refracmc.job.results import Record, Sleeves
from refracmc.job.rules import count_job, do_job
from refracmc.job.tries import FAR, Luck, draw_luck, failed_tries, odds_by_sum, odds_when_new
from refracmc.production.stress_effect import multipliers

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

ct_stuck, casing_failed, well_lost = rule(_luck.ct_stuck), rule(_luck.casing_failed), rule(_luck.well_lost)
hours_of, days_of, cost_parts = rule(_days.hours_of), rule(_days.days_of), rule(_cost.cost_parts)
DAYS, COST, KEPT, EFFECTIVE, STAGES, LOST = range(6)
"""First rows of the results; the parts of the cost follow."""
RESULTS = LOST + 1 + len(_cost.COST_PARTS)
HANDFUL = 8
"""Trials whose results are handed over together: single numbers all over a large array miss the cache."""


class Room(NamedTuple):
    """Arrays that the loop works in."""

    luck: Luck
    marks: BoolArray
    job: Sleeves
    fluid: Fluid
    cycling: Array
    ageing: Array
    odds_new: Array
    odds: Array
    level: Array
    failed: IntArray
    changed: IntArray
    retried: IntArray
    strain: Array
    results: Array
    values: Array


def room_for(orders: Orders, shifts: Shifts, dates: Dates, chosen: Chosen) -> Room:
    """Arrays for a well of N sleeves [counts, ratios, US$]."""
    n, dated = orders.closes.shape[1], dates.service.shape[0]
    marks = np.zeros((len(Sleeves._fields), n), dtype=bool)
    numbers, truths = np.zeros((4, n)), np.zeros((9, n), dtype=bool)
    luck = Luck(numbers[0], numbers[1], np.zeros((4, n)), numbers[2], numbers[3], *truths)
    return Room(
        luck,
        marks,
        Sleeves(*marks),
        Fluid(*np.zeros((5, n))),
        np.zeros(shifts.cycles.size),
        np.zeros(dates.ages.shape[2]),
        np.zeros((shifts.kind.size, n)),
        np.zeros(n),
        np.zeros(n),
        np.zeros((dated, shifts.kind.size, n), dtype=np.int64),
        np.zeros((orders.closes.shape[0], dated), dtype=np.int64),
        np.zeros((orders.closes.shape[0], dated), dtype=np.int64),
        np.ones((3, n)),
        np.zeros((HANDFUL, chosen.order.size, RESULTS)),
        np.zeros(RESULTS),
    )


@inlined
def _try_all_dates(
    trials: Trials, t: int, well: Well, orders: Orders, shifts: Shifts, dates: Dates, room: Room
) -> None:
    """Failed tries (D, V, N) of a trial, and how often those that an order watches have changed by each date."""
    g, luck, changed, retried = trials.given[t], room.luck, room.changed, room.retried
    furthest = odds_when_new(trials, t, shifts, luck, room.cycling, room.odds_new)
    for d in range(dates.service.shape[0]):
        ages = dates.ages[d, t % dates.ages.shape[1]]
        for k in range(ages.size):
            term = g.age_slope_per_year * ages[k]
            furthest = max(furthest, abs(term))
            room.ageing[k] = np.exp(min(term, 700.0))
        for o in range(changed.shape[0]):
            changed[o, d] = changed[o, d - 1] if d > 0 else 0
            retried[o, d] = retried[o, d - 1] if d > 0 else 0
        for v in range(shifts.kind.size):
            odds, new, failed = room.odds, room.odds_new[v], room.failed[d, v]
            if furthest < FAR:
                for s in range(odds.size):
                    odds[s] = new[s] * room.ageing[dates.group[s]]
            else:
                odds_by_sum(trials, t, shifts, v, dates, ages, luck, odds)
            failed_tries(odds, luck.spare[shifts.kind[v]], well.max_tries, room.level, failed)
            if d > 0:
                before, watched = room.failed[d - 1, v], orders.watched[:, v]
                _note_changes(before, failed, well.max_tries, watched, changed[:, d], retried[:, d])


@rule
def _note_changes(
    before: IntArray, now: IntArray, most_tries: int, watched: BoolArray, changed: IntArray, retried: IntArray
) -> None:
    """Count for each order the sleeves that it watches where a shift works and did not at the date before, or the other
    way round; and those where its tries alone are others."""
    differ = 0
    for s in range(now.size):
        differ += now[s] != before[s]
    if differ > 0:
        for s in range(now.size):
            if now[s] != before[s]:
                other = (now[s] < most_tries) != (before[s] < most_tries)
                for o in range(changed.size):
                    changed[o] += watched[o, s] & other
                    retried[o] += watched[o, s]


@inlined
def _work_through(
    trials: Trials, t: int, well: Well, orders: Orders, o: int, failed: IntArray, room: Room
) -> bool:
    """One order in one trial by the rules and the stress: the shares it leaves, into room.values; whether it is called
    off."""
    g, job, fluid = trials.given[t], room.job, room.fluid
    off = do_job(orders, o, failed, g, well, room.luck, job, fluid)
    if g.effect_strength != 0.0 or g.limit_strength != 0.0:
        contrast, normal = orders.contrast[o], orders.normal[o]
        multipliers(fluid.placed, contrast, normal, g, room.strain[0], room.strain[1], room.strain[2])
    else:
        for s in range(job.treated.size):
            room.strain[2, s] = 1.0
    kept, effective, stages = 0.0, 0.0, 0.0
    for s in range(job.treated.size):
        kept += trials.share[t, s] if job.producing[s] & well.producers[s] else 0.0
        effective += fluid.effect[s] * room.strain[2, s] * trials.potential[t, s]
        stages += fluid.effect[s] if orders.treats[o, s] else 0.0
    lost = well_lost(g.u_event, g.u_casing, g)
    room.values[KEPT], room.values[EFFECTIVE] = min(kept, 1.0), effective
    room.values[STAGES] = 0.0 if lost else stages / orders.stages[o]
    room.values[LOST] = 1.0 if lost else 0.0
    return off


@inlined
def _add_up(
    g: np.record, well: Well, orders: Orders, o: int, failed: IntArray, off: bool, room: Room
) -> tuple[Counts, Hours, Days]:
    """Counts, hours and days of an order just worked through; days and cost before the service index, into
    room.values."""
    luck, job = room.luck, room.job
    count = count_job(orders, o, failed, g, well, luck, job, off)
    factors = 0.0
    for s in range(job.treated.size):
        factors += luck.hours[s] if job.treated[s] else 0.0
    hours = hours_of(count, orders.feet[o, 1 if off else 0], factors, g)
    ct_hours = 0.0
    for k in range(len(hours)):
        ct_hours += hours[k]
    stuck, broken = ct_stuck(g.u_event, g), casing_failed(g.u_casing, g)
    lost = well_lost(g.u_event, g.u_casing, g)
    days = days_of(g.days_before_ct, ct_hours, 0.0, stuck, broken, g)
    parts = cost_parts(count, days, days.ct, stuck, lost, off, broken, 0.0, g)
    cost = 0.0
    for k in range(len(parts)):
        room.values[LOST + 1 + k] = parts[k]
        cost += parts[k]
    room.values[DAYS], room.values[COST] = days.total, cost
    return count, hours, days


@rule
def _put_on_record(
    record: Record,
    c: int,
    t: int,
    count: Counts,
    hours: Hours,
    days: Days,
    off: bool,
    shifts: IntArray,
    failed: IntArray,
    room: Room,
) -> None:
    """The job just done in full, as strategy c of the record; ten arguments: all of it."""
    record.off[c, t] = off
    for k in range(len(count)):
        record.counts[k, c, t] = count[k]
    for k in range(len(hours)):
        record.hours[k, c, t] = hours[k]
    for k in range(len(days)):
        record.days[k, c, t] = days[k]
    for s in range(room.marks.shape[1]):
        record.fluid[0, c, t, s] = room.fluid.placed[s]
        record.fluid[1, c, t, s] = room.fluid.received[s]
        record.fluid[2, c, t, s] = room.fluid.effect[s]
        for k in range(record.failed.shape[0]):
            record.failed[k, c, t, s] = failed[shifts[REOPEN_OFF if off and k == REOPEN else k], s]
        for k in range(room.marks.shape[0]):
            record.sleeves[k, c, t, s] = room.marks[k, s]


@rule
def _hand_over(results: Array, begin: int, filled: int, rows: IntArray, out: Array) -> None:
    """Results (HANDFUL, S, R) of the trials from `begin` on, so many are filled, to out (R, S, n)."""
    for r in range(out.shape[0]):
        for c in range(rows.size):
            place = out[r, rows[c]]
            for j in range(filled):
                place[begin + j] = results[j, c, r]


@entry
def run_jobs(
    well: Well,
    orders: Orders,
    shifts: Shifts,
    dates: Dates,
    chosen: Chosen,
    trials: Trials,
    room: Room,
    out: Array,
    record: Record,
) -> None:
    """Fill out (6 + 19, S, n): days, cost, kept and effective share, share of stages effective, whether the well is
    lost, and COST_PARTS [US$], both with the service-cost index; and the record, where it has room for S strategies.

    Nine arguments: what is known of well, orders, dates, choice and draws, each in one group, and what is filled.
    """
    n = trials.given.size
    for t in range(n):
        draw_luck(trials, t, well, room.luck)
        _try_all_dates(trials, t, well, orders, shifts, dates, room)
        order, date, filled, off = -1, 0, t % HANDFUL, False
        g, recorded = trials.given[t], record.off.size > 0
        for c in range(chosen.order.size):
            o, d = chosen.order[c], chosen.date[c]
            anew = recorded or o != order
            if not anew:
                anew = room.changed[o, d] != room.changed[o, date]
            retried = anew or room.retried[o, d] != room.retried[o, date]
            order, date, failed = o, d, room.failed[d]
            if anew:
                off = _work_through(trials, t, well, orders, o, failed, room)
            if retried:
                count, hours, days = _add_up(g, well, orders, o, failed, off, room)
                if recorded:
                    _put_on_record(
                        record, chosen.row[c], t, count, hours, days, off, orders.shifts[o], failed, room
                    )
            result, rate = room.results[filled, c], g.service_index * dates.service[d, t]
            for r in range(result.size):
                result[r] = room.values[r] * (rate if r == COST or r > LOST else 1.0)
        if filled == HANDFUL - 1 or t == n - 1:
            _hand_over(room.results, t - filled, filled + 1, chosen.row, out)
