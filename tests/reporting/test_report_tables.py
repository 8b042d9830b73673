"""The tables a report is made of: what is refused."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from refracmc.reporting.columns import TABLES, table_spec
from refracmc.reporting.columns_over_wells import OVER_WELLS
from refracmc.reporting.tables import ReportData, ReportDataProblem, RunFacts, build_report_data

Facts = Callable[..., RunFacts]


def test_good_tables_are_accepted_in_the_given_order(data: ReportData) -> None:
    assert data.wells == ("LK-01", "LK-02", "LK-03")
    assert set(data.tables) == set(TABLES) - set(OVER_WELLS)
    assert list(data.tables["decision"].columns) == list(TABLES["decision"].names)
    assert data.of_well("timing", "LK-02")["well"].unique().tolist() == ["LK-02"]
    assert data.of_well("timing", "no such well").empty


def _with(
    tables: dict[str, pd.DataFrame], key: str, column: str, row: int, value: object
) -> dict[str, pd.DataFrame]:
    frame = tables[key].copy()
    if not isinstance(value, float):
        frame[column] = frame[column].astype(object)
    frame.loc[row, column] = value
    return {**tables, key: frame}


@pytest.mark.parametrize(
    ("key", "column", "row", "value", "said"),
    [
        ("decision", "mean_usd", 1, np.nan, "decision.mean_usd: 1 missing"),
        ("decision", "p90_usd", 0, 9e9, "decision: P90"),
        ("decision", "p_loss", 0, 1.2, "decision.p_loss: outside 0 to 1"),
        ("decision", "date", 0, "2027-13", "'2027-13' is not a month"),
        ("decision", "strategy", 0, "never@2027-01", "never@2027-01 of well LK-01 is not in the summary"),
        ("timing", "well", 3, "XX", "timing: well XX"),
        ("timing", "mean_usd", 3, "plenty", "timing.mean_usd: not a number"),
        ("orders", "job_cost_usd", 3, np.inf, "orders.job_cost_usd: infinite"),
        ("timing", "date", 1, "2027-01", "timing: doubled row LK-01, toe_to_heel, 2027-01"),
    ],
)
def test_faulty_values_are_refused_by_name(
    tables: dict[str, pd.DataFrame],
    fact_maker: Facts,
    key: str,
    column: str,
    row: int,
    value: object,
    said: str,
) -> None:
    with pytest.raises(ReportDataProblem, match=said.replace("(", r"\(")):
        build_report_data(fact_maker(), _with(tables, key, column, row, value))


def test_all_faults_are_told_at_once(tables: dict[str, pd.DataFrame], fact_maker: Facts) -> None:
    bad = {key: frame for key, frame in tables.items() if key != "summary"}
    bad["timing"] = bad["timing"].drop(columns=["gain_usd"]).assign(profit=1.0)
    bad["mystery"] = pd.DataFrame()
    with pytest.raises(ReportDataProblem) as caught:
        build_report_data(fact_maker(), bad)
    said = " | ".join(caught.value.problems)
    for part in (
        "table summary is missing",
        "column gain_usd is missing",
        "column profit is not known",
        "mystery",
    ):
        assert part in said


def test_missing_values_are_allowed_where_the_column_says_so(
    tables: dict[str, pd.DataFrame], fact_maker: Facts
) -> None:
    made = build_report_data(fact_maker(), _with(tables, "decision", "lead_usd", 0, np.nan))
    assert np.isnan(made.tables["decision"]["lead_usd"].iloc[0])


def test_unknown_kind_of_column_is_refused() -> None:
    with pytest.raises(ValueError, match="kind 'nummer'"):
        table_spec("x", "X", "one x", "a | nummer | | nothing")
