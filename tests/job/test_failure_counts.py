"""The count of failures in a well is over-dispersed as the logit-normal says.

Oracle: the distribution of the number of failed closings among N sleeves, by quadrature over the well effect
of scipy's binomial, the sleeve effect integrated out by quadrature too (computed). Tolerance from the
multinomial standard error, by Pearson's chi-square. Negative control: the plain binomial of the same mean.
"""

import numpy as np
import pytest
from job_wells import BASE, luck, tally
from scipy.stats import binom, chi2

from refracmc.engine.job_runs import simulate
from refracmc.job.chances import critical_logits, intercept_for_marginal
from refracmc.job.inputs import JobInputs, JobPolicy
from refracmc.job.planner import plan

COUNT, TRIALS, CHANCE, SD_WELL, SD_SLEEVE = 30, 20_000, 0.9, 1.0, 2.0


def failed_closes(tries: int, sd_well: float) -> np.ndarray:
    well = tally(COUNT)
    given = JobInputs.build(
        TRIALS,
        **(
            BASE
            | {
                "close_chance": CHANCE,
                "well_effect_sd": sd_well,
                "sleeve_effect_sd": SD_SLEEVE,
                "age_slope_per_year": 0.0,
                "cycle_slope": 0.0,
            }
        ),
    )
    made = plan(well, tuple(range(1, COUNT + 1)))
    result = simulate(made, well, given, luck(TRIALS, COUNT, 77), np.zeros(COUNT), JobPolicy(max_tries=tries))
    return result.counts["close_failed"]


def logit_normal_pmf(tries: int) -> np.ndarray:
    """P(k failures) = E_z[binomial(k; N, f(z))], f(z) = E_sleeve[(1 - p)^tries]; Gauss-Legendre on +-9."""
    mu = float(intercept_for_marginal(CHANCE, np.hypot(SD_WELL, SD_SLEEVE)))
    x, w = np.polynomial.legendre.leggauss(400)
    z, w = 9.0 * x, 9.0 * w * np.exp(-0.5 * (9.0 * x) ** 2) / np.sqrt(2.0 * np.pi)
    fails = (1.0 / (1.0 + np.exp(mu + SD_WELL * z[:, None] + SD_SLEEVE * z[None, :]))) ** tries
    return binom.pmf(np.arange(COUNT + 1)[:, None], COUNT, fails @ w) @ w


def chi_square_tail(counts: np.ndarray, pmf: np.ndarray) -> float:
    """Chance of a worse fit, cells of at least 5 expected."""
    observed = np.bincount(counts, minlength=COUNT + 1).astype(float)
    expected = pmf * counts.size
    last = int(np.flatnonzero(expected >= 5)[-1])
    observed = np.append(observed[:last], observed[last:].sum())
    expected = np.append(expected[:last], expected[last:].sum())
    return float(chi2.sf(((observed - expected) ** 2 / expected).sum(), len(observed) - 1))


@pytest.mark.parametrize("tries", [1, 3])
def test_failures_are_spread_as_the_logit_normal_says(tries: int) -> None:
    counts, pmf = failed_closes(tries, SD_WELL), logit_normal_pmf(tries)
    assert chi_square_tail(counts, pmf) > 1e-3
    mean = float(pmf @ np.arange(COUNT + 1))
    spread = float(np.sqrt(pmf @ np.arange(COUNT + 1) ** 2 - mean**2))
    assert abs(counts.mean() - mean) < 4 * spread / np.sqrt(TRIALS)
    if tries == 1:
        assert mean == pytest.approx(COUNT * (1 - CHANCE), rel=1e-9)
        assert spread > 1.5 * np.sqrt(COUNT * CHANCE * (1 - CHANCE))


def test_a_plain_binomial_is_told_apart() -> None:
    """Negative control: neither the binomial fits the simulation, nor a simulation without a well effect the
    logit-normal."""
    counts, pmf = failed_closes(1, SD_WELL), logit_normal_pmf(1)
    assert chi_square_tail(counts, binom.pmf(np.arange(COUNT + 1), COUNT, 1 - CHANCE)) < 1e-12
    assert chi_square_tail(failed_closes(1, 0.0), pmf) < 1e-12


def test_a_sleeves_failures_go_together() -> None:
    """Retries and kinds share the sleeve effect: pairs fail together more often than chance, as quadrature
    says."""
    mu = float(intercept_for_marginal(0.8, 2.0))
    x, w = np.polynomial.legendre.leggauss(400)
    w = 9.0 * w * np.exp(-0.5 * (9.0 * x) ** 2) / np.sqrt(2.0 * np.pi)
    fail = 1.0 / (1.0 + np.exp(mu + 2.0 * 9.0 * x))
    expected = float((fail**2) @ w)
    rng = np.random.default_rng(8)
    n = 100_000
    logits = mu + 2.0 * rng.standard_normal(n)
    both = [~(logits > critical_logits(rng.random(n), 1)[0]) for _ in range(2)]
    share = float((both[0] & both[1]).mean())
    error = np.sqrt(expected * (1 - expected) / n)
    assert abs(share - expected) < 4 * error
    assert abs(share - 0.2**2) > 4 * error
