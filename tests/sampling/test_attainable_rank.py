"""Rank correlations that inputs of listed values can have, and what a stated one comes out as.

Oracle: algebra for two-valued inputs; SciPy's Spearman coefficient of samples laid out in order, and of samples drawn
by the two methods that tie inputs, within their standard errors.
"""

import math

import numpy as np
import pytest
from scipy import stats

from refracmc.sampling.attainable_rank import attainable_rank, reached_rank
from refracmc.sampling.continuous import LogNormal, Uniform
from refracmc.sampling.dependence import gaussian_copula, iman_conover
from refracmc.sampling.discrete import Bernoulli, Discrete, Empirical
from refracmc.sampling.distribution_base import Distribution

CONTINUOUS = LogNormal(0.0, 1.0)
RECORD = Empirical((0.0, 0.0, 0.0, 0.1, 0.4, 0.4, 0.9, 1.3))
WEIGHTED = Discrete.of([1.0, 2.0, 5.0], [6.0, 1.0, 3.0])
PAIRS: dict[str, tuple[Distribution, Distribution]] = {
    "two values": (Bernoulli(0.3), CONTINUOUS),
    "two values twice": (Bernoulli(0.3), Bernoulli(0.6)),
    "record": (CONTINUOUS, RECORD),
    "record and weights": (RECORD, WEIGHTED),
    "many values": (Empirical(tuple(range(5000))), WEIGHTED),
    "continuous": (CONTINUOUS, Uniform(0.0, 1.0)),
}


@pytest.mark.parametrize("p", [0.02, 0.3, 0.5, 0.9])
def test_two_values_with_a_continuous_input(p: float) -> None:
    """Mean ranks (1 - p)/2 and 1 - p/2: covariance p(1 - p)/4, variances p(1 - p)/4 and 1/12."""
    end = math.sqrt(3.0 * p * (1.0 - p))
    assert attainable_rank(Bernoulli(p), CONTINUOUS) == pytest.approx((-end, end), abs=1e-8)
    assert attainable_rank(CONTINUOUS, Bernoulli(p)) == pytest.approx((-end, end), abs=1e-8)


@pytest.mark.parametrize(("p", "q"), [(0.3, 0.6), (0.5, 0.5), (0.1, 0.8)])
def test_two_values_twice(p: float, q: float) -> None:
    """Ranks of two values are the values moved and stretched: the ends are those of the linear correlation."""
    size = math.sqrt(p * (1 - p) * q * (1 - q))
    low, high = (max(0.0, p + q - 1.0) - p * q) / size, (min(p, q) - p * q) / size
    assert attainable_rank(Bernoulli(p), Bernoulli(q)) == pytest.approx((low, high), abs=1e-8)


@pytest.mark.parametrize("name", PAIRS)
def test_ends_are_those_of_samples_in_order(name: str) -> None:
    a, b = PAIRS[name]
    u = (np.arange(40_000) + 0.5) / 40_000
    x = a.ppf(u)
    ends = (stats.spearmanr(x, b.ppf(u)[::-1]).statistic, stats.spearmanr(x, b.ppf(u)).statistic)
    assert attainable_rank(a, b) == pytest.approx(ends, abs=2e-4)


@pytest.mark.parametrize("stated", [-0.7, 0.3, 0.9, 0.99])
@pytest.mark.parametrize("name", PAIRS)
def test_what_comes_out(name: str, stated: float) -> None:
    """Both methods, within 5 standard errors; what is stated itself lies outside where the ties matter."""
    a, b = PAIRS[name]
    matrix = np.array([[1.0, stated], [stated, 1.0]])
    random = np.random.default_rng(17)
    reached = reached_rank(a, b, stated)
    for method in ("copula", "iman_conover"):
        found = []
        for _ in range(40):
            u = random.random((2048, 2))
            tied = (
                gaussian_copula(u, matrix)
                if method == "copula"
                else iman_conover(u, matrix, random.random(u.shape))
            )
            found.append(stats.spearmanr(a.ppf(tied[:, 0]), b.ppf(tied[:, 1])).statistic)
        error = np.std(found) / math.sqrt(len(found))
        assert abs(np.mean(found) - reached) < 5.0 * error + 1e-3
        if name == "two values" and abs(stated) >= 0.7:  # negative control
            assert abs(np.mean(found) - stated) > 10.0 * error
    low, high = attainable_rank(a, b)
    assert low <= reached <= high


@pytest.mark.parametrize("item", [Bernoulli(0.3), RECORD, WEIGHTED])
def test_the_value_is_one_within_a_step_and_another_in_the_next(item: Distribution) -> None:
    steps = item.steps()
    assert steps[0] == 0.0
    assert steps[-1] == 1.0
    inside = np.stack([steps[:-1] + 1e-9, steps[1:] - 1e-9])
    low, high = item.ppf(inside)
    assert (low == high).all()
    assert (np.diff(low) > 0.0).all()
