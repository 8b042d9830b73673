"""`refracmc explain`: every topic and name prints, fits the terminal, and an unknown word is one message.

Oracle: the schema of the case and the widths asked for. Negative controls: words that stand nowhere, files that
cannot be written.
"""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from refracmc import cli
from refracmc.case.key_table import key_rows
from refracmc.commands.explain import explain
from refracmc.errors import InputError
from refracmc.reference.text import Code, Paragraph, Table, names_in, read_pieces
from refracmc.reference.topics import NAMES, Reference

PARSER = cli.command_line()


def said(*words: str, width: int = 100) -> str:
    return explain(words, PARSER, width)


@pytest.mark.parametrize("width", [60, 100])
@pytest.mark.parametrize("name", NAMES)
def test_a_topic_prints_within_the_width(name: str, width: int) -> None:
    text = said(name, width=width)
    title = Reference.title(name)
    assert " ".join(text.split()).startswith(title)
    assert f"  {name} " in said()
    wide = [line for line in text.splitlines() if len(line) > width and not line.startswith("    ")]
    assert not [line for line in wide if max(map(len, line.split())) < width - 25], wide
    assert "`" not in text
    assert "{{" not in text


def test_every_key_is_told_as_the_schema_has_it() -> None:
    reference = Reference(PARSER)
    for row in key_rows():
        found = reference.find([row.path])
        assert isinstance(found, list)
        (cells,) = {place.row for place in found if place.row and row.meaning in place.row}
        assert {row.default, row.allowed or "-", row.unit or "-", row.source or "-"} <= set(cells)
        assert cells[0].endswith("*") == row.uncertain
    text = said("job.close_chance")
    for part in (
        "fraction",
        "0.95",
        "above 0 and up to 1, or a distribution",
        "assumption",
        "one try closes",
    ):
        assert part in text


@pytest.mark.parametrize(
    ("word", "full", "part"),
    [
        ("close_chance", "job.close_chance", "one try closes an open sleeve"),
        ("wells.job.close_chance", "job.close_chance", "one try closes an open sleeve"),
        ("lateral_m", "completion.lateral_m", "completed lateral length"),
        ("type_curve.b", "wells.type_curve.b", "hyperbolic exponent"),
        ("[job.cost]", "[job.cost]", "mobilisation_usd"),
        ("[strategies]", "[strategies]", "when_not_closing"),
        ("chance_of_best", "decision.chance_of_best", "no other strategy"),
        ("lognormal", "lognormal", "median, log_sd"),
        ("alternating", "alternating", "1 3 2 5 4 6"),
        ("payout_months", "payout_months", "months"),
        ("bullhead", "bullhead", "down the casing"),
        ("--keep-trials", "run.--keep-trials", "every input"),
        ("tornado", "tornado", "low_mean_usd"),
        ("run_case", "run_case", "keep_trials=None"),
        ("P90", "P90", "the low value"),
        ("working interest", "working interest", "share of the costs"),
        ("stop loss", "stop-loss", "called off"),
        ("stop_loss", "stop-loss", "called off"),
        ("crps", "scores.csv", "ranked probability"),
    ],
)
def test_a_name_or_its_unique_ending_is_found(word: str, full: str, part: str) -> None:
    text = said(word)
    assert full in text
    assert part in " ".join(text.split())


@pytest.mark.parametrize(
    ("word", "parts"),
    [
        ("clos_chance", ["did you mean", "job.close_chance"]),
        ("strategy.orders", ["did you mean", "strategies.orders"]),
        ("se_usd", ["in ", "places", "decision.se_usd"]),
        ("qqqqqq", ["lists the topics"]),
    ],
)
def test_an_unknown_word_is_one_message(
    word: str, parts: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["explain", word]) == cli.BAD_INPUT
    out = capsys.readouterr()
    assert not out.out
    assert out.err.count("\n") == 1
    assert all(part in out.err for part in parts), out.err


def test_the_page_is_whole_and_stands_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "reference.html"
    assert cli.main(["explain", "--html", str(file)]) == cli.DONE
    assert capsys.readouterr().out.split() == [str(file)]
    page = file.read_text("utf-8")
    anchors = re.findall(r'id="([^"]+)"', page)
    assert len(anchors) == len(set(anchors))
    assert {*NAMES, *(row.path for row in key_rows())} <= set(anchors)
    assert set(re.findall(r'href="#([^"]+)"', page)) == set(NAMES)
    assert not re.findall(r"(?:src|href)=\"(?!#)", page)
    assert page.rstrip().endswith("</html>")
    assert "&lt;order&gt;@YYYY-MM" in page
    assert "`" not in re.sub(r"<pre>.*?</pre>", "", page, flags=re.DOTALL)
    assert [path.name for path in tmp_path.iterdir()] == [file.name]


@pytest.mark.parametrize("where", [".", "missing/reference.html"])
def test_a_page_that_cannot_stand_there_is_one_message(
    where: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert cli.main(["explain", "--html", where]) == cli.BAD_INPUT
    out = capsys.readouterr()
    assert (out.out, out.err.count("\n")) == ("", 1)
    assert not list(tmp_path.iterdir())


@pytest.mark.skipif(os.name != "posix", reason="pipes of POSIX")
def test_a_page_replaces_no_pipe_or_device(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    assert cli.main(["explain", "--html", str(pipe)]) == cli.BAD_INPUT
    assert "a pipe, socket or device" in capsys.readouterr().err
    assert pipe.is_fifo()
    assert [path.name for path in tmp_path.iterdir()] == ["pipe"]


def test_a_page_that_fails_half_way_leaves_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from refracmc.commands.explain import write_page

    file = tmp_path / "reference.html"
    file.write_text("old", "utf-8")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.replace", full)
    with pytest.raises(InputError, match="No space left"):
        write_page(str(file), PARSER)
    assert file.read_text("utf-8") == "old"
    assert [path.name for path in tmp_path.iterdir()] == [file.name]


def test_a_key_loads_nothing_heavy_and_a_closed_pipe_is_no_fault() -> None:
    heavy = ("matplotlib", "pandas", "numba", "SALib", "jinja2")
    code = (
        "import sys; from refracmc import cli; cli.main(['explain', 'job.close_chance']);"
        f"sys.exit(str([m for m in {heavy} if m in sys.modules]).strip('[]') or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    call = f"'{sys.executable}' -m refracmc explain tables | head -n 1"
    piped = subprocess.run(["bash", "-c", call], capture_output=True, text=True)
    assert piped.stdout.startswith("Tables of a run")
    assert not piped.stderr


def test_the_texts_are_read_as_they_are_written() -> None:
    text = """# Title

Some `names`
in two lines.

- one
  goes on
- two

| `a`, `b` | unit |
|---|---|
| `x` \\| y | 1 |

    kept   as it is

{{ source }}
"""
    title, pieces = read_pieces(text, lambda name: [Paragraph(f"asked for {name}")])
    assert title == "Title"
    paragraph, listing, table, code, asked = pieces
    assert paragraph == Paragraph("Some `names` in two lines.")
    assert getattr(listing, "items", None) == ("one goes on", "two")
    assert table == Table(("`a`, `b`", "unit"), (("`x` | y", "1"),))
    assert names_in("`a`, `b`") == ["a", "b"]
    assert code == Code("kept   as it is")
    assert asked == Paragraph("asked for source")
