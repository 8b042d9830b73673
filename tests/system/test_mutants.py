"""Damaged cases, the short form of benchmarks/mutants.py: no traceback, no wait, a message for every refusal.

Oracle: the rules of the house for input faults.
"""

from pathlib import Path

from benchmarks.mutants import Trying, broken_rule, try_mutants
from refracmc import cli


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
