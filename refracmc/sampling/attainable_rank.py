"""What rank correlation two inputs can have where one of them takes few values, and what a stated one comes out as.

The figure is Spearman's with tied values at their mean rank: the linear correlation of the mean ranks. For a continuous
input the rank is its uniform u. For one that is constant over steps of u it is the middle of the step. Ties take away
from both ends of -1 to 1. The ends are those of the Frechet bounds (Hoeffding 1940; Frechet 1951): both inputs from one
u, or from u and 1 - u. A half-and-half Bernoulli reaches sqrt(3)/2 = 0.866 with a continuous input.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from refracmc.sampling.dependence import pearson_for_rank
from refracmc.sampling.distribution_base import Distribution

FloatArray = NDArray[np.float64]
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_BINS = 128
_FARTHEST = 8.0
"""Normal score beyond which there is nothing to integrate."""
_GRID = np.linspace(-_FARTHEST, _FARTHEST, 81)


def _mean_ranks(steps: FloatArray, u: FloatArray) -> FloatArray:
    """Mean rank (0 to 1) at each u: the middle of the step it is in, or u itself where there are no steps."""
    if not steps.size:
        return u
    place = np.clip(np.searchsorted(steps, u, side="right") - 1, 0, steps.size - 2)
    return np.asarray(0.5 * (steps[place] + steps[place + 1]))


def _centred_product(first: FloatArray, second: FloatArray, against: bool = False) -> float:
    """Covariance of the mean ranks of two inputs with these steps, both from one u; against: the second from 1 - u."""
    mirrored = 1.0 - second[::-1] if against else second
    edges = np.unique(np.concatenate([[0.0, 1.0], first, mirrored]))
    width, middle = np.diff(edges), 0.5 * (edges[1:] + edges[:-1])
    total = 0.0
    for weight, part in (
        (1, -0.5),
        (4, 0.0),
        (1, 0.5),
    ):  # Simpson's rule is exact for products of straight lines
        at = middle + (part * (1.0 - 1e-9)) * width
        ranks = _mean_ranks(second, 1.0 - at if against else at)
        total += weight / 6 * float(np.sum(width * (_mean_ranks(first, at) - 0.5) * (ranks - 0.5)))
    return total


def attainable_rank(a: Distribution, b: Distribution) -> tuple[float, float]:
    """Lowest and highest rank correlation (no unit) that two uncertain inputs can have, whatever ties them."""
    first, second = a.steps(), b.steps()
    sizes = math.sqrt(_centred_product(first, first) * _centred_product(second, second))
    lowest = _centred_product(first, second, against=True) / sizes
    return max(lowest, -1.0), min(_centred_product(first, second) / sizes, 1.0)


def _coarser(steps: FloatArray) -> FloatArray:
    """The steps with those far below a hundredth put together: a few hundred at most, wide ones as they are."""
    if steps.size < 2 * _BINS:
        return steps
    new = np.diff(np.floor(steps * _BINS)) > 0
    return np.asarray(steps[np.append(True, new) | np.append(new, True)])


def reached_rank(a: Distribution, b: Distribution, stated: float) -> float:
    """Rank correlation (no unit) that two inputs have where `stated` ties the uniforms that they are read from.

    The uniforms are tied by a normal copula (see refracmc/sampling/dependence.py); an input without steps keeps what is
    stated. To about three digits.
    """
    first, second = _coarser(a.steps()), _coarser(b.steps())
    if not first.size:
        first, second = second, first
    if not first.size:
        return stated
    tie = float(pearson_for_rank(stated))
    rest = math.sqrt(1.0 - tie * tie)
    ends = np.unique(np.clip(np.append(ndtri(first), _GRID), -_FARTHEST, _FARTHEST))
    half = 0.5 * np.diff(ends)
    z = (0.5 * (ends[1:] + ends[:-1]))[:, None] + half[:, None] * _NODES
    density = np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    ranks = _mean_ranks(first, ndtr(0.5 * (ends[1:] + ends[:-1]))) - 0.5
    if second.size:
        mids = 0.5 * (second[1:] + second[:-1])
        below = ndtr((np.clip(ndtri(second), -_FARTHEST, _FARTHEST) - tie * z[..., None]) / rest)
        expected = np.diff(below, axis=-1) @ mids
    else:
        expected = ndtr(tie * z / math.sqrt(1.0 + rest * rest))
    together = float(np.sum(ranks * half * ((density * (expected - 0.5)) @ _WEIGHTS)))
    return together / math.sqrt(_centred_product(first, first) * _centred_product(second, second))
