"""A file of the user stands where a command would write: refused in one line, nothing lost, nothing written.

Oracle: the house rule on errors.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from refracmc import cli
from tests.system.small_case import CASE, write_case


@pytest.mark.parametrize("command", ["job", "orders", "forecast", "hindcast", "run"])
def test_a_file_in_the_place_of_the_output(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    """Told before the work, in one line; the file stays as it was and nothing is written."""
    case = write_case(tmp_path / "case", CASE)
    place = tmp_path / "place"
    place.write_text("mine")
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    rest = {
        "orders": (case, "--well", "A"),
        "hindcast": (case.parent / "history.csv", "--months-in", "6", "--months-out", "6"),
    }.get(command, (case,))
    for out in (place, place / "deeper"):
        assert cli.main([command, *map(str, rest), "--out", str(out)]) == 2
        (line,) = capsys.readouterr().err.splitlines()
        assert str(place) in line
        assert "; allowed: a folder" in line
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before


def test_job_over_a_file_of_the_user(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where a well's folder should stand."""
    case = write_case(tmp_path / "case", CASE)
    place = tmp_path / "out" / "small" / "job"
    place.parent.mkdir(parents=True)
    place.write_text("mine")
    assert cli.main(["job", str(case), "--trials", "8", "--well", "A", "--out", str(tmp_path / "out")]) == 2
    assert f"{place}: found a file" in capsys.readouterr().err
    assert place.read_text() == "mine"


LONG = "a" * 300


@pytest.mark.skipif(os.name != "posix", reason="names of POSIX: 255 bytes")
@pytest.mark.parametrize(
    "words",
    [
        ("new", LONG),
        ("run", "case.toml", "--trials", "8", "--out", LONG),
        ("job", "case.toml", "--trials", "8", "--out", f"{LONG}/deeper"),
        ("forecast", "case.toml", "--out", LONG),
        ("hindcast", LONG, "--months-in", "6", "--months-out", "6"),
        ("hindcast", "history.csv", "--months-in", "6", "--months-out", "6", "--out", LONG),
        ("explain", "--html", LONG),
    ],
)
def test_a_name_that_is_too_long(
    words: tuple[str, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(write_case(tmp_path / "case", CASE).parent)
    stood = sorted(tmp_path.rglob("*"))
    assert cli.main(words) == cli.BAD_INPUT
    assert capsys.readouterr().err.splitlines()[-1].startswith("refracmc: ")
    assert sorted(tmp_path.rglob("*")) == stood


@pytest.mark.skipif(os.name != "posix", reason="links of POSIX")
@pytest.mark.parametrize(
    ("command", "link"),
    [
        ("run", "small"),
        ("run", ".small.partial"),
        ("job", "small"),
        ("job", "small/job"),
        ("job", "small/job/A"),
        ("job", "small/job/A/days.csv"),
        ("orders", "small/orders"),
        ("orders", "small/orders/orders-A-2027-01.csv"),
        ("forecast", "small"),
        ("forecast", "small/forecasts"),
        ("forecast", "small/forecasts/forecast_A.png"),
        ("hindcast", "scores.csv"),
        ("hindcast", ".scores.csv.part"),
    ],
)
def test_a_link_inside_the_output_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str, link: str
) -> None:
    """Named in one line before the work; what it leads to is neither written nor emptied. `--out` may be a link."""
    case = write_case(tmp_path / "case", CASE)
    mine, out = tmp_path / "mine", tmp_path / "out"
    mine.mkdir()
    (mine / "days.csv").write_text("mine")
    out.mkdir()
    (tmp_path / "to_out").symlink_to(out)
    (out / link).parent.mkdir(parents=True, exist_ok=True)
    (out / link).symlink_to(mine / "days.csv" if link.endswith(("csv", "png", "part")) else mine)
    words = {
        "orders": (case, "--well", "A", "--trials", "8"),
        "hindcast": (case.parent / "history.csv", "--months-in", "6", "--months-out", "6"),
        "job": (case, "--well", "A", "--trials", "8"),
    }.get(command, (case,))
    stood = sorted(tmp_path.rglob("*"))
    assert cli.main([command, *map(str, words), "--out", str(tmp_path / "to_out")]) == 2
    line = capsys.readouterr().err.splitlines()[-1]
    assert str(tmp_path / "to_out" / link) in line
    assert "a link" in line
    assert sorted(tmp_path.rglob("*")) == stood
    assert (out / link).is_symlink()
    assert (mine / "days.csv").read_text() == "mine"
