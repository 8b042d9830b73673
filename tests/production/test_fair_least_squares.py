"""The fair yardstick of the hindcast.

Oracles: the decline equation dq/dt = -D(q) q with D falling as q^b to its floor, integrated by small steps; a history
made by such a curve, which least squares must give back."""

import numpy as np
import pandas as pd
import pytest

from benchmarks.fair_least_squares import TERMINAL, fair_draws, is_scored, log_volume
from benchmarks.field_scores import loss_over
from benchmarks.ratio_scores import hindcasts
from refracmc.production.hidden_months import HindcastSettings, run


def by_steps(years, decline, b, steps=40_000):
    """Log of the rate over that at the start, by the equation itself."""
    h, q = years / steps, 0.0
    for _ in range(steps):
        middle = q - 0.5 * h * max(decline * np.exp(b * q), TERMINAL)
        q -= h * max(decline * np.exp(b * middle), TERMINAL)
    return q


@pytest.mark.parametrize(("decline", "b", "years"), [(1.5, 1.0, 3.0), (2.0, 0.8, 40.0), (0.3, 2.0, 20.0)])
def test_the_curve_is_that_of_its_equation(decline, b, years):
    found = log_volume(np.array([years]), 0.0, np.log(decline), b)[0]
    # the step at which the decline meets its floor is the largest error: one step at the floor
    assert found == pytest.approx(by_steps(years, decline, b), abs=1e-3)


def test_a_history_made_by_a_curve_is_forecast_by_it():
    months = np.arange(60) / 12.0
    volume = np.exp(log_volume(months, np.log(9000.0), np.log(1.2), 0.9))
    known = np.concatenate([[2000.0, np.nan, 5000.0], volume[:24]])
    draws = fair_draws(known, 36, np.random.default_rng(1))
    assert np.median(draws) == pytest.approx(volume[24:].sum(), rel=1e-3)
    # negative control: another b gives another sum
    other = np.exp(log_volume(months, np.log(9000.0), np.log(1.2), 0.5))
    assert np.median(draws) != pytest.approx(other[24:].sum(), rel=1e-3)


def test_too_little_is_refused_and_idle_wells_are_not_scored():
    with pytest.raises(ValueError, match="all zeros"):
        fair_draws(np.zeros(24), 12, np.random.default_rng(1))
    with pytest.raises(ValueError, match="6 are needed"):
        fair_draws(np.arange(1.0, 25.0), 12, np.random.default_rng(1))
    assert is_scored(np.array([1.0] * 9 + [0.0]))
    assert not is_scored(np.array([1.0] * 8 + [0.0, np.nan]))


def rows(actual, p50):
    n = len(actual)
    return pd.DataFrame(
        {"well_id": [f"W{k}" for k in range(n)], "phase": "gas", "area": "A", "cut_off": "2020-05"}
        | {"actual": actual, "p90": p50, "p50": p50, "p10": p50, "mean": p50, "pit": 0.5, "crps": 0.0}
        | {"used": [True] * n}
    )


def test_losses_are_compared_on_the_wells_of_both():
    ours, other = rows([10.0, 10.0, 10.0], [11.0, 12.0, 90.0]), rows([10.0, 10.0, 10.0], [12.0, 14.0, 9.0])
    other["used"] = [True, True, False]
    # pinball of one number as all three percentiles, above the truth by d: (.9 + .5 + .1) d
    assert loss_over(ours, other) == pytest.approx((1.0 + 2.0) / (2.0 + 4.0))


def test_phases_that_follow_are_scored_by_their_own_volumes():
    """Oracle: a gas volume that is half the oil volume in every month, forecast and hidden."""
    dates = pd.date_range("2018-01", periods=40, freq="MS")
    oil = 20_000.0 / (1.0 + 0.1 * np.arange(40)) * (1.0 + 0.03 * np.sin(np.arange(40)))
    frame = pd.DataFrame(
        {"well_id": "w", "date": dates, "oil_bbl": oil, "gas_mcf": 0.5 * oil, "water_bbl": 0.0}
    )
    settings = HindcastSettings(24, 12, draws=256, particles=128)
    found = hindcasts(frame, {}, settings)
    assert set(found) == {("oil", "gas"), ("oil", "water")}
    main = run(frame, settings).table.iloc[0]
    row = found["oil", "gas"].table.iloc[0]
    assert row["phase"] == "gas"
    assert row["actual"] == pytest.approx(0.5 * oil[24:36].sum()) == pytest.approx(0.5 * main["actual"])
    assert row["p50"] == pytest.approx(0.5 * main["p50"], rel=0.1)
    assert found["oil", "water"].table.iloc[0]["p10"] == 0.0
