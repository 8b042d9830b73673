"""Life limits: the last month a well produces, exact on a known path, by a look-ahead rule otherwise.

A limit is a month index; -1 means that the well does not produce at all.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .rows import count_true, segment_sums

Array = NDArray[np.float64]
IntArray = NDArray[np.intp]


def exact_limit(discounted_net: Array, first_allowed: int) -> IntArray:
    """Last producing month L >= first_allowed that maximises the sum of discounted_net over months 0..L.

    discounted_net (n, T), C order: discounted operating net, US$; (n,). first_allowed: -1 allows no
    production (L = -1, sum 0); m forces production through month m. Ties go to the earliest month. Right
    where the whole price path is known at month 0. Raises ValueError unless -1 <= first_allowed < T.

    The sum rises only in runs of positive months: with one such run after first_allowed the best L is its end
    or first_allowed, whichever sums to more. Rows with more runs take the running total.
    """
    n, months = discounted_net.shape
    if not -1 <= first_allowed < months:
        raise ValueError(f"first_allowed must be in -1..{months - 1}, got {first_allowed}")
    limit = np.full(n, first_allowed, dtype=np.intp)
    start = first_allowed + 1
    if start == months or n == 0:
        return limit
    positive = discounted_net[:, start:] > 0.0
    width = months - start
    last = width - 1 - np.argmax(positive[:, ::-1], axis=1)
    rises = positive[np.arange(n), last]
    runs = count_true(positive[:, 1:] > positive[:, :-1]) + positive[:, 0]
    end = start + last
    gain = segment_sums(discounted_net, start, end + 1)
    better = rises & (runs == 1) & (gain > 0.0)
    limit[better] = end[better]
    rows = np.flatnonzero(runs > 1)
    if rows.size:
        running = np.cumsum(discounted_net[rows, start:], axis=1)
        best = np.argmax(running, axis=1)
        gains = running[np.arange(rows.size), best] > 0.0
        limit[rows[gains]] = start + best[gains]
    return limit


def look_ahead_limit(expected_net: Array, first_allowed: int) -> IntArray:
    """Month before the first month i > first_allowed whose expected net is negative; T-1 if there is none.

    expected_net (n, T): what months i..i+11 (cut at T) are expected to earn, seen from month i (see
    `engine.cash`); (n,). Raises ValueError unless -1 <= first_allowed < T.
    """
    n, months = expected_net.shape
    if not -1 <= first_allowed < months:
        raise ValueError(f"first_allowed must be in -1..{months - 1}, got {first_allowed}")
    start = first_allowed + 1
    if start == months or n == 0:
        return np.full(n, months - 1, dtype=np.intp)
    negative = expected_net[:, start:] < 0.0
    first = np.argmax(negative, axis=1)
    stops = negative[np.arange(n), first]
    limit: IntArray = np.where(stops, start + first - 1, months - 1)
    return limit


def clear_after(net: Array, limit: IntArray, first_month: int = 0) -> None:
    """Zero, in place, the columns of net (n, K), US$, months first_month.., that lie after limit (n,)."""
    past = np.arange(first_month, first_month + net.shape[1]) > limit[:, None]
    np.copyto(net, 0.0, where=past)
