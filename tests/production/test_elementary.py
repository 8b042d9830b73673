"""Exponential and logarithm of the curves. Oracle: NumPy's, in 80-bit numbers where the machine has them."""

import numpy as np
import pytest

from refracmc.compiler import compiled
from refracmc.production.elementary import exponential, growth, log_past_one


@compiled
def _growths(x, out):
    for i in range(x.size):
        out[i] = growth(x[i])


@compiled
def _exponentials(x, out):
    for i in range(x.size):
        out[i] = exponential(x[i])


@compiled
def _logs(x, out):
    for i in range(x.size):
        out[i] = log_past_one(x[i])


def _both(rng):
    small = 10.0 ** rng.uniform(-300.0, -1.0, 4000) * rng.choice([-1.0, 1.0], 4000)
    return np.concatenate([[0.0], small, rng.uniform(-1.0, 1.0, 4000)])


def test_growth_keeps_its_digits():
    rng = np.random.default_rng(1)
    x = np.concatenate([_both(rng), rng.uniform(-699.0, 699.0, 4000)])
    out = np.empty_like(x)
    _growths(x, out)
    np.testing.assert_allclose(out, np.expm1(x.astype(np.longdouble)).astype(float), rtol=5e-16)


def test_exponential_keeps_its_digits_and_its_bounds():
    rng = np.random.default_rng(3)
    x = np.concatenate([_both(rng), rng.uniform(-699.0, 699.0, 4000), [-1e300, 1e300]])
    out = np.empty_like(x)
    _exponentials(x, out)
    exact = np.exp(np.clip(x, -700.0, 700.0).astype(np.longdouble)).astype(float)
    np.testing.assert_allclose(out, exact, rtol=5e-16)


def test_logarithm_keeps_its_digits():
    rng = np.random.default_rng(2)
    x = np.concatenate([_both(rng) * 0.99, 10.0 ** rng.uniform(0.0, 300.0, 4000)])
    out = np.empty_like(x)
    _logs(x, out)
    np.testing.assert_allclose(out, np.log1p(x.astype(np.longdouble)).astype(float), rtol=5e-16)


def test_the_comparison_sees_a_digit():
    """Negative control: an argument out by two units in its last place."""
    x = np.array([0.7])
    out = np.empty(1)
    _logs(np.nextafter(np.nextafter(x, 1.0), 1.0), out)
    with pytest.raises(AssertionError):
        np.testing.assert_allclose(out, np.log1p(x), rtol=2e-16)
