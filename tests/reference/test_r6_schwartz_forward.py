"""R6. Oracle: computed from the published formula. Schwartz (1997), J. Finance 52(3), one-factor model:
ln F = e^-kT ln S + (1 - e^-kT) a* + s^2/(4k) (1 - e^-2kT)."""

import math

import numpy as np
import pytest

from refracmc.economics.prices import Deck, expected_mean_ahead, price_paths, schwartz_forward

K, VOL, MEAN, SPOT = 0.7, 0.35, math.log(55.0), 80.0


def by_hand(spot, years):
    fade = math.exp(-K * years)
    return math.exp(
        fade * math.log(spot) + (1 - fade) * MEAN + VOL**2 / (4 * K) * (1 - math.exp(-2 * K * years))
    )


@pytest.mark.parametrize("years", [0.0, 0.25, 1.0, 10.0, 80.0])
def test_forward(years):
    assert schwartz_forward(SPOT, K, VOL, MEAN, years) == pytest.approx(by_hand(SPOT, years), rel=1e-14)


def test_forward_at_once_is_the_spot_and_far_out_the_stationary_mean():
    assert schwartz_forward(SPOT, K, VOL, MEAN, 0.0) == pytest.approx(SPOT)
    assert schwartz_forward(SPOT, K, VOL, MEAN, 200.0) == pytest.approx(math.exp(MEAN + VOL**2 / (4 * K)))


def test_price_expected_ahead_is_the_forward_from_that_months_price():
    """With the model's own forward curve as deck, what month i expects is the forward from its price."""
    months = 60
    curve = schwartz_forward(SPOT, K, VOL, MEAN, np.arange(months) / 12.0)
    rng = np.random.default_rng(11)
    shocks = rng.standard_normal((4, months))
    paths = price_paths(
        "mean_reverting", Deck(curve, curve), None, None, shocks, -shocks, (VOL, VOL), (K, K), 0.0
    )
    oil, _ = expected_mean_ahead(paths, 12)
    for trial in range(4):
        for month in range(months):
            ahead = [by_hand(paths.oil[trial, month], j / 12.0) for j in range(min(12, months - month))]
            assert oil[trial, month] == pytest.approx(sum(ahead) / len(ahead), rel=1e-12)
