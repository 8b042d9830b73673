"""Reading and cleaning a monthly history. Oracles: hand arithmetic on small made-up histories."""

import numpy as np
import pandas as pd
import pytest

from refracmc.production.history import (
    HistoryProblem,
    build_history,
    clean,
    days_in_month,
    peak_rate,
    tell_main_phase,
)


def made_frame(oil, days=None, start="2018-01", gas=None, well="7"):
    dates = pd.date_range(start, periods=len(oil), freq="MS")
    oil = np.asarray(oil, dtype=float)
    return pd.DataFrame(
        {
            "well_id": well,
            "date": dates,
            "oil_bbl": oil,
            "gas_mcf": oil * 0.8 if gas is None else gas,
            "water_bbl": oil * 0.5,
            "days_on": dates.days_in_month.astype(float) if days is None else days,
        }
    )


def test_days_of_months_follow_the_calendar():
    months = np.array(["2019-02", "2020-02", "2020-12"], dtype="datetime64[M]")
    assert days_in_month(months).tolist() == [28.0, 29.0, 31.0]


def test_peak_rate_is_the_best_three_consecutive_months_by_producing_days():
    volume = np.array([100.0, 600.0, 900.0, 900.0, 0.0, 400.0])
    days = np.array([10.0, 20.0, 30.0, 30.0, 0.0, 31.0])
    # best three in a row: 600 + 900 + 900 over 20 + 30 + 30 producing days
    assert peak_rate(volume, days, np.full(6, 30.0)) == pytest.approx(2400.0 / 80.0)


def test_main_phase_by_energy_of_the_first_year():
    oil, gas = np.full(24, 100.0), np.full(24, 599.0)
    assert tell_main_phase(oil, gas) == "oil"
    assert tell_main_phase(oil, np.full(24, 601.0)) == "gas"
    late = np.where(np.arange(24) < 12, 100.0, 1e6)
    assert tell_main_phase(oil, late) == "oil"


def test_leading_empty_months_are_cut_and_missing_rows_become_undeclared():
    frame = made_frame([0.0, 0.0, 300.0, 280.0, 260.0, 240.0]).drop(index=4)
    history = build_history(frame, "7")
    assert str(history.dates[0]) == "2018-03"
    assert len(history) == 4
    assert np.isnan(history.oil[2])
    assert "no row" in history.notes[2]
    assert history.cumulative["oil"] == pytest.approx(820.0)


def test_all_faults_are_listed_with_their_rows():
    frame = made_frame([300.0, -5.0, 260.0, 240.0])
    frame.loc[3, "date"] = frame.loc[2, "date"]
    with pytest.raises(HistoryProblem) as caught:
        build_history(frame, "7")
    text = " ".join(caught.value.problems)
    assert "row 2: oil_bbl is -5" in text
    assert "row 4: month 2018-03 stands twice" in text


def test_a_missing_well_and_a_missing_column_are_faults():
    with pytest.raises(HistoryProblem, match="no rows"):
        build_history(made_frame([1.0, 2.0]), "8")
    with pytest.raises(HistoryProblem, match="missing columns"):
        build_history(made_frame([1.0, 2.0]).drop(columns="gas_mcf"), "7")


def test_days_beyond_the_month_are_cut_with_a_note():
    history = build_history(made_frame([300.0, 290.0, 280.0], days=[31.0, 45.0, 31.0]), "7")
    assert history.days_on[1] == 28.0
    assert "cut to" in history.notes[1]


def test_cleaning_gives_rates_on_producing_days_and_a_clock_that_stops_in_shut_ins():
    days = np.array([31.0, 28.0, 0.0, 15.0, 2.0, 30.0])
    history = build_history(made_frame([310.0, 252.0, 0.0, 120.0, 30.0, 180.0], days=days), "7")
    cleaned = clean(history)
    np.testing.assert_allclose(cleaned.time_days, [15.5, 45.0, 59.0, 66.5, 75.0, 91.0])
    np.testing.assert_allclose(cleaned.rate[[0, 1, 3]], [10.0, 9.0, 8.0])
    assert cleaned.end_days == 106.0
    assert cleaned.used.tolist()[2] is False
    assert "declared zero" in cleaned.reasons[2]
    assert "fewer than 5" in cleaned.reasons[4]


def test_the_segment_starts_at_the_peak_or_where_the_engineer_says():
    oil = [100.0, 400.0, 900.0, 850.0, 800.0, 700.0, 650.0, 600.0]
    history = build_history(made_frame(oil), "7")
    assert clean(history).segment == 2
    other = build_history(
        made_frame(oil), "7", overrides={"segment_start": "2018-05", "exclude": ["2018-07"]}
    )
    cleaned = clean(other)
    assert cleaned.segment == 4
    assert not cleaned.used[6]
    assert "excluded by the engineer" in cleaned.reasons[6]
    with pytest.raises(HistoryProblem, match="outside the history"):
        build_history(made_frame(oil), "7", overrides={"segment_start": "2030-01"})


def test_the_head_of_a_history_forgets_what_came_later():
    oil = np.r_[np.full(6, 300.0), 9e9]
    assert build_history(made_frame(oil), "7").head(6).cumulative["oil"] == pytest.approx(1800.0)
