"""Distributions against scipy.stats (second route), published formulas, and check values S1 and S2."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from refracmc.sampling.beta_table import _table, beta_ppf, exact_beta_ppf
from refracmc.sampling.distribution_base import short
from refracmc.sampling.distributions import (
    Bernoulli,
    Beta,
    Discrete,
    Distribution,
    Empirical,
    Fixed,
    LogNormal,
    Normal,
    Pert,
    Triangular,
    Truncated,
    Uniform,
)

U = np.concatenate([[1e-9, 1e-6, 1e-3], np.linspace(0.005, 0.995, 199), [0.999, 1 - 1e-6, 1 - 1e-9]])

PAIRS: list[tuple[Distribution, Any]] = [
    (Normal(3.0, 2.0), stats.norm(3.0, 2.0)),
    (LogNormal(-0.7, 0.4), stats.lognorm(0.4, scale=math.exp(-0.7))),
    (Uniform(-1.0, 4.0), stats.uniform(-1.0, 5.0)),
    (Triangular(1.0, 2.0, 5.0), stats.triang(0.25, 1.0, 4.0)),
    (Triangular(1.0, 1.0, 5.0), stats.triang(0.0, 1.0, 4.0)),
    (Triangular(1.0, 5.0, 5.0), stats.triang(1.0, 1.0, 4.0)),
    (Pert(10.0, 20.0, 60.0), stats.beta(1.8, 4.2, 10.0, 50.0)),
    (Pert(0.0, 0.0, 1.0), stats.beta(1.0, 5.0)),
    (Beta(9.5, 0.5), stats.beta(9.5, 0.5)),
    (Beta(0.4, 0.7, -2.0, 2.0), stats.beta(0.4, 0.7, -2.0, 4.0)),
    (Truncated(Normal(0.0, 1.0), -0.5, 2.0), stats.truncnorm(-0.5, 2.0)),
    (Truncated(Normal(1.0, 2.0), 0.0, math.inf), stats.truncnorm(-0.5, math.inf, 1.0, 2.0)),
]


def ids(pair: object) -> str:
    return pair.describe() if isinstance(pair, Distribution) else ""


@pytest.mark.parametrize(("ours", "theirs"), PAIRS, ids=ids)
def test_against_scipy_stats(ours: Distribution, theirs: Any) -> None:
    expected = theirs.ppf(U)
    low, high = (float(x) for x in theirs.ppf([1e-9, 1 - 1e-9]))
    last_digits = (
        2.0 * np.finfo(float).eps / np.maximum(theirs.pdf(expected), 1e-300)
    )  # those of a chance, as a value
    off = np.abs(ours.ppf(U) - expected)
    assert (
        off <= 1e-12 * np.abs(expected) + 1.1e-9 * (high - low) + np.where(U > 0.5, last_digits, 0.0)
    ).all()
    np.testing.assert_allclose(ours.cdf(expected), theirs.cdf(expected), rtol=1e-9, atol=1e-12)
    assert ours.mean() == pytest.approx(theirs.mean(), rel=1e-12)
    assert ours.variance() == pytest.approx(theirs.var(), rel=1e-9)
    assert ours.sd() == pytest.approx(theirs.std(), rel=1e-9)
    assert ours.support() == pytest.approx(theirs.support())


TRUNCATED = [
    Truncated(LogNormal(0.3, 0.8), 0.5, 4.0),
    Truncated(LogNormal(0.3, 0.8), -math.inf, 4.0),
    Truncated(LogNormal(0.3, 0.8), 0.5, math.inf),
    Truncated(Triangular(1.0, 2.0, 5.0), 1.5, 4.0),
    Truncated(Triangular(1.0, 2.0, 5.0), 2.5, math.inf),
    Truncated(Triangular(1.0, 2.0, 5.0), -math.inf, 1.5),
    Truncated(Pert(10.0, 20.0, 60.0), 15.0, 30.0),
    Truncated(Uniform(0.0, 2.0), 0.5, 1.0),
]


@pytest.mark.parametrize("ours", TRUNCATED, ids=ids)
def test_truncated_moments_by_quadrature(ours: Truncated) -> None:
    """Second route: E x = low + integral of (1 - F), E x^2 alike, by Gauss-Legendre on 400 short pieces."""
    low, high = ours.support()
    top = high if math.isfinite(high) else float(ours.ppf(np.array(1 - 1e-12)))
    edges = np.linspace(low, top, 401)
    nodes, weights = np.polynomial.legendre.leggauss(8)
    half = 0.5 * np.diff(edges)[:, None]
    x = edges[:-1, None] + half * (nodes + 1.0)
    left = (1.0 - ours.cdf(x)) * weights * half
    mean, second = low + left.sum(), low**2 + (2.0 * x * left).sum()
    assert ours.mean() == pytest.approx(mean, rel=1e-7)
    assert ours.variance() == pytest.approx(second - mean**2, rel=1e-5)
    drawn = ours.ppf(U)
    assert drawn.min() >= low
    assert drawn.max() <= high
    np.testing.assert_allclose(ours.cdf(drawn), U, rtol=0, atol=2e-8)


def test_s1_pert() -> None:
    """S1, computed: PERT 10, 20, 60: alpha 1.8, beta 4.2, mean 25, variance 75, not ((b-a)/6)^2 = 69.4."""
    pert = Pert(10.0, 20.0, 60.0)
    assert (pert.alpha, pert.beta) == pytest.approx((1.8, 4.2), rel=1e-15)
    assert pert.mean() == pytest.approx(25.0, rel=1e-15)
    assert pert.variance() == pytest.approx(75.0, rel=1e-14)
    assert abs(pert.variance() - (50 / 6) ** 2) > 5.0


@pytest.mark.parametrize(("sigma", "percent"), [(0.25, 0.0664), (0.5, 0.5028), (1.0, 5.1417), (1.5, 19.0013)])
def test_s2_swanson_underestimates_a_lognormal(sigma: float, percent: float) -> None:
    """S2, computed: 0.3 P90 + 0.4 P50 + 0.3 P10 falls short of a lognormal's mean by this percentage."""
    d = LogNormal(1.7, sigma)
    p90, p50, p10 = d.p90_p50_p10()
    assert 100.0 * (1.0 - (0.3 * p90 + 0.4 * p50 + 0.3 * p10) / d.mean()) == pytest.approx(percent, abs=6e-5)


def test_percentiles_are_by_exceedance() -> None:
    for d in (Normal.from_p90_p10(2.0, 6.0), LogNormal.from_p90_p10(2.0, 6.0)):
        p90, p50, p10 = d.p90_p50_p10()
        assert (p90, p10) == pytest.approx((2.0, 6.0), rel=1e-14)
        assert p90 < p50 < p10
    assert LogNormal.from_p90_p10(2.0, 6.0).p90_p50_p10()[1] == pytest.approx(math.sqrt(12.0), rel=1e-14)


def test_lognormal_from_its_own_mean_and_sd() -> None:
    d = LogNormal.from_mean_sd(5.0, 3.0)
    assert (d.mean(), d.sd()) == pytest.approx((5.0, 3.0), rel=1e-14)


@given(
    st.floats(0.05, 400.0),
    st.floats(0.05, 400.0),
    st.lists(st.floats(2.0**-54, 1.0 - 2.0**-53), min_size=1, max_size=30),
)
def test_beta_table_is_exact_to_1e9_and_monotone(alpha: float, beta: float, u: list[float]) -> None:
    """Oracle: the inverse incomplete beta function itself."""
    x = np.sort(np.array(u))
    ours = beta_ppf(alpha, beta, x)
    np.testing.assert_allclose(ours, exact_beta_ppf(alpha, beta, x), rtol=0, atol=1.1e-9)
    assert np.all(np.diff(ours) >= -1e-15)
    assert np.all((ours >= 0.0) & (ours <= 1.0))


def test_beta_table_is_used_where_it_matters_and_refused_where_it_is_too_coarse() -> None:
    assert _table(1.8, 4.2) is not None
    assert _table(0.001, 2.0) is None
    assert beta_ppf(1.8, 4.2, np.array([0.0, 1.0])).tolist() == [0.0, 1.0]


DISCRETE = Discrete.of([3.0, 1.0, 2.0, 1.0, 9.0], [2.0, 1.0, 4.0, 3.0, 0.0])


def test_discrete_sorts_merges_and_drops() -> None:
    assert DISCRETE.values == (1.0, 2.0, 3.0)
    assert DISCRETE.weights == (4.0, 4.0, 2.0)
    assert DISCRETE.mean() == pytest.approx(1.8)
    assert DISCRETE.variance() == pytest.approx(0.4 * 0.64 + 0.4 * 0.04 + 0.2 * 1.44)
    assert DISCRETE.ppf(np.array([0.0, 0.3999, 0.4, 0.7999, 0.8001, 1.0])).tolist() == [1, 1, 2, 2, 3, 3]
    assert DISCRETE.cdf(np.array([0.5, 1.0, 2.5, 3.0])).tolist() == pytest.approx([0.0, 0.4, 0.8, 1.0])


def test_bernoulli() -> None:
    d = Bernoulli(0.3)
    grid = (np.arange(1000) + 0.5) / 1000
    assert d.ppf(grid).sum() == 300
    assert np.all(np.diff(d.ppf(grid)) >= 0)
    assert (d.mean(), d.variance(), d.support()) == (0.3, 0.3 * 0.7, (0.0, 1.0))
    assert d.cdf(np.array([-1.0, 0.0, 0.5, 1.0])).tolist() == [0.0, 0.7, 0.7, 1.0]
    assert Bernoulli(0.0).ppf(grid).sum() == 0
    assert Bernoulli(1.0).ppf(grid).sum() == 1000
    assert Bernoulli(0.0).support() == (0.0, 0.0)


def test_empirical_gives_each_value_its_share() -> None:
    d = Empirical((5.0, 1.0, 3.0, 3.0))
    grid = (np.arange(400) + 0.5) / 400
    values, counts = np.unique(d.ppf(grid), return_counts=True)
    assert values.tolist() == [1.0, 3.0, 5.0]
    assert counts.tolist() == [100, 200, 100]
    assert (d.mean(), d.variance(), d.support()) == (3.0, 2.0, (1.0, 5.0))
    assert d.ppf(np.array([0.0, 1.0])).tolist() == [1.0, 5.0]
    assert d.cdf(np.array([0.0, 3.0, 9.0])).tolist() == [0.0, 0.75, 1.0]


def test_fixed() -> None:
    d = Fixed(4.0)
    assert d.ppf(U).tolist() == [4.0] * U.size
    assert (d.mean(), d.variance(), d.support(), d.is_fixed) == (4.0, 0.0, (4.0, 4.0), True)
    assert d.cdf(np.array([3.9, 4.0])).tolist() == [0.0, 1.0]
    assert not Normal(0.0, 1.0).is_fixed


@pytest.mark.parametrize(
    "d",
    [p[0] for p in PAIRS] + TRUNCATED + [DISCRETE, Bernoulli(0.4), Empirical((1.0, 2.0)), Fixed(1.0)],
    ids=ids,
)
def test_all_are_elementwise_monotone_and_say_what_they_are(d: Distribution) -> None:
    x = d.ppf(U)
    assert np.all(np.diff(x) >= 0.0)
    assert np.array_equal(
        d.ppf(U[::-1].reshape(-1, 5))[::-1, ::-1].ravel(), x
    )  # place in the array is irrelevant
    assert d.describe().startswith(d.base.kind if isinstance(d, Truncated) else d.kind)
    with pytest.raises(AttributeError):
        setattr(d, fields(d)[0].name, 0.0)  # type: ignore[arg-type]


def test_truncation_that_keeps_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="keeps 0 of itself"):
        Truncated(Normal(0.0, 1.0), 20.0, 30.0)


@pytest.mark.parametrize(
    ("x", "text"),
    [
        (260_000.0, "260,000"),
        (12_345.6, "12,350"),
        (-4.5e6, "-4,500,000"),
        (9999.4, "9999"),
        (0.01234, "0.01234"),
    ],
)
def test_numbers_in_a_line_of_text(x: float, text: str) -> None:
    """Four significant digits, as an engineer writes them."""
    assert short(x) == text
