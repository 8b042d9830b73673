"""Likelihood of a monthly rate history: Student-t innovations of a first-order autoregression of log
residuals.

log rate_k = level + log_shape(t_k) - log_shape(end) + e_k,  e_k = rho^gap e_(k-1) + s / sqrt(weight_k) x
t(nu). Autocorrelated, heavy-tailed errors follow from what monthly rates are (choke changes, liquid
loading, allocation); nu = 4 is an assumption, held fixed because one well cannot tell it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from refracmc.production.fit_forms import ShapePrior, log_shape_into

Array = NDArray[np.float64]

NU = 4.0  # assumption: degrees of freedom of the innovations
LEVEL_PRIOR_SD = 1.0  # log units around the last observed level: wide, the data fix it
_CONSTANT = float(gammaln((NU + 1) / 2) - gammaln(NU / 2) - 0.5 * np.log(NU * np.pi))


@dataclass(frozen=True)
class ErrorPrior:
    """Normal priors of the error process: log sd of an innovation, and rho through its logit."""

    log_sd_mean: float
    log_sd_sd: float
    rho_logit_mean: float
    rho_logit_sd: float


@dataclass(frozen=True)
class Target:
    """Log posterior of one form for one well.

    Coordinates (d + 3, n): the shape's d, then level (log rate at the end of the segment), log innovation
    sd and logit rho. t (K,) producing days since the segment start, y (K,) log rates, weight (K,), gap (K,)
    months since the observation before."""

    form: str
    shape: ShapePrior
    errors: ErrorPrior
    t: Array
    y: Array
    weight: Array
    gap: Array
    end: float

    @property
    def size(self) -> int:
        return len(self.shape.mean) + 3

    def level_guess(self) -> float:
        """Level the prior is centred at: median of the last six observations."""
        return float(np.median(self.y[-6:]))

    @cached_property
    def prior_moments(self) -> tuple[Array, Array]:
        """Prior mean and sd of all coordinates, each (d + 3,)."""
        e = self.errors
        mean = np.array([*self.shape.mean, self.level_guess(), e.log_sd_mean, e.rho_logit_mean])
        sd = np.array([*self.shape.sd, LEVEL_PRIOR_SD, e.log_sd_sd, e.rho_logit_sd])
        return mean, sd

    def inside(self, x: Array) -> NDArray[np.bool_]:
        """Which columns of x (d + 3, n) lie within the bounds of the shape."""
        d = len(self.shape.mean)
        low, high = np.array(self.shape.low)[:, None], np.array(self.shape.high)[:, None]
        return np.asarray(np.all((x[:d] >= low) & (x[:d] <= high), axis=0))

    def log_prior(self, x: Array) -> Array:
        """Log prior (n,) up to a constant; -inf outside the bounds."""
        mean, sd = self.prior_moments
        out = -0.5 * np.sum(((x - mean[:, None]) / sd[:, None]) ** 2, axis=0)
        return np.where(self.inside(x), out, -np.inf)

    def residuals(self, x: Array) -> Array:
        """Log residuals (n, K)."""
        return np.ascontiguousarray(self._residuals(x, np.empty((len(self.t) + 1, x.shape[1]))).T)

    def _residuals(self, x: Array, room: Array) -> Array:
        """Log residuals (K, n) in the first rows of `room` (K + 1, n)."""
        d = len(self.shape.mean)
        log_shape_into(self.form, x[:d], np.append(self.t, self.end)[:, None], room)
        found = room[:-1]
        np.subtract(self.y[:, None], found, out=found)
        found += room[-1] - x[d]
        return found

    def log_likelihood(self, x: Array) -> Array:
        """Log likelihood (n,)."""
        return np.asarray(self.without_tails(x) - 0.5 * (NU + 1) * self._tails(x))

    def error_process(self, x: Array) -> tuple[Array, Array, Array]:
        """rho, the inverse of sd times root of nu, and the factor of the first error, which has none before it:
        each (n,)."""
        d = len(self.shape.mean)
        rho = 1.0 / (1.0 + np.exp(-x[d + 2]))
        return rho, np.exp(-x[d + 1]) / np.sqrt(NU), np.sqrt(1.0 - np.minimum(rho, 0.99) ** 2)

    def without_tails(self, x: Array) -> Array:
        """Log likelihood (n,) as if every error were zero."""
        log_s, first = x[len(self.shape.mean) + 1], self.error_process(x)[2]
        weights = 0.5 * float(np.sum(np.log(self.weight)))
        return np.asarray(len(self.t) * (_CONSTANT - log_s) + weights + np.log(first))

    def _tails(self, x: Array) -> Array:
        """Sums (n,) over months of ln(1 + (e/s)^2/nu)."""
        k = len(self.t)
        rooms = np.empty((2, k + 1, x.shape[1]))
        r, e = self._residuals(x, rooms[0]), rooms[1, :k]
        rho, per_scale, first = self.error_process(x)
        np.multiply(r[:-1], rho, out=e[1:])
        for row in np.flatnonzero(self.gap[1:] != 1.0) + 1:  # months lie between
            np.multiply(r[row - 1], rho ** self.gap[row], out=e[row])
        np.subtract(r[1:], e[1:], out=e[1:])
        np.multiply(r[0], first, out=e[0])
        np.multiply(e, per_scale, out=e)
        part = np.flatnonzero(self.weight != 1.0)  # months not full: few
        e[part] *= np.sqrt(self.weight[part])[:, None]
        np.multiply(e, e, out=e)
        np.add(e, 1.0, out=e)
        return _sum_of_logs(e, rooms[0])


def _sum_of_logs(factors: Array, room: Array) -> Array:
    """Sums (n,) of the logs of factors (K, n), 1 or more: by products of four, of which there are fewer logs."""
    whole, half = len(factors) // 4 * 4, len(factors) // 4 * 2
    products = room[:half]
    with np.errstate(over="ignore"):
        np.multiply(factors[:half], factors[half:whole], out=products)
        np.multiply(products[: half // 2], products[half // 2 :], out=products[: half // 2])
    quarter = products[: half // 2]
    total = np.log(quarter, out=quarter).sum(axis=0) + np.log(factors[whole:]).sum(axis=0)
    if np.isfinite(total).all():
        return np.asarray(total)
    return np.asarray(np.log(factors).sum(axis=0))


def carried_residual(residual_end: Array, gap_to_end: float, rho: Array) -> Array:
    """Residual (n,) expected at the end of history, from the last observed one `gap_to_end` months before
    it."""
    return np.asarray(residual_end * rho**gap_to_end)


def averaged_noise_sd(innovation_sd: Array, rho: Array, months: float) -> Array:
    """Sd (n,) of the mean over the next `months` of the autoregression, started at its expectation.

    Innovation k enters the sum with weight (1 - rho^(M-k+1))/(1 - rho); their variance is nu/(nu - 2) times
    the scale squared."""
    left = months - 2.0 * rho * (1.0 - rho**months) / (1.0 - rho)
    left += rho**2 * (1.0 - rho ** (2.0 * months)) / (1.0 - rho**2)
    variance = innovation_sd**2 * NU / (NU - 2.0) * left / (months * (1.0 - rho)) ** 2
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)))
