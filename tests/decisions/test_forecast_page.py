"""The page of one well. Oracles: the posterior's own draws, and the months of the history."""

import numpy as np
import pandas as pd
import pytest

from refracmc.decisions.forecast_tables import forecast_tables
from refracmc.production.fit import FitSettings, fit_decline
from refracmc.production.history import build_history
from refracmc.reporting.forecast_page import write_forecast_page


@pytest.fixture(scope="module")
def well():
    dates = pd.date_range("2016-01", periods=30, freq="MS")
    oil = 30000.0 / (1 + 0.1 * np.arange(30)) * np.exp(0.04 * np.random.default_rng(1).standard_normal(30))
    oil[10] = 0.0
    frame = pd.DataFrame({"date": dates, "oil_bbl": oil, "gas_mcf": 0.0, "days_on": dates.days_in_month})
    history = build_history(frame, "a/1")
    return history, fit_decline(history, FitSettings(draws=256, particles=256), seed=4)


def test_the_tables_agree_with_the_draws(well):
    history, posterior = well
    tables = forecast_tables(history, posterior, 24)
    ahead = posterior.cumulative(np.array([24.0]))[:, 0]
    assert tables["forecast"]["cumulative_mean"].iloc[-1] == pytest.approx(ahead.mean())
    assert tables["forecast"]["cumulative_p90"].iloc[-1] == pytest.approx(np.quantile(ahead, 0.1))
    assert tables["forecast"]["volume_mean"].sum() == pytest.approx(ahead.mean())
    months = tables["months"]
    assert len(months) == len(history)
    assert "declared zero" in months["reason"].iloc[10]
    assert months["fitted_p50"].notna().sum() == months["used"].sum()
    assert np.abs(months["log_residual"]).max() < 0.3
    matrix = tables["correlation"].drop(columns="parameter").to_numpy()
    np.testing.assert_allclose(np.diag(matrix), 1.0)


def test_the_page_is_written_under_a_safe_name(well, tmp_path):
    files = write_forecast_page(*well, tmp_path, 24)
    assert sorted(p.name for p in files) == [
        "forecast_a_1.png", "forecast_a_1_correlation.csv", "forecast_a_1_forecast.csv",
        "forecast_a_1_months.csv", "forecast_a_1_parameters.csv",
    ]  # fmt: skip
    assert all(p.stat().st_size > 0 for p in files)
