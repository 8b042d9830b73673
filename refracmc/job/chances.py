"""Chances of a shift: the logit-normal model of failures that share a cause within a well and within a
sleeve.

logit p = mu + age_slope * age + cycle_slope * cycles + sd_well * z_well + sd_sleeve * z_sleeve

with standard normal z. The stated one-try chance is the mean over the well's sleeves, each at its age and its shifts
on record on the valuation date, and over the effects. So mu solves

mean over sleeves s of E[1 / (1 + exp(-(mu + a_s + sd Z)))] = stated chance,
a_s = age_slope * age_s + cycle_slope * shifts_s, sd^2 = sd_well^2 + sd_sleeve^2,

trial by trial, as slopes and chance may be drawn; the slopes act on what is added after that date.
Given p, tries are independent; all tries of a shift are told by one uniform u: the shift works within j tries
if and only if u < 1 - (1 - p)^j, that is logit p > c_j(u) with c_j(u) = logit(1 - (1 - u)^(1/j)).
The model of z and of the retries is an assumption (model choice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import expit, logit

from refracmc.job.sleeves import FloatArray

_REACH = 9.0
_STEP_SHARE = 0.15
_TABLE_FROM, _PIECE, _DEGREE = -12.0, 0.5, 12
"""Logits of the table of intercepts begin here, and end at 0; width and degree of its pieces."""
_FORWARD_FROM, _FORWARD_DEGREE = -64.0, 9
"""Intercepts of the table of mean chances begin here, and end at 0; degree of its pieces."""
_WIDEST = 10.0
"""Largest standard deviation that is tabulated."""


def _nodes(sd: float) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of the trapezoidal rule for the average over a standard normal.

    The integrand expit(mu + sd z) phi(z) is analytic up to |Im z| = pi / sd, so the rule with step h errs by
    about exp(-2 pi (pi / sd) / h) < 1e-15 for h = 0.15 pi / sd (Trefethen & Weideman 2014, SIAM Review 56(3);
    Gauss-Hermite needs hundreds of nodes for the same at sd = 4, because of those poles).
    """
    step = min(0.4, _STEP_SHARE * math.pi / sd) if sd > 0.0 else 0.4
    half = math.ceil((_REACH + sd) / step)
    z = step * np.arange(-half, half + 1)
    weights = step / math.sqrt(2.0 * math.pi) * np.exp(-0.5 * z * z)
    return np.asarray(z, dtype=float), np.asarray(weights, dtype=float)


def marginal_chance(mu: npt.ArrayLike, sd: float) -> FloatArray:
    """E[expit(mu + sd Z)], the population average of a one-try chance [-], shape of `mu`; sd [logit] >= 0."""
    z, w = _nodes(sd)
    values = np.asarray(mu, dtype=float)
    return np.asarray(expit(values[..., None] + sd * z) @ w)


def intercept_for_marginal(p: npt.ArrayLike, sd: npt.ArrayLike) -> FloatArray:
    """mu [logit] such that the chance averaged over the normal effects is p.

    Parameters
    ----------
    p : (n,) or scalar, stated one-try chance [-] in [0, 1]; 0 gives -inf, 1 gives +inf (never, always works)
    sd : (n,) or scalar, total standard deviation of the effects [logit] >= 0; 0 gives logit(p) exactly

    Returns
    -------
    mu, broadcast shape of p and sd, accurate to 1e-10 (Newton on logit E; checked by scipy.integrate.quad).

    Raises ValueError for p outside [0, 1] or sd < 0 (NaN included).
    """
    chance, spread = np.broadcast_arrays(np.asarray(p, dtype=float), np.asarray(sd, dtype=float))
    if not ((chance >= 0.0) & (chance <= 1.0)).all():
        raise ValueError("a chance must lie between 0 and 1")
    if not (np.isfinite(spread) & (spread >= 0.0)).all():
        raise ValueError("a standard deviation must be a number from 0")
    inverse: npt.NDArray[np.intp] | slice = slice(None)
    stated, sds = chance.ravel(), spread.ravel()
    alike = bool(sds.size) and bool((sds == sds[0]).all())
    if not alike:
        pairs, found = np.unique(stated + 1j * sds, return_inverse=True)
        stated, sds, inverse = pairs.real, pairs.imag, found.ravel()
    small = np.minimum(stated, 1.0 - stated)  # mu(1 - p) = -mu(p): keep full accuracy near 1
    mu = np.asarray(logit(small))
    rare = (small > 0.0) & (small < 1e-250)  # there E[expit(mu + sd Z)] is exp(mu + sd^2 / 2)
    mu[rare] -= 0.5 * sds[rare] ** 2
    work = np.flatnonzero((small >= 1e-250) & (sds > 0.0))
    if work.size and alike and sds[0] <= _WIDEST:
        among = mu[work] > _TABLE_FROM
        near, work = work[among], work[~among]
        if near.size:
            mu[near] = _looked_up(mu[near], float(sds[near[0]]))
    if work.size:
        mu[work] = _solve(small[work], sds[work])
    mu = np.where(stated > 0.5, -mu, mu)
    return np.asarray(mu[inverse].reshape(chance.shape))


def intercept_for_mean(
    p: npt.ArrayLike, sd: npt.ArrayLike, offsets: npt.ArrayLike, shares: npt.ArrayLike
) -> FloatArray:
    """mu [logit] such that the chance averaged over the normal effects and over groups of sleeves is p.

    Parameters
    ----------
    p : (K, n), stated one-try chances [-] of K kinds of shift in n trials, in [0, 1]
    sd : (n,) or scalar, total standard deviation of the effects [logit] >= 0
    offsets : (G, n), what the logit of each group has besides mu [logit], finite
    shares : (G,), share of the sleeves in each group [-], not negative, sum 1

    Returns
    -------
    mu (K, n), accurate to 1e-10: that of `intercept_for_marginal` less the offset where all groups have the same.

    Raises ValueError as `intercept_for_marginal`.
    """
    chance, moved = np.asarray(p, dtype=float), np.asarray(offsets, dtype=float)
    spread = np.broadcast_to(np.asarray(sd, dtype=float), chance.shape[1:])
    mu = intercept_for_marginal(chance, spread)
    if (moved == moved[0]).all():
        return np.asarray(mu - moved[0])
    share = np.asarray(shares, dtype=float)
    upper = chance > 0.5  # the mean of 1 - p has the logits with their signs turned: full accuracy near 1
    sign = np.where(upper, -1.0, 1.0)
    work = (chance > 1e-250) & (chance < 1.0)
    trial = np.nonzero(work)[1]
    if trial.size:
        small, turned = np.where(upper, 1.0 - chance, chance)[work], sign[work]
        alone, terms = (mu * sign)[work], moved[:, trial] * turned
        mu[work] = _solve_mean(small, spread[trial], alone, terms, share) * turned
    terms = moved[:, np.nonzero(~work)[1]]  # there the chance is exp of its logit; 0 and 1 stay infinite
    if terms.size:
        most = terms.max(axis=0)
        mu[~work] -= most + np.log(share @ np.exp(terms - most))
    return mu


def _solve_mean(
    p: FloatArray, sd: FloatArray, alone: FloatArray, offsets: FloatArray, shares: FloatArray
) -> FloatArray:
    """Newton's steps within a bracket, on the logit of the mean: p, sd, alone (m,), offsets (G, m), shares (G,).

    alone: mu [logit] were there no offsets, so that the answer lies between alone - largest and - smallest offset.
    """
    target = np.asarray(logit(p))
    low, high = alone - offsets.max(axis=0), alone - offsets.min(axis=0)
    mu = np.clip(alone - shares @ offsets, low, high)
    for _ in range(80):
        chance, slope = _chance_and_slope(mu + offsets, sd)
        mean, rise = shares @ chance, shares @ slope
        over = np.log(mean / (1.0 - mean)) - target
        low, high = np.where(over < 0.0, mu, low), np.where(over > 0.0, mu, high)
        step = over * mean * (1.0 - mean) / np.maximum(rise, 1e-300)
        after = mu - step
        after = np.where((after >= low) & (after <= high), after, 0.5 * (low + high))
        done = np.abs(after - mu) <= 1e-6 * (1.0 + np.abs(mu))  # what is left is of the order of its square
        mu = after
        if done.all():
            break
    return np.asarray(mu)


def _chance_and_slope(x: FloatArray, sd: FloatArray) -> tuple[FloatArray, FloatArray]:
    """E[expit(x + sd Z)] and its derivative at logits x (G, m), sd (m,)."""
    if (
        sd.size
        and (sd == sd[0]).all()
        and sd[0] <= _WIDEST
        and x.min() > _FORWARD_FROM
        and x.max() < -_FORWARD_FROM
    ):
        return _forward(x, float(sd[0]))
    z, w = _nodes(float(sd.max()))
    chance, slope = np.empty_like(x), np.empty_like(x)
    for k, row in enumerate(x):
        value = expit(row[:, None] + sd[:, None] * z)
        chance[k] = value @ w
        value *= 1.0 - value
        slope[k] = value @ w
    return chance, slope


def _forward(x: FloatArray, sd: float) -> tuple[FloatArray, FloatArray]:
    """As `_chance_and_slope` for one sd, from the table of the logit of the mean, which is odd in x."""
    table = _forward_table(sd)
    place = (-np.abs(x) - _FORWARD_FROM) / _PIECE
    piece = np.minimum(place.astype(np.intp), table.shape[1] - 1)
    at = 2.0 * (place - piece) - 1.0
    value, rise = table[0].take(piece), np.zeros_like(x)
    for row in table[1:]:
        rise *= at
        rise += value
        value *= at
        value += row.take(piece)
    chance = expit(np.where(x > 0.0, -value, value))
    return chance, chance * (1.0 - chance) * rise * (2.0 / _PIECE)


@lru_cache(maxsize=64)
def _table(sd: float) -> FloatArray:
    """Pieces of the intercept against the logit of the chance, from _TABLE_FROM to 0."""
    return _pieces(_TABLE_FROM, _DEGREE, lambda logits: _solve(expit(logits), np.full(logits.size, sd)))


@lru_cache(maxsize=64)
def _forward_table(sd: float) -> FloatArray:
    """Pieces of the logit of the mean chance against the intercept, from _FORWARD_FROM to 0."""
    return _pieces(_FORWARD_FROM, _FORWARD_DEGREE, lambda mu: np.asarray(logit(marginal_chance(mu, sd))))


def _pieces(start: float, degree: int, function: Callable[[FloatArray], FloatArray]) -> FloatArray:
    """Polynomials (degree + 1, pieces), highest power first, of a function from `start` to 0.

    Chebyshev points of pieces of equal width, in -1 .. 1 of each; the function is smooth (poles of the logistic lie
    pi off the real line), so that the pieces meet it to 1e-12.
    """
    points = np.cos(np.pi * (np.arange(degree + 1) + 0.5) / (degree + 1))
    middles = start + _PIECE * (np.arange(round(-start / _PIECE)) + 0.5)
    at = middles + 0.5 * _PIECE * points[:, None]
    found = function(at.ravel()).reshape(at.shape)
    series = np.polynomial.chebyshev.chebvander(points, degree).T @ found * (2.0 / (degree + 1))
    series[0] *= 0.5
    powers = [np.polynomial.chebyshev.cheb2poly(np.eye(degree + 1)[k]) for k in range(degree + 1)]
    lifted = np.stack([np.pad(power, (0, degree + 1 - power.size)) for power in powers])
    return np.ascontiguousarray((lifted.T @ series)[::-1])


def _looked_up(logits: FloatArray, sd: float) -> FloatArray:
    """Intercepts (n,) of chances given by their logits (n,), _TABLE_FROM .. 0, for one sd."""
    table = _table(sd)
    place = (logits - _TABLE_FROM) / _PIECE
    piece = np.minimum(place.astype(np.intp), table.shape[1] - 1)
    x = 2.0 * (place - piece) - 1.0
    total = table[0].take(piece)
    for row in table[1:]:
        total *= x
        total += row.take(piece)
    return np.asarray(total)


def _solve(p: FloatArray, sd: FloatArray) -> FloatArray:
    z, w = _nodes(float(sd.max()))
    shift = sd[:, None] * z
    target = np.asarray(logit(p))
    slope = 16.0 * math.sqrt(3.0) / (15.0 * math.pi)  # probit approximation of the logistic: the first guess
    # never below the bound E[expit(mu + sd Z)] < exp(mu + sd^2 / 2)
    mu = np.maximum(target * np.sqrt(1.0 + (slope * sd) ** 2), np.log(p) - 0.5 * sd * sd)
    # e^-(mu + sd z) is a product: one exponential per node where all share sd
    product = float(np.abs(shift).max()) < 300.0
    spread = np.exp(-shift[:1] if product and (sd == sd[0]).all() else -shift) if product else shift
    for _ in range(60):
        if product and float(np.abs(mu).max()) < 300.0:
            chance = np.exp(-mu)[:, None] * spread
            chance += 1.0
            np.reciprocal(chance, out=chance)
        else:
            chance = expit(mu[:, None] + shift)
        mean = chance @ w
        chance *= chance
        derivative = mean - chance @ w
        step = (np.log(mean / (1.0 - mean)) - target) * mean * (1.0 - mean) / derivative
        mu = mu - np.clip(step, -4.0, 4.0)
        if (np.abs(step) <= 1e-8 * (1.0 + np.abs(mu))).all():  # what is left is of the order of its square
            break
    return mu


def critical_logits(u: FloatArray, max_tries: int) -> list[FloatArray]:
    """[c_1(u), ..., c_K(u)], K = max_tries: a shift works within j tries if its logit exceeds c_j.

    u is any shape in [0, 1); u = 0 gives -inf (works at once unless the chance is 0). c_j falls with j.
    """
    if max_tries < 1:
        raise ValueError("max_tries must be at least 1")
    rate = -np.log1p(-u)
    with np.errstate(divide="ignore"):
        return [np.log(np.expm1(rate / j)) for j in range(1, max_tries + 1)]
