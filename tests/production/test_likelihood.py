"""The likelihood of a history: worked in place against the density of its docstring, one number at a time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from refracmc.production.likelihood import RECENT_MONTHS, SIDE_BY_SIDE, recent_residual
from tests.production.fit_targets import FORMS, made_target, particles, plain_likelihood


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("months", [3, 4, 5, 37])
def test_likelihood_is_the_density_written_out(form, months):
    """Oracle: Student-t innovations of the autoregression, by the formulas of the docstring, in plain floats."""
    generator = np.random.default_rng(months)
    target = made_target(form, months, generator)
    x = particles(target, 150, generator)
    expected = [plain_likelihood(target, column) for column in x.T]
    # 1e-16 / b of a log rate is lost, b from 1e-6 on, against errors of some hundredths
    np.testing.assert_allclose(target.log_likelihood(x), expected, rtol=1e-8)
    found = target.log_likelihood(x)
    for n in (1, 2, 5):  # whatever stands beside a particle
        assert np.array_equal(target.log_likelihood(x[:, :n]), found[:n])
    # negative controls: one weight slightly different, one month more between
    other = replace(target, weight=target.weight * np.where(np.arange(months) == 1, 1.001, 1.0))
    assert np.abs(other.log_likelihood(x) / expected - 1.0).max() > 1e-6
    other = replace(target, gap=target.gap + (np.arange(months) == 2))
    assert np.abs(other.log_likelihood(x) / expected - 1.0).max() > 1e-6


def test_more_particles_than_are_worked_at_a_time():
    """Oracle: each on its own."""
    generator = np.random.default_rng(3)
    target = made_target("modified_hyperbolic", 9, generator)
    x = particles(target, SIDE_BY_SIDE + 13, generator)
    found = target.log_likelihood(x)
    for i in (0, SIDE_BY_SIDE - 1, SIDE_BY_SIDE, SIDE_BY_SIDE + 12):
        assert found[i] == target.log_likelihood(x[:, [i]])[0]


def test_an_error_beyond_all_bounds_is_unlikely():
    target = made_target("stretched_exponential", 9, np.random.default_rng(1))
    far = replace(target, y=target.y * np.where(np.arange(9) < 8, 1e60, 1.0))
    x = particles(target, 4, np.random.default_rng(2))
    found = far.log_likelihood(x)
    assert np.isfinite(found).all()
    assert (found < target.log_likelihood(x) - 1000.0).all()


@pytest.mark.parametrize("months", [4, 20])
def test_a_dip_of_one_month_is_a_share_of_the_recent_residual(months):
    """Oracle: the weighted mean by hand; a dip moves it by its weight among the last months'."""
    generator = np.random.default_rng(5)
    target = made_target("modified_hyperbolic", months, generator)
    x = particles(target, 20, generator)
    weight = target.weight[-RECENT_MONTHS:]
    by_hand = [np.average(row[-RECENT_MONTHS:], weights=weight) for row in target.residuals(x)]
    np.testing.assert_allclose(recent_residual(target, x), by_hand)
    dip = replace(target, y=target.y - 0.8 * (np.arange(months) == months - 1))
    moved = recent_residual(dip, x) - recent_residual(target, x)
    np.testing.assert_allclose(moved, -0.8 * weight[-1] / weight.sum())
    # negative control: the last residual alone moves by all of it
    np.testing.assert_allclose((dip.residuals(x) - target.residuals(x))[:, -1], -0.8)
