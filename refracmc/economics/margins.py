"""What the streams of a trial earn, month by month, however late they come.

A stream that starts late is the same stream moved by whole months. So the margin of the well's own stream is a table by
months late and month of the calendar, and so is that of the refrac stream, and both serve every date and order of a
trial. A delay of 2.3 months is 0.7 of the row "2 months late" and 0.3 of the row "3 months late": the monthly margin of
a strategy, and the margin it may expect of the months ahead, are four multiplications a month. Rows are filled as far
as lives reach.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from refracmc.compiler import inlined, rule

from .net_prices import GAS, OIL, WATER

Array = NDArray[np.float64]
MONTH_DAYS = 365.25 / 12.0
AHEAD = 12
"""Months that a decision to go on looks ahead."""
OWN, NEW = range(2)
MARGIN, EXPECTED = range(2)


class Streams(NamedTuple):
    """The own and the refrac stream of a trial, and what they are worth when they come some whole months late."""

    sums: Array  # (2, 3, T + 1) stream, phase: produced by the edge of a month
    volumes: Array  # (2, 3, T) produced in a month
    prices: Array  # (2, 3, T) US$ per unit: net of a month; expected of the AHEAD months from it on, before income tax
    worth: Array  # (2, 2, T + 2, T) US$: MARGIN of a month or EXPECTED of AHEAD months; stream; months late; month
    filled: NDArray[np.int64]  # (2, 2, T + 2) month up to which a row of `worth` is filled


class Shares(NamedTuple):
    """What a strategy makes of the two streams, in shares of them and months.

    own, new: of the streams `late` whole months late; own_later, new_later: one month later still; month: of the job;
    resume: month of the own stream with which it goes on; width: months from the job to the horizon.
    """

    own: float
    own_later: float
    new: float
    new_later: float
    late: int
    month: int
    resume: int
    width: int


@rule
def delayed(keep: float, new_rate: float, days: float, month: int, resume: int, width: int) -> Shares:
    """Shares of the own stream (keep) and of the unit stream (new_rate) after so many days shut in."""
    down = days / MONTH_DAYS
    whole = np.floor(down)
    part = down - whole
    return Shares(
        keep * (1.0 - part),
        keep * part,
        new_rate * (1.0 - part),
        new_rate * part,
        int(min(whole, float(width))),
        month,
        resume,
        width,
    )


@rule
def empty_rows(streams: Streams, stream: int) -> None:
    """The rows of worth [US$] of a stream that has changed are to be filled anew."""
    for kind in range(2):
        filled = streams.filled[kind, stream]
        for late in range(filled.size):
            filled[late] = late


@rule
def fill_margin(streams: Streams, stream: int, late: int, begin: int, end: int) -> None:
    """Margin [US$] of a stream that comes `late` months late in the months begin to end - 1."""
    out, first = streams.worth[MARGIN, stream, late, begin:end], begin - late
    volumes, prices = streams.volumes[stream], streams.prices[MARGIN]
    oil, gas, water = volumes[OIL, first:], volumes[GAS, first:], volumes[WATER, first:]
    oil_price, gas_price, water_price = prices[OIL, begin:], prices[GAS, begin:], prices[WATER, begin:]
    for k in range(out.size):
        out[k] = oil[k] * oil_price[k] + gas[k] * gas_price[k] + water[k] * water_price[k]


@rule
def fill_expected(streams: Streams, stream: int, late: int, begin: int, end: int) -> None:
    """Margin [US$] expected of the AHEAD months from each of the months begin to end - 1 on, as far as the horizon."""
    out, first = streams.worth[EXPECTED, stream, late, begin:end], begin - late
    sums, prices = streams.sums[stream], streams.prices[EXPECTED]
    horizon = prices.shape[1]
    last = horizon - late
    oil, gas, water = sums[OIL, first:], sums[GAS, first:], sums[WATER, first:]
    oil_then, gas_then, water_then = (
        sums[OIL, first + AHEAD :],
        sums[GAS, first + AHEAD :],
        sums[WATER, first + AHEAD :],
    )
    oil_price, gas_price, water_price = prices[OIL, begin:], prices[GAS, begin:], prices[WATER, begin:]
    whole = min(end, horizon + 1 - AHEAD) - begin
    for k in range(whole):
        out[k] = (
            (oil_then[k] - oil[k]) * oil_price[k]
            + (gas_then[k] - gas[k]) * gas_price[k]
            + (water_then[k] - water[k]) * water_price[k]
        )
    for k in range(max(whole, 0), out.size):
        out[k] = (
            (sums[OIL, last] - oil[k]) * oil_price[k]
            + (sums[GAS, last] - gas[k]) * gas_price[k]
            + (sums[WATER, last] - water[k]) * water_price[k]
        )


@rule
def fill_row(streams: Streams, kind: int, stream: int, late: int, end: int) -> None:
    """Fill a row of `worth` [US$] up to a month, as far as that is not done."""
    begin = streams.filled[kind, stream, late]
    if begin < end:
        streams.filled[kind, stream, late] = end
        if kind == MARGIN:
            fill_margin(streams, stream, late, begin, end)
        else:
            fill_expected(streams, stream, late, begin, end)


@rule
def blend(own: Array, own_later: Array, new: Array, new_later: Array, shares: Shares, out: Array) -> None:
    """Both streams of a strategy, whole months late and one month more; all in units of the rows."""
    a, b, c, d = shares.own, shares.own_later, shares.new, shares.new_later
    for k in range(out.size):
        out[k] = a * own[k] + b * own_later[k] + c * new[k] + d * new_later[k]


@inlined
def blend_worth(streams: Streams, kind: int, shares: Shares, begin: int, out: Array) -> None:
    """Worth [US$] of a strategy in the months begin, begin + 1, .. from the job on, all after the months shut in."""
    new_late = shares.month + shares.late
    own_late = new_late - shares.resume
    first = shares.month + begin
    for stream in range(2):
        late = own_late if stream == OWN else new_late
        for row in range(late, late + 2):
            fill_row(streams, kind, stream, row, first + out.size)
    own, new = streams.worth[kind, OWN], streams.worth[kind, NEW]
    blend(
        own[own_late, first:],
        own[own_late + 1, first:],
        new[new_late, first:],
        new[new_late + 1, first:],
        shares,
        out,
    )


@inlined
def fill_strategy_margin(streams: Streams, shares: Shares, end: int, out: Array) -> None:
    """Margin [US$] of a strategy in its months 0 to end - 1 from the job on."""
    late = shares.late
    for k in range(min(late, end)):
        out[k] = 0.0
    if late < end:  # the month in which it comes back
        month, volumes, prices = shares.month + late, streams.volumes, streams.prices[MARGIN]
        out[late] = 0.0
        for phase in range(3):
            out[late] += prices[phase, month] * (
                shares.own * volumes[OWN, phase, shares.resume] + shares.new * volumes[NEW, phase, 0]
            )
    if late + 1 < end:
        blend_worth(streams, MARGIN, shares, late + 1, out[late + 1 : end])


@rule
def delivered(sums: Array, phase: int, edge: int, shares: Shares) -> float:
    """Volume [bbl or Mcf] of a phase from the job to the edge of a month."""
    at = edge - shares.late
    own, new = sums[OWN, phase, shares.resume :], sums[NEW, phase]
    total = 0.0
    if at > 0:
        total += shares.own * (own[at] - own[0]) + shares.new * (new[at] - new[0])
    if at > 1:
        total += shares.own_later * (own[at - 1] - own[0]) + shares.new_later * (new[at - 1] - new[0])
    return total


@rule
def expected_before_return(streams: Streams, shares: Shares, k: int) -> float:
    """Margin [US$] expected of the AHEAD months from month k after the job on, where k is not after the shut-in."""
    stop, expected = min(k + AHEAD, shares.width), 0.0
    for phase in range(3):
        expected += streams.prices[EXPECTED, phase, shares.month + k] * (
            delivered(streams.sums, phase, stop, shares) - delivered(streams.sums, phase, k, shares)
        )
    return expected
