"""The cash flow of a block: one trial after another, and in each one strategy after another.

The rules stand with their trade (`economics`, `production.response`); here they are called in turn. All strategies of
a trial share its streams, prices and costs, and what follows from those is made once a trial. A trial's numbers do not
depend, to the bit, on the trials and strategies valued with it.

Two habits keep this fast. Loops over months take their slices first and index by the loop variable alone, so that the
compiler works several months at a time. And references to arrays are not counted, which would take more than half of
the time: all arrays are made beforehand by `room_for`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from refracmc.compiler import entry, rule
from refracmc.economics.breakeven import breakeven_price
from refracmc.economics.fiscal import Costs
from refracmc.economics.flows import (
    Alone,
    Conditions,
    Months,
    fill_flow,
    fill_prices,
    leave_alone,
    worth_and_total,
)
from refracmc.economics.life import SPAN, last_by_hindsight, last_by_looking_ahead
from refracmc.economics.margins import NEW, OWN, Streams, delayed, delivered, empty_rows, fill_strategy_margin
from refracmc.economics.modified_rate import modified_rate
from refracmc.economics.offset_wells import add_to_flow, none_there
from refracmc.economics.payout import payout
from refracmc.economics.rate_of_return import ROW_MONTHS, one_rate
from refracmc.measures import PER_TRIAL, ROW
from refracmc.production.response import Response, ResponseTerms, respond

from .after_job import NO_LIMIT, fill_joined, put_in_place, sum_phases

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
HANDFUL = 8  # trials whose results are handed over together: a line of the cache
NPV, INCREMENTAL_NPV, EUR, INCREMENTAL_EUR = (
    ROW[name] for name in ("npv", "incremental_npv", "eur", "incremental_eur")
)
IRR, MIRR, PAYOUT, BREAKEVEN = (ROW[name] for name in ("irr", "mirr", "payout_months", "breakeven_price"))
JOB_DAYS, JOB_COST, CAPEX = (ROW[name] for name in ("job_days", "job_cost", "capex"))
DISCOUNTED_CAPEX, EFFECTIVE = (ROW[name] for name in ("discounted_capex", "effective_share"))
EXECUTED, CAPPED, OFFSET_NPV = (ROW[name] for name in ("executed", "capped", "offset_npv"))
MEASURES = len(PER_TRIAL)
DAYS, GROSS, KEPT_SHARE, EFFECTIVE_SHARE, STAGES, LOST = range(6)
JOB = 6
DETAILS = ("life", "resume", "keep", "new_rate", "scale", "acceleration", "depletion")
"""What may be kept of each strategy and trial beside its measures."""


class Block(NamedTuple):
    """Trials of a block: n of them, S strategies, T months."""

    own_sums: Array  # (K, T + 1) main-phase sums of the well's own streams at month edges
    rows: IntArray  # (n,) row of `own_sums`
    own_ratios: Array  # (2, 3, n) of gas (or oil) and water: now, at the end, sum where that is reached
    new_sums: Array  # (n, T + 1) of the refrac stream at one unit a day
    new_ratios: Array  # (2, 3, n)
    oil: Array  # (n, T) price, US$/bbl
    gas: Array  # (n, T) price, US$/Mcf
    oil_ahead: Array  # (n, T) mean price expected of the months ahead
    gas_ahead: Array  # (n, T)
    costs: Array  # (9, n) in the order of Costs
    np0: Array  # (n,) main-phase volume before the valuation date
    terms: Array  # (6, n) in the order of ResponseTerms
    technical: Array  # (2, n) main phase to the technical limit: of the well (0: idle for good), of the refrac stream
    own_after: Array  # (n, D, T + 1) main-phase sums of the own stream after a job that changes the uptime; D = 0: none
    after_place: IntArray  # (n, T) which of the D a month of the job is; (n, 0) where D = 0
    limits: Array  # (2, n) bbl of oil and water, and Mcf of gas, in a month after the job
    lost_volumes: (
        Array  # (n, T) main phase that neighbours lose to a hit in a month; (n, 0) without neighbours
    )
    fade: Array  # (n,) months over which that loss fades
    child: Array  # (n,) US$, value of a job in time to child wells
    jobs: Array  # (6, S, n) days, gross cost, kept share, effective share, share of stages effective, lost (1 or 0)
    months: IntArray  # (S, n) of the job; -1: none is carried out


class Room(NamedTuple):
    """Arrays that the loop works in."""

    streams: Streams
    months: Months
    after: Array  # (3, T + 1) sums of the own stream after a job that changes the uptime
    joined: Array  # (3, T) volumes of a strategy by month from the job on
    jobs: Array  # (HANDFUL, S, 6) of a handful of trials
    measures: Array  # (HANDFUL, S + 1, MEASURES) of the same trials


class Results(NamedTuple):
    """What the loop fills in."""

    measures: Array  # (MEASURES, S + 1, n) in the order of PER_TRIAL; row 0: the well left alone
    limit: IntArray  # (n,) last month of the well left alone, -1 for none
    details: Array  # (len(DETAILS), S, n), or of no length where they are not wanted


def room_for(strategies: int, horizon: int) -> Room:
    """Arrays for so many strategies and months."""
    late = horizon + 2
    return Room(
        Streams(
            np.empty((2, 3, horizon + 1)),
            np.empty((2, 3, horizon)),
            np.empty((2, 3, horizon)),
            np.empty((2, 2, late, horizon)),
            np.empty((2, 2, late), np.int64),
        ),
        Months(
            fixed=np.empty(horizon),
            needed=np.empty(horizon),
            main_worth=np.empty(horizon),
            alone=np.empty(horizon),
            base=np.empty(horizon),
            alone_volume=np.zeros(horizon + 1),
            alone_value=np.zeros(horizon + 1),
            margin=np.empty(horizon),
            flow=np.empty(2 * horizon + ROW_MONTHS),
            work=np.empty(SPAN),
            row=np.empty(ROW_MONTHS),
            next_door=np.empty((3, horizon)),
        ),
        np.empty((3, horizon + 1)),
        np.empty((3, horizon)),
        np.empty((HANDFUL, strategies, JOB)),
        np.zeros((HANDFUL, strategies + 1, MEASURES)),
    )


@rule
def fill_stream(
    main_sums: Array, ratios: Array, trial: int, main: int, stream: int, streams: Streams
) -> None:
    """Sums and volumes of the three phases of a stream from the sums of its main phase."""
    sums, volumes = streams.sums[stream], streams.volumes[stream]
    sum_phases(main_sums, ratios, trial, main, sums)
    for phase in range(3):
        before, volume = sums[phase], volumes[phase]
        after = before[1:]
        for i in range(volume.size):
            volume[i] = after[i] - before[i]
    empty_rows(streams, stream)


@rule
def take_jobs(jobs: Array, begin: int, count: int, out: Array) -> None:
    """Copy the jobs of a handful of trials."""
    for s in range(jobs.shape[1]):
        for r in range(JOB):
            for j in range(count):
                out[j, s, r] = jobs[r, s, begin + j]


@rule
def hand_over(measures: Array, begin: int, count: int, out: Array) -> None:
    """Copy the measures of a handful of trials: written one by one all over `out` they took longer."""
    for r in range(out.shape[0]):
        for s in range(out.shape[1]):
            for j in range(count):
                out[r, s, begin + j] = measures[j, s, r]


@rule
def keep_details(details: Array, s: int, trial: int, life: int, resume: int, response: Response) -> None:
    """Keep the DETAILS of a strategy."""
    details[0, s, trial], details[1, s, trial] = life, resume
    details[2, s, trial], details[3, s, trial] = response.keep, response.new_rate
    details[4, s, trial], details[5, s, trial] = response.scale, response.acceleration
    details[6, s, trial] = response.depletion


@rule
def as_left_alone(alone: Alone, result: Array) -> None:
    """Measures where no job is carried out."""
    result[:] = 0.0
    result[NPV], result[EUR] = alone.npv, alone.eur
    result[IRR] = result[MIRR] = result[PAYOUT] = result[BREAKEVEN] = np.nan


@entry
def value_trials(c: Conditions, block: Block, wanted: Array, room: Room, results: Results) -> None:
    """Fill the results of a block under the conditions c; wanted (MEASURES,): which measures are."""
    streams, months, main = room.streams, room.months, c.main
    own = streams.sums[OWN, main]
    cost, term, horizon = block.costs, block.terms, c.discount.size
    other_uptime = block.after_place.shape[1] > 0
    for begin in range(0, block.rows.size, HANDFUL):
        count = min(HANDFUL, block.rows.size - begin)
        take_jobs(block.jobs, begin, count, room.jobs)
        for j in range(count):
            t = begin + j
            costs = Costs(
                cost[0, t], cost[1, t], cost[2, t], cost[3, t], cost[4, t],
                cost[5, t], cost[6, t], cost[7, t], cost[8, t],
            )  # fmt: skip
            terms = ResponseTerms(term[0, t], term[1, t], term[2, t], term[3, t], term[4, t], term[5, t])
            paths = (block.oil[t], block.gas[t], block.oil_ahead[t], block.gas_ahead[t])
            fill_stream(block.own_sums[block.rows[t]], block.own_ratios, t, main, OWN, streams)
            fill_stream(block.new_sums[t], block.new_ratios, t, main, NEW, streams)
            fill_prices(c, streams.prices, months, costs, paths)
            alone = leave_alone(c, streams, months, costs, block.np0[t])
            results.limit[t] = alone.limit
            as_left_alone(alone, room.measures[j, 0])
            limits = (block.limits[0, t], block.limits[1, t])
            apart, joined_before = other_uptime or min(limits[0], limits[1]) < NO_LIMIT, False
            for s in range(block.months.shape[0]):
                month, job, result = block.months[s, t], room.jobs[j, s], room.measures[j, s + 1]
                if month < 0 or month - 1 - alone.limit > c.lease:
                    as_left_alone(alone, result)
                    continue
                resume, width, lost = min(alone.limit + 1, month), horizon - month, job[LOST] > 0.5
                idle, alive = month - resume, 0.0 if lost else 1.0
                produced = block.np0[t] + own[resume] - own[0]
                response = respond(
                    produced,
                    max(block.technical[0, t] - produced, 0.0),
                    block.technical[1, t],
                    job[KEPT_SHARE] * alive,
                    job[EFFECTIVE_SHARE] * alive,
                    terms,
                )
                shares = delayed(response.keep, response.new_rate, job[DAYS], month, resume, width)
                if apart:
                    if joined_before:
                        fill_stream(block.new_sums[t], block.new_ratios, t, main, NEW, streams)
                    joined, joined_before = room.joined[:, :width], True
                    if other_uptime:
                        after = block.own_after[t, block.after_place[t, month]]
                        sum_phases(after, block.own_ratios, t, main, room.after)
                        fill_joined(room.after, 0, streams.sums[NEW], shares, limits, joined)
                    else:
                        fill_joined(streams.sums[OWN], resume, streams.sums[NEW], shares, limits, joined)
                    shares = put_in_place(joined, shares, streams)
                life = width - 1
                if lost:
                    life = 0
                elif c.use_ahead:
                    life = last_by_looking_ahead(streams, shares, months.needed, months.work)
                fill_strategy_margin(streams, shares, life + 1, months.margin)
                if not (lost or c.use_ahead):
                    life = last_by_hindsight(
                        months.margin[:width], months.fixed[month:], c.discount[month:], True
                    )
                capex = job[GROSS] * c.working
                stop = fill_flow(c, months, costs, shares, life, alone.limit, capex)
                flow = months.flow[:stop]
                beside = 0.0
                if c.neighbours.on and job[EFFECTIVE_SHARE] > 0.0:
                    child = (block.child[t], c.neighbours.child_month)
                    price, lost_volumes = months.next_door[main], block.lost_volumes[t]
                    beside = add_to_flow(
                        flow, lost_volumes, price, (idle, month), block.fade[t], child, c.discount
                    )
                gain, total = worth_and_total(flow, c.discount[resume:])
                recovered = produced + delivered(streams.sums, main, life + 1, shares)
                result[NPV], result[INCREMENTAL_NPV] = alone.npv + gain, gain
                result[EUR], result[INCREMENTAL_EUR] = recovered, recovered - alone.eur
                if wanted[PAYOUT]:
                    paid = payout(flow, idle)
                    result[PAYOUT] = paid - idle + 1 if paid >= 0 else np.inf
                if wanted[IRR]:
                    worth, rate = gain / c.discount[resume], c.monthly_discount
                    result[IRR] = one_rate(months.flow, stop, idle, total, worth, rate, months.row)
                if wanted[MIRR]:
                    result[MIRR] = modified_rate(flow, c.reinvested, c.financed)
                if wanted[BREAKEVEN]:
                    result[BREAKEVEN] = breakeven_price(c, streams, months, shares, life, alone.limit, gain)
                result[JOB_DAYS], result[JOB_COST], result[CAPEX] = job[DAYS], job[GROSS], capex
                result[DISCOUNTED_CAPEX], result[EFFECTIVE] = capex * c.discount[month], job[STAGES]
                result[EXECUTED], result[CAPPED] = 1.0, 1.0 if response.scale < 1.0 else 0.0
                result[OFFSET_NPV] = beside
                if results.details.size:
                    keep_details(results.details, s, t, life, resume, response)
        hand_over(room.measures, begin, count, results.measures)


def warm() -> None:
    """Compile, or load from disk, for the argument types of `cash_flow`."""
    months, one = 24, np.ones
    conditions = Conditions(
        0, False, one(months), one(months), one(months), 0.0, one(2), 0.0, 1.0, 0, np.zeros((0, months)),
        none_there(months), one(months), one(months),
    )  # fmt: skip
    edges, prices = np.arange(months + 1.0).reshape(1, -1), one((1, months))
    block = Block(
        own_sums=edges,
        rows=np.zeros(1, np.int64),
        own_ratios=one((2, 3, 1)),
        new_sums=edges,
        new_ratios=one((2, 3, 1)),
        oil=prices,
        gas=prices,
        oil_ahead=prices,
        gas_ahead=prices,
        technical=one((2, 1)),
        own_after=np.empty((1, 0, months + 1)),
        after_place=np.empty((1, 0), np.int64),
        limits=np.full((2, 1), NO_LIMIT),
        lost_volumes=np.empty((1, 0)),
        fade=one(1),
        child=one(1),
        costs=one((9, 1)),
        np0=one(1),
        terms=one((6, 1)),
        jobs=one((JOB, 1, 1)),
        months=np.zeros((1, 1), np.int64),
    )
    results = Results(np.empty((MEASURES, 2, 1)), np.empty(1, np.int64), np.zeros((len(DETAILS), 0, 0)))
    value_trials(conditions, block, one(MEASURES, dtype=bool), room_for(1, months), results)
