"""Kernels of the transient-flow decline forms (stretched exponential, Duong); `decline` is the way in.

Each takes checked `slots` (4, n) and times `t` >= 0, (K,) or (n, K), in days since the anchor, and returns
(n, K). Definitions and references stand in `refracmc.production.decline`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import gamma, gammainc, gammaincc

Array = NDArray[np.float64]


def stretched_cumulative(slots: Array, t: Array) -> Array:
    """Volume [bbl or Mcf] from the anchor by incomplete gamma functions: no cancellation late in life."""
    q0, tau, n, offset = (row[:, None] for row in slots)
    a = 1.0 / n
    x0, x = np.power(offset / tau, n), np.power((t + offset) / tau, n)
    # The upper function keeps digits late in life, the lower one early.
    late = (x0 > a).ravel()
    part = np.empty(np.broadcast_shapes(x.shape, x0.shape))
    for rows, function, sign in ((late, gammaincc, -1.0), (~late, gammainc, 1.0)):
        if rows.any():
            part[rows] = sign * (function(a[rows], x[rows]) - function(a[rows], x0[rows]))
    # x at t = 0 may differ from x0 in its last bit, where the functions work several numbers at once
    return np.asarray(np.maximum(part, 0.0) * (q0 * tau * a * gamma(a)))


def stretched_rate(slots: Array, t: Array) -> Array:
    """Rate [bbl/d or Mcf/d], rate0 exp(-(x/tau)^n)."""
    q0, tau, n, offset = (row[:, None] for row in slots)
    return np.asarray(q0 * np.exp(-np.power((t + offset) / tau, n)))


def _power_integral(log_x: Array, one_less_m: Array) -> Array:
    """(x^(1-m) - 1)/(1-m) from ln x; m = 1 gives ln x."""
    safe = np.where(one_less_m == 0.0, 1e-17, one_less_m)
    return np.asarray(np.expm1(safe * log_x) / safe)


def duong_cumulative(slots: Array, t: Array) -> Array:
    """Volume [bbl or Mcf] from the anchor; with offset > 0 no difference of two totals is taken."""
    q1, a, m, offset = (row[:, None] for row in slots)
    one_less = 1.0 - m
    with np.errstate(divide="ignore", over="ignore"):
        log_start = np.log(offset)
        start = q1 / a * np.exp(a * _power_integral(log_start, one_less))
        if (offset > 0.0).all():
            step = _power_integral(np.log1p(t / offset), one_less)
            return np.asarray(start * np.expm1(a * np.exp(one_less * log_start) * step))
        total = q1 / a * np.exp(a * _power_integral(np.log(t + offset), one_less))
    return np.asarray(total - start)


def duong_rate(slots: Array, t: Array) -> Array:
    """Rate [bbl/d or Mcf/d], rate1 t(a, m); its limit at x = 0 (0 for m > 1, unbounded for m < 1)."""
    q1, a, m, offset = (row[:, None] for row in slots)
    x = t + offset
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        log_x = np.log(x)
        value = q1 * np.exp(a * _power_integral(log_x, 1.0 - m) - m * log_x)
        # At m = 1 the rate is q1 x^(a-1).
        at_zero = np.where(m > 1.0, 0.0, np.where(m < 1.0, np.inf, q1 * np.power(0.0, a - 1.0)))
    return np.asarray(np.where(x > 0.0, value, at_zero))


def stretched_ultimate(slots: Array) -> Array:
    """Volume [bbl or Mcf] from the anchor to infinite time, (n,)."""
    q0, tau, n, offset = slots
    return np.asarray(q0 * tau / n * gamma(1.0 / n) * gammaincc(1.0 / n, np.power(offset / tau, n)))


def duong_ultimate(slots: Array) -> Array:
    """Volume [bbl or Mcf] from the anchor to infinite time, (n,); inf for m <= 1."""
    q1, a, m, offset = slots
    with np.errstate(divide="ignore", over="ignore"):
        start = q1 / a * np.exp(a * _power_integral(np.log(offset), 1.0 - m))
        bounded = q1 / a * np.exp(a / np.where(m > 1.0, m - 1.0, 1.0))
    return np.asarray(np.where(m > 1.0, bounded - start, np.inf))
