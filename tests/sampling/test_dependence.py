"""Rank dependence. Oracles: Iman and Conover (1982), Higham (2002), conditions of optimality."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import kstest, spearmanr

from refracmc.sampling.dependence import (
    CorrelationError,
    check_correlation,
    dependence_uniforms,
    gaussian_copula,
    iman_conover,
    nearest_correlation,
    pearson_for_rank,
    rank_for_pearson,
    rank_matrix,
)
from refracmc.sampling.designs import block_uniforms
from refracmc.sampling.streams import BLOCK_SIZE

NAMES = ["a", "b", "c"]
TARGET = np.array([[1.0, 0.6, -0.3], [0.6, 1.0, 0.2], [-0.3, 0.2, 1.0]])


def columns(block: int, design: str = "latin_hypercube") -> np.ndarray:
    return np.stack(list(block_uniforms(1, NAMES, "W", block, design).values()), axis=1)


@pytest.mark.parametrize(("r", "rho"), [(0.5, 0.482584), (0.9, 0.891456)])
def test_s4_rank_of_linear_correlation(r: float, rho: float) -> None:
    """S4, computed: Spearman = (6/pi) asin(r/2)."""
    assert rank_for_pearson(r) == pytest.approx(rho, abs=5e-7)
    assert pearson_for_rank(rho) == pytest.approx(r, abs=1e-6)


@pytest.mark.parametrize(("r", "rho"), [(0.5, 0.482584), (0.9, 0.891456)])
def test_s4_by_simulation(r: float, rho: float) -> None:
    """Pooled Spearman over 300 blocks within 4 of its own standard errors + 2/512 for finite blocks."""
    target = np.array([[1.0, rho], [rho, 1.0]])
    got = []
    for block in range(300):
        x = iman_conover(columns(block)[:, :2], target, dependence_uniforms(1, NAMES[:2], "W", block))
        got.append(float(spearmanr(x[:, 0], x[:, 1]).statistic))
    limit = 4.0 * np.std(got) / np.sqrt(len(got)) + 2.0 / BLOCK_SIZE
    assert abs(np.mean(got) - rho) < limit
    assert abs(np.mean(got) - r) > limit  # negative control: the linear figure taken for the rank's


def test_marginals_stay_bit_for_bit() -> None:
    x = np.stack([columns(0)[:, 0], np.exp(columns(0)[:, 1]), np.round(5 * columns(0)[:, 2])], axis=1)
    out = iman_conover(x, TARGET, dependence_uniforms(1, NAMES, "W", 0))
    for before, after in zip(x.T, out.T, strict=True):
        assert np.sort(before).tobytes() == np.sort(after).tobytes()
    assert not np.array_equal(out, x)
    assert out.tobytes() == iman_conover(x, TARGET, dependence_uniforms(1, NAMES, "W", 0)).tobytes()


def test_three_inputs_reach_their_matrix() -> None:
    """Mean sample matrix of 200 blocks against the target; limits from the spread between blocks."""
    got = np.array(
        [
            spearmanr(iman_conover(columns(b), TARGET, dependence_uniforms(2, NAMES, "W", b))).statistic
            for b in range(200)
        ]
    )
    error = np.abs(got.mean(axis=0) - TARGET)
    limit = 4.0 * got.std(axis=0) / np.sqrt(len(got)) + 2.0 / BLOCK_SIZE
    assert np.all(error <= limit)
    independent = np.mean([spearmanr(columns(b)).statistic for b in range(200)], axis=0)
    assert np.any(np.abs(independent - TARGET) > limit)  # negative control


def test_rows_stay_exchangeable() -> None:
    """A cut block is a random part of the whole: first 100 rows of 300 blocks, mean 1/2 within 4 errors."""
    means = [
        iman_conover(columns(b), TARGET, dependence_uniforms(3, NAMES, "W", b))[:100].mean(axis=0)
        for b in range(300)
    ]
    error = np.std(means, axis=0) / np.sqrt(len(means))
    assert np.all(np.abs(np.mean(means, axis=0) - 0.5) < 4.0 * error)


def test_gaussian_copula() -> None:
    u = np.concatenate([columns(b, "sobol") for b in range(40)])
    out = gaussian_copula(u, TARGET)
    assert np.array_equal(out[:, 0], u[:, 0])
    assert np.all((out > 0.0) & (out < 1.0))
    n = len(u)
    np.testing.assert_allclose(spearmanr(out).statistic, TARGET, rtol=0, atol=4.5 / np.sqrt(n))
    assert np.max(np.abs(spearmanr(u).statistic - TARGET)) > 4.5 / np.sqrt(n)  # negative control
    assert all(kstest(c, "uniform").pvalue > 1e-4 for c in out.T)
    assert gaussian_copula(np.empty((4, 0)), np.empty((0, 0))).shape == (4, 0)


def test_higham_example() -> None:
    """Higham (2002) (memory, digits reproduced): tridiagonal ones of order 3 give .7607 and .1573."""
    a = np.array([[1.0, 1.0, 0.0], [1.0, 1.0, 1.0], [0.0, 1.0, 1.0]])
    x = nearest_correlation(a)
    expected = np.array([[1.0, 0.7607, 0.1573], [0.7607, 1.0, 0.7607], [0.1573, 0.7607, 1.0]])
    np.testing.assert_allclose(x, expected, rtol=0, atol=5e-5)


def test_nearest_is_optimal_in_every_direction() -> None:
    """Projection onto a convex set: <A - X, Y - X> <= 0 for every correlation matrix Y; clipping fails."""
    rng = np.random.default_rng(4)
    b = rng.uniform(-1.0, 1.0, (5, 5))
    a = np.clip(b + b.T, -1.0, 1.0)
    np.fill_diagonal(a, 1.0)
    assert np.linalg.eigvalsh(a).min() < -0.1
    x = nearest_correlation(a)
    values, vectors = np.linalg.eigh(a)
    clipped = (vectors * np.maximum(values, 0.0)) @ vectors.T
    scale = np.sqrt(np.diag(clipped))
    clipped = clipped / np.outer(scale, scale)
    worst = worst_clipped = -np.inf
    for _ in range(2000):
        g = rng.normal(size=(5, rng.integers(1, 6)))
        y = g @ g.T
        y /= np.outer(np.sqrt(np.diag(y)), np.sqrt(np.diag(y)))
        worst = max(worst, float(np.sum((a - x) * (y - x))))
        worst_clipped = max(worst_clipped, float(np.sum((a - clipped) * (y - clipped))))
    assert np.linalg.eigvalsh(x).min() > -1e-9
    assert worst < 1e-8
    assert worst_clipped > 1e-3
    assert np.linalg.norm(a - x) < np.linalg.norm(a - clipped)


def test_valid_matrix_is_kept_and_its_own_nearest() -> None:
    check_correlation(TARGET, NAMES)
    check_correlation(np.empty((0, 0)), [])
    np.testing.assert_allclose(nearest_correlation(TARGET), TARGET, atol=1e-12)


def test_indefinite_matrix_is_refused_with_a_valid_offer() -> None:
    bad = np.array([[1.0, 0.9, -0.9], [0.9, 1.0, 0.9], [-0.9, 0.9, 1.0]])
    with pytest.raises(CorrelationError, match="not positive definite") as caught:
        check_correlation(bad, ["response.uplift", "response.b", "opex.fixed"])
    offered = caught.value.nearest
    assert offered is not None
    check_correlation(offered, NAMES)
    assert f"response.b with response.uplift: 0.9 -> {offered[1, 0]:g}" in str(caught.value)
    exact = rank_for_pearson(nearest_correlation(pearson_for_rank(bad)))
    np.testing.assert_allclose(offered, exact, rtol=0, atol=2e-3)


def test_matrix_valid_in_ranks_but_not_in_scores_is_refused() -> None:
    """rho -.499, three inputs: 1 - 2 x .499 > 0, but r = 2 sin(pi rho/6) = -.517: 1 - 2 x .517 < 0."""
    m = np.full((3, 3), -0.499)
    np.fill_diagonal(m, 1.0)
    assert np.linalg.eigvalsh(m).min() > 0.0
    with pytest.raises(CorrelationError) as caught:
        check_correlation(m, NAMES)
    assert caught.value.nearest is not None
    check_correlation(caught.value.nearest, NAMES)


def test_perfect_correlation_is_refused_with_nearly_the_same_offered() -> None:
    with pytest.raises(CorrelationError) as caught:
        check_correlation([[1.0, 1.0], [1.0, 1.0]], ["a", "b"])
    assert caught.value.nearest is not None
    assert 0.999 < caught.value.nearest[0, 1] < 1.0


@pytest.mark.parametrize(
    ("matrix", "text"),
    [
        ([[1.0, 0.5]], r"found shape \(1, 2\); allowed: \(2, 2\)"),
        ([[2.0, 0.5], [0.5, 1.0]], "a with itself: found 2; allowed: 1"),
        ([[1.0, 0.5], [0.4, 1.0]], "b with a: found 0.4 and 0.5; allowed: equal"),
        ([[1.0, 1.5], [1.5, 1.0]], "b with a: found 1.5; allowed: -1 to 1"),
        ([[1.0, np.nan], [np.nan, 1.0]], "b with a: found nan; allowed: -1 to 1"),
    ],
)
def test_malformed_matrices(matrix: list[list[float]], text: str) -> None:
    with pytest.raises(ValueError, match=text):
        check_correlation(matrix, ["a", "b"])


def test_rank_matrix() -> None:
    m = rank_matrix(NAMES, [("a", "b", 0.6), ("c", "a", -0.3), ("b", "c", 0.2)])
    assert np.array_equal(m, TARGET)
    with pytest.raises(ValueError, match=r"found 'response\.uplfit'.*did you mean 'response\.uplift'"):
        rank_matrix(["response.uplift", "x"], [("response.uplfit", "x", 0.1)])
    with pytest.raises(ValueError, match="with itself"):
        rank_matrix(NAMES, [("a", "a", 0.1)])
    with pytest.raises(ValueError, match="twice"):
        rank_matrix(NAMES, [("a", "b", 0.1), ("b", "a", 0.1)])


def test_too_few_rows() -> None:
    with pytest.raises(ValueError, match="more rows than columns"):
        iman_conover(np.zeros((2, 3)), TARGET, np.zeros((2, 3)))
