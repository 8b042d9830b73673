"""Streams of a strategy where the job changes the well's uptime, or where a limit holds its rate back.

Elsewhere a strategy is so much of the well's own stream and so much of that of a refrac, and all strategies of a trial
share both. Here its months are made for it alone, and valued as a stream of its own that stands in the place of the
refrac stream.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from refracmc.compiler import entry, rule
from refracmc.economics.margins import NEW, Shares, Streams, delayed, empty_rows
from refracmc.economics.net_prices import WATER
from refracmc.production.lift_limit import hold_back
from refracmc.production.secondary import sum_by_ratio

from .base import OwnCurve

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
NO_LIMIT = np.inf


class AfterJob(NamedTuple):
    """What the job leaves behind in each trial: uptime (n,), None where the well runs as before; limits (2, n): bbl of
    oil and water, and Mcf of gas, in a month, NO_LIMIT for none."""

    uptime: Array | None
    limits: Array

    @property
    def is_plain(self) -> bool:
        """Whether strategies are shares of the two streams."""
        return self.uptime is None and bool(np.all(self.limits == NO_LIMIT))


class OwnAfter(NamedTuple):
    """The own stream after the job at another uptime: sums (n, D, T + 1) of the main phase by month from that of the
    job on, D months of jobs; place (n, T): which of the D a month is."""

    sums: Array
    place: IntArray


def own_after(own: OwnCurve, uptime: Array | None, limit: IntArray | None, months: IntArray) -> OwnAfter:
    """Own streams of jobs in the months (S, n); limit (n,): last month of the well left alone."""
    n, horizon = own.row.size, own.table.total.shape[1] - 1
    if uptime is None or limit is None or not months.size:
        return OwnAfter(np.empty((n, 0, horizon + 1)), np.empty((n, 0), dtype=np.int64))
    dates = np.unique(months, axis=0)
    place = np.zeros((n, horizon), dtype=np.int64)
    sums = np.empty((n, len(dates), horizon + 1))
    for k, month in enumerate(dates):
        sums[:, k] = own.sums_after(np.minimum(limit + 1, np.maximum(month, 0)), uptime)
        trials = np.flatnonzero(month >= 0)
        place[trials, month[trials]] = k
    return OwnAfter(sums, place)


@rule
def sum_phases(main_sums: Array, ratios: Array, trial: int, main: int, out: Array) -> None:
    """Sums (3, K) of oil, gas and water from those of the main phase, and ratios (2, 3, n) of a trial."""
    copied = out[main]
    for i in range(main_sums.size):
        copied[i] = main_sums[i]
    for k in range(2):
        now, final, change = ratios[k, 0, trial], ratios[k, 1, trial], ratios[k, 2, trial]
        sum_by_ratio(main_sums, now, final, change, out[(1 - main) if k == 0 else WATER])


@rule
def fill_joined(
    own: Array, begin: int, new: Array, shares: Shares, limits: tuple[float, float], out: Array
) -> None:
    """Volumes (3, K) of a strategy by month from the job on, held back to the limits; own, new: sums (3, ..) of the
    streams, own from the index begin on."""
    late = shares.late
    for phase in range(3):
        old, more, volumes = own[phase, begin:], new[phase], out[phase]
        for k in range(volumes.size):
            at, volume = k - late, 0.0
            if at >= 0:
                volume += shares.own * (old[at + 1] - old[at]) + shares.new * (more[at + 1] - more[at])
            if at >= 1:
                volume += shares.own_later * (old[at] - old[at - 1]) + shares.new_later * (
                    more[at] - more[at - 1]
                )
            volumes[k] = volume
    total = shares.own + shares.own_later + shares.new + shares.new_later
    open_share = (shares.own + shares.new) / total if total > 0.0 else 1.0
    hold_back(out, limits[0], limits[1], late, open_share)


@rule
def put_in_place(joined: Array, shares: Shares, streams: Streams) -> Shares:
    """Let the volumes (3, K) of a strategy stand in the place of the refrac stream; all of them are its shares."""
    for phase in range(3):
        sums, volumes = streams.sums[NEW, phase], streams.volumes[NEW, phase]
        sums[0] = 0.0
        for k in range(volumes.size):
            volumes[k] = joined[phase, k] if k < shares.width else 0.0
            sums[k + 1] = sums[k] + volumes[k]
    empty_rows(streams, NEW)
    return Shares(0.0, 0.0, 1.0, 0.0, 0, shares.month, shares.resume, shares.width)


class Jobs(NamedTuple):
    """Jobs of one strategy in n trials, each (n,): month, month of the own stream with which it goes on, days shut in,
    what is kept of the own stream, rate of the new one, last month after that of the job."""

    month: IntArray
    resume: IntArray
    days: Array
    keep: Array
    new_rate: Array
    life: IntArray


@entry
def fill_volumes(
    own: Array, begin: IntArray, new: Array, jobs: Jobs, limits: Array, joined: Array, out: Array
) -> None:
    """Volumes (n, 3, T) by month from that of the job to the end of life; own, new (n, 3, T + 1): sums of the streams,
    own from the index begin (n,) on; limits (2, n); joined (3, T): to work in."""
    horizon = joined.shape[1]
    for t in range(begin.size):
        month = jobs.month[t]
        width = horizon - month
        shares = delayed(jobs.keep[t], jobs.new_rate[t], jobs.days[t], month, jobs.resume[t], width)
        fill_joined(own[t], begin[t], new[t], shares, (limits[0, t], limits[1, t]), joined[:, :width])
        for phase in range(3):
            for k in range(min(jobs.life[t] + 1, width)):
                out[t, phase, month + k] = joined[phase, k]
