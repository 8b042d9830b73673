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
from scipy.special import gammaln, ndtr

from refracmc.compiler import compiled
from refracmc.production.elementary import log_past_one
from refracmc.production.forms import form_of
from refracmc.production.forms.decline_form import ShapePrior

Array = NDArray[np.float64]

NU = 4.0  # assumption: degrees of freedom of the innovations
LEVEL_PRIOR_SD = 1.0  # log units around the last observed level: wide, the data fix it
SIDE_BY_SIDE = 512
"""Particles worked at a time: what they need stays in the fastest memory."""
TOGETHER, LARGEST = 8, 1e38
"""Factors multiplied before a logarithm is taken, and their bound."""
RECENT_MONTHS = 6
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

    @cached_property
    def log_prior_constant(self) -> float:
        """What `log_prior` leaves out: with it the prior within the bounds is a density."""
        mean, sd = self.prior_moments
        d = len(self.shape.mean)
        low, high = ((np.array(bound) - mean[:d]) / sd[:d] for bound in (self.shape.low, self.shape.high))
        held = np.log(ndtr(high) - ndtr(low)).sum()
        return float(-np.log(sd).sum() - 0.5 * self.size * np.log(2.0 * np.pi) - held)

    def residuals(self, x: Array) -> Array:
        """Log residuals (n, K)."""
        level = x[len(self.shape.mean)]
        curves = self._log_shapes(x)
        return np.ascontiguousarray((self.y[:, None] - curves[:-1] + (curves[-1] - level)).T)

    def _log_shapes(self, x: Array) -> Array:
        """Curves (K + 1, n): log rates at the months, and at the end of the segment, against that at its start."""
        return form_of(self.form).log_shape(x[: len(self.shape.mean)], np.append(self.t, self.end))

    @cached_property
    def _months(self) -> Array:
        """Log rate, months since the one before, and root of the weight of each month (3, K)."""
        return np.stack([self.y, self.gap, np.sqrt(self.weight)])

    def log_likelihood(self, x: Array) -> Array:
        """Log likelihood (n,)."""
        d, count = len(self.shape.mean), len(self.t)
        level, log_s = x[d], x[d + 1]
        rho = 1.0 / (1.0 + np.exp(-x[d + 2]))
        first = np.sqrt(1.0 - np.minimum(rho, 0.99) ** 2)  # the first error has none before it
        tails = np.empty(x.shape[1])
        particles = np.stack([level, rho, np.exp(-log_s) / np.sqrt(NU), first])
        _fill_tails(self._log_shapes(x), self._months, particles, tails)
        without = count * (_CONSTANT - log_s) + 0.5 * float(np.sum(np.log(self.weight))) + np.log(first)
        return np.asarray(without - 0.5 * (NU + 1) * tails)


@compiled
def _fill_tails(curves: Array, months: Array, particles: Array, out: Array) -> None:
    """Sums over months of ln(1 + (e/s)^2/nu) in out (n,).

    curves (K + 1, n): `Target._log_shapes`; months (3, K): log rate, months since the one before, root of the weight;
    particles (4, n): level, rho, 1/(s root of nu), factor of the first error. Factors of some months are multiplied
    before a logarithm is taken, each bound so that no product overflows: an error beyond the bound is never kept.
    """
    end = months.shape[1]
    for start in range(0, out.size, SIDE_BY_SIDE):
        some = slice(start, min(start + SIDE_BY_SIDE, out.size))
        rho, per_scale, first = particles[1, some], particles[2, some], particles[3, some]
        offset, product, total = curves[end, some] - particles[0, some], np.ones(rho.size), out[some]
        total[:] = 0.0
        for k in range(end):
            y, gap, root = months[0, k], months[1, k], months[2, k]
            now = curves[k, some]
            if k == 0:
                for i in range(rho.size):
                    error = (y - now[i] + offset[i]) * first[i] * per_scale[i] * root
                    product[i] = min(1.0 + error * error, LARGEST)
            else:
                y_before, before = months[0, k - 1], curves[k - 1, some]
                carry = rho
                for _ in range(1, int(gap)):  # months lie between
                    carry = carry * rho
                for i in range(rho.size):
                    error = (y - now[i] + offset[i]) - carry[i] * (y_before - before[i] + offset[i])
                    error *= per_scale[i] * root
                    product[i] *= min(1.0 + error * error, LARGEST)
            if k % TOGETHER == TOGETHER - 1 or k == end - 1:
                for i in range(rho.size):
                    total[i] += log_past_one(product[i] - 1.0)
                    product[i] = 1.0


def warm() -> None:
    """Compile, or load from the cache, what a fit uses (no unit)."""
    one = np.ones(1)
    _fill_tails(form_of(0).log_shape(np.zeros((3, 1)), np.ones(2)), np.ones((3, 1)), np.ones((4, 1)), one)


def recent_residual(target: Target, x: Array) -> Array:
    """Mean log residual (n,) of the last RECENT_MONTHS months fitted, by their weights: one month's dip is not the end.

    x (d + 3, n) as of the target."""
    weight = target.weight[-RECENT_MONTHS:]
    return np.asarray(target.residuals(x)[:, -RECENT_MONTHS:] @ weight / weight.sum())


def carried_residual(residual_end: Array, gap_to_end: float, rho: Array) -> Array:
    """Residual (n,) expected at the end of history, from that observed up to `gap_to_end` months before it."""
    return np.asarray(residual_end * rho**gap_to_end)


def averaged_noise_sd(innovation_sd: Array, rho: Array, months: float) -> Array:
    """Sd (n,) of the mean over the next `months` of the autoregression, started at its expectation.

    Innovation k enters the sum with weight (1 - rho^(M-k+1))/(1 - rho); their variance is nu/(nu - 2) times
    the scale squared."""
    left = months - 2.0 * rho * (1.0 - rho**months) / (1.0 - rho)
    left += rho**2 * (1.0 - rho ** (2.0 * months)) / (1.0 - rho**2)
    variance = innovation_sd**2 * NU / (NU - 2.0) * left / (months * (1.0 - rho)) ** 2
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)))
