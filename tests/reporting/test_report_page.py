"""The whole report: same bytes twice, a valid page that stands alone, every table's numbers in place."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from html.parser import HTMLParser
from inspect import signature
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from refracmc.decisions.drivers import tornado
from refracmc.reporting import charts
from refracmc.reporting.charts import CHARTS, draw_charts
from refracmc.reporting.charts_drivers import tornado as tornado_chart
from refracmc.reporting.charts_timeline import depth_span, failed, tool_path, work_hours
from refracmc.reporting.charts_value import MOST_ORDERS, order_styles
from refracmc.reporting.numbers import MILLION, percent, with_error
from refracmc.reporting.page import csv_bytes, page_html, write_report
from refracmc.reporting.parts import Note, Section, Table, render, render_page
from refracmc.reporting.tables import ReportData, RunFacts, build_report_data

Facts = Callable[..., RunFacts]
Maker = Callable[..., dict[str, pd.DataFrame]]
VOID = {"meta", "br", "path", "use"}


class Reader(HTMLParser):
    """Checks that elements nest; gathers ids, addresses and text."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.ids: list[str] = []
        self.references: list[str] = []
        self.tags: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            if name == "id":
                self.ids.append(value or "")
            if name in ("href", "src", "xlink:href", "action", "data", "srcset"):
                self.references.append(value or "")
        if tag != "meta":
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag != "meta":
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] != "style":
            self.text.append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


@pytest.fixture(scope="module")
def report(data: ReportData, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("report")
    write_report(data, folder)
    return folder


def test_two_runs_give_the_same_bytes(tmp_path: Path, table_maker: Maker, fact_maker: Facts) -> None:
    made = []
    for run in ("a", "b"):
        one = build_report_data(fact_maker(trials=500), table_maker(("W-1",), 500))
        paths = write_report(one, tmp_path / run)
        assert all(path.exists() for path in paths)
        made.append({str(p.relative_to(tmp_path / run)): p.read_bytes() for p in paths})
    assert made[0].keys() == made[1].keys()
    assert [name for name in made[0] if made[0][name] != made[1][name]] == []
    other = build_report_data(fact_maker(trials=500, seed=8), table_maker(("W-1",), 500))
    assert page_html(other, {}).encode() != made[0]["report.html"]  # control: a changed fact changes the page


def test_files_of_all_charts_and_tables_are_there(report: Path, data: ReportData) -> None:
    for kind in CHARTS:
        for well in data.wells:
            with Image.open(report / "charts" / f"{kind.key}-{well}.png") as image:
                assert image.size[0] == 1035
                colours = image.convert("L").getextrema()
            assert colours[0] < 60
            assert colours[1] == 255
            ElementTree.fromstring((report / "charts" / f"{kind.key}-{well}.svg").read_text("utf-8"))
    assert not list(report.rglob("*.part"))
    for key, frame in data.tables.items():
        stem = report / key if key == "summary" else report / "tables" / key
        pd.testing.assert_frame_equal(pd.read_parquet(stem.with_suffix(".parquet")), frame)
        with stem.with_suffix(".csv").open(newline="", encoding="utf-8") as stream:
            rows = list(csv.reader(stream))
        assert rows[0] == list(frame.columns)
        assert len(rows) == len(frame) + 1
        for k, name in enumerate(frame.columns):
            if frame[name].dtype == float:
                written = np.array([float(row[k] or "nan") for row in rows[1:]])
                np.testing.assert_array_equal(written, frame[name].to_numpy())


def test_tables_stand_in_the_order_of_the_charts_without_them_too(report: Path, data: ReportData) -> None:
    pages = (report / "report.html").read_text("utf-8"), page_html(data, {})
    captions = [re.findall(r'<(?:p class="caption"|summary)>([^<]*)<', page) for page in pages]
    assert captions[0] == captions[1] != captions[1][::-1]  # control: the order tells
    assert ["Charts as files" in page for page in pages] == [True, False]


def test_page_is_valid_and_stands_alone(report: Path) -> None:
    page = (report / "report.html").read_text("utf-8")
    reader = read(page)
    assert page.startswith("<!DOCTYPE html>")
    assert "script" not in reader.tags
    assert "link" not in reader.tags
    assert len(reader.ids) == len(set(reader.ids))
    assert reader.references
    for reference in reader.references:
        assert reference.startswith("#")
        assert reference[1:] in reader.ids
    for target in re.findall(r"url\(#([^)]*)\)", page):
        assert target in reader.ids
    assert "url(#" in page
    for word in ("http:", "https:", "//www", "@import", "src="):
        assert word not in page


def test_page_shows_the_numbers_of_every_table(report: Path, data: ReportData) -> None:
    text = " ".join(read((report / "report.html").read_text("utf-8")).text)
    for _, row in data.tables["decision"].iterrows():
        assert with_error(row["mean_usd"], row["se_usd"], MILLION) in text
        assert percent(row["p_loss"], row["p_loss_se"]) in text
    for key in ("timing", "orders", "cost"):
        for _, row in data.tables[key].iterrows():
            assert with_error(row["mean_usd"], row["se_usd"], MILLION) in text
    for _, row in data.tables["tornado"].iterrows():
        assert with_error(row["low_mean_usd"], row["low_se_usd"], MILLION) in text
    for _, row in data.tables["drivers"].iterrows():
        assert with_error(row["total"], row["total_ci"] / 1.96) in text
    for _, row in data.tables["summary"].iterrows():
        if np.isfinite(row["mean"]) and row["undefined_share"] < 1:
            assert with_error(row["mean"], row["se"], MILLION if row["unit"] == "US$" else 1.0) in text
    for _, row in data.tables["inputs"].iterrows():
        assert row["variable"] in text
        assert row["distribution"] in text
    for _, row in data.tables["cleaning"].iterrows():
        assert row["reason"] in text
    assert "undefined 31.0 %" in text
    assert "30 of the 46 inputs are assumptions" in text
    for well in data.wells:
        steps = len(data.of_well("timeline", well))
        assert f"{steps} steps" in text


def test_page_says_conventions_and_cautions(report: Path) -> None:
    text = " ".join(read((report / "report.html").read_text("utf-8")).text)
    for words in ("P90 is the low and P10 the high value", "4,000 trials", "real terms, 10 % a year",
                  "before income tax", "Latin hypercube sampling, seed 7",
                  "The data of this case are invented"):  # fmt: skip
        assert words in text
    for once in ("well control defer to local codes", "not a reserves statement", "not investment advice"):
        assert text.count(once) == 1


def test_every_chart_states_its_convention_and_trials(report: Path, data: ReportData) -> None:
    for kind in CHARTS:
        svg = (report / "charts" / f"{kind.key}-LK-02.svg").read_text("utf-8")
        words = " ".join(
            t.text or "" for t in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")
        )
        assert "LK-02" in words
        one_block = kind.key in ("spread", "stress", "failures", "reach")
        assert ("512 trials" if one_block else "4,000") in words
        assert "error" in words or "interval" in words or kind.key in ("timeline", "sleeves")
        if kind.key in ("distribution", "dates", "strategies", "orders", "production"):
            assert "P90 is the low and P10 the high value" in words
        if kind.key in ("distribution", "dates", "strategies", "orders"):
            assert "doing nothing" in words or kind.key == "orders"
        if kind.key in ("distribution", "dates", "strategies", "orders", "cost", "tornado"):
            assert "US$ million at 2026-10" in words


def test_the_chart_of_single_inputs_says_which_trials_its_means_are_of(report: Path) -> None:
    """Oracle: `tornado` takes the trials with the lowest and the highest of an input, a fifth of all each."""
    assert signature(tornado).parameters["fraction"].default == pytest.approx(1 / 5)
    text = (report / "charts" / "tornado-LK-02.svg").read_text("utf-8")
    assert "over the fifth of trials" in text


def test_the_line_at_zero_crosses_no_number(data: ReportData) -> None:
    """A minus sign that the line crosses reads as a plus: numbers stand on white, over every line."""
    figure = tornado_chart(data, "LK-02")
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


def test_text_of_the_user_is_escaped(tmp_path: Path, table_maker: Maker, fact_maker: Facts) -> None:
    well = 'A<b>&"$x$ $y/1'
    facts = fact_maker(
        trials=500, title="<script>alert(1)</script>", refused=(("<i>", "no & none"),), notes=("<u>",)
    )
    write_report(build_report_data(facts, table_maker((well,), 500)), tmp_path)
    reader = read((tmp_path / "report.html").read_text("utf-8"))
    assert not {"script", "i", "u"} & set(reader.tags)
    assert reader.tags.count("b") == 1  # the highest mean of the table of dates and orders
    assert any(well in text for text in reader.text)
    assert (tmp_path / "charts" / "dates-A_b____x___y_1.png").exists()


def test_one_date_one_order_and_few_tables(tmp_path: Path, table_maker: Maker, fact_maker: Facts) -> None:
    tables = table_maker(("W",), 500)
    chosen = tables["decision"].iloc[0]
    for key, frame in tables.items():
        kept = frame
        if "strategy" in frame.columns and key != "production":
            kept = kept[kept["strategy"].isin(["nothing", chosen["strategy"]])]
        if "order" in frame.columns:
            kept = kept[kept["order"] == chosen["order"]]
        if {"order", "date"} <= set(frame.columns):
            kept = kept[kept["date"] == chosen["date"]]
        tables[key] = kept.reset_index(drop=True)
    tables["decision"] = tables["decision"].assign(runner_up=None, lead_usd=np.nan, lead_se_usd=np.nan)
    write_report(build_report_data(fact_maker(trials=500), tables), tmp_path / "one")
    assert len(list((tmp_path / "one" / "charts").glob("*.png"))) == len(CHARTS)
    few = build_report_data(fact_maker(trials=500), {k: tables[k] for k in ("summary", "decision")})
    write_report(few, tmp_path / "few")
    assert [p.name for p in sorted((tmp_path / "few" / "charts").glob("*.png"))] == ["strategies-W.png"]
    assert "Inputs and assumptions" not in (tmp_path / "few" / "report.html").read_text("utf-8")
    write_report(few, tmp_path / "none", charts=False)
    assert not (tmp_path / "none" / "charts").exists()


def test_worker_processes_change_no_byte(report: Path, data: ReportData, tmp_path: Path) -> None:
    drawn = draw_charts(data, tmp_path, workers=2)
    assert set(drawn) == {(kind.key, well) for kind in CHARTS for well in data.wells}
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {path.name for path in (report / "charts").iterdir()}
    assert [
        n for n in sorted(names) if (tmp_path / n).read_bytes() != (report / "charts" / n).read_bytes()
    ] == []
    assert all(drawn[key, well] == (tmp_path / f"{key}-{well}.svg").read_text("utf-8") for key, well in drawn)


def test_texts_of_charts_are_held_for_the_wells_on_the_page(
    table_maker: Maker, fact_maker: Facts, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Oracle: the count of wells on the page; the files of all wells are there."""
    tables = table_maker(("W", "X"), 500)
    few = build_report_data(fact_maker(trials=500), {k: tables[k] for k in ("summary", "decision")})
    for most, wells in ((2, {"W", "X"}), (1, {"W"})):
        monkeypatch.setattr(charts, "MOST_WELLS", most)
        drawn = draw_charts(few, tmp_path)
        assert {well for _, well in drawn} == wells
        assert {path.name for path in tmp_path.glob("*.svg")} == {"strategies-W.svg", "strategies-X.svg"}


def test_many_orders_leave_a_colour_to_the_best(table_maker: Maker, fact_maker: Facts) -> None:
    tables = table_maker(("W",), 500)
    frame = tables["timing"]
    worse = [frame.assign(order=[f"{o}_{k}" for o in frame["order"]], mean_usd=frame["mean_usd"] - 1e6 * k)
             for k in range(1, 4)]  # fmt: skip
    tables["timing"] = pd.concat([*worse, frame], ignore_index=True)
    places = order_styles(build_report_data(fact_maker(), tables), "W")
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


def test_parts_are_escaped_and_checked() -> None:
    page = render_page("T <1>", "s", [Section("S & S", "s", (Note(("a < b",), "t", "caution"),))])
    reader = read(page)
    assert "T <1>" in reader.text
    assert "a < b" in reader.text
    table = Table("c", ("x", "y"), (("1", "<2>"),), strong=frozenset({(0, 1)}), collapsed=True)
    assert "<b>&lt;2&gt;</b>" in render(table)
    with pytest.raises(ValueError, match="a row has 1 cells, the head 2"):
        render(Table("c", ("x", "y"), (("1",),)))


@pytest.mark.parametrize("words", ["plain", 'with "quotes", commas'])
def test_csv_is_exact_and_quotes_only_what_needs_it(words: str) -> None:
    frame = pd.DataFrame({"a": [words, None], "b": [0.1 + 0.2, np.nan], "c": [1e-300, -1.5e21]})
    rows = list(csv.reader(csv_bytes(frame).decode("utf-8").splitlines()))
    assert rows[0] == ["a", "b", "c"]
    assert [row[0] for row in rows[1:]] == [words, ""]
    assert float(rows[1][1]) == 0.1 + 0.2
    assert rows[2][1] == ""
    assert [float(row[2]) for row in rows[1:]] == [1e-300, -1.5e21]
    assert (b'"' in csv_bytes(frame)) == ("," in words)
