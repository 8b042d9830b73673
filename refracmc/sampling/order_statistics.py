"""Quantiles of sorted trials, and the error of the share of trials below a value."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from refracmc.sampling.design_error import MIN_BLOCKS, FloatArray, Layout, block_sums, standard_error

NODES = 8
"""Probabilities about that of a quantile at which the quantile function is looked at for its error."""
_NORMAL = ndtri((np.arange(NODES) + 0.5) / NODES)
_NORMAL /= _NORMAL.std()


def order_statistic(ordered: FloatArray, place: NDArray[np.intp]) -> FloatArray:
    return np.take_along_axis(ordered, place[..., None], axis=-1)[..., 0]


def places(count: FloatArray, p: FloatArray | float) -> tuple[NDArray[np.intp], NDArray[np.intp], FloatArray]:
    """Order statistics a quantile lies between, and how far from the first to the second."""
    last = np.maximum(count - 1.0, 0.0)
    position = p * last
    low = position.astype(np.intp)
    return low, np.minimum(low + 1, last.astype(np.intp)), position - low


def between(a: FloatArray, b: FloatArray, t: FloatArray) -> FloatArray:
    step = b - a
    return np.where(t < 0.5, a + step * t, b - step * (1.0 - t))


def quantile(ordered: FloatArray, count: FloatArray, p: FloatArray | float) -> FloatArray:
    """Interpolates order statistics linearly (as np.quantile's default), p (...,); NaN for no values."""
    low, high, t = places(count, p)
    return between(order_statistic(ordered, low), order_statistic(ordered, high), t)


def quantiles(values: FloatArray, shares: FloatArray) -> FloatArray:
    """Quantiles (..., k) of values (..., n), all of them defined, at shares (k,) below: equal to those of np.quantile,
    which often takes longer to pick out several than a sort. With an undefined value they mean nothing."""
    low, high, t = places(np.full(shares.shape, float(values.shape[-1])), shares)
    ordered = np.sort(values, axis=-1)
    return between(ordered[..., low], ordered[..., high], t)


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


def count_hits(x: FloatArray, at: FloatArray, lay: Layout) -> Hits:
    below = x <= at[..., None]
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
