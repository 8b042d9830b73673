"""The yardstick: least squares on log rate with its covariance sampled, as scripts commonly do it.

Arps hyperbolic (log rate, log decline per month, b in [0, 2]) fitted to the positive calendar-day rates
from the best month on; parameters drawn from the normal with the least-squares covariance, clipped to the
bounds; no autocorrelation, no downtime, no prior. Its bands are known to be too narrow: it is what a
calibrated fit is measured against, never used for a forecast."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from refracmc.production.history import History
from refracmc.production.sampler import Generator

Array = NDArray[np.float64]

DAYS_PER_MONTH = 30.4375
LEAST_MONTHS = 4
LOW = np.array([-5.0, np.log(1e-3), 0.0])
HIGH = np.array([25.0, np.log(3.0), 2.0])


def log_rate(parameters: Array, t: Array) -> Array:
    """Log volume per month of 30.4375 days at `t` (K,) months, for parameters (3, ...): log q, log D per
    month, b."""
    b = np.maximum(parameters[2], 1e-4)
    out: Array = parameters[0] - np.log1p(b * np.exp(parameters[1]) * t) / b
    return out


def least_squares_draws(history: History, months_out: int, draws: int, generator: Generator) -> Array:
    """Draws (n,) of the cumulative of the next `months_out` months. Raises ValueError where there is too
    little."""
    volume = history.volume()
    rate = volume / history.days_in_month * DAYS_PER_MONTH
    positive = np.nan_to_num(volume) > 0
    if not positive.any():
        raise ValueError("all zeros")
    start = int(np.argmax(np.where(positive, rate, 0.0)))
    use = np.flatnonzero(positive & (np.arange(len(volume)) >= start))
    if len(use) < LEAST_MONTHS:
        raise ValueError(f"{len(use)} months from the best one on; {LEAST_MONTHS} are needed")
    t, y = (use - start).astype(np.float64), np.log(rate[use])
    first = np.clip(np.array([y[0], -2.5, 0.8]), LOW, HIGH)

    def misfit(p: Array) -> Array:
        return log_rate(p, t) - y

    found = least_squares(misfit, first, bounds=(LOW, HIGH))
    jacobian = np.asarray(found.jac, dtype=np.float64)
    scale = float(found.fun @ found.fun) / max(len(y) - 3, 1)
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * scale
    sample = generator.multivariate_normal(found.x, covariance, size=draws, check_valid="ignore")
    sample[:, 1:] = np.clip(sample[:, 1:], LOW[1:], HIGH[1:])
    ahead = np.arange(len(volume), len(volume) + months_out) - start
    with np.errstate(over="ignore"):
        volumes = np.exp(log_rate(sample.T[:, :, None], ahead.astype(np.float64)[None, :])).sum(axis=1)
    return np.asarray(np.minimum(volumes, 1e300))
