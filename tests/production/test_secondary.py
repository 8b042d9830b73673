"""Oracles: quadrature of the ratio over the cumulative (second route) and limits by algebra."""

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import ndtri

from refracmc.production.history import build_history
from refracmc.production.secondary import (
    LASTING_LOG_SD,
    MINIMUM_LOG_SD,
    ratio_cumulative,
    secondary_ratios,
)

ratios = st.floats(0.0, 50.0)


@pytest.mark.filterwarnings("ignore::scipy.integrate.IntegrationWarning")
@given(st.floats(0.0, 1e6), ratios, ratios, st.floats(1.0, 1e6))
def test_volume_is_the_integral_of_the_ratio(x: float, now: float, final: float, change: float) -> None:
    # straight on either side of the knot, so quadrature of each side is exact to rounding
    ends = [0.0, min(change, x), x]
    area = sum(
        quad(lambda s: now + (final - now) * min(1.0, s / change), a, b, epsrel=1e-11)[0]
        for a, b in pairwise(ends)
        if b > a
    )
    found = ratio_cumulative([x], [now], [final], [change])[0, 0]
    assert found == pytest.approx(area, rel=1e-10, abs=1e-9 * change)


@given(st.lists(st.floats(0.0, 1e6), min_size=2, max_size=10), ratios, ratios, st.floats(0.0, 1e6))
def test_volume_never_falls_and_stays_between_the_ratios(
    xs: list[float], now: float, final: float, change: float
) -> None:
    x = np.sort(np.array(xs))
    volume = ratio_cumulative(x, now, final, change)
    rounding = 1e-12 * (now + final) * (x[-1] + change)
    assert np.all(np.diff(volume) >= -rounding)
    assert np.all(volume >= min(now, final) * x - rounding)
    assert np.all(volume <= max(now, final) * x + rounding)


def test_knots_by_hand() -> None:
    """r from 2 to 6 over 10: G(5) = 2*5 + 4*25/20 = 15; G(10) = 40; G(20) = 40 + 60."""
    assert ratio_cumulative([0.0, 5.0, 10.0, 20.0], 2.0, 6.0, 10.0).tolist() == [0.0, 15.0, 40.0, 100.0]


def test_a_step_and_a_ratio_that_never_moves() -> None:
    x = np.array([0.0, 3.0, 9.0])
    assert ratio_cumulative(x, 2.0, 5.0, 0.0).tolist() == [0.0, 15.0, 45.0]
    assert ratio_cumulative(x, 2.0, 5.0, np.inf).tolist() == [0.0, 6.0, 18.0]
    assert ratio_cumulative(x, [2.0, 0.0], 2.0, 4.0)[0].tolist() == [0.0, 6.0, 18.0]
    assert ratio_cumulative(x, 2.0, 2.0, 4.0).tolist() == [0.0, 6.0, 18.0]


def test_each_trial_has_its_own_ratio() -> None:
    rng = np.random.default_rng(5)
    x = np.cumsum(rng.uniform(0, 100, (6, 8)), axis=1)
    now, final, change = rng.uniform(0, 3, 6), rng.uniform(0, 3, 6), rng.uniform(0, 500, 6)
    whole = ratio_cumulative(x, now, final, change)
    for k in range(6):
        assert whole[k] == pytest.approx(ratio_cumulative(x[k], now[k], final[k], change[k]), rel=1e-14)
    assert np.array_equal(ratio_cumulative(np.asfortranarray(x), now, final, change), whole)


def test_refrac_stream_follows_its_own_cumulative() -> None:
    """The ratio depends on F over its total alone: at rate q2 the volume is q2 times that of unit rate."""
    shape = np.linspace(0.0, 800.0, 9)[None, :]
    unit = ratio_cumulative(shape, 1.5 * 0.8, 1.5 * 1.2, 0.25 * 800.0)
    q2 = 370.0
    direct = ratio_cumulative(q2 * shape, 1.5 * 0.8, 1.5 * 1.2, 0.25 * q2 * 800.0)
    assert q2 * unit == pytest.approx(direct, rel=1e-13)
    # After a quarter of 800: half the way from 1.2 to 1.8 on average over 200, then 1.8.
    assert unit[0, -1] == pytest.approx(1.5 * 200 + 1.8 * 600, rel=1e-14)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (([-1.0], 1.0, 1.0, 1.0), "must be >= 0"),
        (([np.nan], 1.0, 1.0, 1.0), "must be >= 0"),
        (([1.0], -0.1, 1.0, 1.0), "r_now must be >= 0"),
        (([1.0], 1.0, np.inf, 1.0), "r_final must be >= 0 and finite"),
        (([1.0], 1.0, 1.0, -1.0), "x_change must be >= 0"),
        (([1.0], [[1.0]], 1.0, 1.0), "r_now must be a number or"),
        ((1.0, 1.0, 1.0, 1.0), "must have shape"),
    ],
)
def test_wrong_input_is_named(arguments: tuple[object, ...], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        ratio_cumulative(*arguments)  # type: ignore[arg-type]


def drawn(water: np.ndarray, n: int = 4_001) -> tuple[np.ndarray, float]:
    """Drawn water-oil ratios now of a well with as many months, and the log sd drawn; normals at even levels."""
    months = len(water)
    frame = pd.DataFrame({"date": pd.date_range("2020-01", periods=months, freq="MS"), "oil_bbl": 1000.0})
    frame = frame.assign(gas_mcf=2000.0, water_bbl=1000.0 * water)
    even = ndtri((np.arange(n) + 0.5) / n)
    normals = dict.fromkeys(("oil", "gas", "water"), np.stack([even, np.zeros(n)]))
    now, _, _ = secondary_ratios(build_history(frame, "w"), np.full(n, 1e5), normals)["water"]
    return now, float(np.log(now).std())


def test_water_of_the_frac_tells_nothing_of_later_but_that_it_brings_no_more() -> None:
    """Oracle: the ratio of the months after the first six, and of the last year where that is lower."""
    flows_back = np.r_[np.full(6, 5.0), np.full(6, 1.0)]
    lasting = LASTING_LOG_SD["oil"]["water"]
    now, sd = drawn(flows_back)
    assert now.mean() == pytest.approx(np.exp(0.5 * (sd**2 - lasting**2)), rel=0.01)
    assert sd >= lasting
    rising = np.r_[np.full(6, 1.0), np.full(6, 3.0)]
    assert np.log(drawn(rising)[0]).mean() == pytest.approx(np.log(2.0) - 0.5 * lasting**2, abs=1e-6)
    # few months: the last three
    assert np.log(drawn(flows_back[2:8])[0]).mean() == pytest.approx(
        np.log((5.0 + 1.0 + 1.0) / 3.0) - 0.5 * lasting**2, abs=1e-6
    )
    # negative control: a year later the first months are no part of the level
    assert drawn(np.r_[flows_back, np.full(12, 1.0)])[0].mean() == pytest.approx(
        drawn(np.ones(24))[0].mean(), rel=0.02
    )


def test_the_lasting_factor_widens_and_leaves_the_mean() -> None:
    now, sd = drawn(np.ones(36))
    assert now.mean() == pytest.approx(np.exp(0.5 * MINIMUM_LOG_SD**2), rel=0.01)
    assert sd == pytest.approx(np.hypot(LASTING_LOG_SD["oil"]["water"], MINIMUM_LOG_SD), rel=0.01)
