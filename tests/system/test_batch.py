"""Several cases in one call: what can run runs, what cannot is told; the summary that a run leaves.

Oracle: the rules of the house, the published columns and measures, and the trials of the blocks on disk.
"""

import csv
import json

import numpy as np
import pandas as pd
import pytest

from refracmc.case.validated_case import Case
from refracmc.commands import run
from tests.system.small_case import changed, refracmc, write_case
from tests.system.test_command_line import LINES, ONE_WELL, SECOND_WELL

PUBLISHED = (
    *("npv", "incremental_npv", "irr", "payout_months", "eur", "incremental_eur", "capital_efficiency"),
    *("p_loss", "cvar", "breakeven_price", "job_days", "job_cost"),
)


@pytest.fixture(scope="module")
def batch(tmp_path_factory: pytest.TempPathFactory):
    """Two cases, one of which has a refused well; a third of the same name as the first; one that is no TOML."""
    folder = tmp_path_factory.mktemp("batch")
    good = write_case(folder / "good", changed(ONE_WELL, ('name = "small"', 'name = "good"')))
    half = write_case(
        folder / "half",
        changed(ONE_WELL, ('name = "small"', 'name = "half"')) + SECOND_WELL,
        history=LINES[0] + "".join(LINES[-3:]),
    )
    again = write_case(folder / "again", changed(ONE_WELL, ('name = "small"', 'name = "good"')))
    broken = write_case(folder / "broken", "name = ")
    out = folder / "out"
    return refracmc("run", good, half, again, broken, "--out", out, "--quiet", "--workers", 1), out


def test_a_batch_runs_what_can_run(batch) -> None:
    done, out = batch
    assert done.returncode == 1
    lines = done.stderr.splitlines()
    assert len(lines) == 3
    named = {key: f"refracmc: {out.parent / key / 'case.toml'}: " for key in ("half", "again", "broken")}
    by_case = {key: [line for line in lines if line.startswith(start)] for key, start in named.items()}
    assert "well A: history.csv" in by_case["half"][0]
    assert "[wells.type_curve]" in by_case["half"][0]
    assert str(out.parent / "good" / "case.toml") in by_case["again"][0]
    assert "no valid TOML" in by_case["broken"][0]
    assert sorted(entry.name for entry in out.iterdir()) == ["good", "half"]
    wells = pd.read_csv(out / "half" / "summary.csv", dtype={"well": str})["well"].unique().tolist()
    assert wells == ["B"]
    assert set(pd.read_csv(out / "good" / "summary.csv")["well"]) == {"A"}
    manifest = json.loads((out / "half" / "manifest.json").read_text("utf-8"))
    assert list(manifest["run"]["refused"]) == ["A"]
    assert "3 producing months" in (out / "half" / "report.html").read_text("utf-8")


@pytest.mark.parametrize(
    "error", [ValueError("a grade\n of 9"), FloatingPointError("overflow"), MemoryError()]
)
def test_numbers_that_fail_inside_a_case_stop_no_other(
    batch, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    """Told by the case's file in one line; the next one starts all the same."""
    _, out = batch
    started: list[str] = []

    def stops(case: Case, *_: object) -> None:
        started.append(case.name)
        raise error

    monkeypatch.setattr(run, "_run_loaded", stops)
    cases = [out.parent / name / "case.toml" for name in ("good", "half")]
    done = refracmc("run", *cases, "--out", out, "--quiet")
    assert done.returncode == 1
    assert started == ["good", "half"]
    lines = done.stderr.splitlines()
    assert [line.split(": ")[1] for line in lines] == [str(path) for path in cases]
    assert all(
        ("out of memory" if isinstance(error, MemoryError) else "numbers of this case") in line
        for line in lines
    )


def test_the_summary_is_tidy(batch) -> None:
    """Columns, measures, units and strategies as published; CSV and Parquet hold the same numbers."""
    _, out = batch
    text = pd.read_csv(out / "good" / "summary.csv")
    with (out / "good" / "summary.csv").open(newline="", encoding="utf-8") as file:
        cells = list(csv.DictReader(file))
    stored = pd.read_parquet(out / "good" / "summary.parquet")
    columns = ["well", "strategy", "measure", "unit", "mean", "se"]
    columns += ["p90", "p90_se", "p50", "p50_se", "p10", "p10_se", "undefined_share"]
    assert list(text.columns) == list(stored.columns) == columns
    for name in columns[:4]:
        assert [row[name] for row in cells] == stored[name].tolist()
    for name in columns[4:]:
        np.testing.assert_array_equal(
            [float(row[name] or "nan") for row in cells], stored[name], err_msg=name
        )
    assert set(PUBLISHED) <= set(text["measure"])
    units = text.groupby("measure")["unit"].unique()
    assert [*units["npv"], *units["job_cost"]] == ["US$ WI", "US$ gross"]
    assert units["eur"].tolist() == ["bbl"]
    assert units["job_days"].tolist() == ["days"]
    assert units.map(len).eq(1).all()
    orders = [f"{order}@{date}" for date in ("2027-01", "2028-04") for order in ("toe_to_heel", "mine")]
    assert text["strategy"].drop_duplicates().tolist() == ["nothing", *orders]
    assert text.groupby(["well", "strategy", "measure"]).size().eq(1).all()
    value = text.set_index(["strategy", "measure"])
    assert (value["p90"].dropna() <= value["p50"].dropna()).all()
    assert (value["p50"].dropna() <= value["p10"].dropna()).all()
    assert value["undefined_share"].between(0, 1).all()
    assert value.loc[("nothing", "incremental_npv"), "mean"] == 0.0
    chance = value.xs("p_loss", level="measure")["mean"]
    assert chance.between(0, 1).all()
    values = np.load(out / "good" / "blocks" / "well0000-block00000.values.npy")
    assert value.loc[("mine@2027-01", "npv"), "mean"] == pytest.approx(values[0, 2].mean(), rel=1e-12)
    assert chance["mine@2027-01"] == pytest.approx((values[1, 2] < 0).mean(), abs=1e-12)
