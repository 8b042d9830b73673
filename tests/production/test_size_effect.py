"""What the size of a job makes of its response. Oracle: algebra of the stated form."""

import numpy as np
import pytest

from refracmc.production.size_effect import curvature, size_effect

ELASTICITIES = [0.02, 0.2, 0.45, 0.7, 0.95]


@pytest.mark.parametrize("e", ELASTICITIES)
def test_nothing_gives_nothing_and_the_reference_gives_one(e: float) -> None:
    assert float(size_effect(0.0, 0.0, e, 0.0)) == 0.0
    assert float(size_effect(1.0, 1.0, e / 2, e / 2)) == 1.0


@pytest.mark.parametrize("e", ELASTICITIES)
def test_the_stated_elasticity_stands_at_the_reference_and_falls(e: float) -> None:
    """d ln f / d ln x by central differences; k / (e^k - 1) = e. Negative control: not at half the reference."""

    def slope(x: float) -> float:
        h = 1e-5
        up, down = (float(size_effect(x * np.exp(s), x * np.exp(s), e, 0.0)) for s in (h, -h))
        return (np.log(up) - np.log(down)) / (2 * h)

    k = float(curvature(e))
    assert k / np.expm1(k) == pytest.approx(e, rel=1e-9)
    assert slope(1.0) == pytest.approx(e, rel=1e-6)
    found = [slope(x) for x in (0.05, 0.5, 1.0, 2.0)]
    assert np.all(np.diff(found) < 0.0)
    assert found[1] != pytest.approx(e, rel=1e-3)
    assert found[0] < 1.0


@pytest.mark.parametrize("e", ELASTICITIES)
def test_it_rises_and_is_concave_and_bounded(e: float) -> None:
    """The first part of a job is worth most, and by a bounded slope: k / (1 - e^-k), the chord of e^-kx at 0."""
    x = np.linspace(0.0, 4.0, 401)
    f = np.array([float(size_effect(v, v, e, 0.0)) for v in x])
    top = 1.0 / -np.expm1(-float(curvature(e)))
    steps = np.diff(f)
    assert np.all(steps >= 0.0)
    assert steps[:100].min() > 0.0
    assert np.all(np.diff(steps) <= 1e-14)
    assert f.max() <= top * (1 + 1e-14)
    assert f[1] / x[1] <= float(curvature(e)) * top * (1 + 1e-9)


def test_each_amount_has_its_own_elasticity() -> None:
    """At the reference, 1 % more proppant alone gives its elasticity, 1 % more fluid alone gives its own."""
    h = 1e-6
    for more in ((np.exp(h), 1.0), (1.0, np.exp(h))):
        e = 0.3 if more[0] > 1.0 else 0.12
        assert np.log(float(size_effect(*more, 0.3, 0.12))) / h == pytest.approx(e, rel=1e-5)


def test_without_proppant_or_without_fluid_there_is_nothing() -> None:
    """Unless the response does not follow that amount at all."""
    assert float(size_effect(0.0, 1.0, 0.3, 0.1)) == 0.0
    assert float(size_effect(1.0, 0.0, 0.3, 0.1)) == 0.0
    assert float(size_effect(0.0, 1.0, 0.0, 0.4)) == 1.0


def test_no_elasticity_leaves_the_response_as_it_is() -> None:
    assert float(size_effect(0.3, 3.0, 0.0, 0.0)) == 1.0
    assert float(size_effect(0.0, 0.0, 0.0, 0.0)) == 0.0


def test_an_elasticity_of_one_is_refused() -> None:
    with pytest.raises(ValueError, match="below 1"):
        size_effect(2.0, 2.0, 0.7, 0.4)
