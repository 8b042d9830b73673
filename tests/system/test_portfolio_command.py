"""`refracmc portfolio` from end to end on small invented wells.

Oracle: sums of the run's own kept trials for what is chosen; the other choices tried one by one; the house's rules for
exit codes and files.
"""

import itertools
import json
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from refracmc.engine.manifest import read_manifest
from refracmc.engine.store import read_values
from refracmc.reporting.columns_portfolio import PORTFOLIO_TABLES
from tests.system.small_case import CASE, TRIALS, changed, history_text, refracmc, write_case

SECTION = """[portfolio]
capital_usd = 2.5e6
ct_crews = 1
frac_crews = 1
resamples = 5
time_limit_s = 5
target_usd = 1e6
[[portfolio.other]]
name = "new well"
capital_usd = 1e6
value_usd = { dist = "uniform", low = -1e5, high = 5e5 }
months = ["2027-01"]
frac_days = 5
[scenarios.dear.job.cost]
mobilisation_usd = 2500000
"""


@pytest.fixture(scope="module")
def valued(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("portfolio")
    write_case(folder / "case", changed(CASE, ("[strategies]\n", SECTION + "[strategies]\n")))
    assert (
        refracmc("portfolio", folder / "case/case.toml", "--out", folder / "out", "--quiet").returncode == 0
    )
    return folder


@pytest.fixture
def own(valued: Path, tmp_path: Path) -> Path:
    """A copy that a test may write into."""
    return Path(shutil.copytree(valued, tmp_path / "own"))


def test_tables_have_their_columns(valued: Path) -> None:
    for key, spec in PORTFOLIO_TABLES.items():
        assert tuple(pd.read_csv(valued / f"out/small/portfolio/{key}.csv").columns) == spec.names


def test_chosen_is_the_best_of_all(valued: Path) -> None:
    """Every choice of two wells' strategies and the project, by mean value, within capital and crews."""
    run = read_manifest(valued / "out/small")["run"]
    values = [read_values(valued / "out/small", well["number"], 3) for well in run["wells"]]
    names = [well["strategies"] for well in run["wells"]]
    rows = run["blocks"]["measures"]
    mean = [v[rows.index("incremental_npv")].mean(axis=1) for v in values]
    capital = [v[rows.index("capex")].mean(axis=1) for v in values]
    days = [v[rows.index("job_days")].mean(axis=1) for v in values]
    table = pd.read_csv(valued / "out/small/portfolio/portfolio.csv").set_index("well")
    project = table.loc["new well"]
    worth = []
    for a, b, other in itertools.product(range(len(names[0])), range(len(names[1])), (0, 1)):
        held = {}
        for well, row in enumerate((a, b)):
            month = names[well][row].rpartition("@")[2]
            held[month] = held.get(month, 0.0) + min(days[well][row], 26.0)
        held["2027-01"] = held.get("2027-01", 0.0) + other * 5.0
        if capital[0][a] + capital[1][b] + other * 1e6 <= 2.5e6 and max(held.values()) <= 26.0:
            worth.append((mean[0][a] + mean[1][b] + other * project["mean_usd"], a, b, other))
    best, a, b, other = max(worth)
    front = pd.read_csv(valued / "out/small/portfolio/front.csv")
    assert front[front["is_choice"]]["mean_usd"].item() == pytest.approx(best, rel=2e-3)
    assert table.loc["A", "chosen"] == (a > 0)
    assert table.loc["B", "chosen"] == (b > 0)
    assert project["chosen"] == bool(other)
    for well, row in (("A", a), ("B", b)):
        if row:
            order, month = names["AB".index(well)][row].split("@")
            assert (table.loc[well, "order"], table.loc[well, "month"]) == (order, month)
    assert 1e5 < project["mean_usd"] < 3e5  # uniform from -0.1 to 0.5 million


def test_summed_trials_make_the_front(valued: Path) -> None:
    run = read_manifest(valued / "out/small")["run"]
    table = pd.read_csv(valued / "out/small/portfolio/portfolio.csv").set_index("well")
    total = np.zeros(TRIALS)
    for well in run["wells"]:
        row = table.loc[well["well"]]
        if row["chosen"]:
            strategy = well["strategies"].index(f"{row['order']}@{row['month']}")
            total += read_values(valued / "out/small", well["number"], 3)[
                run["blocks"]["measures"].index("incremental_npv"), strategy
            ]
    front = pd.read_csv(valued / "out/small/portfolio/front.csv")
    own = front[front["is_choice"]].iloc[0]
    if not table.loc["new well", "chosen"]:
        assert own["p50_usd"] == pytest.approx(float(np.median(total)), rel=1e-3, abs=1e3)
        assert own["chance_of_target"] == pytest.approx(float((total >= 1e6).mean()))


def test_regret_of_a_scenario(valued: Path) -> None:
    """Jobs at two million more: these jobs are worth less there, and the best choice no less than they are."""
    row = pd.read_csv(valued / "out/small/portfolio/regret.csv").iloc[0]
    front = pd.read_csv(valued / "out/small/portfolio/front.csv")
    assert row["scenario"] == "dear"
    assert row["value_usd"] < front[front["is_choice"]]["mean_usd"].item() - 1e6
    assert row["regret_usd"] == pytest.approx(row["best_usd"] - row["value_usd"])
    assert row["regret_usd"] >= -1e-3 * abs(row["best_usd"])


def test_page_answers(valued: Path) -> None:
    """What the page is asked for stands on it, and it fetches nothing."""
    page = (valued / "out/small/portfolio/portfolio.html").read_text("utf-8")
    for words in (
        "Which jobs",
        "Crews",
        "Left out, and why",
        "What more would be worth",
        "Regret by scenario",
        "<svg",
    ):
        assert words in page
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert "<script" not in page


def test_a_change_of_the_section_runs_nothing_again(own: Path) -> None:
    """And the change is heeded: without capital nothing is chosen but what costs nothing."""
    before = (own / "out/small/manifest.json").read_bytes()
    path = own / "case/case.toml"
    path.write_text(path.read_text("utf-8").replace("capital_usd = 2.5e6", "capital_usd = 0.0"), "utf-8")
    done = refracmc("portfolio", path, "--out", own / "out", "--quiet", "--json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert not any(row["chosen"] for row in told["portfolio"])
    assert told["settings"]["capital_usd"] == 0.0
    assert (own / "out/small/manifest.json").read_bytes() == before


def test_folder_of_a_finished_run(own: Path) -> None:
    told = refracmc("portfolio", own / "out/small", "--capital", "2.5e6", "--quiet", "--json")
    assert told.returncode == 0, told.stderr
    assert {row["well"] for row in json.loads(told.stdout)["portfolio"]} == {"A", "B"}


def test_demands_that_clash_are_named(own: Path) -> None:
    path = own / "case/case.toml"
    text = path.read_text("utf-8")
    clash = text.replace("capital_usd = 2.5e6", "capital_usd = 0.0").replace(
        "resamples", 'must_do = ["A"]\nresamples'
    )
    (own / "case/clash.toml").write_text(clash.replace("capital_usd = 0.0", "capital_usd = 1.0", 1), "utf-8")
    path = own / "case/clash.toml"
    text = path.read_text("utf-8")
    path.write_text(text, "utf-8")
    done = refracmc("portfolio", path, "--out", own / "out2", "--quiet")
    assert done.returncode == 2
    assert "A must be done; capital" in done.stderr
    assert "crews" not in done.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--capital", "much"), "found 'much'"),
        (("--capital", "27=1e6"), "calendar years"),
        (("--capital", "-5"), "allowed"),
        (("--risk-weight", "x"), "--risk-weight"),
        (("--time-limit", "0"), "time_limit_s"),
    ],
)
def test_bad_options(own: Path, words: tuple[str, ...], said: str) -> None:
    done = refracmc("portfolio", own / "out/small", f"{words[0]}={words[1]}", "--quiet")
    assert (done.returncode, said in done.stderr) == (2, True), done.stderr


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("ct_crews = 1", "ct_crews = -1", "portfolio.ct_crews"),
        ("ct_crews = 1", 'must_do = ["a"]', "did you mean 'A'?"),
        ("ct_crews = 1", 'must_do = ["A"]\nmust_not = ["A"]', "portfolio.must_not"),
        ("ct_crews = 1", "capital_by_year = { y27 = 1.0 }", "calendar years"),
        ('name = "new well"', 'name = "B"', "a name of its own"),
        ('months = ["2027-01"]', "months = []", "an empty list"),
    ],
)
def test_faults_of_the_section(tmp_path: Path, old: str, new: str, said: str) -> None:
    text = changed(CASE, ("[strategies]\n", SECTION.replace(old, new) + "[strategies]\n"))
    done = refracmc("check", write_case(tmp_path, text, history=history_text()))
    assert done.returncode == 2
    assert said in done.stderr
