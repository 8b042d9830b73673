"""How many dated jobs did nothing. Oracle: invented wells and responses of known share; algebra of small sets."""

import numpy as np
import pytest

from benchmarks.no_response import (
    WellJobs,
    estimate,
    falling_density,
    group_means,
    p_values,
    resampled,
    share_without_response,
)
from refracmc.production.uplift import (
    NO_RESPONSE_BETA,
    NO_RESPONSE_INTERVAL,
    NO_RESPONSE_SHARE,
    named_uplift,
)
from refracmc.sampling.distributions import from_spec


def invented(share, wells=400, seed=1, middle=2.5):
    """Wells of their own noise; a job adds a lognormal gain but for `share` of them."""
    generator = np.random.default_rng(seed)
    out = []
    for k in range(wells):
        noise = generator.lognormal(-0.5, 0.5) * generator.standard_normal(21)
        added = 0.0 if generator.random() < share else middle * generator.lognormal(0.0, 0.8)
        gain = noise[:1] + added
        out.append(WellJobs(str(k), gain, 0.3 * gain, noise[1:], 0.3 * noise[1:]))
    return out


@pytest.mark.parametrize("share", [0.0, 0.3, 0.6, 1.0])
def test_a_known_share_without_response_is_found(share):
    """Below the middle of the placebo stand half of the jobs without a response and, by a sample of two million, some
    of the others; within three standard errors, and so for the mean increment."""
    wells = invented(share)
    found = estimate(wells)
    generator = np.random.default_rng(9)
    noise = generator.lognormal(-0.5, 0.5, 2_000_000) * generator.standard_normal(2_000_000)
    weak = np.mean(noise + 2.5 * generator.lognormal(0.0, 0.8, 2_000_000) < 0.0)
    below = 0.5 * share + (1.0 - share) * weak
    assert abs(found.share - 2.0 * below) < 3.0 * 2.0 * np.sqrt(below * (1.0 - below) / len(wells))
    added = 0.3 * 2.5 * generator.lognormal(0.0, 0.8, 2_000_000) * (generator.random(2_000_000) >= share)
    sd = np.hypot(added.std(), 0.3 * noise.std())
    assert abs(found.mean * (1.0 - found.share) - added.mean()) < 3.0 * sd / np.sqrt(len(wells))
    if share < 1.0:
        assert np.average(found.responders, weights=found.weight) == pytest.approx(found.mean)


def test_counting_jobs_that_do_not_stand_out_is_another_question():
    """Negative control: the share not above nine of ten placebo dates is far from the share without a response."""
    wells = invented(0.3, middle=1.5)
    counted = np.mean(p_values(wells) > 0.1)
    assert counted > 0.3 + 0.15
    assert estimate(wells).share - 0.3 < 0.5 * (counted - 0.3)


def test_the_interval_comes_from_wells_drawn_again():
    wells = invented(0.3, wells=100)
    shares = [f.share for f in resampled(wells, 300)]
    assert np.std(shares) == pytest.approx(2.0 * np.sqrt(0.15 * 0.85 / 100), rel=0.35)


def test_the_falling_density_of_uniform_and_crowded_ranks():
    """Two steps of 3/4 and 1/4 of the ranks on halves have the densities 1.5 and 0.5."""
    ranks = np.concatenate([(np.arange(300) + 1) / 600, 0.5 + (np.arange(100) + 1) / 200])
    density = falling_density(ranks)
    assert np.allclose(density[:298], 1.5, rtol=0.02)
    assert np.allclose(density[302:], 0.5, rtol=0.05)
    assert share_without_response(ranks) == pytest.approx(0.5)


def test_groups_of_equal_weight_keep_the_mean():
    generator = np.random.default_rng(3)
    values, weights = generator.lognormal(size=57), generator.random(57)
    groups = group_means(values, weights, 9)
    assert groups.mean() == pytest.approx(np.average(values, weights=weights))
    assert np.all(np.diff(groups) >= 0.0)


def test_the_shipped_numbers_agree_with_each_other():
    """No zero among responders, a factor of mean 1, and a beta with the stated interval and share."""
    responders, source = named_uplift("dated_jobs_responders")
    assert min(responders) > 0.0
    assert list(responders) == sorted(responders)
    assert "CC BY 4.0" in source
    assert np.mean(named_uplift("record_mean_factor")[0]) == pytest.approx(1.0, abs=0.005)
    alpha, beta = NO_RESPONSE_BETA
    stated = from_spec({"dist": "beta", "alpha": alpha, "beta": beta}, "")
    assert stated.ppf(np.array([0.1, 0.9])) == pytest.approx(NO_RESPONSE_INTERVAL, abs=0.005)
    assert stated.mean() == pytest.approx(NO_RESPONSE_SHARE, abs=0.005)
