"""Damaged cases, the short form of benchmarks/mutants.py: no traceback, no wait, a message for every refusal.

Oracle: the rules of the house for input faults.
"""

import random
import time
import tomllib
from pathlib import Path

import pytest

from benchmarks.mutants import (
    Trying,
    broken_rule,
    call,
    folder_state,
    infinite_cells,
    starter_files,
    try_mutants,
)
from benchmarks.stated_keys import schema_keys, state_keys, toml_text
from refracmc import cli
from refracmc.case.key_table import key_rows
from refracmc.case.load_well import OVERRIDES


def test_damaged_cases(tmp_path: Path) -> None:
    counts = try_mutants(range(60), Trying(20, 0, 0, patience=10.0, kept=tmp_path))
    assert counts["broken"] == 0
    assert counts["check 2"] > 30
    assert counts["check 0"] + counts["check 2"] == 60


def test_what_breaks_a_rule() -> None:
    """Negative control."""
    assert broken_rule(cli.DONE, "") is None
    assert broken_rule(cli.BAD_INPUT, "refracmc: case.toml: name: found no name") is None
    assert broken_rule("ValueError", "refracmc: what") is not None
    assert broken_rule(3, "refracmc: what") is not None
    assert broken_rule(cli.BAD_INPUT, "") is not None
    assert broken_rule(cli.BAD_INPUT, "refracmc: \x1b[2J") is not None


def test_every_key_of_the_schema_is_stated() -> None:
    """Oracle: the keys that `explain keys` lists, and those that a well may state over the shared ones."""
    listed = {row.path for row in key_rows()}
    stated = {".".join((*key.tables, key.name)).replace(".mine.", ".") for key in schema_keys()}
    assert {path for path in listed if path != "dependence.pairs"} <= stated
    assert {f"wells.{path}" for path in listed if path.split(".")[0] in OVERRIDES} <= stated


def test_what_is_stated_is_a_case_that_can_be_read() -> None:
    """The case written again is the same case; with keys stated it is TOML still, and another."""
    text = starter_files()["case.toml"].decode()
    assert tomllib.loads(toml_text(tomllib.loads(text))) == tomllib.loads(text)
    draw = random.Random(3)
    assert all(tomllib.loads(state_keys(draw, text)) != tomllib.loads(text) for _ in range(40))


def test_what_is_written_is_found(tmp_path: Path) -> None:
    """Negative control: a file beside the output folder, one changed, an infinite number in a table and in JSON."""
    (tmp_path / "out").mkdir()
    (tmp_path / "case.toml").write_text("a = 1")
    before = folder_state(tmp_path, tmp_path / "out")
    (tmp_path / "out" / "table.csv").write_text("well,value\nInf,2.5\n-Inf,1\n")
    assert folder_state(tmp_path, tmp_path / "out") == before
    (tmp_path / "case.toml").write_text("a = 2")
    assert folder_state(tmp_path, tmp_path / "out") != before
    assert infinite_cells(tmp_path / "out") == ["table.csv: row 2, well: Inf", "table.csv: row 3, well: -Inf"]
    (tmp_path / "out" / "table.csv").write_text("well,value\nW-1,2.5\nW-2,inf\n")
    (tmp_path / "out" / "more.json").write_text('{"value": Infinity}')
    assert infinite_cells(tmp_path / "out") == ["table.csv: row 3, value: inf", "more.json: Infinity"]


def test_what_never_comes_may_be_infinite(tmp_path: Path) -> None:
    """As the definition of the measure says; negative controls: another measure, and minus infinity."""
    (tmp_path / "table.csv").write_text(
        "measure,mean,p90,p10\npayout_months,,5,inf\nnpv,,5,inf\npayout_months,,-inf,7\n"
    )
    assert infinite_cells(tmp_path) == ["table.csv: row 3, p10: inf", "table.csv: row 4, p90: -inf"]


def test_a_command_that_takes_too_long_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Negative control."""

    def wait(words: list[str]) -> int:
        while True:
            time.sleep(0.01)

    monkeypatch.setattr(cli, "main", wait)
    code, said, _ = call(["check"], patience=0.05)
    assert "TookTooLong" in str(broken_rule(code, said))
