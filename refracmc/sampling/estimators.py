"""Estimates from trials, each with the standard error that its design really has.

Values are arrays (..., n): the last axis is the trials, in block order; whatever stands before it (measures,
strategies, wells) is carried along. A value that is not finite is undefined (no payout, no rate of return):
it is left out of the estimate and counted in the undefined share, never dropped in silence.

Every estimate is a smooth function of means, so each trial has a contribution z to it (its influence), and
the standard error is that of mean(z) under the design: see `design_error`. A percentile's error is that
of the share of trials below it, carried through the quantile function (Woodruff 1952, JASA 47): the standard
deviation of the quantiles that lie about it as that share scatters. Where values are few or stand in clumps (counts,
days with or without an event) the quantile jumps, and a slope across the jump would be too small by half (the idea of
Maritz & Jarrett 1978, JASA 73, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from refracmc.sampling.design_error import (
    MIN_BLOCKS,
    BoolArray,
    Defined,
    FloatArray,
    Layout,
    block_sums,
    defined_values,
    error_of,
    layout,
    standard_error,
    whole,
)
from refracmc.sampling.order_statistics import (
    NODES,
    Hits,
    around,
    between,
    count_hits,
    order_statistic,
    places,
    quantile,
    share_error,
    slope,
)

__all__ = [
    "MIN_BLOCKS",
    "Estimate",
    "chance_below",
    "cvar_with_error",
    "mean_with_error",
    "quantile_with_error",
    "ratio_with_error",
    "summarise",
    "trials_for_tolerance",
]

PERCENTILES = {"p90": 0.1, "p50": 0.5, "p10": 0.9}
"""Exceedance convention: P90, the low one, is exceeded with chance 0.90."""

_CHUNK = 1 << 17
"""Values worked on together: a megabyte, for a processor's cache."""


@dataclass(frozen=True)
class Estimate:
    """Estimates (...,), standard errors, undefined share of trials, and whether the errors are fallbacks."""

    value: FloatArray
    se: FloatArray
    undefined_share: FloatArray
    fallback: BoolArray


def _mean(x: FloatArray, known: Defined) -> FloatArray:
    """Mean over defined values, NaN where there is none."""
    if known.mask is None:
        return np.asarray(x.mean(axis=-1))
    with np.errstate(invalid="ignore"):
        return np.asarray(np.where(known.mask, x, 0.0).sum(axis=-1) / known.counts)


def _centred(x: FloatArray, centre: FloatArray, known: Defined) -> FloatArray:
    with np.errstate(invalid="ignore"):
        z = x - centre[..., None]
    return z if known.mask is None else np.where(known.mask, z, 0.0)


def _estimate(value: FloatArray, z: FloatArray, known: Defined, lay: Layout) -> Estimate:
    se, fallback = error_of(z, known, lay)
    return Estimate(np.asarray(value), np.asarray(se), 1.0 - known.counts / lay.trials, np.asarray(fallback))


def _values(values: ArrayLike) -> FloatArray:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim == 0 or x.shape[-1] == 0:
        raise ValueError(f"values: found shape {x.shape}; allowed: (..., trials) with at least one trial")
    return x


def mean_with_error(values: ArrayLike, sizes: Sequence[int], design: str) -> Estimate:
    """Mean of values (..., n) over defined trials. sizes: trials in each block; design: see `DESIGNS`."""
    x = _values(values)
    lay = layout(sizes, x.shape[-1], design)
    known = defined_values(x, lay)
    mean = _mean(x, known)
    return _estimate(mean, _centred(x, mean, known), known, lay)


def chance_below(values: ArrayLike, threshold: float, sizes: Sequence[int], design: str) -> Estimate:
    """Chance that a value (..., n) lies below `threshold` (0: chance of loss), among defined trials.

    Where no trial, or every trial, lies below, the error comes out as 0; the chance may then still be about
    3/n from the figure shown (95 % confidence).
    """
    x = _values(values)
    with np.errstate(invalid="ignore"):
        below = np.where(np.isfinite(x), x < threshold, np.nan)
    return mean_with_error(below, sizes, design)


def ratio_with_error(
    numerator: ArrayLike, denominator: ArrayLike, sizes: Sequence[int], design: str
) -> Estimate:
    """Ratio of means, mean(numerator)/mean(denominator), both (..., n), error by the delta method.

    A trial counts where both are defined. NaN where the mean of the denominator is 0. The error is sound
    where the denominator's mean is many of its own standard errors from 0.
    """
    a, b = np.broadcast_arrays(_values(numerator), _values(denominator))
    lay = layout(sizes, a.shape[-1], design)
    with np.errstate(all="ignore"):
        known = defined_values(np.where(np.isfinite(a), b, np.nan), lay)
        base = _mean(b, known)
        base = np.where(base == 0.0, np.nan, base)
        ratio = _mean(a, known) / base
        z = (a - ratio[..., None] * b) / base[..., None]
    z = z if known.mask is None else np.where(known.mask, z, 0.0)
    return _estimate(ratio, z, known, lay)


def _quantile_error(
    x: FloatArray, ordered: FloatArray, known: Defined, p: float, at: FloatArray, lay: Layout
) -> FloatArray:
    """Standard error of the quantile `at` of probability p: see the head of this file."""
    with np.errstate(divide="ignore", invalid="ignore"):
        se = share_error(count_hits(x, at, lay), known.counts, known.in_blocks, known.informative, lay)
        about = around(p, known.counts)
        values = [quantile(ordered, known.counts, about[..., k]) for k in range(NODES)]
        return se * slope(np.stack(values, axis=-1), about)


def _ordered(x: FloatArray, known: Defined) -> FloatArray:
    """Sorted along the trials, undefined last as NaN."""
    return np.sort(x if known.mask is None else np.where(known.mask, x, np.nan), axis=-1)


def quantile_with_error(values: ArrayLike, probability: float, sizes: Sequence[int], design: str) -> Estimate:
    """Value (..., n) not exceeded with chance `probability` in (0, 1): P90 is probability 0.1."""
    if not 0.0 < probability < 1.0:
        raise ValueError(f"probability: found {probability!r}; allowed: between 0 and 1")
    x = _values(values)
    lay = layout(sizes, x.shape[-1], design)
    known = defined_values(x, lay)
    ordered = _ordered(x, known)
    at = quantile(ordered, known.counts, probability)
    se = _quantile_error(x, ordered, known, probability, at, lay)
    fallback = lay.stratified & (known.informative < MIN_BLOCKS)
    return Estimate(at, se, 1.0 - known.counts / lay.trials, np.asarray(fallback))


def cvar_with_error(values: ArrayLike, tail_fraction: float, sizes: Sequence[int], design: str) -> Estimate:
    """Mean of the worst (lowest) `tail_fraction` of values (..., n): conditional value at risk.

    Rockafellar and Uryasev (2000), J. Risk 2(3), doi:10.21314/JOR.2000.038: the value at the boundary counts
    with the fraction of a trial that fills the tail. The error is NaN for a tail of less than two trials.
    """
    if not 0.0 < tail_fraction <= 1.0:
        raise ValueError(f"tail_fraction: found {tail_fraction!r}; allowed: above 0, at most 1")
    x = _values(values)
    lay = layout(sizes, x.shape[-1], design)
    known = defined_values(x, lay)
    tail = tail_fraction * known.counts
    # A tail of 0.1 of 30 trials is 3, not the 3.0000000000000004 of binary fractions.
    place = np.clip(np.ceil(tail * (1.0 - 1e-12)) - 1.0, 0.0, lay.trials - 1.0).astype(np.intp)
    if known.mask is None:  # the same place in every row
        first = int(place.flat[0])
        flat = x.reshape(-1, lay.trials)
        boundary = np.array([np.partition(row, first)[first] for row in flat]).reshape(x.shape[:-1])
    else:
        boundary = order_statistic(_ordered(x, known), place)
    with np.errstate(invalid="ignore", divide="ignore"):
        z = boundary[..., None] + np.minimum(x - boundary[..., None], 0.0) / tail_fraction
        z = z if known.mask is None else np.where(known.mask, z, np.nan)
    value = _mean(z, known)
    result = _estimate(value, _centred(z, value, known), known, lay)
    se = np.where(tail * (1.0 + 1e-12) < 2.0, np.nan, result.se)
    return Estimate(result.value, se, result.undefined_share, result.fallback)


def summarise(
    values: ArrayLike, blocks: Sequence[int], design: str = "plain"
) -> dict[str, NDArray[np.generic]]:
    """Mean, spread and percentiles with their errors, for every row of values (..., n).

    blocks : trials in each block (`streams.block_sizes`); design : one of `DESIGNS`.
    Returns arrays (...,): mean, se, sd, p90, p50, p10, p90_se, p50_se, p10_se in the values' unit,
    undefined_share (fraction of trials not finite; all else is over defined trials, NaN for none) and
    fallback (True where the errors are the conservative ones, see `design_error`).
    """
    x = _values(values)
    lay = layout(blocks, x.shape[-1], design)
    shape, rows = x.shape[:-1], x.reshape(-1, lay.trials)
    step = max(1, _CHUNK // lay.trials)
    parts = [_collect(rows[start : start + step], lay) for start in range(0, len(rows), step)]
    whole_known = all(part.in_blocks is None for part in parts)

    def joined(name: str) -> FloatArray:
        return np.concatenate([getattr(part, name) for part in parts])

    counts, informative, squares = joined("counts"), joined("informative"), joined("squares")
    in_blocks = None if whole_known else np.concatenate([_in_blocks(part, lay) for part in parts])
    out: dict[str, NDArray[np.generic]] = {"mean": joined("mean")}
    sums = None if parts[0].sums is None else joined("sums")
    out["se"], out["fallback"] = standard_error(
        sums, joined("head_squares"), squares, counts, informative, lay
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        out["sd"] = np.sqrt(np.where(counts < 2.0, np.nan, squares / (counts - 1.0)))
        for k, (name, p) in enumerate(PERCENTILES.items()):
            found_at = joined("quantiles")[:, k * (1 + NODES) : (k + 1) * (1 + NODES)]
            out[name] = found_at[:, 0].copy()
            at_blocks = [part.hits[k].in_blocks for part in parts]
            found = [blocks for blocks in at_blocks if blocks is not None]
            hits = Hits(
                np.concatenate(found) if found else None,
                np.concatenate([part.hits[k].total for part in parts]),
            )
            share_se = share_error(hits, counts, in_blocks, informative, lay)
            out[f"{name}_se"] = share_se * slope(found_at[:, 1:], around(p, counts))
    out["undefined_share"] = 1.0 - counts / lay.trials
    return {name: column.reshape(shape) for name, column in out.items()}


class _Collected(NamedTuple):
    """What `summarise` takes from the trials of k rows: sums, blocks' sums, order statistics, hits.

    quantiles (k, 3 (1 + NODES)): each percentile, and those about it.
    """

    mean: FloatArray
    counts: FloatArray
    in_blocks: FloatArray | None
    informative: FloatArray
    sums: FloatArray | None
    head_squares: FloatArray
    squares: FloatArray
    quantiles: FloatArray
    hits: list[Hits]


def _in_blocks(part: _Collected, lay: Layout) -> FloatArray:
    full = np.full((len(part.mean), lay.whole), float(lay.size))
    return full if part.in_blocks is None else part.in_blocks


def _collect(x: FloatArray, lay: Layout) -> _Collected:
    """One pass over rows (k, n) that fit a processor's cache together."""
    with np.errstate(over="ignore", invalid="ignore"):
        total = x.sum(axis=-1)
    if np.isfinite(total).all():  # the sum with an undefined value is undefined
        known, mean = whole(x.shape[:-1], lay), total / lay.trials
    else:
        known = defined_values(x, lay)
        mean = _mean(x, known)
    z = _centred(x, mean, known)
    squared = np.square(z)
    squares = head_squares = squared.sum(axis=-1)
    sums: FloatArray | None = None
    if lay.stratified and lay.whole >= MIN_BLOCKS:
        sums = block_sums(z, lay)
        if lay.rest:
            head_squares = squared[..., : lay.whole * lay.size].sum(axis=-1)
    wanted = [(np.full((len(x), 1), p), around(p, known.counts)) for p in PERCENTILES.values()]
    wide = np.concatenate([part for pair in wanted for part in pair], axis=-1)
    low, high, t = places(known.counts[:, None], wide)
    ordered = _ordered(x, known)  # many places: a sort is often faster than a selection
    below, above = (np.take_along_axis(ordered, place, axis=-1) for place in (low, high))
    with np.errstate(invalid="ignore"):
        quantiles = between(below, above, t)
    hits = [count_hits(x, quantiles[:, k * (1 + NODES)], lay) for k in range(len(wanted))]
    return _Collected(
        mean, known.counts, known.in_blocks, known.informative, sums, head_squares, squares, quantiles, hits
    )


def trials_for_tolerance(se: float, trials: int, tolerance: float, block_size: int) -> int:
    """Trials, in whole blocks, after which a standard error `se` reached with `trials` is about `tolerance`.

    Errors fall with the square root of the number of blocks in every design here. Raises ValueError unless
    se is finite and not negative, and tolerance above 0.
    """
    if not (np.isfinite(se) and se >= 0.0 and tolerance > 0.0):
        raise ValueError(f"se and tolerance: found {se!r} and {tolerance!r}; allowed: se >= 0, tolerance > 0")
    needed = trials * (se / tolerance) ** 2
    return max(1, int(np.ceil(needed / block_size))) * block_size
