"""Targets, particles and the likelihood written out, for tests of the fit."""

from __future__ import annotations

import numpy as np
from scipy.special import gammaln

from refracmc.production.likelihood import NU, Target
from refracmc.production.prior import default_prior

FORMS = ("modified_hyperbolic", "stretched_exponential", "duong")


def made_target(form: str, months: int, generator: np.random.Generator) -> Target:
    """Months with gaps and weights of their own."""
    prior = default_prior("gas")
    gap = 1.0 + (generator.random(months) < 0.2) * generator.integers(1, 4, months)
    t = 15.0 + 30.4375 * np.cumsum(gap)
    y = 7.0 - 0.5 * np.log1p(t / 300.0) + 0.2 * generator.standard_normal(months)
    weight = np.where(generator.random(months) < 0.5, 1.0, generator.random(months) + 0.1)
    return Target(form, prior.shapes[form], prior.errors, t, y, weight, gap, float(t[-1]) + 15.0)


def particles(target: Target, n: int, generator: np.random.Generator) -> np.ndarray:
    mean, sd = target.prior_moments
    x = mean[:, None] + sd[:, None] * generator.standard_normal((len(mean), n))
    low, high = np.array(target.shape.low)[:, None], np.array(target.shape.high)[:, None]
    x[: len(low)] = np.clip(x[: len(low)], low, high)
    if target.form == "modified_hyperbolic":
        x[1, :5] = [0.0, 1e-7, 1e-4, 9.9e-3, 1.0e-2]  # about exponential
        x[2, 5:9] = x[0, 5:9] + [0.1, 0.0, -1e-3, -0.2]  # terminal decline from the start, or soon
    return x


def plain_curve(form: str, shape: np.ndarray, t: float) -> float:
    """Log rate against that at the start, from the published formulas."""
    if form == "stretched_exponential":
        return -((t / np.exp(shape[0])) ** shape[1])
    if form == "duong":
        days = max(t, 1.0)
        power = np.expm1((1.0 - shape[1]) * np.log(days)) / (1.0 - shape[1])
        return -shape[1] * np.log(days) + np.exp(shape[0]) * power
    decline, b = np.exp(shape[0]) / 365.25, max(shape[1], 1e-6)
    terminal = min(np.exp(shape[2]) / 365.25, decline)
    switch = (decline / terminal - 1.0) / (b * decline)
    return -np.log1p(b * decline * min(t, switch)) / b - terminal * max(t - switch, 0.0)


def plain_likelihood(target: Target, x: np.ndarray) -> float:
    """One particle, one month after the other."""
    d = len(target.shape.mean)
    s, rho = np.exp(x[d + 1]), 1.0 / (1.0 + np.exp(-x[d + 2]))
    end = plain_curve(target.form, x[:d], target.end)
    total, before = 0.0, 0.0
    for k, (t, y, weight) in enumerate(zip(target.t, target.y, target.weight, strict=True)):
        r = y - (x[d] + plain_curve(target.form, x[:d], float(t)) - end)
        scale = s / np.sqrt(weight)
        if k == 0:
            e, scale = r, scale / np.sqrt(1.0 - min(rho, 0.99) ** 2)
        else:
            e = r - rho ** target.gap[k] * before
        before = r
        total += gammaln((NU + 1) / 2) - gammaln(NU / 2) - 0.5 * np.log(NU * np.pi) - np.log(scale)
        total -= 0.5 * (NU + 1) * np.log1p((e / scale) ** 2 / NU)
    return float(total)
