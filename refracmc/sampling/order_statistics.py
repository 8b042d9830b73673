"""Quantiles of sorted trials, and the error of the share of trials below a value."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from refracmc.sampling.design_error import (
    MIN_BLOCKS,
    BoolArray,
    FloatArray,
    Layout,
    block_sums,
    standard_error,
)

NODES = 8
"""Probabilities about that of a quantile at which the quantile function is looked at for its error."""
_NORMAL = ndtri((np.arange(NODES) + 0.5) / NODES)
_NORMAL /= _NORMAL.std()


_TOGETHER = 1 << 17
"""Values looked through together: a megabyte, for a processor's cache."""


def sorted_at(values: FloatArray, at: NDArray[np.intp]) -> FloatArray:
    """What sorting each row of values (S, n), all of them defined, would put at the places `at` (S, m).

    The range of a row is cut into buckets of equal width, and only the buckets that hold a wanted place are sorted:
    for a few places a fifth of the time of a whole sort, to the bit the same.
    """
    n, wanted = values.shape[-1], at.shape[-1]
    buckets = max(1, n // 8, min(16 * wanted, n // 2))
    step = max(1, _TOGETHER // n)
    found = np.empty(at.shape)
    for first in range(0, len(values), step):
        rows = slice(first, first + step)
        found[rows] = _picked(np.ascontiguousarray(values[rows]), at[rows], buckets)
    return found


def _picked(x: FloatArray, at: NDArray[np.intp], buckets: int) -> FloatArray:
    rows, n = x.shape
    number = np.arange(rows)[:, None]
    low, high = x.min(axis=1, keepdims=True), x.max(axis=1, keepdims=True)
    if (low == high).all():
        return np.repeat(low, at.shape[1], axis=1)
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        width = high - low
        scale = np.where(high > low, (buckets - 0.5) / width, 0.0)
    if not (np.isfinite(width) & np.isfinite(scale)).all():
        return np.take_along_axis(np.sort(x, axis=1), at, axis=1)
    place = (x - low) * scale
    place += number * buckets
    bucket = place.astype(np.intp).ravel()
    counts = np.bincount(bucket, minlength=rows * buckets)
    ends = counts.cumsum()
    whole = at + number * n
    holds = np.searchsorted(ends, whole, side="right")
    marked = np.zeros(rows * buckets, dtype=np.bool_)
    marked[holds] = True
    picked = x.ravel()[marked[bucket]]
    kept = np.where(marked, counts, 0).cumsum()
    start = 0
    for end in kept[buckets - 1 :: buckets].tolist():
        picked[start:end].sort()
        start = end
    found: FloatArray = picked[kept[holds] - (ends[holds] - whole)]
    return found


def places(count: FloatArray, p: FloatArray | float) -> tuple[NDArray[np.intp], NDArray[np.intp], FloatArray]:
    """Order statistics a quantile lies between, and how far from the first to the second."""
    last = np.maximum(count - 1.0, 0.0)
    position = p * last
    low = position.astype(np.intp)
    return low, np.minimum(low + 1, last.astype(np.intp)), position - low


def between(a: FloatArray, b: FloatArray, t: FloatArray) -> FloatArray:
    step = b - a
    return np.where(t < 0.5, a + step * t, b - step * (1.0 - t))


def quantiles(values: FloatArray, shares: FloatArray, counts: FloatArray | None = None) -> FloatArray:
    """Quantiles (..., k) of values (..., n) at shares (k,) or (..., k) below, interpolated as np.quantile does.

    counts (...,): how many values of a row are defined, where the others stand as its largest; NaN for none. All are
    defined by default.
    """
    rows = values.reshape(-1, values.shape[-1])
    known = np.full(len(rows), float(rows.shape[-1])) if counts is None else counts.reshape(-1)
    below = np.broadcast_to(shares, (*values.shape[:-1], shares.shape[-1])).reshape(len(rows), -1)
    low, high, t = places(known[:, None], below)
    found = sorted_at(rows, np.concatenate([low, high], axis=1))
    count = below.shape[1]
    made = between(found[:, :count], found[:, count:], t)
    return np.where(known[:, None] > 0.0, made, np.nan).reshape(*values.shape[:-1], -1)


def around(p: float, count: FloatArray) -> FloatArray:
    """Probabilities (..., NODES) about p as the share below a fixed value scatters in `count` (...,) plain trials."""
    scatter = np.sqrt(p * (1.0 - p) / np.maximum(count, 1.0))
    return np.asarray(np.clip(p + scatter[..., None] * _NORMAL, 0.0, 1.0))


def slope(values: FloatArray, at: FloatArray) -> FloatArray:
    """Spread of the quantiles `values` (..., NODES) over that of their probabilities `at`: the slope of the quantile
    function where it is smooth, and the spread of what a sample picks where it jumps."""
    reach = values.max(axis=-1) - values.min(axis=-1)
    parts = (values - values[..., :1]) / np.where(reach > 0.0, reach, 1.0)[..., None]
    return np.asarray(reach * parts.std(axis=-1) / at.std(axis=-1))


class Hits(NamedTuple):
    """Trials at or below a value: in each whole block (..., whole), or None, and in all (...,)."""

    in_blocks: FloatArray | None
    total: FloatArray


def hits_of(below: BoolArray, lay: Layout) -> Hits:
    """Hits from flags (..., n)."""
    if not (lay.stratified and lay.whole >= MIN_BLOCKS):
        return Hits(None, below.sum(axis=-1, dtype=np.float64))
    found = block_sums(below, lay)
    total = found.sum(axis=-1)
    if lay.rest:
        total = total + below[..., lay.whole * lay.size :].sum(axis=-1, dtype=np.float64)
    return Hits(found, total)


def share_error(
    hits: Hits, counts: FloatArray, in_blocks: FloatArray | None, informative: FloatArray, lay: Layout
) -> FloatArray:
    """Standard error of the share of hits; counts, in_blocks, informative: of the defined trials."""
    share = hits.total / counts
    squares = hits.total * (1.0 - share)
    if hits.in_blocks is None:
        return standard_error(None, squares, squares, counts, informative, lay)[0]
    defined = in_blocks if in_blocks is not None else float(lay.size)
    sums = hits.in_blocks - share[..., None] * defined
    head_hits = hits.in_blocks.sum(axis=-1)
    head_count = np.sum(defined, axis=-1) if in_blocks is not None else lay.whole * lay.size
    head_squares = head_hits * (1.0 - share) ** 2 + (head_count - head_hits) * share**2
    return standard_error(sums, head_squares, squares, counts, informative, lay)[0]
