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
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from refracmc.sampling.design_error import (
    MIN_BLOCKS,
    BoolArray,
    Defined,
    FloatArray,
    Layout,
    defined_values,
    error_of,
    layout,
    whole,
)
from refracmc.sampling.order_statistics import (
    around,
    between,
    hits_of,
    places,
    quantiles,
    share_error,
    slope,
    sorted_at,
)

__all__ = [
    "MIN_BLOCKS",
    "PERCENTILES",
    "Estimate",
    "chance_below",
    "cvar_with_error",
    "mean_with_error",
    "quantile_contributions",
    "quantile_with_error",
    "ranked_percentiles",
    "ratio_with_error",
    "summarise",
]

PERCENTILES = {"p90": 0.1, "p50": 0.5, "p10": 0.9}
"""Exceedance convention: P90, the low one, is exceeded with chance 0.90."""


@dataclass(frozen=True)
class Estimate:
    """Estimates (...,), standard errors, undefined share of trials, and whether the errors are fallbacks."""

    value: FloatArray
    se: FloatArray
    undefined_share: FloatArray
    fallback: BoolArray


def _values(values: ArrayLike) -> FloatArray:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim == 0 or x.shape[-1] == 0:
        raise ValueError(f"values: found shape {x.shape}; allowed: (..., trials) with at least one trial")
    return x


def _defined(x: FloatArray, lay: Layout) -> tuple[Defined, FloatArray]:
    """Which values count, and their mean: NaN where there is none."""
    with np.errstate(over="ignore", invalid="ignore"):
        total = x.sum(axis=-1)
        if np.isfinite(total).all():  # the sum with an undefined value is undefined
            return whole(x.shape[:-1], lay), np.asarray(total / lay.trials)
        known = defined_values(x, lay)
        if known.mask is not None:
            total = np.where(known.mask, x, 0.0).sum(axis=-1)
        return known, np.asarray(total / known.counts)


def _centred(x: FloatArray, centre: FloatArray, known: Defined) -> FloatArray:
    with np.errstate(invalid="ignore"):
        z = x - centre[..., None]
    return z if known.mask is None else np.where(known.mask, z, 0.0)


def _filled(x: FloatArray, known: Defined) -> FloatArray:
    """Rows whose undefined values stand as the largest: what lies below them keeps its place in their order."""
    if known.mask is None:
        return x
    largest = np.where(known.mask, x, -np.inf).max(axis=-1, keepdims=True)
    return np.where(known.mask, x, np.where(np.isfinite(largest), largest, 0.0))


def _estimate(value: FloatArray, z: FloatArray, known: Defined, lay: Layout) -> Estimate:
    se, fallback = error_of(z, known, lay)
    return Estimate(np.asarray(value), np.asarray(se), 1.0 - known.counts / lay.trials, np.asarray(fallback))


def mean_with_error(values: ArrayLike, sizes: Sequence[int], design: str) -> Estimate:
    """Mean of values (..., n) over defined trials. sizes: trials in each block; design: see `DESIGNS`."""
    x = _values(values)
    lay = layout(sizes, x.shape[-1], design)
    known, mean = _defined(x, lay)
    return _estimate(mean, _centred(x, mean, known), known, lay)


def chance_below(values: ArrayLike, threshold: float, sizes: Sequence[int], design: str) -> Estimate:
    """Chance that a value (..., n) lies below `threshold` (0: chance of loss), among defined trials.

    Where no trial, or every trial, lies below, the error comes out as 0; the chance may then still be about
    3/n from the figure shown (95 % confidence).
    """
    x = _values(values)
    lay = layout(sizes, x.shape[-1], design)
    known, _ = _defined(x, lay)
    below = x < threshold
    hits = hits_of(below if known.mask is None else below & known.mask, lay)
    with np.errstate(divide="ignore", invalid="ignore"):
        chance = hits.total / known.counts
        se = share_error(hits, known.counts, known.in_blocks, known.informative, lay)
    return Estimate(chance, se, 1.0 - known.counts / lay.trials, _few_blocks(known, lay))


def _few_blocks(known: Defined, lay: Layout) -> BoolArray:
    """Whether errors are the conservative ones, see `design_error`."""
    return np.asarray(lay.stratified & (known.informative < MIN_BLOCKS))


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
        known, top = _defined(a, lay)
        both, base = _defined(b, lay)
        if known.mask is not None or both.mask is not None:
            known, base = _defined(np.where(np.isfinite(a), b, np.nan), lay)
            top = _defined(np.where(np.isfinite(b), a, np.nan), lay)[1]
        base = np.where(base == 0.0, np.nan, base)
        ratio = top / base
        z = (a - ratio[..., None] * b) / base[..., None]
    z = z if known.mask is None else np.where(known.mask, z, 0.0)
    return _estimate(ratio, z, known, lay)


def quantile_with_error(values: ArrayLike, probability: float, sizes: Sequence[int], design: str) -> Estimate:
    """Value (..., n) not exceeded with chance `probability` in (0, 1): P90 is probability 0.1."""
    if not 0.0 < probability < 1.0:
        raise ValueError(f"probability: found {probability!r}; allowed: between 0 and 1")
    x = _values(values)
    lay = layout(sizes, x.shape[-1], design)
    known, _ = _defined(x, lay)
    about = around(probability, known.counts)
    shares = np.concatenate([np.full((*x.shape[:-1], 1), probability), about], axis=-1)
    found = quantiles(_filled(x, known), shares, known.counts)
    at = found[..., 0]
    se = _quantile_error(x, at, found[..., 1:], about, known, lay)
    return Estimate(at, se, 1.0 - known.counts / lay.trials, _few_blocks(known, lay))


def quantile_contributions(values: FloatArray, probability: float) -> tuple[float, FloatArray]:
    """The value not exceeded with chance `probability` in (0, 1), and what each of the values (n,) adds to its error.

    The error of the mean of the contributions is that of the quantile as `quantile_with_error` has it; so is that of a
    difference of contributions, of two quantiles over the same trials. All values are finite.
    """
    about = around(probability, np.asarray(float(values.size)))
    found = quantiles(values, np.concatenate([[probability], about]))
    at = float(found[0])
    return at, -slope(found[1:], about) * ((values <= at) - probability)


def _quantile_error(
    x: FloatArray, at: FloatArray, near: FloatArray, about: FloatArray, known: Defined, lay: Layout
) -> FloatArray:
    """Standard error (...,) of the quantiles `at` of x (..., n); near: those at the probabilities `about` (..., k)."""
    below = x <= at[..., None]
    hits = hits_of(below if known.mask is None else below & known.mask, lay)
    with np.errstate(divide="ignore", invalid="ignore"):
        se = share_error(hits, known.counts, known.in_blocks, known.informative, lay)
        return np.asarray(se * slope(near, about))


def ranked_percentiles(values: ArrayLike) -> dict[str, FloatArray]:
    """P90, P50 and P10 (...,) of values (..., n), in their unit: infinite ones rank first or last, NaN do not count."""
    x = np.sort(_values(values), axis=-1)  # NaN at the end
    counts = np.asarray((~np.isnan(x)).sum(axis=-1, dtype=np.float64))
    found = {}
    for name, share in PERCENTILES.items():
        low, high, t = places(counts, share)
        a, b = (np.take_along_axis(x, at[..., None], axis=-1)[..., 0] for at in (low, high))
        with np.errstate(invalid="ignore"):
            made = between(a, b, t)
        endless = np.isinf(a) | np.isinf(b)
        found[name] = np.where(endless, np.where((t == 0.0) | np.isinf(a), a, b), made)
    return found


def cvar_with_error(values: ArrayLike, tail_fraction: float, sizes: Sequence[int], design: str) -> Estimate:
    """Mean of the worst (lowest) `tail_fraction` of values (..., n): conditional value at risk.

    Rockafellar and Uryasev (2000), J. Risk 2(3), doi:10.21314/JOR.2000.038: the value at the boundary counts
    with the fraction of a trial that fills the tail. The error is NaN for a tail of less than two trials.
    """
    if not 0.0 < tail_fraction <= 1.0:
        raise ValueError(f"tail_fraction: found {tail_fraction!r}; allowed: above 0, at most 1")
    x = _values(values)
    lay = layout(sizes, x.shape[-1], design)
    known, _ = _defined(x, lay)
    tail = tail_fraction * known.counts
    # A tail of 0.1 of 30 trials is 3, not the 3.0000000000000004 of binary fractions.
    place = np.clip(np.ceil(tail * (1.0 - 1e-12)) - 1.0, 0.0, lay.trials - 1.0).astype(np.intp)
    boundary = sorted_at(_filled(x, known).reshape(-1, lay.trials), place.reshape(-1, 1)).reshape(place.shape)
    with np.errstate(invalid="ignore", divide="ignore"):
        z = boundary[..., None] + np.minimum(x - boundary[..., None], 0.0) / tail_fraction
    z = z if known.mask is None else np.where(known.mask, z, np.nan)
    _, value = _defined(z, lay)
    result = _estimate(value, _centred(z, value, known), known, lay)
    se = np.where(tail * (1.0 + 1e-12) < 2.0, np.nan, result.se)
    return Estimate(result.value, se, result.undefined_share, result.fallback)


def summarise(
    values: ArrayLike,
    sizes: Sequence[int],
    design: str = "plain",
    more: FloatArray | None = None,
) -> dict[str, NDArray[Any]]:
    """Mean and percentiles with their errors of every row of values (..., n), over its defined trials; NaN for none.

    sizes : trials in each block (`streams.blocks_of`); design : one of `DESIGNS`.
    Returns arrays (...,): mean, se, p90, p50, p10, p90_se, p50_se, p10_se in the values' unit, undefined_share
    (fraction of trials not finite) and fallback (True where the errors are the conservative ones, see `design_error`).
    With more (k,), chances below: also `more` (..., k), the quantiles there.
    """
    x = _values(values)
    lay = layout(sizes, x.shape[-1], design)
    known, mean = _defined(x, lay)
    got = _estimate(mean, _centred(x, mean, known), known, lay)
    about = [around(p, known.counts) for p in PERCENTILES.values()]
    fixed = np.array([*PERCENTILES.values(), *([] if more is None else more)])
    shares = [np.broadcast_to(fixed, (*x.shape[:-1], fixed.size)), *about]
    found = quantiles(_filled(x, known), np.concatenate(shares, axis=-1), known.counts)
    made = {"mean": got.value, "se": got.se, "undefined_share": got.undefined_share, "fallback": got.fallback}
    for k, (name, near) in enumerate(zip(PERCENTILES, about, strict=True)):
        first = fixed.size + k * near.shape[-1]
        at, around_it = found[..., k], found[..., first : first + near.shape[-1]]
        made |= {name: at, f"{name}_se": _quantile_error(x, at, around_it, near, known, lay)}
    return made if more is None else made | {"more": found[..., len(PERCENTILES) : fixed.size]}
