"""Chances of a shift against quadrature, and the retries of a logit-normal sleeve.

Oracle: scipy.integrate.quad (computed); the retry figures .99 and .91 to .94 are the figures a one-try
success of .80 gives by that quadrature with independent tries and with a sleeve effect of logit sd 3 to 2
(computed).
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import expit, logit
from scipy.stats import norm

from refracmc.job.chances import _table, critical_logits, intercept_for_marginal, marginal_chance


def average(function, points=()) -> float:
    return quad(
        lambda z: function(z) * norm.pdf(z), -12, 12, epsabs=1e-14, epsrel=1e-13, limit=400, points=points
    )[0]


@given(st.floats(0.001, 0.999), st.floats(0.01, 6.0))
def test_intercept_gives_the_stated_chance_by_quadrature(p: float, sd: float) -> None:
    mu = float(intercept_for_marginal(p, sd))
    assert average(lambda z: expit(mu + sd * z), points=(np.clip(-mu / sd, -11, 11),)) == pytest.approx(
        p, abs=1e-11
    )


@pytest.mark.parametrize("sd", [0.01, 0.4, 1.0, 3.0, 9.9, 10.1])
def test_the_table_of_intercepts_meets_the_average(sd: float) -> None:
    """Oracle: the average itself (trapezoidal rule), at edges of the table's pieces, between them and beyond the table.

    Negative control: a table one power short misses it.
    """
    logits = np.concatenate(
        [np.linspace(-14.0, 14.0, 113), np.random.default_rng(3).uniform(-12.0, 0.0, 300)]
    )
    p = expit(logits)
    small = np.minimum(p, 1.0 - p)
    missed = np.abs(marginal_chance(-np.abs(intercept_for_marginal(p, sd)), sd) / small - 1.0)
    assert missed.max() < 1e-11
    inside = small[(logits > -12.0) & (logits < 0.0)]
    table = _table(min(sd, 10.0)).copy()
    table[-4] = 0.0
    x, piece = np.modf((logit(inside) + 12.0) / 0.5)
    short = np.array([np.polyval(table[:, int(k)], 2.0 * u - 1.0) for k, u in zip(piece, x, strict=True)])
    assert np.abs(marginal_chance(short, min(sd, 10.0)) / inside - 1.0).max() > 1e-11


def test_intercept_at_its_limits() -> None:
    p = np.array([0.0, 0.5, 1.0, 0.2])
    np.testing.assert_allclose(intercept_for_marginal(p, 2.0)[:3], [-np.inf, 0.0, np.inf], atol=1e-14)
    np.testing.assert_allclose(intercept_for_marginal(p, 0.0), logit(p), rtol=0, atol=0)
    mixed = intercept_for_marginal(np.array([0.9, 0.9]), np.array([0.0, 3.0]))
    np.testing.assert_allclose(mixed, [logit(0.9), float(intercept_for_marginal(0.9, 3.0))], rtol=1e-12)
    for bad in (-0.1, 1.1, np.nan):
        with pytest.raises(ValueError, match="between 0 and 1"):
            intercept_for_marginal(bad, 1.0)
    with pytest.raises(ValueError, match="standard deviation"):
        intercept_for_marginal(0.5, -1.0)


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=20), st.floats(0.0, 12.0))
def test_intercept_is_monotone_and_symmetric(chances: list[float], sd: float) -> None:
    p = np.sort(np.array(chances))
    mu = intercept_for_marginal(p, sd)
    assert (np.diff(mu[np.isfinite(mu)]) >= -1e-9).all()
    inner = (p > 1e-6) & (p < 1 - 1e-6)
    np.testing.assert_allclose(intercept_for_marginal(1.0 - p, sd)[inner], -mu[inner], rtol=1e-7, atol=1e-7)
    np.testing.assert_allclose(marginal_chance(mu[inner], sd), p[inner], rtol=0, atol=1e-11)


@pytest.mark.parametrize(
    ("sd", "low", "high"), [(0.0, 0.9915, 0.9925), (2.0, 0.935, 0.945), (3.0, 0.905, 0.915)]
)
def test_three_tries_of_a_sleeve_that_shares_its_effect(sd: float, low: float, high: float) -> None:
    """A one-try success of .80 is .99 after three independent tries, but .94 to .91 with sd 2 to 3."""
    mu = float(intercept_for_marginal(0.8, sd))
    within_three = average(lambda z: 1.0 - (1.0 - expit(mu + sd * z)) ** 3)
    assert low < within_three < high
    rng = np.random.default_rng(5)
    n = 200_000
    effects, u = sd * rng.standard_normal(n), rng.random(n)
    share = (mu + effects > critical_logits(u, 3)[2]).mean()
    assert abs(share - within_three) < 4 * np.sqrt(within_three * (1 - within_three) / n)


def test_one_uniform_tells_all_tries() -> None:
    """Works within j tries if and only if u < 1 - (1 - p)^j, and u = 0 always works."""
    rng = np.random.default_rng(2)
    u, p = rng.random(5000), rng.random(5000)
    for j, critical in enumerate(critical_logits(u, 4), start=1):
        assert ((logit(p) > critical) == (u < 1.0 - (1.0 - p) ** j)).all()
    assert critical_logits(np.array([0.0]), 2)[1][0] == -np.inf
    with pytest.raises(ValueError, match="at least 1"):
        critical_logits(u, 0)
