"""What single charts show. Oracles: small tables worked by hand, and the stated rules."""

from __future__ import annotations

import re
from collections.abc import Callable
from inspect import signature

import numpy as np
import pandas as pd
import pytest

from refracmc.decisions import drivers
from refracmc.reporting.charts_drivers import tornado
from refracmc.reporting.charts_timeline import depth_span, failed, tool_path, work_hours
from refracmc.reporting.charts_value import MOST_ORDERS, order_places
from refracmc.reporting.tables import ReportData, RunFacts, build_report_data

Facts = Callable[..., RunFacts]
Maker = Callable[..., dict[str, pd.DataFrame]]


def test_the_chart_of_single_inputs_says_which_trials_its_means_are_of(data: ReportData) -> None:
    """Oracle: `tornado` takes the trials with the lowest and the highest of an input, a fifth of all each."""
    assert signature(drivers.tornado).parameters["fraction"].default == pytest.approx(1 / 5)
    figure = tornado(data, "LK-02")
    assert figure is not None
    assert any("over the fifth of trials" in text.get_text() for text in figure.texts)


def test_the_line_at_zero_crosses_no_number(data: ReportData) -> None:
    """A minus sign that the line crosses reads as a plus: numbers stand on white, over every line."""
    figure = tornado(data, "LK-02")
    assert figure is not None
    over = max(line.get_zorder() for axes in figure.axes for line in axes.lines)
    numbers = [
        text for axes in figure.axes for text in axes.texts if re.fullmatch(r"[−\d.,]+", text.get_text())
    ]
    shown = [text for text in numbers if text.get_bbox_patch() is not None]
    assert len(shown) == 2 * len(data.of_well("tornado", "LK-02"))
    for text in shown:
        assert text.get_bbox_patch().get_facecolor() == (1.0, 1.0, 1.0, 1.0)
        assert text.get_zorder() > over


def test_many_orders_leave_a_colour_to_the_best(table_maker: Maker, fact_maker: Facts) -> None:
    tables = table_maker(("W",), 500)
    frame = tables["timing"]
    worse = [frame.assign(order=[f"{o}_{k}" for o in frame["order"]], mean_usd=frame["mean_usd"] - 1e6 * k)
             for k in range(1, 4)]  # fmt: skip
    tables["timing"] = pd.concat([*worse, frame], ignore_index=True)
    places = order_places(build_report_data(fact_maker(), tables), "W")
    assert len(places) == MOST_ORDERS
    assert set(frame["order"]) <= set(places)


def test_tool_path_travels_stands_and_trips() -> None:
    rows = pd.DataFrame(
        [("before", np.nan, 0.0, 5.0), ("run_in", 1000.0, 5.0, 6.0), ("treat", 1000.0, 6.0, 8.0),
         ("trip", 1000.0, 8.0, 10.0), ("move", 900.0, 10.0, 10.5), ("pull_out", 0.0, 10.5, 11.0)],
        columns=["action", "depth_ft", "start_hour", "end_hour"])  # fmt: skip
    assert tool_path(rows)[1:].tolist() == [
        [5, 0], [6, 1000], [6, 1000], [8, 1000], [8, 1000], [9, 0], [10, 1000], [10, 1000], [10.5, 900],
        [10.5, 900], [11, 0]]  # fmt: skip
    assert np.isnan(tool_path(rows)[0, 1])
    down_and_back = pd.DataFrame(
        [("run_in", 1000.0, 5.0, 6.0), ("cleanout", 1500.0, 6.0, 8.0), ("cleanout", 1000.0, 8.0, 10.0)],
        columns=rows.columns)  # fmt: skip
    assert tool_path(down_and_back)[[2, 3, 5]].tolist() == [[6, 1000], [8, 1500], [10, 1000]]
    said = ["ok", None, "stuck open", float("nan"), "done", "not closed", "left out: did not close",
            "assembly changed", "assembly failed", "screened out", "cleaned out", "tight"]  # fmt: skip
    assert [words for words, bad in zip(said, failed(said), strict=True) if bad] == [
        "stuck open", "not closed", "left out: did not close", "assembly failed", "screened out"]  # fmt: skip


def test_a_timeline_shows_the_hours_and_depths_of_the_work() -> None:
    """A job pumped down the casing: its stages stand at no depth, the tubing mills afterwards."""
    rows = pd.DataFrame(
        [("before_ct", None, 0.0, 0.0, 90.0), ("treat", 1.0, 0.0, 90.0, 94.0), ("treat", 2.0, 0.0, 94.0, 98.0),
         ("run_in", None, 900.0, 98.0, 99.0), ("drill_out", None, 900.0, 99.0, 104.0),
         ("move", None, 1500.0, 104.0, 105.0), ("pull_out", None, 0.0, 105.0, 107.0),
         ("non_productive", None, 0.0, 107.0, 120.0), ("after_ct", None, 0.0, 120.0, 200.0)],
        columns=["action", "sleeve", "depth_ft", "start_hour", "end_hour"])  # fmt: skip
    assert work_hours(rows) == (90.0, 107.0)
    assert depth_span(rows) == (900.0, 1500.0)
    rows.loc[8, "action"] = "ct_stuck"
    assert work_hours(rows) == (90.0, 200.0)
    sleeves = rows.assign(sleeve=[None, None, None, 6.0, None, 1.0, None, None, None])
    sleeves.loc[4, "depth_ft"] = 2000.0
    assert depth_span(sleeves) == (900.0, 1500.0)
