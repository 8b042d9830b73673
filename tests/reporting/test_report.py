"""The whole report: same bytes twice, a valid page that stands alone, every table's numbers in place."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from refracmc.measures import USD_GROSS, USD_WI
from refracmc.reporting.captions import PERCENTILES
from refracmc.reporting.charts import CHARTS, draw_charts
from refracmc.reporting.page import Note, Section, Table, render_page
from refracmc.reporting.report import csv_bytes, page_html, write_report
from refracmc.reporting.rounding import MILLION, percent, with_error
from refracmc.reporting.tables import ReportData, RunFacts, build_report_data

Facts = Callable[..., RunFacts]
Maker = Callable[..., dict[str, pd.DataFrame]]
VOID = {"meta", "br", "path", "use"}

MONEY = (USD_WI, USD_GROSS)


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
    """Page and tables; tests of whole runs compare their charts."""
    made = []
    for run in ("a", "b"):
        one = build_report_data(fact_maker(trials=500), table_maker(("W-1",), 500))
        paths = write_report(one, tmp_path / run, charts=False)
        assert all(path.exists() for path in paths)
        made.append({str(p.relative_to(tmp_path / run)): p.read_bytes() for p in paths})
    assert made[0].keys() == made[1].keys()
    assert [name for name in made[0] if made[0][name] != made[1][name]] == []
    other = build_report_data(fact_maker(trials=500, seed=8), table_maker(("W-1",), 500))
    assert page_html(other, {}).encode() != made[0]["report.html"]  # control: a changed fact changes the page


def test_files_of_all_charts_and_tables_are_there(report: Path, data: ReportData) -> None:
    for chart in CHARTS:
        for well in data.wells:
            with Image.open(report / "charts" / f"{chart.key}-{well}.png") as image:
                assert image.size[0] == 1035
                colours = image.convert("L").getextrema()
            assert colours[0] < 60
            assert colours[1] == 255
            ElementTree.fromstring((report / "charts" / f"{chart.key}-{well}.svg").read_text("utf-8"))
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
            assert with_error(row["mean"], row["se"], MILLION if row["unit"] in MONEY else 1.0) in text
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


def test_money_says_whose_it_is_wherever_it_stands(report: Path) -> None:
    """Oracle: the words. Each US$ of the page, its pictures too, has WI or gross behind it, or is a price per unit."""
    allowed = re.compile(
        r"US\$( million)? (WI|gross)|US\$ [−0-9.,± ]+ (million|thousand) WI|US\$/(bbl|Mcf)"
        r"|US\$ million at 2026-10 ?, real terms, 10 % a year, before income tax[,.] (WI|gross): "
    )
    text = " ".join(" ".join(read((report / "report.html").read_text("utf-8")).text).split())
    assert text.count("US$") > 30
    for match in re.finditer(r"US\$", text):
        assert allowed.match(text, match.start()), text[match.start() - 60 : match.start() + 90]
    assert not allowed.match("US$ million more")  # negative controls
    assert not allowed.match("US$ 1.2 million more")


def test_page_says_conventions_and_cautions(report: Path) -> None:
    text = " ".join(read((report / "report.html").read_text("utf-8")).text)
    for words in (PERCENTILES, "4,000 trials", "real terms, 10 % a year",
                  "before income tax", "WI: working-interest share; gross: 100 % (8/8)",
                  "Cost, US$ million gross", "Latin hypercube sampling, seed 7",
                  "The data of this case are invented"):  # fmt: skip
        assert words in text
    for once in ("well control defer to local codes", "not a reserves statement", "not investment advice"):
        assert text.count(once) == 1


def test_every_chart_states_its_convention_and_trials(report: Path, data: ReportData) -> None:
    for chart in CHARTS:
        svg = (report / "charts" / f"{chart.key}-LK-02.svg").read_text("utf-8")
        words = " ".join(
            t.text or "" for t in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")
        )
        assert "LK-02" in words
        one_block = chart.key in ("spread", "stress", "failures", "reach")
        assert ("512 trials" if one_block else "4,000") in words
        assert "error" in words or "interval" in words or chart.key in ("timeline", "sleeves")
        if chart.key in ("distribution", "dates", "strategies", "orders", "production"):
            assert PERCENTILES.partition(" (")[0] in words
        if chart.key in ("distribution", "dates", "strategies", "orders"):
            assert "doing nothing" in words or chart.key == "orders"
        if chart.key in ("distribution", "dates", "strategies", "orders", "cost", "tornado"):
            assert "US$ million at 2026-10" in words
            owner, gross = "working-interest share" in words, "100 % (8/8)" in words
            assert (owner, gross) == (chart.key != "cost", chart.key in ("cost", "orders"))
        if chart.key == "spread":
            assert "100 % (8/8)" in words


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
    few = build_report_data(
        fact_maker(trials=500), {k: tables[k] for k in ("summary", "decision", "verdicts")}
    )
    write_report(few, tmp_path / "few")
    assert [p.name for p in sorted((tmp_path / "few" / "charts").glob("*.png"))] == ["strategies-W.png"]
    assert "Inputs and assumptions" not in (tmp_path / "few" / "report.html").read_text("utf-8")
    write_report(few, tmp_path / "none", charts=False)
    assert not (tmp_path / "none" / "charts").exists()


@pytest.mark.slow  # tests/system compares whole runs
def test_worker_processes_change_no_byte(report: Path, data: ReportData, tmp_path: Path) -> None:
    drawn = draw_charts(data, tmp_path, workers=2)
    assert {well: [chart.key for chart in of] for well, of in drawn.items()} == {
        well: [chart.key for chart in CHARTS] for well in data.wells
    }
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {path.name for path in (report / "charts").iterdir()}
    assert [
        n for n in sorted(names) if (tmp_path / n).read_bytes() != (report / "charts" / n).read_bytes()
    ] == []
    for well, of in drawn.items():
        assert [chart.svg for chart in of] == [
            (tmp_path / f"{chart.key}-{well}.svg").read_text("utf-8") for chart in of
        ]


def test_blocks_are_escaped_and_checked() -> None:
    table = Table("c & d", ("x", "y"), (("1", "<2>"),), strong=frozenset({(0, 1)}), collapsed=True)
    note = Note(("a < b, in 2027-01 3.4 ± 0.2 %",), "t", "caution")
    page = render_page("T <1>", "s", [Section("S & S", "s", (note, table))])
    reader = read(page)
    for words in ("T <1>", "S & S", "a < b, in ", "2027-01", "3.4 ± 0.2 %", "c & d", "<2>"):
        assert words in reader.text
    assert "<b>&lt;2&gt;</b>" in page
    with pytest.raises(ValueError, match="a row has 1 cells, the head 2"):
        Table("c", ("x", "y"), (("1",),))
    with pytest.raises(ValueError, match="keys are not of every row"):
        Table("c", ("x",), (("1",), ("2",)), keys=((1.0,),))


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
