"""Estimators: values and edges. Oracles: NumPy, algebra, check value R1. Errors: tests/statistical."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtri

from refracmc.sampling.design_error import MIN_BLOCKS, layout
from refracmc.sampling.estimators import (
    chance_below,
    cvar_with_error,
    mean_with_error,
    quantile_with_error,
    ratio_with_error,
    summarise,
)
from refracmc.sampling.order_statistics import quantiles, sorted_at
from refracmc.sampling.streams import BLOCK_SIZE, block_sizes

RNG = np.random.default_rng(7)
N = 10_000
SIZES = block_sizes(N)
X = RNG.lognormal(size=(4, N)) - 1.5
HOLED = X.copy()
HOLED[1, RNG.random(N) < 0.3] = np.nan
HOLED[2, 5:] = np.nan
HOLED[3] = np.nan
DESIGNS = ["plain", "latin_hypercube", "sobol"]


@pytest.mark.parametrize("design", DESIGNS)
def test_summarise_against_numpy(design: str) -> None:
    s = summarise(HOLED, SIZES, design)
    for i in range(3):
        x = HOLED[i][np.isfinite(HOLED[i])]
        assert s["mean"][i] == pytest.approx(x.mean(), rel=1e-13)
        got = [s[p][i] for p in ("p90", "p50", "p10")]
        assert got == pytest.approx(np.quantile(x, [0.1, 0.5, 0.9]).tolist(), rel=1e-14)
        assert s["undefined_share"][i] == pytest.approx(1.0 - x.size / N, abs=1e-15)
    assert s["undefined_share"][3] == 1.0
    for name in set(s) - {"undefined_share", "fallback"}:
        assert np.isnan(s[name][3])
    assert s["p90"][0] < s["p50"][0] < s["p10"][0]


def test_plain_error_of_the_mean_is_the_textbook_one() -> None:
    got = mean_with_error(HOLED, SIZES, "plain")
    for i in range(3):
        x = HOLED[i][np.isfinite(HOLED[i])]
        assert got.se[i] == pytest.approx(x.std(ddof=1) / np.sqrt(x.size), rel=1e-12)
    assert not got.fallback.any()


def test_blocked_error_by_hand() -> None:
    """Whole blocks: sd of block means / sqrt(19). With a cut block: the formula of the docstring in loops."""
    x = X[0, : 19 * BLOCK_SIZE]
    means = x.reshape(19, BLOCK_SIZE).mean(axis=1)
    whole = mean_with_error(x, block_sizes(x.size), "latin_hypercube")
    assert whole.se == pytest.approx(means.std(ddof=1) / np.sqrt(19), rel=1e-12)
    cut = mean_with_error(X[0], SIZES, "latin_hypercube")
    rest = N - 19 * BLOCK_SIZE
    inside = np.mean([x[k * 512 : (k + 1) * 512].var(ddof=1) for k in range(19)])
    v = means.var(ddof=1)
    expected = (x.size / N) ** 2 * v / 19 + (rest / N) ** 2 * (v + inside * (1 / rest - 1 / BLOCK_SIZE))
    assert cut.se == pytest.approx(np.sqrt(expected), rel=1e-12)


@pytest.mark.parametrize("design", DESIGNS)
def test_summary_and_single_estimators_agree(design: str) -> None:
    s = summarise(HOLED, SIZES, design)
    mean = mean_with_error(HOLED, SIZES, design)
    np.testing.assert_allclose(s["mean"], mean.value, rtol=1e-14)
    np.testing.assert_allclose(s["se"], mean.se, rtol=1e-12)
    np.testing.assert_array_equal(s["fallback"], mean.fallback)
    for name, p in (("p90", 0.1), ("p50", 0.5), ("p10", 0.9)):
        q = quantile_with_error(HOLED, p, SIZES, design)
        np.testing.assert_array_equal(s[name], q.value)


def test_rows_do_not_influence_each_other() -> None:
    """A row alone, or beside rows with undefined values, in another shape: the same bytes."""
    together = summarise(HOLED[:2].reshape(1, 2, N), SIZES, "latin_hypercube")
    for i in range(2):
        alone = summarise(HOLED[i], SIZES, "latin_hypercube")
        for name, value in alone.items():
            assert together[name].shape == (1, 2)
            np.testing.assert_array_equal(together[name][0, i], value)


@pytest.mark.parametrize("design", ["latin_hypercube", "sobol"])
def test_single_block_falls_back_to_the_conservative_formula(design: str) -> None:
    x = X[0, :BLOCK_SIZE]
    got = mean_with_error(x, (BLOCK_SIZE,), design)
    assert got.fallback
    assert got.se == pytest.approx(x.std(ddof=1) / np.sqrt(BLOCK_SIZE - 1), rel=1e-12)
    s = summarise(x, (BLOCK_SIZE,), design)
    assert s["fallback"]
    assert np.isfinite(quantile_with_error(x, 0.1, (BLOCK_SIZE,), design).se)


def test_fallback_ends_at_the_stated_number_of_blocks() -> None:
    for blocks, flagged in ((MIN_BLOCKS - 1, True), (MIN_BLOCKS, False)):
        n = blocks * BLOCK_SIZE + 100
        assert bool(mean_with_error(X[0, :n], block_sizes(n), "latin_hypercube").fallback) is flagged
        assert not mean_with_error(X[0, :n], block_sizes(n), "plain").fallback


def test_values_defined_in_few_blocks_fall_back() -> None:
    x = np.full(N, np.nan)
    x[: (MIN_BLOCKS - 1) * BLOCK_SIZE] = X[0, : (MIN_BLOCKS - 1) * BLOCK_SIZE]
    assert mean_with_error(x, SIZES, "latin_hypercube").fallback


@pytest.mark.parametrize("design", DESIGNS)
def test_one_trial(design: str) -> None:
    s = summarise([3.0], (1,), design)
    assert (s["mean"], s["p90"], s["p50"], s["p10"], s["undefined_share"]) == (3.0, 3.0, 3.0, 3.0, 0.0)
    assert np.isnan([s["se"], quantile_with_error([3.0], 0.5, (1,), design).se]).all()


@pytest.mark.parametrize("design", DESIGNS)
def test_all_undefined_and_one_defined(design: str) -> None:
    x = np.full((2, 600), np.nan)
    x[1, 3] = 2.0
    for got in (
        mean_with_error(x, block_sizes(600), design),
        quantile_with_error(x, 0.5, block_sizes(600), design),
        cvar_with_error(x, 0.1, block_sizes(600), design),
        chance_below(x, 3.0, block_sizes(600), design),
        ratio_with_error(x, x, block_sizes(600), design),
    ):
        assert np.isnan(got.value[0])
        assert np.isfinite(got.value[1])
        assert np.isnan(got.se).all()
        np.testing.assert_allclose(got.undefined_share, [1.0, 599 / 600])


@pytest.mark.parametrize("design", DESIGNS)
def test_constant_values_have_no_error(design: str) -> None:
    s = summarise(np.full(N, 4.0), SIZES, design)
    assert (s["mean"], s["p90"], s["p10"]) == (4.0, 4.0, 4.0)
    assert s["se"] == 0.0
    assert quantile_with_error(np.full(N, 4.0), 0.5, SIZES, design).se == 0.0


def test_infinite_values_count_as_undefined() -> None:
    x = X[0].copy()
    x[:10] = np.inf
    x[10:20] = -np.inf
    s = summarise(x, SIZES, "plain")
    assert s["undefined_share"] == pytest.approx(20 / N)
    assert s["mean"] == pytest.approx(X[0, 20:].mean(), rel=1e-13)
    assert s["p90"] == pytest.approx(np.quantile(X[0, 20:], 0.1), rel=1e-14)


def test_r1_cvar_of_the_published_portfolio() -> None:
    """R1, published: Rockafellar and Uryasev (2000), tables: normal loss by m, V, x*; VaR, CVaR at .90, .95.

    1e6 equally likely quantiles stand for the normal; what the grid leaves out of the tail is below 2e-6.
    """
    m = np.array([0.0101110, 0.0043532, 0.0137058])
    v = np.array(
        [
            [0.00324625, 0.00022983, 0.00420395],
            [0.00022983, 0.00049937, 0.00019247],
            [0.00420395, 0.00019247, 0.00764097],
        ]
    )
    w = np.array([0.452013, 0.115573, 0.432414])
    n = 1_000_000
    value = w @ m + np.sqrt(w @ v @ w) * ndtri((np.arange(n) + 0.5) / n)
    for tail, var, cvar in ((0.10, 0.067847, 0.096975), (0.05, 0.090200, 0.115908)):
        assert quantile_with_error(value, tail, (n,), "plain").value == pytest.approx(-var, abs=3e-6)
        assert cvar_with_error(value, tail, (n,), "plain").value == pytest.approx(-cvar, abs=3e-6)


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=30), st.floats(0.01, 1.0))
def test_cvar_is_the_largest_of_its_definition(values: list[float], tail: float) -> None:
    """Rockafellar and Uryasev: max over c of c - mean(max(c - x, 0)) / tail, reached at one of the values."""
    x = np.array(values)
    best = max(c - np.maximum(c - x, 0.0).mean() / tail for c in x)
    assert cvar_with_error(x, tail, (x.size,), "plain").value == pytest.approx(best, abs=1e-8)


def test_cvar_with_a_part_of_a_trial() -> None:
    """Tail of 2.5 of 10 values: (1 + 2 + 0.5 x 3) / 2.5 = 1.8; of 3: 2; of all: the mean; of one: it."""
    x = np.arange(10.0, 0.0, -1.0)
    assert cvar_with_error(x, 0.25, (10,), "plain").value == pytest.approx(1.8, rel=1e-14)
    assert cvar_with_error(x, 0.3, (10,), "plain").value == pytest.approx(2.0, rel=1e-14)
    assert cvar_with_error(x, 1.0, (10,), "plain").value == pytest.approx(5.5, rel=1e-14)
    small = cvar_with_error(x, 0.1, (10,), "plain")
    assert small.value == pytest.approx(1.0, rel=1e-14)
    assert np.isnan(small.se)


def test_ratio_and_chance_by_hand() -> None:
    a = np.array([1.0, 2.0, np.nan, 3.0])
    b = np.array([2.0, 2.0, 5.0, np.nan])
    got = ratio_with_error(a, b, (4,), "plain")
    assert (got.value, got.undefined_share) == (0.75, 0.5)
    z = (a[:2] - 0.75 * b[:2]) / 2.0
    assert got.se == pytest.approx(np.sqrt(np.sum(z**2) / 2.0), rel=1e-14)
    assert np.isnan(ratio_with_error(a, np.zeros(4), (4,), "plain").value)
    chance = chance_below([-1.0, 0.0, 2.0, np.nan, -3.0], 0.0, (5,), "plain")
    assert (chance.value, chance.undefined_share) == (0.5, pytest.approx(0.2))


@pytest.mark.parametrize("sizes", [(), (512, 100, 512), (512, 600), (512, 0), (511,), (256, 256, 1)])
def test_impossible_blocks_are_refused(sizes: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="block sizes: found"):
        layout(sizes, 512, "plain")


def test_other_refusals() -> None:
    with pytest.raises(ValueError, match="did you mean 'sobol'"):
        mean_with_error(X, SIZES, "sobel")
    with pytest.raises(ValueError, match="at least one trial"):
        mean_with_error([], (1,), "plain")
    with pytest.raises(ValueError, match="probability"):
        quantile_with_error(X, 1.0, SIZES, "plain")
    with pytest.raises(ValueError, match="tail_fraction"):
        cvar_with_error(X, 0.0, SIZES, "plain")


def test_quantiles_of_rows_are_those_of_numpy() -> None:
    """To the bit, with clumps of equal values, at both ends and along a transposed array."""
    shares = np.array([0.0, 0.1, 0.25, 0.5, 0.9, 0.999, 1.0])
    far = X.copy()
    far[:, 7] = 1e300  # all others in one bucket
    flat = np.full((2, N), 3.0)
    for values in (X, np.round(X), X[:, :2], X[:, :1], np.asfortranarray(X), far, flat, X * 1e-320, X > 1.0):
        values = np.asarray(values, dtype=float)
        expected = np.moveaxis(np.quantile(values, shares, axis=-1), 0, -1)
        np.testing.assert_array_equal(quantiles(values, shares), expected, strict=True)


def test_places_of_a_sort_without_sorting_all() -> None:
    """Rows of 700 to 40,000 values, few and many places of their own: what a whole sort puts there."""
    for n in (5, 700, N, 40_000):
        rows = np.concatenate([RNG.standard_t(2.0, (3, n)), np.round(RNG.exponential(9.0, (2, n)))])
        for m in (1, 6, 200):
            at = RNG.integers(0, n, (5, m))
            expected = np.take_along_axis(np.sort(rows, axis=1), at, axis=1)
            np.testing.assert_array_equal(sorted_at(rows, at), expected)


@pytest.mark.parametrize("far", [(-np.inf, 0.0), (0.0, np.inf), (-np.inf, np.inf), (-1.7e308, 1.7e308)])
def test_places_where_the_range_of_a_row_is_no_number(far) -> None:
    """Infinite values, and a range above the largest number: what a whole sort puts there."""
    rows = RNG.normal(size=(4, 100))
    rows[1, :30], rows[2, 40:90] = far
    at = RNG.integers(0, 100, (4, 30))
    expected = np.take_along_axis(np.sort(rows, axis=1), at, axis=1)
    np.testing.assert_array_equal(sorted_at(rows, at), expected)
