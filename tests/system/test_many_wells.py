"""A run of six wells: the page of all wells, the pages beside it, and what leads from one to the other.

Oracle: the tables of the run, and the files that stand in its folder.
"""

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote

import pandas as pd
import pytest

from refracmc.commands.run import run_case
from refracmc.reporting.rounding import MILLION, with_error
from tests.system.small_case import CASE, TALLY, changed, run_bytes, write_case

IDS = ("A", "B", "W 3", "W_3", "x.y-", "six")
WELLS = CASE.index('[[wells]]\nid = "A"'), CASE.index('[[wells]]\nid = "B"')
B = CASE[WELLS[1] :]
REFUSED = changed(B, ('id = "B"', 'id = "bad"'), ("p90 = 500, p10 = 1100", "p90 = 5000, p10 = 1100"))
TEXT = CASE + "".join(changed(B, ('id = "B"', f'id = "{name}"')) for name in IDS[2:]) + REFUSED
ROWS = TALLY + "".join(
    f"{name}{line[1:]}\n" for name in (*IDS[2:], "bad") for line in TALLY.splitlines() if line.startswith("B")
)


class Page(HTMLParser):
    """Checks that elements nest; gathers addresses, ids, tags, and the rows of tables as texts."""

    def __init__(self, path: Path) -> None:
        super().__init__(convert_charrefs=True)
        self.open, self.links, self.ids, self.tags, self.rows = [], [], [], [], []
        self.text = path.read_text("utf-8")
        self.feed(self.text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        for name, value in attrs:
            if name in ("href", "src", "xlink:href", "action", "data", "srcset"):
                self.links.append(value)
            if name == "id":
                self.ids.append(value)
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
        if tag not in ("meta", "br", "path", "use"):
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in ("meta", "br", "path", "use"):
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "td" in self.open or "th" in self.open:
            self.rows[-1][-1] += data


def made(folder: Path, workers: int, charts: bool) -> Path:
    text = changed(TEXT, ("[sampling]", f"[outputs]\ncharts = {str(charts).lower()}\n[sampling]"))
    case = write_case(folder, text, sleeves=ROWS)
    return run_case(case, folder / "out", trials=200, workers=workers).folder


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made(tmp_path_factory.mktemp("six"), 2, True)


@pytest.fixture(scope="module")
def page(run: Path) -> Page:
    return Page(run / "report.html")


def rows_of(page: Page, cells: int) -> list[list[str]]:
    return [row for row in page.rows if len(row) == cells]


def test_the_table_has_every_well_by_value_per_dollar(run: Path, page: Page) -> None:
    ranked = pd.read_parquet(run / "tables" / "wells_ranked.parquet")
    assert sorted(ranked["well"]) == sorted(IDS)
    assert ranked["value_per_dollar"].is_monotonic_decreasing
    head, *rows = rows_of(page, 13)
    assert head[:2] == ["Well", "Verdict"]
    assert [row[0] for row in rows] == ranked["well"].tolist()
    assert [row[1] for row in rows] == ranked["verdict"].tolist()
    for row, (mean, se) in zip(rows, ranked[["mean_usd", "se_usd"]].to_numpy(), strict=True):
        assert row[5] == with_error(mean, se, MILLION)


def test_the_last_rows_are_the_sums(run: Path, page: Page) -> None:
    total = pd.read_parquet(run / "tables" / "portfolio_total.parquet").set_index(["jobs", "measure"])
    row = next(row for row in page.rows if row and row[0].startswith("All 6 wells"))
    for k, measure in ((1, "capex"), (2, "incremental_npv")):
        assert row[k] == with_error(*total.loc[("all", measure), ["mean", "se"]], MILLION)


def test_links_lead_to_files_of_the_folder_and_back(run: Path, page: Page) -> None:
    pages = sorted(path.name for path in (run / "wells").iterdir())
    assert len(pages) == len(IDS)
    linked = {link for link in page.links if not link.startswith("#")}
    assert linked == {f"wells/{name}" for name in pages}
    for link in page.links:
        assert link[1:] in page.ids if link.startswith("#") else (run / unquote(link)).is_file()
    for name in pages:
        one = Page(run / "wells" / name)
        assert [link for link in one.links if not link.startswith("#")] == ["../report.html"]
        assert {link[1:] for link in one.links if link.startswith("#")} <= set(one.ids)
        assert "script" not in one.tags
        assert one.text.count("<figure>") > 5


def test_a_well_has_on_its_page_what_is_its_own(run: Path) -> None:
    text = Page(run / "wells" / "A.html").text
    assert "Evidence: A<" in text
    assert "Evidence: B<" not in text
    assert "../charts/*-A.png" in text
    assert {"W_3.html", "W_3-2.html"} <= {path.name for path in (run / "wells").iterdir()}


def test_nothing_asks_the_network(run: Path) -> None:
    for path in (run / "report.html", *(run / "wells").iterdir()):
        text = path.read_text("utf-8")
        assert not re.search(r"https?:|//[a-z]|@import|fetch|XMLHttp|import\(", text), path.name


def test_what_was_left_out_has_its_reason(run: Path, page: Page) -> None:
    verdicts = pd.read_parquet(run / "tables" / "verdicts.parquet").set_index("well")["verdict"]
    why = {row[0]: row[3] for row in page.rows if len(row) == 4 and row[0] in IDS}
    assert set(why) == set(verdicts.index[verdicts != "refracture"])
    assert all(why.values())
    assert any(row[0] == "bad" and "p90" in row[1] for row in rows_of(page, 2))
    assert "1 could not be valued" in page.text


def test_the_words_of_the_run_end_with_the_sums(run: Path, page: Page) -> None:
    said = json.loads((run / "manifest.json").read_text("utf-8"))["run"]["verdicts"]
    assert len(said) == len(IDS) + 1
    assert all(name in words for name, words in zip(IDS, said, strict=False))
    assert all(len(words) < 200 for words in said[:-1])
    assert "Of 7 wells: " in said[-1]


def test_charts_over_wells_stand_on_the_page(run: Path, page: Page) -> None:
    for key in ("wells", "capital", "years"):
        assert (run / "charts" / f"{key}.png").is_file()
    assert page.text.count("<figure>") == len(
        [p for p in (run / "charts").glob("*.svg") if "-" not in p.name]
    )
    assert "doing nothing" in page.text


def test_any_number_of_workers_writes_the_same_pages(tmp_path: Path) -> None:
    one, two = (run_bytes(made(tmp_path / str(workers), workers, False)) for workers in (1, 2))
    assert one == two
    assert sum(name.startswith("wells/") for name in one) == len(IDS)
