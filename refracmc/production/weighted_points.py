"""Weighted points of a posterior: importance sampling from a Student-t that some particles are matched by.

    x      = m + s L z sqrt(nu / c)       z standard normal, c chi-squared with nu degrees of freedom
    weight = prior(x) likelihood(x) / t(x)

m and L L' are mean and covariance of the particles, s widens them. The mean of the weights is the evidence; points by
their weights are the posterior, wherever the particles lie: they only decide how evenly the weights fall. Points are
those of a Sobol sequence, shifted as a whole by one uniform a coordinate (Cranley & Patterson 1976, SIAM J. Numer.
Anal. 13(6)): a set with a shift of its own is independent of every other, and knows means better than free draws do.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv, gammaln, ndtri

from refracmc.production.likelihood import Target
from refracmc.production.sampler import Generator

Array = NDArray[np.float64]

FREEDOM = 6.0
"""Degrees of freedom of the t: tails heavier than those of the posterior (assumption)."""
WIDER = 1.15
"""The t over the particles, in standard deviations (assumption)."""
_INSIDE = 1e-12


@lru_cache(maxsize=16)
def _sequence(dimensions: int, points: int) -> Array:
    """Sobol points (dimensions, points); a power of two of them."""
    from scipy.stats.qmc import Sobol

    made: Array = np.ascontiguousarray(Sobol(dimensions, scramble=False).random(points).T)
    made.setflags(write=False)
    return made


def load_sequences() -> None:
    """Import what draws the points, so that processes forked later need not (no unit)."""
    _sequence(1, 1)


@dataclass(frozen=True)
class Proposal:
    """The t of a target: mean (d,) and factor (d, d), s L of the module text."""

    target: Target
    mean: Array
    factor: Array

    @classmethod
    def of(cls, target: Target, particles: Array) -> Proposal:
        """Matched to particles (d, n)."""
        d = len(particles)
        factor: Array = np.asarray(
            np.linalg.cholesky(np.cov(particles) + 1e-10 * np.eye(d)), dtype=np.float64
        )
        return cls(target, particles.mean(axis=1), WIDER * factor)

    def points(self, count: int, generator: Generator) -> tuple[Array, Array]:
        """Points (d, count) and the logs of their weights (count,); -inf outside the bounds. count: a power of two."""
        d = len(self.mean)
        u = (_sequence(d + 1, count) + generator.random((d + 1, 1))) % 1.0
        u = np.clip(u, _INSIDE, 1.0 - _INSIDE)
        z = ndtri(u[:d]) * np.sqrt(0.5 * FREEDOM / gammaincinv(0.5 * FREEDOM, u[d]))
        x = self.mean[:, None] + self.factor @ z
        log_t = -0.5 * (FREEDOM + d) * np.log1p(np.square(z).sum(axis=0) / FREEDOM)
        log_t += gammaln(0.5 * (FREEDOM + d)) - gammaln(0.5 * FREEDOM) - 0.5 * d * np.log(FREEDOM * np.pi)
        log_t -= np.log(np.diag(self.factor)).sum()
        weights = self.target.log_prior(x) + self.target.log_prior_constant
        inside = np.flatnonzero(np.isfinite(weights))
        weights[inside] += self.target.log_likelihood(np.ascontiguousarray(x[:, inside])) - log_t[inside]
        return x, weights
