"""The likelihood of a history: worked in place against the density of its docstring, one number at a time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from refracmc.production.likelihood import _sum_of_logs
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
    # negative control: one weight slightly different
    other = replace(target, weight=target.weight * np.where(np.arange(months) == 1, 1.001, 1.0))
    assert np.abs(other.log_likelihood(x) / expected - 1.0).max() > 1e-6


@pytest.mark.parametrize("rows", [1, 3, 4, 7, 8, 30])
def test_sum_of_logs_by_products(rows):
    """Oracle: the sum of the logs; also where a product of four overflows."""
    factors = 1.0 + np.random.default_rng(rows).random((rows, 9)) * 100.0
    factors[:, 3] = 1e200
    expected = np.log(factors).sum(axis=0)
    np.testing.assert_allclose(_sum_of_logs(factors, np.empty((rows + 1, 9))), expected, rtol=1e-14)
