"""The decline fit. Oracles: curves made with known parameters, and refusals in words."""

import numpy as np
import pandas as pd
import pytest

from refracmc.production.decline import cumulative, cumulative_mixture
from refracmc.production.fit import DAYS_PER_MONTH, FitRefused, FitSettings, fit_decline, pooled_decline
from refracmc.production.forms import form_of
from refracmc.production.history import build_history
from refracmc.production.secondary import LASTING_LOG_SD


def made_history(months=48, noise=0.03, seed=1, rate=800.0, decline=1.2, b=0.9):
    """Hyperbolic months with a known curve: rate [bbl/d], nominal decline per year."""
    dates = pd.date_range("2016-01", periods=months, freq="MS")
    days = dates.days_in_month.to_numpy(dtype=float)
    edges = np.r_[0.0, np.cumsum(days)]
    volume = np.diff(cumulative("modified_hyperbolic", np.array([[rate], [decline], [b], [0.06]]), edges)[0])
    volume = volume * np.exp(noise * np.random.default_rng(seed).standard_normal(months))
    frame = pd.DataFrame(
        {
            "well_id": "1",
            "date": dates,
            "oil_bbl": volume,
            "gas_mcf": 2 * volume,
            "water_bbl": 0.5 * volume,
            "days_on": days,
        }
    )
    return build_history(frame, "1"), edges[-1]


@pytest.mark.parametrize(
    ("form", "shape"),
    [
        ("modified_hyperbolic", [[0.3], [0.9], [-2.5]]),
        ("modified_hyperbolic", [[0.3], [0.9], [0.2]]),
        ("stretched_exponential", [[6.0], [0.6]]),
        ("duong", [[0.1], [1.15]]),
    ],
)
def test_a_curve_anchored_at_the_end_of_history_is_the_same_curve(form, shape):
    """Oracle: the segment's own log rate, continued, against the volume of decline.py between close edges."""
    shape, end, step = np.array(shape), 900.0, 0.01
    level = np.array([np.log(100.0)])
    slots = form_of(form).slots_at_end(shape, level, end)
    for ahead in (0.0, 400.0, 4000.0):
        volume = np.diff(cumulative(form, slots, np.array([ahead, ahead + step]))[0])[0] / step
        times = np.array([end, end + ahead + step / 2])
        curve = form_of(form).log_shape(shape, times)[:, 0]
        assert volume == pytest.approx(100.0 * np.exp(curve[1] - curve[0]), rel=1e-5)


def test_the_posterior_holds_the_known_volume_and_knows_its_rank():
    history, end = made_history()
    posterior = fit_decline(history, seed=5)
    true = np.diff(
        cumulative(
            "modified_hyperbolic",
            np.array([[800.0], [1.2], [0.9], [0.06]]),
            np.array([end, end + 36 * DAYS_PER_MONTH]),
        )[0]
    )[0]
    ahead = posterior.cumulative(np.array([36.0]))[:, 0]
    low, middle, high = np.quantile(ahead, [0.05, 0.5, 0.95])
    assert low < true < high
    assert middle == pytest.approx(true, rel=0.2)
    assert np.all(np.diff(posterior.technical_eur.reshape(posterior.sets, -1), axis=1) >= 0)
    assert posterior.form.dtype == np.int8
    assert posterior.slots.shape == (4, 2048)
    again = history.cumulative["oil"] + cumulative_mixture(
        posterior.form, posterior.slots, (posterior.uptime * 360 * DAYS_PER_MONTH)[:, None]
    )
    np.testing.assert_allclose(again[:, 0], posterior.technical_eur)


def test_the_same_seed_gives_the_same_bytes_and_another_does_not():
    history, _ = made_history(24)
    settings = FitSettings(draws=256, particles=256)
    first, second, third = (fit_decline(history, settings, seed=s) for s in (3, 3, 4))
    assert first.slots.tobytes() == second.slots.tobytes()
    assert first.uptime.tobytes() == second.uptime.tobytes()
    assert first.slots.tobytes() != third.slots.tobytes()


def test_ratios_start_at_the_recent_level():
    """Oracle: the ratios the history was made with, in the mean; tolerance: three standard errors of a lognormal mean,
    and what the months' own scatter adds (0.05)."""
    history, _ = made_history()
    posterior = fit_decline(history, FitSettings(draws=512, particles=256), seed=2)
    now, final, change = posterior.secondary["gas"]
    errors = {p: 3 * np.sqrt(np.expm1(sd**2) / 512) + 0.05 for p, sd in LASTING_LOG_SD["oil"].items()}
    assert now.mean() == pytest.approx(2.0, rel=errors["gas"])
    assert np.median(final) == pytest.approx(2.0, rel=0.1)
    assert np.all(change > 0)
    assert posterior.secondary["water"][0].mean() == pytest.approx(0.5, rel=errors["water"])


@pytest.mark.parametrize(
    ("volumes", "reason"),
    [
        ([0.0] * 30, "all zeros"),
        ([900.0, 800.0, 700.0], "3 producing months"),
        (list(range(100, 2000, 100)), "rising all along"),
    ],
)
def test_histories_that_cannot_be_fitted_say_why(volumes, reason):
    dates = pd.date_range("2016-01", periods=len(volumes), freq="MS")
    frame = pd.DataFrame({"date": dates, "oil_bbl": volumes, "gas_mcf": 0.0, "days_on": dates.days_in_month})
    with pytest.raises(FitRefused, match=reason):
        fit_decline(build_history(frame, "1"))


def test_forms_and_bounds_can_be_chosen():
    history, _ = made_history(24)
    settings = FitSettings(draws=256, particles=256, forms=("modified_hyperbolic",), b_max=0.5)
    posterior = fit_decline(history, settings, seed=2)
    assert set(posterior.form.tolist()) == {0}
    assert posterior.slots[2].max() <= 0.5
    with pytest.raises(ValueError, match="allowed"):
        fit_decline(history, FitSettings(forms=("straight_line",)))


def test_the_pooled_prior_stands_in_where_nothing_can_be_fitted():
    dates = pd.date_range("2016-01", periods=14, freq="MS")
    frame = pd.DataFrame({"date": dates, "oil_bbl": 0.0, "gas_mcf": 0.0, "days_on": 0.0})
    never = pooled_decline(build_history(frame, "1"), FitSettings(draws=512))
    assert np.mean(never.uptime == 0) > 0.5  # shut in for all of its fourteen months: most such wells stay so
    assert never.running_uptime.min() > 0
    assert np.all(np.isfinite(never.technical_eur))
    rising = frame.assign(oil_bbl=np.arange(1.0, 15.0) * 300.0, days_on=dates.days_in_month)
    history = build_history(rising, "1")
    with pytest.raises(FitRefused):
        fit_decline(history)
    some = pooled_decline(history, FitSettings(draws=512, particles=256))
    last = history.oil[-1] / 28.0
    assert np.median(some.slots[0][some.form == 0]) == pytest.approx(last, rel=0.5)


def test_a_well_long_shut_in_is_likelier_to_stay_idle():
    history, _ = made_history(36)
    running = fit_decline(history, FitSettings(draws=512, particles=256), seed=1)
    dates = pd.date_range("2016-01", periods=48, freq="MS")
    oil = np.r_[history.oil, np.zeros(12)]
    days = np.r_[history.days_on, np.zeros(12)]
    frame = pd.DataFrame({"date": dates, "oil_bbl": oil, "gas_mcf": 2 * oil, "days_on": days})
    shut = fit_decline(build_history(frame, "1"), FitSettings(draws=512, particles=256), seed=1)
    assert np.mean(running.uptime == 0) < 0.1
    assert np.mean(shut.uptime == 0) > 0.3
    # the clock stands still while it is shut in: the curve starts where it stopped
    ratio = np.median(shut.slots[0][shut.form == 0]) / np.median(running.slots[0][running.form == 0])
    assert ratio == pytest.approx(1.0, abs=0.15)


def test_averaged_noise_against_simulation():
    """Oracle: 20,000 simulated autoregressions of Student-t(4) innovations; tolerance five standard
    errors."""
    from refracmc.production.likelihood import NU, averaged_noise_sd

    generator = np.random.default_rng(4)
    e, total = np.zeros(20_000), np.zeros(20_000)
    for _ in range(24):
        e = 0.7 * e + 0.1 * generator.standard_t(NU, 20_000)
        total += e / 24
    found = averaged_noise_sd(np.array([0.1]), np.array([0.7]), 24.0)[0]
    kurtosis = np.mean(((total - total.mean()) / total.std()) ** 4)
    assert abs(total.std() - found) < 5 * found * np.sqrt((kurtosis - 1) / 4 / 20_000)


def test_the_sampler_reaches_a_known_posterior():
    """Oracle: normal prior and normal likelihood, closed-form posterior and evidence; five standard errors
    of 2048."""
    from refracmc.production.sampler import keyed_generator, sample

    generator = keyed_generator(3, "test")
    start = generator.standard_normal((2, 2048))
    data, sd = np.array([[1.5], [-0.5]]), 0.2

    def likelihood(x):
        return -0.5 * np.sum(((x - data) / sd) ** 2, axis=0) - 2 * np.log(sd * np.sqrt(2 * np.pi))

    result = sample(lambda x: -0.5 * np.sum(x * x, axis=0), likelihood, start, generator)
    spread = np.sqrt(1 / (1 + sd**-2))
    np.testing.assert_allclose(
        result.x.mean(axis=1), data[:, 0] / (1 + sd**2), atol=5 * spread / np.sqrt(2048 / 4)
    )
    np.testing.assert_allclose(result.x.std(axis=1), spread, rtol=5 / np.sqrt(2 * 2048 / 4))
    variance = 1 + sd**2
    evidence = -0.5 * np.sum(data**2) / variance - np.log(2 * np.pi * variance)
    assert result.log_evidence == pytest.approx(evidence, abs=0.3)
    assert result.r_hat.max() < 1.05
