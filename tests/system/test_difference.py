"""`refracmc difference`: inputs, values and verdicts of two runs against each other, and what of it is noise.

Oracle: differences and their errors by NumPy from the trials of both runs; the inputs that were written into the cases.
Negative control: another seed moves values by noise, and nothing is said to differ beyond it.
"""

from __future__ import annotations

import json
import math
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from refracmc.commands.difference import Difference, FinishedRun, run_difference
from refracmc.commands.run import run_case
from refracmc.decisions.run_differences import NOISE, has_turned, within_noise
from refracmc.engine import store
from refracmc.errors import InputError
from tests.system import reading
from tests.system.small_case import CASE, changed, refracmc, write_case

PLAIN = changed(
    CASE,
    ("[strategies]\n", "[outputs]\ncharts = false\n[strategies]\n"),
    ("seed = 5\n", 'seed = 5\ndesign = "plain"\n'),
)
DEAR = changed(
    PLAIN,
    ("mobilisation_usd = 200000", "mobilisation_usd = 500000"),
    ("net_revenue = 0.7", "net_revenue = 0.68"),
)


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("difference")
    prices = "month,oil_usd_per_bbl,gas_usd_per_mcf\n2026-09,50,2\n2026-10,49,2.1\n2026-11,48,2.2\n"
    one_well = PLAIN[: PLAIN.index('[[wells]]\nid = "B"')]
    cases: dict[str, tuple[str, dict[str, str], dict[str, int]]] = {
        "base": (PLAIN, {}, {}),
        "dear": (DEAR, {}, {}),
        "cheap oil": (PLAIN, {"prices": prices}, {}),
        "other seed": (PLAIN, {}, {"seed": 6}),
        "more": (PLAIN, {}, {"trials": 1200}),
        "one well": (one_well, {}, {}),
    }
    made = {}
    for name, (text, files, how) in cases.items():
        path = write_case(folder / f"{name} case", text, **files)
        made[name] = run_case(path, folder / name, workers=2, **how).folder
    return made


def trials(folder: Path, number: int) -> tuple[str, np.ndarray, np.ndarray, np.ndarray]:
    """Best refrac of a well; NPV left alone, its incremental NPV and capital (n,), from the block files."""
    run = json.loads((folder / "manifest.json").read_text())["run"]
    names = run["wells"][number]["strategies"]
    values = store.read_values(folder, number, len(run["blocks"]["trials"]))
    npv, inc, capex = (
        values[run["blocks"]["measures"].index(name)] for name in ("npv", "incremental_npv", "capex")
    )
    best = 1 + int(inc[1:].mean(axis=1).argmax())
    return names[best], npv[0], inc[best], capex[best]


def rows_of(found: Difference) -> dict[tuple[str | None, str], dict]:
    return {(row["well"], row["measure"]): row for row in found.content["differences"]}


def test_paired_errors_are_those_of_the_differences(runs: dict[str, Path]) -> None:
    found = run_difference(runs["base"], runs["dear"])
    rows = rows_of(found)
    assert found.content["errors"] == "paired"
    totals: list[np.ndarray] = []
    for number, well in enumerate(("A", "B")):
        (_, alone, inc, cost), (_, alone2, inc2, cost2) = (trials(runs[k], number) for k in ("base", "dear"))
        totals.append(inc2 - inc)
        for measure, moved in (
            ("mean", inc2 - inc),
            ("nothing", alone2 - alone),
            ("capital", cost2 - cost),
            ("p_loss", (inc2 < 0) * 1.0 - (inc < 0)),
        ):
            row = rows[well, measure]
            assert row["difference"] == pytest.approx(moved.mean(), rel=1e-9, abs=1e-9)
            assert row["se"] == pytest.approx(moved.std(ddof=1) / math.sqrt(moved.size), rel=1e-9, abs=1e-9)
            assert row["within_noise"] is bool(abs(moved.mean()) < 2 * row["se"] or moved.mean() == 0.0)
        for measure, share in (("p90", 0.1), ("p50", 0.5), ("p10", 0.9)):
            row = rows[well, measure]
            assert row["difference"] == pytest.approx(np.quantile(inc2, share) - np.quantile(inc, share))
    assert rows["A", "capital"]["within_noise"] is False
    assert rows["A", "capital"]["se"] < 0.01 * rows["A", "capital"]["difference"]
    total = rows[None, "mean"]
    assert total["difference"] == pytest.approx(sum(totals).mean(), rel=1e-9)
    assert total["se"] == pytest.approx(sum(totals).std(ddof=1) / math.sqrt(totals[0].size), rel=1e-9)


def test_the_inputs_that_differ(runs: dict[str, Path]) -> None:
    found = run_difference(runs["base"], runs["dear"]).content
    told = {(row["well"], row["input"]): (row["before"], row["after"]) for row in found["inputs"]}
    assert set(told) == {(None, "job.cost.mobilisation_usd"), ("A", "interests.net_revenue")}
    assert told["A", "interests.net_revenue"] == ("0.7", "0.68")
    assert [row["file"] for row in found["files"]] == ["case.toml"]
    prices = run_difference(runs["base"], runs["cheap oil"]).content
    assert prices["inputs"] == []  # the name of the deck is the same
    assert prices["files"] == [{"file": "prices.csv", "how": "changed"}]
    assert rows_of(Difference(prices))["A", "mean"]["within_noise"] is False


def test_another_seed_is_noise(runs: dict[str, Path]) -> None:
    """Negative control. 21 differences, of which those of a well and of the sum hang together: 4 may be beyond by
    luck (binomial: 1 in 300 of 21 independent ones), none by 5 standard errors."""
    found = run_difference(runs["base"], runs["other seed"])
    assert found.content["errors"] == "independent"
    assert [row["input"] for row in found.content["inputs"]] == ["sampling.seed"]
    rows = found.content["differences"]
    assert len(rows) == 21
    assert all(row["difference"] != 0.0 for row in rows)
    assert sum(row["within_noise"] is False for row in rows) <= 4
    assert all(abs(row["difference"]) < 5 * row["se"] for row in rows)
    first, second = (FinishedRun(runs[name]).best_refrac("A").incremental for name in ("base", "other seed"))
    apart = math.hypot(first.std(ddof=1), second.std(ddof=1)) / math.sqrt(first.size)
    assert rows_of(found)["A", "mean"]["se"] == pytest.approx(apart, rel=1e-9)
    assert "within noise" in found.text()
    assert "Verdicts that turned: none" in found.text()


def test_a_run_against_itself(runs: dict[str, Path]) -> None:
    found = run_difference(runs["base"], runs["base"])
    assert all(row["difference"] == 0.0 and row["within_noise"] for row in found.content["differences"])
    assert "Inputs: no difference" in found.text()
    assert "No number differs" in found.text()


def test_more_trials_are_not_paired(runs: dict[str, Path]) -> None:
    found = run_difference(runs["base"], runs["more"]).content
    assert found["errors"] == "independent"
    assert all(row["within_noise"] for row in found["differences"])  # the first 1,024 trials are the same


def test_wells_of_one_run_alone(runs: dict[str, Path]) -> None:
    found = run_difference(runs["base"], runs["one well"])
    assert found.content["wells_only_before"] == ["B"]
    assert found.content["wells_only_after"] == []
    assert {row["well"] for row in found.content["differences"]} == {"A"}
    assert "wells only before: B" in found.text()


def test_percentiles_of_pairs_have_their_own_error() -> None:
    """Oracle: the scatter of the difference of two medians over 400 samples of pairs (its relative error 3.5 %).
    Negative control: errors of independent samples are too wide by far."""
    from refracmc.sampling.estimators import quantile_contributions

    rng = np.random.default_rng(7)
    gaps, paired, apart = [], [], []
    for _ in range(400):
        common = rng.normal(size=500)
        found = [quantile_contributions(common + 0.3 * rng.normal(size=500), 0.5) for _ in range(2)]
        (one, parts), (two, others) = found
        gaps.append(two - one)
        paired.append((others - parts).std(ddof=1) / math.sqrt(500))
        apart.append(math.hypot(parts.std(ddof=1), others.std(ddof=1)) / math.sqrt(500))
    scatter = np.std(gaps)
    assert np.sqrt(np.mean(np.square(paired))) == pytest.approx(scatter, rel=4 * 0.036)
    assert np.mean(apart) > 1.5 * scatter


@pytest.mark.parametrize(
    ("before", "after", "turned"),
    [
        ("leave", "refracture", True),
        ("leave", "leave", False),
        ("not told apart", "leave", None),
        ("leave", "none", None),
    ],
)
def test_what_of_a_verdict_is_known(before: str, after: str, turned: bool | None) -> None:
    assert has_turned(before, after) is turned


def test_what_is_within_noise() -> None:
    assert within_noise(NOISE - 0.01, 1.0) is True
    assert within_noise(-NOISE, 1.0) is False
    assert within_noise(0.0, 0.0) is True
    assert within_noise(1.0, 0.0) is False
    assert within_noise(1.0, math.nan) is None


def test_the_command_and_its_files(runs: dict[str, Path], tmp_path: Path) -> None:
    said = refracmc("difference", runs["base"], runs["dear"], "--json", "--out", tmp_path / "new")
    assert said.returncode == 0
    content = json.loads(said.stdout)
    told = reading.names("json", "Keys of difference")
    assert reading.differences(
        told, set(reading.paths_of(content)) | {"wells_only_before[]", "wells_only_after[]"}
    ) == (
        [],
        [],
    )
    table = pd.read_csv(tmp_path / "new" / "difference.csv")
    assert list(table.columns) == reading.names("difference_files", "difference.csv")
    assert list(table["difference"]) == pytest.approx([row["difference"] for row in content["differences"]])
    text = refracmc("difference", runs["base"], runs["dear"]).stdout
    assert "job.cost.mobilisation_usd [US$ gross]: 200000 -> 500000" in text.replace("fixed ", "").replace(
        ",", ""
    )


def test_what_is_no_run(runs: dict[str, Path], tmp_path: Path) -> None:
    """Exit code 2 with one line; a file that was altered is named."""
    said = refracmc("difference", runs["base"], tmp_path)
    assert (said.returncode, said.stdout) == (2, "")
    assert f"{tmp_path}: found no finished run" in said.stderr
    copy = tmp_path / "copy"
    shutil.copytree(runs["base"], copy)
    (copy / "tables" / "inputs.parquet").write_bytes(
        (runs["dear"] / "tables" / "inputs.parquet").read_bytes()
    )
    with pytest.raises(InputError, match=r"inputs\.parquet.*altered"):
        run_difference(runs["base"], copy)
