"""Price paths. Oracle: plain recursions and conditional means in loops; the means by simulation are held to
standard errors, with a control that must fail."""

import math

import numpy as np
import pytest

from refracmc.economics.prices import Deck, expected_mean_ahead, log_variance, price_paths, service_cost_index

DECK = Deck(np.linspace(70.0, 60.0, 48), np.linspace(3.0, 4.0, 48))
VOL, SPEED, RHO = (0.35, 0.5), (0.6, 1.4), 0.4


def shocks(n=5, months=48, seed=3):
    return np.random.default_rng(seed).standard_normal((2, n, months))


def paths(model, z=None, speed=SPEED):
    z = shocks() if z is None else z
    return price_paths(model, DECK, None, None, z[0], z[1], VOL, speed, RHO)


def plain_state(z, vol, speed):
    dt, x, states = 1 / 12, 0.0, [0.0]
    spread = dt if speed == 0 else (1 - math.exp(-2 * speed * dt)) / (2 * speed)
    for i in range(1, len(z)):
        x = math.exp(-speed * dt) * x + vol * math.sqrt(spread) * z[i]
        states.append(x)
    return states


def plain_variance(vol, speed, t):
    return vol**2 * (t if speed == 0 else (1 - math.exp(-2 * speed * t)) / (2 * speed))


def plain_correlation(speed):
    dt, (k, g) = 1 / 12, speed
    joint = (1 - math.exp(-(k + g) * dt)) / (k + g)
    own = [(1 - math.exp(-2 * s * dt)) / (2 * s) for s in speed]
    return RHO * joint / math.sqrt(own[0] * own[1])


@pytest.mark.parametrize("speed", [SPEED, (0.6, 0.6), (40.0, 90.0)])
def test_mean_reverting_recursion(speed):
    z = shocks()
    got = paths("mean_reverting", z, speed)
    c = plain_correlation(speed)
    for trial in range(5):
        mixed = [c * a + math.sqrt(1 - c * c) * b for a, b in zip(z[0, trial], z[1, trial], strict=True)]
        for factor, draw, product in ((got.oil_multiplier, z[0, trial], 0), (got.gas_multiplier, mixed, 1)):
            states = plain_state(draw, VOL[product], speed[product])
            for i, x in enumerate(states):
                expected = math.exp(x - plain_variance(VOL[product], speed[product], i / 12) / 2)
                assert factor[trial, i] == pytest.approx(expected, rel=1e-11)
    np.testing.assert_array_equal(got.oil, got.oil_multiplier * DECK.oil)


def test_long_fast_reversion_does_not_overflow():
    z = np.random.default_rng(5).standard_normal((2, 3, 720))
    deck = Deck.flat(60.0, 3.0, 720)
    got = price_paths("mean_reverting", deck, None, None, z[0], z[1], VOL, (30.0, 30.0), 0.0)
    expected = plain_state(z[0, 1], VOL[0], 30.0)
    states = np.log(got.oil_multiplier[1]) + 0.5 * log_variance(VOL[0], 30.0, np.arange(720) / 12)
    np.testing.assert_allclose(states, expected, atol=1e-12)


def test_geometric_brownian_is_the_limit_of_slow_reversion():
    z = shocks()
    brownian, slow = paths("geometric_brownian", z), paths("mean_reverting", z, (1e-9, 1e-9))
    np.testing.assert_allclose(brownian.gas, slow.gas, rtol=1e-6)
    walk = plain_state(z[0, 2], VOL[0], 0.0)
    expected = [math.exp(x - VOL[0] ** 2 * i / 24) for i, x in enumerate(walk)]
    np.testing.assert_allclose(brownian.oil_multiplier[2], expected, rtol=1e-12)


@pytest.mark.parametrize("model", ["geometric_brownian", "mean_reverting"])
def test_month_zero_is_the_deck_and_zero_volatility_too(model):
    assert (paths(model).oil[:, 0] == 70.0).all()
    z = shocks()
    still = price_paths(model, DECK, None, None, z[0], z[1], (0.0, 0.0), SPEED, RHO)
    np.testing.assert_allclose(still.oil, np.tile(DECK.oil, (5, 1)))


def test_deck_and_level():
    level = np.array([0.8, 1.3])
    got = price_paths("deck_with_level", DECK, level, 2 * level, None, None)
    np.testing.assert_allclose(got.gas, 2 * level[:, None] * DECK.gas)
    plain = price_paths("deck", DECK, None, None, None, None, trials=3)
    np.testing.assert_array_equal(plain.oil, np.tile(DECK.oil, (3, 1)))
    for path in (got, plain):
        oil, _ = expected_mean_ahead(path, 12)
        for i in (0, 20, 40, 47):
            np.testing.assert_allclose(oil[:, i], path.oil[:, i : i + 12].mean(axis=1))


@pytest.mark.parametrize(
    ("model", "months"), [("geometric_brownian", 12), ("mean_reverting", 12), ("mean_reverting", 5)]
)
def test_expected_mean_ahead_in_loops(model, months):
    got = paths(model)
    speed = SPEED if model == "mean_reverting" else (0.0, 0.0)
    ahead = expected_mean_ahead(got, months)
    products = ((ahead[0], got.oil_multiplier, DECK.oil), (ahead[1], got.gas_multiplier, DECK.gas))
    for product, (values, factor, deck) in enumerate(products):
        for trial in range(5):
            for i in range(48):
                var = plain_variance(VOL[product], speed[product], i / 12)
                x, total, count = math.log(factor[trial, i]) + var / 2, 0.0, 0
                for j in range(i, min(i + months, 48)):
                    tau = (j - i) / 12
                    mean = math.exp(-speed[product] * tau) * x
                    spread = plain_variance(VOL[product], speed[product], tau)
                    drift = plain_variance(VOL[product], speed[product], j / 12) / 2
                    total += deck[j] * math.exp(mean + spread / 2 - drift)
                    count += 1
                assert values[trial, i] == pytest.approx(total / count, rel=1e-12)


def test_rows_do_not_depend_on_the_batch():
    z = shocks(130)
    whole = paths("mean_reverting", z)
    ahead = expected_mean_ahead(whole)[1]
    part = paths("mean_reverting", z[:, 65:68])
    np.testing.assert_array_equal(whole.gas[65:68], part.gas)
    np.testing.assert_array_equal(ahead[65:68], expected_mean_ahead(part)[1])


@pytest.mark.parametrize("model", ["geometric_brownian", "mean_reverting"])
def test_factors_have_mean_one_and_the_stated_correlation(model):
    n = 20000
    got = paths(model, shocks(n, 48, 17))
    speed = SPEED if model == "mean_reverting" else (0.0, 0.0)
    for product, factor in enumerate((got.oil_multiplier, got.gas_multiplier)):
        var = plain_variance(VOL[product], speed[product], 47 / 12)
        error = math.sqrt(math.expm1(var) / n)
        mean = factor[:, 47].mean()
        assert abs(mean - 1.0) < 4 * error
        assert abs(mean * math.exp(var / 2) - 1.0) > 4 * error  # control: no convexity term
    steps = [np.log(f[:, 1]) for f in (got.oil_multiplier, got.gas_multiplier)]
    expected = plain_correlation(speed) if model == "mean_reverting" else RHO
    error = (1 - expected**2) / math.sqrt(n)
    found = float(np.corrcoef(steps)[0, 1])
    assert abs(found - expected) < 4 * error
    assert abs(found - 0.0) > 4 * error  # control: independent shocks


def test_deck_from_table():
    calendar = ["2026-08", "2026-09", "2026-10", "2026-11"]
    deck = Deck.from_table(calendar, [60, 61, 62, 63], [1, 2, 3, 4], "2026-09", 5)
    assert deck.oil.tolist() == [61, 62, 63, 63, 63]
    assert deck.gas.tolist() == [2, 3, 4, 4, 4]
    assert deck.months == 5
    with pytest.raises(ValueError, match="row 3 is 2026-12"):
        Deck.from_table(["2026-08", "2026-09", "2026-12"], [1, 1, 1], [1, 1, 1], "2026-09", 5)
    with pytest.raises(ValueError, match="without the valuation month"):
        Deck.from_table(calendar, [1] * 4, [1] * 4, "2026-12", 5)
    with pytest.raises(ValueError, match="gas price of month 1"):
        Deck.from_table(calendar, [1] * 4, [1, 2, math.nan, 4], "2026-09", 5)
    with pytest.raises(ValueError, match="one oil and one gas price"):
        Deck.from_table(calendar, [1] * 3, [1] * 4, "2026-09", 5)


def test_wrong_requests_are_refused():
    z = shocks()
    with pytest.raises(ValueError, match="unknown price model"):
        price_paths("flat", DECK, None, None, None, None)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="needs shocks"):
        price_paths("geometric_brownian", DECK, None, None, None, None)
    with pytest.raises(ValueError, match="level"):
        price_paths("deck_with_level", DECK, np.ones(3), None, None, None)
    with pytest.raises(ValueError, match="correlation"):
        price_paths("mean_reverting", DECK, None, None, z[0], z[1], VOL, SPEED, 1.2)
    with pytest.raises(ValueError, match="48 months"):
        price_paths("mean_reverting", DECK, None, None, z[0, :, 1:], z[1, :, 1:], VOL, SPEED)
    with pytest.raises(ValueError, match="number of trials"):
        price_paths("deck", DECK, None, None, None, None)
    with pytest.raises(ValueError, match="months must be"):
        expected_mean_ahead(paths("deck"), 0)


def test_service_cost_index():
    got = paths("geometric_brownian")
    beta, z = np.array([0.0, 0.3, 0.5, 0.5, 1.0]), np.array([0.0, 1.0, -1.0, 0.0, 0.5])
    index = service_cost_index(got.oil_multiplier, beta, 9, 0.1, z)
    for trial in range(5):
        for i in range(48):
            factor = got.oil_multiplier[trial, i - 9] if i >= 9 else 1.0
            expected = factor ** beta[trial] * math.exp(0.1 * z[trial] - 0.005)
            assert index[trial, i] == pytest.approx(expected, rel=1e-12)
    for months in ([0, 8, 9, 47], [3], [40], []):
        chosen = service_cost_index(got.oil_multiplier, beta, 9, 0.1, z, months)
        assert chosen.shape == (len(months), 5)
        np.testing.assert_allclose(chosen, index[:, months].T, rtol=1e-14)
    assert service_cost_index(got.oil_multiplier, 0.5, 60, 0.0, z)[0, 47] == 1.0
    with pytest.raises(ValueError, match="lag_months"):
        service_cost_index(got.oil_multiplier, 0.5, -1, 0.1, z)
