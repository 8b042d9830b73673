"""The command line as an engineer meets it: exit codes, one line a fault, no traceback, quick help.

Oracle: the rules of the house (0 done, 2 bad input, 1 failure; a line names file and key, what was found, what
is allowed and what to do) and the published list of faults. In this process, but for start-up, a fault and a
reader that leaves.
"""

import json
import math
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from refracmc import cli
from tests.system.small_case import (
    CASE,
    PRICES,
    TALLY,
    changed,
    history_text,
    refracmc,
    refracmc_process,
    write_case,
)

SECOND_WELL = CASE[CASE.index('[[wells]]\nid = "B"') :]
ONE_WELL = changed(
    CASE,
    (SECOND_WELL, ""),
    ("trials = 1100", "trials = 200"),
    ("[strategies]", "[outputs]\ncharts = false\n[strategies]"),
)
LINES = history_text().splitlines(keepends=True)

# What is changed (a text of the case by another, or a whole file), then what the line must name.
FAULTS: dict[str, tuple[dict[str, object], tuple[str, ...]]] = {
    "unknown key": (
        {"case": ("close_chance", "close_chanse")},
        ("case.toml: job.close_chanse", "unknown key", "'close_chance'?"),
    ),
    "negative rate": (
        {"case": ("horizon_months", "annual_discount_rate = -0.1\nhorizon_months")},
        ("case.toml: valuation.annual_discount_rate", "-0.1", "from 0 to 1"),
    ),
    "P90 above P10": (
        {"case": ("p90 = 0.25", "p90 = 2.5")},
        ("case.toml: response.uplift", "p90 2.5", "P90 is the low one"),
    ),
    "correlations impossible": (
        {
            "case": (
                "pairs = [",
                'pairs = [{a = "response.b", b = "response.uplift", rank_correlation = 0.9}, '
                '{a = "response.b", b = "response.decline_per_year", rank_correlation = -0.9}, ',
            )
        },
        ("case.toml: dependence.pairs", "not positive definite", "nearest valid"),
    ),
    "missing file": (
        {"case": ('history = "history.csv"', 'history = "histery.csv"')},
        ("case.toml: wells.A.history", "histery.csv", "'history.csv'?"),
    ),
    "empty history": ({"history": LINES[0]}, ("history.csv", "no rows", "month")),
    "dates out of order": (
        {"history": "".join([LINES[0], LINES[2], LINES[1], *LINES[3:]])},
        ("history.csv: row 3, date", "2022-10 after 2022-11", "sort"),
    ),
    "date doubled": (
        {"history": "".join([*LINES[:3], *LINES[2:]])},
        ("history.csv: row 4, date", "2022-11", "once"),
    ),
    "depths not monotonic": (
        {"sleeves": TALLY.replace("A,3,10900", "A,3,11400")},
        ("sleeves.csv: row 4, depth_ft", "11400"),
    ),
    "a sleeve that is not there": (
        {"case": ("mine = [1, 3, 2]", "mine = [1, 3, 20]")},
        ("case.toml: ", "custom_orders.mine", "sleeve 20"),
    ),
    "uphole rule broken": (
        {"case": ("[strategies.custom_orders]", 'reclose_habit = "never"\n[strategies.custom_orders]')},
        ("case.toml: ", "strategies", "sleeve 3"),
    ),
    "refrac before the last month": (
        {"case": ('dates = ["2027-01"', 'dates = ["2026-06"')},
        ("case.toml: strategies.dates", "2026-06", "valuation date 2026-10"),
    ),
    "interests above 1": (
        {"case": ("working = 0.9", "working = 1.2")},
        ("case.toml: wells.A.interests.working", "1.2"),
    ),
    "no number in a deck": (
        {"prices": PRICES.replace("69,", "nan,")},
        ("prices.csv: row 3, oil_usd_per_bbl", "nan"),
    ),
    "three months and no type curve": (
        {"history": LINES[0] + "".join(LINES[-3:])},
        ("history.csv", "3 producing months", "[wells.type_curve]"),
    ),
}


def faulty(folder: Path, name: str) -> Path:
    """The case of one well with one fault."""
    edits, _ = FAULTS[name]
    text = changed(ONE_WELL, edits["case"]) if "case" in edits else ONE_WELL
    files = {key: str(value) for key, value in edits.items() if key != "case"}
    return write_case(folder, text, **files)


def assert_clear(lines: list[str], name: str) -> None:
    """Each fault once, in a line with its place, what was found, what is allowed and what to do, with its line."""
    of_keys = [line for line in lines if line.startswith("refracmc: case.toml")]
    assert all(re.match(r"refracmc: case\.toml:\d+: ", line) for line in of_keys)
    lines = [re.sub(r"(?<=case\.toml):\d+(?=: )", "", line) for line in lines]
    for line in lines:
        assert line.startswith("refracmc: ")
        assert ": found " in line
        assert "; allowed: " in line
        assert line.rsplit("; ", 1)[1].strip()
    assert len(set(lines)) == len(lines) == 1
    for part in FAULTS[name][1]:
        assert any(part in line for line in lines), (part, lines)


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault(name: str, tmp_path: Path) -> None:
    """`run` and `check` say the same; nothing is left in the output folder."""
    case, out = faulty(tmp_path / "case", name), tmp_path / "out"
    for words in (("run", case, "--out", out, "--quiet"), ("check", case)):
        done = refracmc(*words)
        assert done.returncode == 2, done.stderr
        assert done.stdout == ""
        assert_clear(done.stderr.splitlines(), name)
        assert not list(out.glob("**/*"))


def test_a_fault_in_a_process_of_its_own(tmp_path: Path) -> None:
    case = faulty(tmp_path / "case", "unknown key")
    done = refracmc_process("run", case, "--out", tmp_path / "out")
    assert done.returncode == 2
    assert done.stdout == ""
    assert_clear(done.stderr.splitlines(), "unknown key")


@pytest.mark.skipif(os.name != "posix", reason="pipes of POSIX")
def test_a_reader_that_leaves(tmp_path: Path) -> None:
    """The other end of the pipe is closed before anything is said: exit code 1, no traceback."""
    case = write_case(tmp_path, ONE_WELL)
    read, write = os.pipe()
    os.close(read)
    command = [sys.executable, "-m", "refracmc", "check", str(case)]
    done = subprocess.run(command, stdout=write, stderr=subprocess.PIPE, text=True, check=False)
    os.close(write)
    assert "Traceback" not in done.stderr
    assert done.returncode == 1


def test_check_says_all_faults_of_all_cases(tmp_path: Path) -> None:
    """Several cases and several faults of one at once; the sound one is reported as well."""
    sound = write_case(tmp_path / "sound", CASE)
    cases = [faulty(tmp_path / f"case{k}", name) for k, name in enumerate(FAULTS)]
    three = changed(
        ONE_WELL,
        ("close_chance", "close_chanse"),
        ("p90 = 0.25", "p90 = 2.5"),
        ("working = 0.9", "working = 1.2"),
    )
    cases.append(write_case(tmp_path / "three", three))
    done = refracmc("check", *cases, sound)
    assert done.returncode == 2
    lines = done.stderr.splitlines()
    assert len(lines) == len(FAULTS) + 3
    for case in cases:  # several cases in one call: each line says of which
        assert sum(line.startswith(f"refracmc: {case}: ") for line in lines) in (1, 2, 3)
    assert not [line for line in lines if str(sound) in line]
    assert "small: two invented wells" in done.stdout
    for part in ("2 of 2 wells can run", "5 strategies", "1100 trials", "3 blocks", "GB of memory"):
        assert part in done.stdout
    assert refracmc("check", sound).returncode == 0


def test_nothing_but_refused_cases(tmp_path: Path) -> None:
    first = faulty(tmp_path / "a", "unknown key")
    done = refracmc("run", first, tmp_path / "absent.toml", "--out", tmp_path / "out")
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 2
    absent = tmp_path / "absent.toml"
    assert f"refracmc: {absent}: found no file there" in done.stderr  # its path once, and whole
    assert done.stderr.count("absent.toml") == 1


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (("run", "x.toml", "--trials", "0"), "2 or more"),
        (("run", "x.toml", "--trials", "many"), "whole number"),
        (("run", "x.toml", "--workers", "-1"), "1 or more"),
        (("run", "x.toml", "--out", ""), "the name of a folder"),
        (("new", " "), "the name of a folder"),
        (("run",), "CASE"),
        (("dance",), "invalid choice"),
        (("trace", "x.toml", "--well", "A", "--strategy", "nothing"), "--trial"),
        ((), "COMMAND"),
    ],
)
def test_wrong_arguments(arguments: tuple[str, ...], part: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main(list(arguments))
    assert ended.value.code == 2
    assert part in capsys.readouterr().err


def test_help_is_quick() -> None:
    """Under a quarter of a second of processor time beyond what Python itself takes to start; the best of five."""

    def seconds(*command: str) -> float:
        spent = []
        for _ in range(5):
            before = os.times()
            done = subprocess.run([sys.executable, *command], capture_output=True, text=True, check=True)
            after = os.times()
            spent.append(
                after.children_user + after.children_system - before.children_user - before.children_system
            )
        said.append(done.stdout)
        return min(spent)

    said: list[str] = []
    bare = seconds("-c", "pass")
    assert seconds("-m", "refracmc", "--help") < bare + 0.25
    for word in ("new", "check", "run", "job", "trace", "not a reserves statement", "not investment advice"):
        assert word in " ".join(said[-1].split())


def test_new_writes_a_case_that_checks(tmp_path: Path) -> None:
    done = refracmc("new", tmp_path / "mine")
    assert done.returncode == 0, done.stderr
    written = [Path(line) for line in done.stdout.splitlines()]
    assert all(path.exists() for path in written)
    assert refracmc("check", tmp_path / "mine" / "case.toml").returncode == 0
    again = refracmc("new", tmp_path / "mine")
    assert again.returncode == 2
    assert len(again.stderr.splitlines()) == len(written)


def no_constant(text: str) -> float:
    raise AssertionError(f"{text} is no JSON")


def test_job_plans_without_values(tmp_path: Path) -> None:
    charts_off = ("[strategies]", "[outputs]\ncharts = false\n[strategies]")
    case = write_case(tmp_path, changed(CASE, ("trials = 1100", "trials = 300"), charts_off))
    done = refracmc("job", case, "--json", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    content = json.loads(done.stdout, parse_constant=no_constant)
    assert [well["well"] for well in content["wells"]] == ["A", "B"]
    for well in content["wells"]:
        orders = {order["order"]: order for order in well["orders"]}
        treated = [step["sleeve"] for step in orders["mine"]["steps"] if step["action"] == "treat"]
        assert treated == [1, 3, 2]  # in the order stated
        treated = [step["sleeve"] for step in orders["toe_to_heel"]["steps"] if step["action"] == "treat"]
        assert treated == list(range(1, 9))
        for order in orders.values():
            for key in ("step", "action", "sleeve", "depth_ft", "hours"):
                assert all(key in step for step in order["steps"])
            hours = math.fsum(step["hours"] for step in order["steps"])
            assert hours / 24.0 == pytest.approx(order["planned_days"], rel=1e-12)
        for row in well["strategies"]:
            assert row["days"]["p90"] <= row["days"]["p50"] <= row["days"]["p10"]
            cost = math.fsum(row["mean_cost_parts_usd"].values())
            assert cost == pytest.approx(row["cost_usd"]["mean"], rel=1e-9)
    text = refracmc("job", case, "--well", "B", "--trials", "64", "--out", tmp_path / "out")
    assert text.returncode == 0
    assert text.stdout.splitlines()[-1] == str(tmp_path / "out" / "small" / "job")
    assert "toe_to_heel" in text.stdout
    assert "A:" not in text.stdout
    assert refracmc("job", case, "--well", "C", "--out", tmp_path / "out").returncode == 2
