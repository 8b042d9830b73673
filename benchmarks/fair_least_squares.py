"""The fair yardstick: what a careful engineer's script makes of a well's months, with no other well to learn from.

Least squares on the log of the monthly volume from the largest month on, at least six positive months; modified
hyperbolic with nominal decline between .02 and 50 a year, b between .01 and 2, and a terminal nominal decline of 8 % a
year; 400 draws from the normal of the covariance, clipped to the bounds. Unlike `refracmc/production/least_squares.py`
its b is bound to a terminal decline, and its largest month is that of the volume, not of the rate."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import curve_fit

Array = NDArray[np.float64]

TERMINAL = 0.08
LEAST_MONTHS = 6
DRAWS = 400
LOW = np.array([-5.0, np.log(0.02), 0.01])
HIGH = np.array([20.0, np.log(50.0), 2.0])
LEAST_PRODUCING = 0.9
"""Share of the known months with a positive volume that a well must have to be scored."""


def log_volume(years: Array, log_first: Array, log_decline: Array, b: Array) -> Array:
    """Log of the monthly volume `years` after the largest month; parameters broadcast against the years."""
    decline = np.exp(log_decline)
    until = np.maximum((decline / TERMINAL - 1.0) / (b * decline), 0.0)
    early = np.log1p(b * decline * np.minimum(years, until)) / b
    return np.asarray(log_first - early - TERMINAL * np.maximum(years - until, 0.0))


def fair_draws(known: Array, months_out: int, generator: np.random.Generator) -> Array:
    """Draws (DRAWS,) of the volume of the next `months_out` months from monthly volumes known (N,), NaN where not
    declared. Raises ValueError where there is too little to fit."""
    positive = np.nan_to_num(known) > 0.0
    if not positive.any():
        raise ValueError("all zeros")
    peak = int(np.nanargmax(known))
    used = np.flatnonzero(positive & (np.arange(len(known)) >= peak))
    if len(used) < LEAST_MONTHS:
        raise ValueError(f"{len(used)} months from the largest one on; {LEAST_MONTHS} are needed")
    first = [np.log(known[peak]), np.log(1.5), 1.0]
    try:
        best, covariance = curve_fit(
            log_volume, (used - peak) / 12.0, np.log(known[used]), p0=first, bounds=(LOW, HIGH)
        )
        draws = np.clip(generator.multivariate_normal(best, covariance, DRAWS), LOW, HIGH)
    except (RuntimeError, np.linalg.LinAlgError) as problem:
        raise ValueError(str(problem)) from None
    years = (np.arange(len(known), len(known) + months_out) - peak) / 12.0
    volumes = np.exp(log_volume(years[None, :], *draws.T[:, :, None]))
    return np.asarray(volumes.sum(axis=1))


def is_scored(known: Array) -> bool:
    """Whether enough of the known months (N,) have a positive volume."""
    return float(np.mean(np.nan_to_num(known) > 0.0)) >= LEAST_PRODUCING
