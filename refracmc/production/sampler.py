"""Tempered sequential Monte Carlo: from the prior to the posterior in adaptive steps, two independent
populations.

Del Moral, Doucet & Jasra (2006), J. R. Stat. Soc. B 68(3). Particles start at the prior; the likelihood's
exponent rises so that the effective sample size of each step stays at half; each step resamples and moves
the particles by random-walk Metropolis with the population's own covariance (2.38^2/d, Roberts, Gelman &
Gilks 1997). The log evidence comes with it. Two populations that never exchange particles give a
between-population R-hat (Gelman & Rubin 1992)."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Generator = np.random.Generator

STEP_ESS = 0.5
MAX_STEPS = 40


def keyed_generator(seed: int, *names: str) -> Generator:
    """The random stream of a meaning: seed and names (no units), nothing else, decide its numbers."""
    key = tuple(zlib.crc32(name.encode()) for name in names)
    return Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=key)))


def stratified(generator: Generator, n: int) -> Array:
    """The middles (n,) of n equal strata of the unit interval (chances, no unit), in random order."""
    return (generator.permutation(n) + 0.5) / n


def stratified_within(generator: Generator, n: int, cut: float) -> Array:
    """Chances (n,), one at random in each of n equal strata of (cut, 1 - cut), in random order."""
    return cut + (1.0 - 2.0 * cut) * (generator.permutation(n) + generator.random(n)) / n


@dataclass(frozen=True)
class Sample:
    """Particles x (d, n), log evidence, and diagnostics: acceptance of the last moves, R-hat (d,) between
    the two populations, effective sample size, number of tempering steps."""

    x: Array
    log_evidence: float
    acceptance: float
    r_hat: Array
    ess: float
    steps: int


def _next_exponent(log_like: Array, beta: float) -> float:
    """Largest exponent step keeping the effective sample size of the increment at STEP_ESS of the
    particles."""
    n, below_best = len(log_like), log_like - log_like.max()

    def ess(step: float) -> float:
        w = np.exp(step * below_best)
        return float(w.sum() ** 2 / (w * w).sum())

    if ess(1.0 - beta) >= STEP_ESS * n:
        return 1.0
    low, high = 0.0, 1.0 - beta
    for _ in range(30):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if ess(middle) >= STEP_ESS * n else (low, middle)
    return beta + max(low, 1e-6)


def systematic(weights: Array, count: int, u: float) -> NDArray[np.int64]:
    """Systematic resampling: places (count,), ascending, for weights (n,) that sum to one, each as often as its share
    of count, rounded up or down; u: one uniform."""
    edges = np.cumsum(weights)
    edges[-1] = 1.0
    return np.searchsorted(edges, (np.arange(count) + u) / count).astype(np.int64)


def sample(
    log_prior: Callable[[Array], Array],
    log_likelihood: Callable[[Array], Array],
    start: Array,
    generator: Generator,
    moves: int = 3,
    final_moves: int = 6,
) -> Sample:
    """Move prior draws `start` (d, n), n even, to the posterior. Functions take (d, n) and return (n,),
    logs of densities (dimensionless)."""
    d, n = start.shape
    half = n // 2
    x, like, prior = start.copy(), log_likelihood(start), log_prior(start)
    beta, evidence, steps, acceptance = 0.0, np.zeros(2), 0, 0.0
    while beta < 1.0 and steps < MAX_STEPS:
        after = 1.0 if steps == MAX_STEPS - 1 else _next_exponent(like, beta)
        picks = []
        for k in range(2):
            part = slice(k * half, (k + 1) * half)
            logw = (after - beta) * like[part]
            top = logw.max()
            w = np.exp(logw - top)
            evidence[k] += top + np.log(w.mean())
            picks.append(k * half + systematic(w / w.sum(), half, generator.random()))
        chosen = np.concatenate(picks)
        x, like, prior = x[:, chosen], like[chosen], prior[chosen]
        beta, steps = after, steps + 1
        factor = np.linalg.cholesky(np.cov(x) + 1e-10 * np.eye(d))
        scale = 2.38 / np.sqrt(d)
        for _ in range(final_moves if beta >= 1.0 else moves):
            trial = x + scale * (factor @ generator.standard_normal((d, n)))
            trial_prior = log_prior(trial)
            inside = np.flatnonzero(np.isfinite(trial_prior))
            trial_like = np.full(n, -np.inf)
            if len(inside):
                trial_like[inside] = log_likelihood(np.take(trial, inside, axis=1))
            gain = trial_prior - prior + beta * (trial_like - like)
            take = np.log(generator.random(n)) < gain
            x = np.where(take, trial, x)
            like, prior = np.where(take, trial_like, like), np.where(take, trial_prior, prior)
            acceptance = float(take.mean())
            scale *= float(np.clip(np.exp(acceptance - 0.3), 0.6, 1.5))
    parts = x[:, : 2 * half].reshape(d, 2, half)
    within = parts.var(axis=2, ddof=1).mean(axis=1)
    between = parts.mean(axis=2).var(axis=1, ddof=1)
    r_hat = np.sqrt(1.0 + between / np.maximum(within, 1e-300))
    distinct = len(np.unique(x[0]))
    return Sample(x, float(np.logaddexp(*evidence) - np.log(2.0)), acceptance, r_hat, float(distinct), steps)
