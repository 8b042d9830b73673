"""Compiled likelihood of a fit. Oracles: its density in plain floats, and the array code, which has oracles of its own
in tests/production. Skipped where numba, an optional extra, is absent.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from refracmc.production.fit import FitSettings, fit_decline
from refracmc.production.likelihood import Target
from tests.production.fit_targets import FORMS, made_target, particles, plain_likelihood
from tests.production.test_fit import made_history

pytest.importorskip("numba")

from refracmc.engine.compiled_fit import log_likelihood


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("months", [3, 7, 8, 9, 37])
def test_the_compiled_likelihood_is_that_of_the_arrays(form: str, months: int) -> None:
    generator = np.random.default_rng(months)
    target = made_target(form, months, generator)
    x = particles(target, 150, generator)
    found = log_likelihood(target, x)
    np.testing.assert_allclose(found, [plain_likelihood(target, column) for column in x.T], rtol=1e-8)
    plain = slice(5 if form == "modified_hyperbolic" else 0, None)  # next to b = 0 both lose digits
    np.testing.assert_allclose(found[plain], target.log_likelihood(x)[plain], rtol=1e-12)
    for n in (1, 2, 5):  # whatever stands beside a particle
        assert np.array_equal(log_likelihood(target, x[:, :n]), found[:n])
    other = replace(
        target, gap=target.gap + (np.arange(months) == 2)
    )  # negative control: one month more between
    assert np.abs(log_likelihood(other, x) / found - 1.0).max() > 1e-6


def test_an_error_beyond_all_bounds_is_unlikely() -> None:
    target = made_target("stretched_exponential", 9, np.random.default_rng(1))
    far = replace(target, y=target.y * np.where(np.arange(9) < 8, 1e60, 1.0))
    x = particles(target, 4, np.random.default_rng(2))
    found = log_likelihood(far, x)
    assert np.isfinite(found).all()
    assert (found < log_likelihood(target, x) - 1000.0).all()


def test_a_posterior_has_the_same_draws() -> None:
    """Its choices do not hang on last digits. Negative control: a likelihood out by 1 %."""
    history, _ = made_history()
    compiled = FitSettings(draws=512, particles=512, likelihood=log_likelihood)
    arrays = replace(compiled, likelihood=Target.log_likelihood)
    out = replace(compiled, likelihood=lambda target, x: 1.01 * log_likelihood(target, x))
    made = [fit_decline(history, settings, seed=5) for settings in (arrays, compiled, out)]
    assert np.array_equal(made[0].form, made[1].form)
    for name in ("slots", "uptime", "technical_eur"):
        one, other = (getattr(posterior, name) for posterior in made[:2])
        np.testing.assert_allclose(one, other, rtol=1e-10)
        # under NumPy 1 the last digits of a fit may differ from one time to the next
        assert np.array_equal(one, other) or np.__version__.startswith("1.")
    assert np.abs(made[2].technical_eur / made[0].technical_eur - 1.0).max() > 1e-3
    weights = [posterior.diagnostics["form_weights"] for posterior in made[:2]]
    assert weights[1] == pytest.approx(weights[0], rel=1e-10)
