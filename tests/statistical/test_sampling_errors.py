"""Claimed standard errors against the spread of repeated sampling, for every design and estimator.

For R repetitions with their own seeds, v = variance of the estimates, w = mean of the claimed variances. If
the claim is right, w/v is 1 up to chance; the relative standard error of v is sqrt((k - 1)/R) with k the
kurtosis of the estimates, that of w is sd(se^2)/(mean sqrt(R)). A claim passes within 4 of these together.
Every comparison has a negative control: a wrong formula that must not pass.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtri

from refracmc.sampling.dependence import dependence_uniforms, iman_conover
from refracmc.sampling.design_error import MIN_BLOCKS
from refracmc.sampling.designs import block_uniforms, latin_hypercube_column
from refracmc.sampling.estimators import (
    Estimate,
    chance_below,
    cvar_with_error,
    mean_with_error,
    quantile_with_error,
    ratio_with_error,
)
from refracmc.sampling.streams import BLOCK_SIZE, block_sizes, generator

REPETITIONS = 500
NAMES = ["a", "b", "c"]
WHOLE, REST = 9, 200
TRIALS = WHOLE * BLOCK_SIZE + REST
SIZES = block_sizes(TRIALS)
DESIGNS = [
    "latin_hypercube",
    *(pytest.param(name, marks=pytest.mark.slow) for name in ("plain", "sobol", "dependent")),
]


@lru_cache(maxsize=8)
def draws(design: str, blocks: int = WHOLE + 1) -> np.ndarray:
    """Uniforms (repetitions, blocks x 512, 3); 'dependent' = Latin hypercube reordered by Iman-Conover."""
    rank = np.array([[1.0, 0.5, 0.0], [0.5, 1.0, 0.0], [0.0, 0.0, 1.0]])
    out = np.empty((REPETITIONS, blocks, BLOCK_SIZE, len(NAMES)))
    base = "latin_hypercube" if design == "dependent" else design
    for seed in range(REPETITIONS):
        for block in range(blocks):
            u = np.stack(list(block_uniforms(seed, NAMES, "W", block, base).values()), axis=1)
            if design == "dependent":
                u = iman_conover(u, rank, dependence_uniforms(seed, NAMES, "W", block))
            out[seed, block] = u
    out = out.reshape(REPETITIONS, -1, len(NAMES))
    out.setflags(write=False)
    return out


def formula_of(design: str) -> str:
    return "latin_hypercube" if design == "dependent" else design


def model(u: np.ndarray) -> np.ndarray:
    """Skewed, mostly additive, with interaction: like a value with a cost and a price."""
    return np.exp(0.6 * ndtri(u[..., 0])) * (1.0 + 0.3 * ndtri(u[..., 1])) - 1.5 + 0.5 * u[..., 2]


def smooth(u: np.ndarray) -> np.ndarray:
    """Product of (1 + (u - 1/2)) over three inputs: mean 1, main effects and interactions."""
    return np.prod(0.5 + u, axis=-1)


def trials(design: str, *, holes: bool = False) -> np.ndarray:
    u = draws(design)[:, :TRIALS]
    x = model(u)
    return np.where(u[..., 0] + u[..., 1] < 0.6, np.nan, x) if holes else x


def score(estimate: np.ndarray, se: np.ndarray) -> float:
    """log(w/v) in its own standard errors: near 0 if the claim is right, positive if it is too large."""
    v, w = np.var(estimate, ddof=1), np.mean(se**2)
    relative = np.sqrt(
        (stats.kurtosis(estimate, fisher=False) - 1.0) / len(se) + (np.std(se**2) / w) ** 2 / len(se)
    )
    return float(np.log(w / v) / relative)


def estimate_of(name: str, x: np.ndarray, design: str) -> Estimate:
    if name == "mean":
        return mean_with_error(x, SIZES, design)
    if name == "chance":
        return chance_below(x, 0.0, SIZES, design)
    if name == "cvar":
        return cvar_with_error(x, 0.1, SIZES, design)
    if name == "ratio":
        return ratio_with_error(x, 2.0 + np.abs(x) ** 0.5, SIZES, design)
    return quantile_with_error(x, {"p90": 0.1, "p50": 0.5, "p10": 0.9}[name], SIZES, design)


@pytest.mark.parametrize("holes", [False, True], ids=["complete", "with undefined"])
@pytest.mark.parametrize("name", ["mean", "p90", "p50", "p10", "chance", "cvar", "ratio"])
@pytest.mark.parametrize("design", DESIGNS)
def test_claimed_error_is_the_real_one(design: str, name: str, holes: bool) -> None:
    x = trials(design, holes=holes)
    got = estimate_of(name, x, formula_of(design))
    assert not got.fallback.any()
    assert abs(score(got.value, got.se)) < 4.0
    # Negative control: an error off by 30 % is caught.
    assert score(got.value, 1.3 * got.se) > 4.0
    assert score(got.value, got.se / 1.3) < -4.0


@pytest.mark.parametrize("name", ["mean", "p90", "p50", "chance", "cvar", "ratio"])
@pytest.mark.parametrize("design", ["latin_hypercube", "sobol"])
def test_plain_formula_fails_on_stratified_trials(design: str, name: str) -> None:
    got = estimate_of(name, trials(design), "plain")
    assert score(got.value, got.se) > 4.0


@pytest.mark.parametrize("design", ["latin_hypercube", "sobol"])
def test_cut_block_needs_its_own_term(design: str) -> None:
    """Spreading the whole blocks' variance over the cut one as if n/512 whole blocks had run must fail."""
    x = trials(design)
    means = x[:, : WHOLE * BLOCK_SIZE].reshape(REPETITIONS, WHOLE, BLOCK_SIZE).mean(axis=2)
    naive = np.sqrt(means.var(axis=1, ddof=1) * BLOCK_SIZE / TRIALS)
    assert score(x.mean(axis=1), naive) < -4.0


@pytest.mark.parametrize("design", ["plain", "latin_hypercube", "sobol"])
def test_intervals_cover_as_student_says(design: str) -> None:
    """Whole blocks, bounded value: (mean - truth)/se follows Student's t with blocks - 1 degrees."""
    sizes = (BLOCK_SIZE,) * WHOLE
    x = smooth(draws(design)[:, : WHOLE * BLOCK_SIZE])
    got = mean_with_error(x, sizes, "latin_hypercube")
    assert stats.kstest((got.value - 1.0) / got.se, stats.t(WHOLE - 1).cdf).pvalue > 1e-3
    assert stats.kstest((got.value - 1.0) / (1.5 * got.se), stats.t(WHOLE - 1).cdf).pvalue < 1e-3


@pytest.mark.parametrize(("design", "lowest"), [("plain", 0.95), ("latin_hypercube", 0.95), ("sobol", 0.90)])
def test_intervals_of_an_unbounded_value(design: str, lowest: float) -> None:
    """Lognormal factor: 95 % in theory; the skewed block means of Sobol cost about 4 points (stated)."""
    x = trials(design)[:, : WHOLE * BLOCK_SIZE]
    got = mean_with_error(x, (BLOCK_SIZE,) * WHOLE, "latin_hypercube")
    miss = np.abs(got.value - (np.exp(0.18) - 1.5 + 0.25)) / got.se
    limit = lowest - 3.0 * np.sqrt(0.95 * 0.05 / REPETITIONS)
    assert np.mean(miss < stats.t(WHOLE - 1).ppf(0.975)) > limit
    assert np.mean(miss < 0.6 * stats.t(WHOLE - 1).ppf(0.975)) < limit


def test_fallback_of_a_single_block_is_conservative() -> None:
    """Owen (1997): plain x 512/511 bounds a Latin hypercube. Exact without main effects, else too large."""
    u = draws("latin_hypercube")[:, :BLOCK_SIZE]
    pure_interaction = (u[..., 0] - 0.5) * (u[..., 1] - 0.5)
    got = mean_with_error(pure_interaction, (BLOCK_SIZE,), "latin_hypercube")
    assert got.fallback.all()
    assert abs(score(got.value, got.se)) < 4.0
    additive = mean_with_error(u.sum(axis=-1), (BLOCK_SIZE,), "latin_hypercube")
    assert score(additive.value, additive.se) > 4.0
    for x in (pure_interaction, model(u)):
        assert score(x.mean(axis=1), mean_with_error(x, (BLOCK_SIZE,), "latin_hypercube").se) > -4.0
    assert score(got.value, got.se / 1.5) < -4.0  # negative control: a bold figure is caught


def test_too_few_blocks_fall_back_and_stay_conservative() -> None:
    blocks = MIN_BLOCKS - 1
    x = model(draws("latin_hypercube")[:, : blocks * BLOCK_SIZE])
    got = mean_with_error(x, (BLOCK_SIZE,) * blocks, "latin_hypercube")
    assert got.fallback.all()
    assert score(got.value, got.se) > 4.0


def test_s3_latin_hypercube_variance() -> None:
    """S3, computed (McKay, Beckman, Conover 1979): mean of U1+U2+U3, n = 64, has variance 3/(12 n^3), 5 %."""
    n, repetitions = 64, 4000
    means = np.empty(repetitions)
    for i in range(repetitions):
        columns = [latin_hypercube_column(generator(19, name, "", i), n) for name in NAMES]
        means[i] = np.mean(columns) * 3.0
    assert np.var(means, ddof=1) == pytest.approx(3.0 / (12.0 * n**3), rel=0.05)
    plain = generator(19, "plain", "", 0).random((repetitions, 3, n)).sum(axis=1).mean(axis=1)
    assert np.var(plain, ddof=1) == pytest.approx(3.0 / (12.0 * n), rel=0.1)
    assert np.var(plain, ddof=1) > 1000.0 * np.var(means, ddof=1)  # negative control


def test_sobol_beats_latin_hypercube_beats_plain_on_a_smooth_function() -> None:
    """Variance of block means, F test at 1e-6. Theory: plain ((13/12)^3 - 1)/512; Latin hypercube keeps the

    interactions (3/144 + 1/1728)/512; Sobol falls faster than either.
    """
    v = {
        d: np.var(smooth(draws(d)[:, :BLOCK_SIZE]).mean(axis=1), ddof=1)
        for d in ("plain", "latin_hypercube", "sobol")
    }
    df = REPETITIONS - 1
    limit = stats.f.isf(1e-6, df, df)
    assert v["plain"] / v["latin_hypercube"] > limit
    assert v["latin_hypercube"] / v["sobol"] > limit
    assert v["plain"] / v["sobol"] > 500.0
    spread = 4.5 * np.sqrt(2.0 / df)
    assert v["plain"] == pytest.approx(((13 / 12) ** 3 - 1) / BLOCK_SIZE, rel=spread)
    assert v["latin_hypercube"] == pytest.approx((3 / 144 + 1 / 1728) / BLOCK_SIZE, rel=spread + 0.02)
    other = np.var(smooth(draws("plain")[:, BLOCK_SIZE : 2 * BLOCK_SIZE]).mean(axis=1), ddof=1)
    assert 1.0 / limit < v["plain"] / other < limit  # negative control: plain does not beat itself


@pytest.mark.parametrize("design", DESIGNS)
def test_estimates_are_unbiased(design: str) -> None:
    """Grand mean of a function with known mean, within 4 standard errors over repetitions."""
    means = smooth(draws(design)[..., 1:]).mean(axis=1)  # inputs b and c are independent in every design
    error = means.std(ddof=1) / np.sqrt(REPETITIONS)
    assert abs(means.mean() - 1.0) < 4.0 * error
    assert abs(means.mean() + 0.01 - 1.0) > 4.0 * error  # negative control


@pytest.mark.parametrize("chance", [0.095, 0.1, 0.105])
def test_error_of_a_percentile_where_values_stand_in_clumps(chance: float) -> None:
    """An event adds a day with a chance near that of P10: the percentile falls on either side of the gap.

    Oracle: the spread over repetitions. At the gap itself the share q of samples that fall below is known from one
    sample only as a uniform number, so q (1 - q) averages 1/6 where it is 1/4: the mean claimed variance is 2/3 of the
    real one, and nearer to it beside the gap. Bounds: 2/3 and 1, each with 4 standard errors (as in the head of this
    file). Negative control: the slope across two standard errors to each side, by which the variance is 1/4 to 0.4.
    """
    rng, n = np.random.default_rng(int(1000 * chance)), 2000
    x = rng.normal(10.0, 0.05, (REPETITIONS, n)) + (rng.random((REPETITIONS, n)) < chance)
    found = quantile_with_error(x, 0.9, [n], "plain")
    v, squares = found.value.var(ddof=1), found.se**2
    kurtosis = float(stats.kurtosis(found.value, fisher=False))
    error = np.hypot(
        np.sqrt((kurtosis - 1.0) / REPETITIONS), squares.std() / squares.mean() / np.sqrt(REPETITIONS)
    )
    assert 2.0 / 3.0 / (1.0 + 4.0 * error) < squares.mean() / v < 1.0 + 4.0 * error
    half = 2.0 * np.sqrt(0.09 / n)
    across = (np.quantile(x, 0.9 + half, axis=1) - np.quantile(x, 0.9 - half, axis=1)) / 4.0
    assert (across**2).mean() / v < 2.0 / 3.0 / (1.0 + 4.0 * error)
