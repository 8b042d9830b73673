"""`refracmc hindcast` and `refracmc forecast` as an engineer meets them.

Oracle: the rules of the house (exit codes, one line a fault), and counts taken from the files put in.
"""

from pathlib import Path

import pandas as pd
import pytest

from refracmc import cli
from tests.system.small_case import write_case

DATA = Path(__file__).parents[1] / "data"
HISTORY, WELLS = DATA / "shale_ten_production.csv", DATA / "shale_ten_wells.csv"


@pytest.fixture(scope="module")
def four(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four wells of the subset, one of them too short for 12 + 12 months."""
    frame = pd.read_csv(HISTORY, dtype={"well_id": str})
    parts = [rows for _, rows in list(frame.groupby("well_id"))[:4]]
    parts[3] = parts[3].head(20)
    path = tmp_path_factory.mktemp("four") / "history.csv"
    pd.concat(parts).to_csv(path, index=False)
    return path


def hindcast(*words: object) -> int:
    return cli.main(["hindcast", *map(str, words)])


def test_every_well_is_accounted_for(four: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = (four, "--months-in", 12, "--months-out", 12, "--wells", WELLS, "--quiet")
    assert hindcast(*words, "--out", tmp_path / "listed") == cli.DONE
    listed = pd.read_csv(tmp_path / "listed" / "hindcast.csv")
    assert listed["reason"].str.contains("1 hidden months not declared: not scored").sum() == 1
    assert listed["used"].sum() == 2
    words = (*words, "--undeclared", "zero")
    for name in ("a", "b"):
        assert hindcast(*words, "--out", tmp_path / name) == cli.DONE
    table = pd.read_csv(tmp_path / "a" / "hindcast.csv", dtype={"well_id": str})
    assert len(table) == 4
    assert table["used"].sum() == 3
    assert "24 are needed" in table.loc[~table["used"], "reason"].iloc[0]
    assert "3 of 4 wells scored" in capsys.readouterr().out
    names = sorted(path.name for path in (tmp_path / "a").iterdir())
    assert {"hindcast.csv", "hindcast_baseline.csv", "scores.csv", "hindcast.png"} <= set(names)
    for name in names:
        one, two = tmp_path / "a" / name, tmp_path / "b" / name
        assert one.read_bytes() == two.read_bytes(), name


FAULTS = {
    "missing file": (("nowhere.csv", "--months-in", 12, "--months-out", 12), ("nowhere.csv", "no file there")),
    "missing columns": ((WELLS, "--months-in", 12, "--months-out", 12), ("no column date, oil_bbl, gas_mcf",)),
    "half a month": ((HISTORY, "--months-in", "2.5", "--months-out", 12), ("--months-in", "'2.5'", "whole number")),
    "no month": ((HISTORY, "--months-in", 12, "--months-out", 0), ("--months-out", "0 months", "1 to 3,600")),
    "endless months": ((HISTORY, "--months-in", "9" * 30, "--months-out", 12), ("--months-in", "9999", "3 to 3,600")),
    "a float": ((HISTORY, "--months-in", "1e30", "--months-out", 12), ("--months-in", "'1e30'", "3 to 3,600")),
    "unknown phase": (
        (HISTORY, "--months-in", 12, "--months-out", 12, "--phase", "water"),
        ("--phase", "'water'", "auto, oil, gas"),
    ),
    "too little history": (
        (HISTORY, "--months-in", 300, "--months-out", 12),
        ("10 wells, none of them with enough history", "300 + 12"),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_one_line(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words, told = FAULTS[name]
    assert hindcast(*words, "--out", tmp_path / "out", "--quiet") == cli.BAD_INPUT
    said = capsys.readouterr()
    assert said.out == ""
    (line,) = said.err.strip().splitlines()
    assert line.startswith("refracmc: ")
    assert "allowed: " in line
    assert all(word in line for word in told), line
    assert not (tmp_path / "out").exists()


def test_all_faults_come_at_once(capsys: pytest.CaptureFixture[str]) -> None:
    assert hindcast("x.csv", "--months-in", "x", "--months-out", 0, "--undeclared", "no") == cli.BAD_INPUT
    assert len(capsys.readouterr().err.strip().splitlines()) == 4


def test_pages_have_the_same_bytes_twice(tmp_path: Path) -> None:
    case = write_case(tmp_path)
    for name in ("a", "b"):
        assert cli.main(["forecast", str(case), "--well", "A", "--out", str(tmp_path / name), "--quiet"]) == 0
    files = [path for path in (tmp_path / "a").rglob("*") if path.is_file()]
    assert len(files) == 5
    for path in files:
        other = tmp_path / "b" / path.relative_to(tmp_path / "a")
        assert path.read_bytes() == other.read_bytes(), path
    assert cli.main(["forecast", str(case), "--well", "nobody", "--quiet"]) == cli.BAD_INPUT
