"""Volume to a technical limit. Oracles: quadrature of the rate to the day that a bisection finds, and algebra."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad

from refracmc.production import decline as dc

YEAR = 365.25
TECHNICAL = [
    (0, (500.0, 0.9, 1.2, 0.08)),
    (0, (500.0, 0.9, 1.0, 0.08)),
    (0, (500.0, 0.9, 0.0, 0.08)),
    (0, (500.0, 0.05, 1.2, 0.08)),
    (0, (500.0, 4.0, 0.5, 0.0)),
    (0, (500.0, 9.0, 0.3, 2.0)),
    (1, (500.0, 90.0, 0.5, 200.0)),
    (1, (900.0, 60.0, 0.7, 0.0)),
    (2, (500.0, 1.5, 1.3, 100.0)),
    (2, (20.0, 2.2, 1.3, 0.5)),
]


@pytest.mark.parametrize(("form", "slot"), TECHNICAL)
@pytest.mark.parametrize("limit", [1.0, 25.0])
def test_the_technical_volume_is_the_area_above_the_limit(
    form: int, slot: tuple[float, ...], limit: float
) -> None:
    """Quadrature of the rate to the day a bisection finds, fifty years at most. The last Duong curve rises first."""
    slots = np.array(slot)[:, None]

    def rate(t: float) -> float:
        return float(dc.rate(form, slots, [t])[0, 0])

    peak = max(np.linspace(0.0, 400.0, 4001), key=rate)
    low, high = float(peak), 50 * YEAR
    if rate(high) < limit:
        for _ in range(100):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if rate(middle) > limit else (low, middle)
    edges = np.concatenate([[0.0], np.geomspace(0.1, high, 30)])
    area = sum(quad(rate, a, b, epsrel=1e-12)[0] for a, b in pairwise(edges))
    assert dc.technical_volume(np.array([form]), slots, limit)[0] == pytest.approx(area, rel=1e-8)


def test_the_technical_volume_of_a_rate_below_the_limit_is_none() -> None:
    codes, slots = (
        np.array([0, 1, 2]),
        np.array([[3, 3, 3], [0.7, 80, 1.4], [1.1, 0.5, 1.2], [0.1, 200, 90]], float),
    )
    assert dc.technical_volume(codes, slots, 5.0).tolist() == [0.0, 0.0, 0.0]
    assert (dc.technical_volume(codes, slots, 1e-3) > 0.0).all()
    with pytest.raises(ValueError, match="rate_per_d must be > 0"):
        dc.technical_volume(codes, slots, 0.0)


def test_a_rate_that_never_falls_so_far_counts_fifty_years() -> None:
    """A constant rate of 500 (algebra), and Duong curves that rise for ever or fall as a power of time."""
    flat = np.array([[500.0], [0.0], [0.5], [0.0]])
    assert dc.technical_volume([0], flat, 1.0)[0] == pytest.approx(500.0 * 50 * YEAR)
    rising, power = [[900.0], [1.4], [0.9], [60.0]], [[900.0], [0.4], [1.0], [60.0]]
    assert np.isinf(dc.time_to_rate("duong", rising, 1.0)[0])
    days = dc.time_to_rate("duong", power, 1.0)
    assert dc.rate("duong", power, days)[0, 0] == pytest.approx(1.0)
