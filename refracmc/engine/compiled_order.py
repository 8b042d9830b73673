"""Order statistics of long rows, compiled by numba: values are dealt into buckets; those asked for are sorted.

What stands at a place of a sorted row is one number however it is found, so tables do not depend on it. It needs the
optional numba; `sampling.order_statistics.at_places` serves where it is absent.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]
Places = NDArray[np.intp]
BUCKETS = 4096


@njit(cache=True, error_model="numpy")
def _sort(values: Array, start: int, stop: int) -> None:
    """Sort values[start:stop] in place."""
    if stop - start > 32:
        for i in range(start + 1, stop):
            if values[i - 1] > values[i]:
                values[start:stop].sort()
                break
        return
    for i in range(start + 1, stop):
        value = values[i]
        k = i
        while k > start and values[k - 1] > value:
            values[k] = values[k - 1]
            k -= 1
        values[k] = value


@njit(cache=True, error_model="numpy", nogil=True)
def _select(rows: Array, places: Places, found: Array) -> None:
    count, n = rows.shape
    dealt = np.empty(n)
    ends = np.empty(BUCKETS + 1, dtype=np.int64)
    after = np.empty(BUCKETS, dtype=np.int64)
    sorted_yet = np.empty(BUCKETS, dtype=np.bool_)
    for r in range(count):
        row = rows[r]
        low, high, known = np.inf, -np.inf, 0
        for t in range(n):
            value = row[t]
            known += value == value
            low = value if value < low else low
            high = value if value > high else high
        if known == 0 or low == high:
            found[r] = low if known else np.nan
            continue
        span = high - low
        scale = (BUCKETS - 1) / span
        if not (np.isfinite(span) and np.isfinite(scale)):  # too far apart, or too close
            dealt[:] = row
            dealt.sort()
            for j in range(places.shape[1]):
                found[r, j] = dealt[places[r, j]]
            continue
        ends[:] = 0
        if known == n:
            for t in range(n):
                ends[np.int64((row[t] - low) * scale) + 1] += 1
        else:
            for t in range(n):
                if row[t] == row[t]:
                    ends[np.int64((row[t] - low) * scale) + 1] += 1
        for b in range(BUCKETS):
            ends[b + 1] += ends[b]
            after[b] = ends[b]
            sorted_yet[b] = False
        for t in range(n):
            value = row[t]
            if value == value:
                into = np.int64((value - low) * scale)
                dealt[after[into]] = value
                after[into] += 1
        for j in range(places.shape[1]):
            place = places[r, j]
            mine = np.searchsorted(ends, place, side="right") - 1
            if not sorted_yet[mine]:
                _sort(dealt, ends[mine], ends[mine + 1])
                sorted_yet[mine] = True
            found[r, j] = dealt[place]


def at_places(rows: Array, places: Places) -> Array:
    """As `sampling.order_statistics.at_places`."""
    found = np.empty(places.shape)
    _select(np.ascontiguousarray(rows), np.ascontiguousarray(places), found)
    return found


def warm() -> None:
    """Compile, or load from the cache, for the argument types the engine uses."""
    at_places(np.zeros((1, 2)), np.zeros((1, 1), dtype=np.intp))
