"""The stated chance of a shift is the mean over the well's sleeves as they are on the valuation date.

Oracle: the definition of a mean, by scipy's quadrature and by counting shifts in simulated jobs.
"""

import numpy as np
import pytest
from job_wells import PERFECT, tally
from scipy.integrate import quad
from scipy.special import expit
from scipy.stats import norm

from refracmc.engine.job_runs import simulate
from refracmc.job.chances import intercept_for_marginal, intercept_for_mean
from refracmc.job.inputs import PER_SLEEVE_LUCK, PER_TRIAL_LUCK, JobInputs, JobLuck, JobPolicy
from refracmc.job.planner import plan

COUNT, TRIALS = 40, 20_000
AGES = np.repeat([0.5, 4.0, 9.0, 15.0], 10)
SHIFTS = np.tile([0, 1, 2, 5, 8], 8)
SLOPES = {"age_slope_per_year": -0.10, "cycle_slope": -0.05}
STATED = {"close_chance": 0.95, "open_chance": 0.97, "reclose_chance": 0.95, "reopen_chance": 0.97}
SDS = {"well_effect_sd": 1.0, "sleeve_effect_sd": 2.0}
SD = np.hypot(1.0, 2.0)


def mean_chance(mu, terms, sd) -> float:
    """Mean over sleeves with these terms and over the effects of the chance of one try, by quadrature."""

    def of_one(term):
        return quad(lambda z: norm.pdf(z) * expit(mu + term + sd * z), -12.0, 12.0, epsabs=1e-13, limit=400)[
            0
        ]

    found, times = np.unique(terms, return_counts=True)
    return float(np.average([of_one(term) for term in found], weights=times))


@pytest.mark.parametrize("sd", [0.0, SD, 6.0])
@pytest.mark.parametrize("chance", [1e-6, 0.3, 0.95, 1.0 - 1e-7])
@pytest.mark.parametrize("slope", [-0.1, -3.0, 0.4])
def test_the_mean_over_the_sleeves_is_the_stated_chance(sd, chance, slope) -> None:
    groups, times = np.unique(np.stack([AGES, SHIFTS]), axis=1, return_counts=True)
    offsets = slope * groups[0] - 0.05 * groups[1]
    (mu,) = intercept_for_mean(np.full((1, 1), chance), sd, offsets[:, None], times / COUNT)[0]
    assert mean_chance(mu, slope * AGES - 0.05 * SHIFTS, sd) == pytest.approx(chance, rel=1e-9, abs=1e-12)


def test_each_trial_by_its_own_slopes_chance_and_spread() -> None:
    rng = np.random.default_rng(5)
    slopes, chance, sds = rng.uniform(-0.5, 0.2, 6), rng.uniform(0.05, 0.99, (2, 6)), rng.uniform(0.0, 3.0, 6)
    offsets = slopes * np.array([[1.0], [8.0], [20.0]])
    shares = np.array([0.5, 0.3, 0.2])
    together = intercept_for_mean(chance, sds, offsets, shares)
    for t in range(6):
        alone = intercept_for_mean(chance[:, t : t + 1], sds[t], offsets[:, t : t + 1], shares)
        np.testing.assert_allclose(together[:, t], alone[:, 0], rtol=1e-9, atol=1e-9)


def test_sure_and_impossible_shifts_and_sleeves_that_are_alike() -> None:
    offsets, shares = np.array([[-1.0], [-2.0]]), np.array([0.5, 0.5])
    ends = intercept_for_mean(np.array([[0.0], [1.0]]), SD, offsets, shares)
    assert ends.ravel().tolist() == [-np.inf, np.inf]
    like = intercept_for_mean(np.array([[0.9]]), SD, np.full((2, 1), -0.7), shares)
    assert like[0, 0] == float(intercept_for_marginal(0.9, SD)) + 0.7


def seen(kind: str) -> tuple[float, float]:
    """Share of the shifts tried on the valuation date that work at the first try, and its standard error: the mean of a
    trial counts once, as its sleeves share the effect of the well."""
    rng = np.random.default_rng(20)
    luck = {}
    for name in (*PER_TRIAL_LUCK, *PER_SLEEVE_LUCK):
        shape = (TRIALS,) if name in PER_TRIAL_LUCK else (TRIALS, COUNT)
        luck[name] = rng.standard_normal(shape) if name[0] == "z" else rng.random(shape)
    sure = dict.fromkeys(STATED, 1.0) | {f"{kind}_chance": STATED[f"{kind}_chance"]}
    inputs = JobInputs.build(TRIALS, **(PERFECT | SLOPES | SDS | sure))
    well = tally(COUNT, shifts=SHIFTS)
    made = plan(well, tuple(range(1, COUNT + 1)))
    result = simulate(
        made, well, inputs, JobLuck(**luck), AGES, JobPolicy(max_tries=1), ages_now=AGES, detail=True
    )
    works = result.detail.worked[kind].mean(axis=0)
    return float(works.mean()), float(works.std(ddof=1) / np.sqrt(TRIALS))


def test_forty_mixed_sleeves_average_the_stated_figure() -> None:
    """Closings on the valuation date, before any shift of the job; opened after one more shift each."""
    mean, error = seen("close")
    assert abs(mean - STATED["close_chance"]) < 4.0 * error
    terms = -0.1 * AGES - 0.05 * SHIFTS
    groups, times = np.unique(terms, return_counts=True)
    mu = intercept_for_mean(np.full((1, 1), 0.97), SD, groups[:, None], times / COUNT)[0, 0]
    mean, error = seen("open")
    assert abs(mean - mean_chance(mu - 0.05, terms, SD)) < 4.0 * error
    assert mean < STATED["open_chance"]


def test_a_chance_stated_for_new_sleeves_is_seen() -> None:
    """Negative control: with the intercept of new sleeves the same forty stay below the stated figure."""
    old = mean_chance(float(intercept_for_marginal(0.95, SD)), -0.1 * AGES - 0.05 * SHIFTS, SD)
    _, error = seen("close")
    assert old < 0.95 - 4.0 * error
    assert (1.0 - old) / 0.05 > 1.4  # stuck at the first try, against what was stated
