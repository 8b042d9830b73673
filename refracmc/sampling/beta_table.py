"""Fast inverse of the beta distribution on [0, 1].

The inverse incomplete beta function costs about 0.7 microseconds a value, several hundred times a uniform,
and PERT inputs use it for every trial. As a function of the normal score s = ndtri(u) the inverse is smooth
to both ends, so a table of cubics in s (values and exact slopes at knots 1/64 apart) replaces it. A table is
used only if it agrees with the exact inverse at every half-way point to 1e-9 of the range.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, betaln, ndtr, ndtri

FloatArray = NDArray[np.float64]

_END = 8.5
_PER_UNIT = 64
_TOLERANCE = 1e-9


def exact_beta_ppf(alpha: float, beta: float, u: FloatArray) -> FloatArray:
    """Inverse of the regularised incomplete beta function (no table)."""
    return np.asarray(betaincinv(alpha, beta, u))


def _from_scores(alpha: float, beta: float, s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Beta value and its complement at normal scores s, each free of cancellation in its own tail."""
    lower = s <= 0.0
    tail = ndtr(-np.abs(s))
    low_value = betaincinv(alpha, beta, tail)
    high_value = betaincinv(beta, alpha, tail)
    return np.where(lower, low_value, 1.0 - high_value), np.where(lower, 1.0 - low_value, high_value)


@lru_cache(maxsize=1024)
def _table(alpha: float, beta: float) -> FloatArray | None:
    """Cubic coefficients (4, intervals) in the local coordinate 0..1, or None if too coarse."""
    knots = np.arange(-_END * _PER_UNIT, _END * _PER_UNIT + 1.0) / _PER_UNIT
    x, y = _from_scores(alpha, beta, knots)
    with np.errstate(all="ignore"):
        log_density = (alpha - 1.0) * np.log(x) + (beta - 1.0) * np.log(y) - betaln(alpha, beta)
        slope = np.exp(-0.5 * knots**2 - log_density) / np.sqrt(2.0 * np.pi) / _PER_UNIT
    slope = np.where(np.isfinite(slope) & (x > 0.0) & (y > 0.0), slope, 0.0)
    step, m0, m1 = np.diff(x), slope[:-1], slope[1:]
    coefficients = np.stack([x[:-1], m0, 3.0 * step - 2.0 * m0 - m1, m0 + m1 - 2.0 * step])
    middle = coefficients.T @ np.array([1.0, 0.5, 0.25, 0.125])
    exact, _ = _from_scores(alpha, beta, knots[:-1] + 0.5 / _PER_UNIT)
    if not np.all(np.abs(middle - exact) < _TOLERANCE):
        return None
    coefficients.setflags(write=False)
    return coefficients


def beta_ppf(alpha: float, beta: float, u: FloatArray) -> FloatArray:
    """Values in [0, 1] at non-exceedance probabilities u; error at most 1e-9, non-decreasing in u."""
    table = _table(float(alpha), float(beta))
    if table is None:
        return exact_beta_ppf(alpha, beta, u)
    position = (np.clip(ndtri(u), -_END, _END) + _END) * _PER_UNIT
    place = np.minimum(position.astype(np.intp), table.shape[1] - 1)
    t = position - place
    c0, c1, c2, c3 = (row.take(place) for row in table)
    x = np.clip(c0 + t * (c1 + t * (c2 + t * c3)), 0.0, 1.0)
    return np.where(u <= 0.0, 0.0, np.where(u >= 1.0, 1.0, x))
