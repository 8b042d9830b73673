"""The page of one well. Oracles: the posterior's own draws, and the months of the history."""

import io
import re

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

from refracmc.decisions.forecast_tables import forecast_tables
from refracmc.production.fit import FitSettings, fit_decline
from refracmc.production.history import build_history
from refracmc.reporting.charts_hindcast import draw_hindcast
from refracmc.reporting.forecast_page import write_forecast_page
from refracmc.reporting.style import drawing, log_numbers


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


def words_of(figure: Figure) -> list[str]:
    """All that a picture says, as text of its SVG."""
    page = io.StringIO()
    with drawing():
        figure.savefig(page, format="svg")
    return [text.strip() for text in re.findall(r"<text[^>]*>([^<]*)</text>", page.getvalue())]


def test_the_numbers_along_the_axes_are_plain(well, tmp_path, monkeypatch) -> None:
    """Oracle: the text of the pictures. Negative control: Matplotlib's own numbers of a log axis are markup."""
    drawn = []
    save = Figure.savefig
    monkeypatch.setattr(Figure, "savefig", lambda self, *a, **k: (drawn.append(self), save(self, *a, **k))[1])
    write_forecast_page(*well, tmp_path, 24)
    wells = pd.DataFrame(
        {"phase": "oil", "used": True, "p90": [300.0, 4e4], "p50": 6e4, "p10": 9e4, "actual": 5e4, "pit": 0.4}
    )
    band = pd.DataFrame({"low": [0.0, 0.5], "high": [0.5, 1.0], "share": 0.5, "share_se": 0.2})
    draw_hindcast(wells, wells.assign(pit=0.3), band, tmp_path)
    monkeypatch.undo()
    assert len(drawn) == 3
    for figure in drawn:
        assert not [text for text in words_of(figure) if re.search(r"[$\\{}^]", text)]
    assert {"500", "1,000"} <= set(words_of(drawn[0]))
    assert {"1,000", "10,000"} <= set(words_of(drawn[2]))
    with drawing():
        plain = Figure()
        plain.subplots().set_yscale("log")
    assert [text for text in words_of(plain) if "mathdefault" in text]


@pytest.mark.parametrize(
    ("low", "high", "numbers"),
    [
        (0.9, 30.0, ["1", "2", "5", "10", "20"]),
        (0.5, 2e5, ["1", "10", "100", "1,000", "10,000", "100,000"]),
        (0.31, 0.44, ["0.35", "0.4"]),
    ],
)
def test_numbers_of_a_log_axis(low: float, high: float, numbers: list[str]) -> None:
    assert log_numbers(low, high)[1] == numbers


def test_the_page_is_written_under_a_safe_name(well, tmp_path):
    files = write_forecast_page(*well, tmp_path, 24)
    assert sorted(p.name for p in files) == [
        "forecast_a_1.png", "forecast_a_1_correlation.csv", "forecast_a_1_forecast.csv",
        "forecast_a_1_months.csv", "forecast_a_1_parameters.csv",
    ]  # fmt: skip
    assert all(p.stat().st_size > 0 for p in files)
