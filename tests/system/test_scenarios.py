"""Scenarios of a run from end to end: the same numbers as a case written out by hand, paired differences, resume.

Oracle: runs of the case without scenarios, and of a case in which the scenario's keys stand in place of the others;
differences by NumPy from the block files. Negative control: other keys give other numbers.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from refracmc.case.validated_case import Case, WellCase
from refracmc.commands import scenario_runs
from refracmc.commands.run import run_case
from refracmc.engine import fitted_wells, manifest, store
from refracmc.errors import InputError, RunFailure
from refracmc.job.sleeves import PlanRefused
from tests.system.small_case import BLOCKS, CASE, changed, refracmc, run_bytes, write_case

SCENARIOS = """
[scenarios.low.prices]
oil_usd_per_bbl = 45.0
gas_usd_per_mcf = 2.0
[scenarios.strong.response]
uplift = { dist = "lognormal", p90 = 0.5, p10 = 2.0 }
"""
BY_HAND = {
    "low": (('deck_file = "prices.csv"', "oil_usd_per_bbl = 45.0\ngas_usd_per_mcf = 2.0"),),
    "strong": (("p90 = 0.25, p10 = 1.0", "p90 = 0.5, p10 = 2.0"),),
}
PLAIN = changed(CASE, ("[strategies]\n", "[outputs]\ncharts = false\n[strategies]\n"))


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Folders of the run with scenarios, of that without, and of those by hand."""
    folder = tmp_path_factory.mktemp("scenarios")
    texts = {"with": PLAIN + SCENARIOS, "base": PLAIN}
    texts |= {name: changed(PLAIN, *pairs) for name, pairs in BY_HAND.items()}
    made = {}
    for name, text in texts.items():
        path = write_case(folder / f"{name}-case", text)
        made[name] = run_case(path, folder / name, workers=2).folder
    return made


@pytest.mark.parametrize("name", ["base", "low", "strong"])
def test_the_numbers_are_those_of_a_case_by_hand(name: str, runs: dict[str, Path]) -> None:
    """Byte by byte: the summary, every table of the scenario's folder, every block."""
    found = runs["with"] if name == "base" else runs["with"] / "scenarios" / name
    tables = sorted(path.name for path in (found / "tables").glob("*.csv") if "scenario" not in path.name)
    assert len(tables) > 9
    for table in ["summary.csv", *(f"tables/{one}" for one in tables)]:
        assert (found / table).read_bytes() == (runs[name] / table).read_bytes(), table
    for well in range(2):
        np.testing.assert_array_equal(
            store.read_values(found, well, BLOCKS), store.read_values(runs[name], well, BLOCKS)
        )


def test_another_scenario_has_other_numbers(runs: dict[str, Path]) -> None:
    """Negative control of the comparison above."""
    found = [store.read_values(runs["with"] / "scenarios" / name, 0, BLOCKS) for name in ("low", "strong")]
    assert not np.array_equal(*found)


def values(folder: Path, well: int) -> dict[str, np.ndarray]:
    """Incremental NPV (n,) by strategy, from the block files."""
    run = json.loads((folder / "manifest.json").read_text())["run"]
    place = run["blocks"]["measures"].index("incremental_npv")
    rows = store.read_values(folder, well, BLOCKS)[place]
    return dict(zip(run["wells"][well]["strategies"], rows, strict=True))


def test_differences_are_paired_and_regret_is_that_of_the_choice_of_base(runs: dict[str, Path]) -> None:
    folder = runs["with"]
    rows = pd.read_csv(folder / "tables" / "scenarios.csv")
    assert list(rows["scenario"]) == ["base", "low", "strong"] * 2
    for number, well in enumerate(("A", "B")):
        base = values(folder, number)
        choice = max(list(base)[1:], key=lambda name: base[name].mean())
        for row in rows[rows["well"] == well].to_dict("records"):
            at = folder if row["scenario"] == "base" else folder / "scenarios" / row["scenario"]
            under = values(at, number)
            best = max(list(under)[1:], key=lambda name: under[name].mean())
            assert (row["strategy"], row["choice"]) == (best, choice)
            difference = under[best] - base[choice]
            assert row["mean_usd"] == pytest.approx(under[best].mean(), rel=1e-12)
            assert row["difference_usd"] == pytest.approx(difference.mean(), rel=1e-9, abs=1e-6)
            assert row["choice_usd"] == pytest.approx(under[choice].mean(), rel=1e-12)
            assert row["regret_usd"] == pytest.approx((under[best] - under[choice]).mean(), abs=1e-6)
            assert row["regret_usd"] >= 0.0
            if row["scenario"] != "base":
                paired = difference.std() / np.sqrt(difference.size)
                apart = np.sqrt((under[best].var() + base[choice].var()) / difference.size)
                assert row["difference_se_usd"] <= 1.3 * paired  # the design may take from it, not add to it
                assert paired < apart
    low = rows[rows["scenario"] == "low"]
    assert (low["difference_usd"] < -2 * low["difference_se_usd"]).all()


def test_what_the_scenarios_change(runs: dict[str, Path]) -> None:
    rows = pd.read_csv(runs["with"] / "tables" / "scenario_inputs.csv")
    assert rows["well"].isna().all()
    found = {(row["scenario"], row["input"]) for row in rows.to_dict("records")}
    assert found == {
        ("low", "prices.deck_file"),
        ("low", "prices.oil_usd_per_bbl"),
        ("low", "prices.gas_usd_per_mcf"),
        ("strong", "response.uplift"),
    }


def test_interrupted_and_resumed(
    runs: dict[str, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped between the scenarios' blocks and their tables, one block of a scenario gone: the same bytes."""
    path = write_case(tmp_path / "case", PLAIN + SCENARIOS)

    def fail(*_: object) -> None:
        raise RunFailure("stopped here")

    with monkeypatch.context() as patch:
        patch.setattr(scenario_runs, "tables_of_scenario", fail)
        with pytest.raises(RunFailure, match="stopped here"):
            run_case(path, tmp_path / "out", workers=1)
    work = tmp_path / "out" / ".small.partial" / "scenarios"
    gone = store.block_path(work / "low", 1, 2, store.KEPT)
    gone.unlink()
    (work / "strong" / "tables").mkdir()
    (work / "not_of_this_case").mkdir()
    kept = store.block_path(work / "strong", 1, 2, store.KEPT).stat().st_mtime_ns
    folder = run_case(path, tmp_path / "out", workers=2, resume=True).folder
    assert run_bytes(folder) == run_bytes(runs["with"])
    assert store.block_path(folder / "scenarios" / "strong", 1, 2, store.KEPT).stat().st_mtime_ns == kept


def test_a_finished_run_is_read_as_it_was_written(runs: dict[str, Path], tmp_path: Path) -> None:
    """Whole: nothing is done. A scenario's file gone: made again. A block or the manifest altered: named."""
    path = write_case(tmp_path / "case", PLAIN + SCENARIOS)
    place = tmp_path / "out" / "small"
    shutil.copytree(runs["with"], place)
    assert "complete already" in refracmc("run", path, "--out", tmp_path / "out", "--resume").stderr
    (place / "scenarios" / "low" / "summary.csv").unlink()
    done = refracmc("run", path, "--out", tmp_path / "out", "--resume")
    assert done.returncode == 0
    assert "complete already" not in done.stderr
    assert run_bytes(place) == run_bytes(runs["with"])
    block = store.block_path(place / "scenarios" / "low", 0, 0, store.KEPT)
    block.write_bytes(block.read_bytes()[:-40] + bytes(40))
    with pytest.raises(InputError, match=r"scenarios/low/blocks/well0000-block00000\.values\.npy"):
        run_case(path, tmp_path / "out", resume=True)
    assert manifest.read_manifest(place / "scenarios" / "strong") is not None


def test_a_later_run_without_scenarios_leaves_none(runs: dict[str, Path], tmp_path: Path) -> None:
    """Files of one's own beside them stay."""
    place = tmp_path / "out" / "small"
    shutil.copytree(runs["with"], place)
    (place / "scenarios" / "low" / "notes.txt").write_text("mine")
    run_case(write_case(tmp_path / "case", PLAIN), tmp_path / "out", workers=1)
    assert [
        path.relative_to(place).as_posix() for path in (place / "scenarios").rglob("*") if path.is_file()
    ] == ["scenarios/low/notes.txt"]


def test_a_well_whose_job_cannot_be_planned_under_a_scenario(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The well is left out of the scenario and listed, in the first run and where it is complete already."""
    plan = fitted_wells.build_plan

    def refuse_a(case: Case, well: WellCase, *rest: Any) -> Any:
        if well.id == "A" and case.prices.oil_usd_per_bbl == 45.0:
            raise PlanRefused("no order can be carried out")
        return plan(case, well, *rest)

    monkeypatch.setattr(fitted_wells, "build_plan", refuse_a)
    path = write_case(tmp_path / "case", PLAIN + SCENARIOS)
    for resume in (False, True):
        result = run_case(path, tmp_path / "out", workers=1, resume=resume)
        assert list(result.refused) == ["A in scenario low"]
    rows = pd.read_csv(result.folder / "tables" / "scenarios.csv")
    assert list(rows["well"] + " " + rows["scenario"]) == [
        "A base",
        "A strong",
        "B base",
        "B low",
        "B strong",
    ]
    assert list(manifest.read_manifest(result.folder / "scenarios" / "low")["run"]["refused"]) == ["A"]


def test_a_trial_of_a_scenario_is_traced(runs: dict[str, Path]) -> None:
    """To the value of the block file, and month by month to its NPV."""
    path = runs["with"].parents[1] / "with-case" / "case.toml"
    under = values(runs["with"] / "scenarios" / "low", 1)
    strategy = list(under)[1]
    words = ("trace", path, "--well", "B", "--strategy", strategy, "--trial", 700, "--json")
    found = json.loads(refracmc(*words, "--scenario", "low").stdout)
    assert found["measures"]["incremental_npv"] == pytest.approx(under[strategy][700], rel=1e-12)
    assert abs(found["reconciliation"]["difference_usd"]) < 1e-3
    other = json.loads(refracmc(*words).stdout)
    assert other["measures"]["incremental_npv"] == pytest.approx(values(runs["with"], 1)[strategy][700])
    wrong = refracmc(*words, "--scenario", "lo")
    assert wrong.returncode == 2
    assert "--scenario: found 'lo'; allowed: a scenario of the case: low, strong" in wrong.stderr


def test_the_page_has_them_side_by_side(runs: dict[str, Path]) -> None:
    """A section with the sums and the verdicts, and a table in the evidence of each well; none without scenarios."""
    page = (runs["with"] / "report.html").read_text("utf-8")
    assert page.count("Sums over wells under each scenario") == 1
    assert page.count("The best refrac under each scenario") == 2
    rows = pd.read_csv(runs["with"] / "tables" / "scenarios.csv")
    for row in rows.to_dict("records"):
        assert f"{row['verdict']}, " in page
    totals = pd.read_csv(runs["with"] / "tables" / "scenario_totals.csv")
    for name in ("low", "strong"):
        own = pd.read_csv(runs["with"] / "scenarios" / name / "tables" / "portfolio_total.csv")
        assert totals[totals["scenario"] == name].drop(columns="scenario").reset_index(drop=True).equals(own)
    assert "scenario" not in (runs["base"] / "report.html").read_text("utf-8")
