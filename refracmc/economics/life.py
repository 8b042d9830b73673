"""How long a well or a strategy lives: with hindsight on a price path that is known, by looking ahead otherwise."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from refracmc.compiler import inlined, rule

from .margins import EXPECTED, Shares, Streams, blend_worth, expected_before_return

Array = NDArray[np.float64]
SPAN = 64
"""Months looked at together."""


@rule
def first_below(values: Array, floor: Array) -> int:
    """The first month k with values[k] < floor[k], or -1. Counted first: a loop that does not break is a fast one."""
    below = 0
    for k in range(values.size):
        below += values[k] < floor[k]
    if below == 0:
        return -1
    k = 0
    while not values[k] < floor[k]:
        k += 1
    return k


@inlined
def last_by_looking_ahead(streams: Streams, shares: Shares, needed: Array, work: Array) -> int:
    """The month before the first, from month 1 after the job on, from which the next months are expected to lose money.

    needed (T,): margin [US$] that pays the fixed costs of those months, by month of the calendar; work (SPAN,).
    """
    late, month, width = shares.late, shares.month, shares.width
    for k in range(1, min(late + 1, width)):  # not yet back in full
        if expected_before_return(streams, shares, k) < needed[month + k]:
            return k - 1
    for begin in range(late + 1, width, SPAN):
        expected = work[: min(SPAN, width - begin)]
        blend_worth(streams, EXPECTED, shares, begin, expected)
        k = first_below(expected, needed[month + begin :])
        if k >= 0:
            return begin + k - 1
    return width - 1


@rule
def last_by_hindsight(net: Array, fixed: Array, discount: Array, forced: bool) -> int:
    """The month after which the sum of net less fixed [US$], discounted, is largest; -1 for none, unless forced.

    Ties go to the earliest month.
    """
    total, best, where = 0.0, (-np.inf if forced else 0.0), -1
    for k in range(net.size):
        total += (net[k] - fixed[k]) * discount[k]
        if total > best:
            best, where = total, k
    return where
