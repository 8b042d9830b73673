"""Sums over wells against plain sums of the trials that the run keeps.

Oracle: NumPy sums, quantiles and shares of the rows of results.parquet, taken here well by well; errors from the
estimators on those summed rows. Negative control: percentiles of the sum are not the sums of the wells' percentiles.
"""

import numpy as np
import pandas as pd
import pytest

from refracmc.commands.run import run_case
from refracmc.decisions.sums_over_wells import month_rows, ranked_rows
from refracmc.sampling import estimators
from refracmc.sampling.streams import blocks_of
from tests.system.small_case import CASE, TALLY, TRIALS, changed, run_bytes, write_case

FAN = 1024
B = CASE[CASE.index('[[wells]]\nid = "B"') :]
THIRD = changed(B, ('id = "B"', 'id = "C"'), ("p90 = 500, p10 = 1100", "p90 = 50, p10 = 110"))
THIRD = changed(THIRD, ("p90 = 450, p10 = 1000", "p90 = 45, p10 = 100"))
TEXT = changed(CASE, ("trials = 1100", "trials = 1100\ndesign = 'latin_hypercube'")) + THIRD
ROWS = TALLY + "".join(f"C{line[1:]}\n" for line in TALLY.splitlines() if line.startswith("B"))


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("sums")
    case = write_case(
        folder, changed(TEXT, ("[sampling]", "[outputs]\ncharts = false\n[sampling]")), sleeves=ROWS
    )
    return run_case(case, folder / "out", keep_trials=True, workers=1).folder


@pytest.fixture(scope="module")
def tables(run):
    keys = ("wells_ranked", "portfolio_total", "portfolio_months", "portfolio_years", "decision", "verdicts")
    return {key: pd.read_parquet(run / "tables" / f"{key}.parquet") for key in keys}


@pytest.fixture(scope="module")
def trials(run, tables):
    """Well -> column -> trials of its best refrac, and `alone`, the NPV of doing nothing."""
    found = pd.read_parquet(run / "results.parquet")
    made = {}
    for well, best in zip(tables["decision"]["well"], tables["decision"]["strategy"], strict=True):
        its = found[found["well"] == well].sort_values("trial")
        made[well] = its[its["strategy"] == best].reset_index(drop=True)
        made[well]["alone"] = its.loc[its["strategy"] == "nothing", "npv"].to_numpy()
        assert len(made[well]) == TRIALS
    return made


def chosen(tables, jobs):
    verdicts = tables["verdicts"].set_index("well")["verdict"]
    return [well for well in verdicts.index if jobs == "all" or (jobs == verdicts[well] == "refracture")]


def summed(trials, wells, column):
    return sum((trials[well][column].to_numpy() for well in wells), np.zeros(TRIALS))


def test_some_wells_are_chosen_and_some_are_not(tables) -> None:
    assert 0 < len(chosen(tables, "refracture")) < 3


def test_totals_are_sums_trial_by_trial(tables, trials) -> None:
    rows = tables["portfolio_total"].set_index(["jobs", "measure"])
    design, sizes = "latin_hypercube", blocks_of(TRIALS)
    alone = summed(trials, trials, "alone")
    for jobs in ("none", "refracture", "all"):
        wells = chosen(tables, jobs)
        gain = summed(trials, wells, "incremental_npv")
        sums = {
            "npv": alone + gain,
            "incremental_npv": gain,
            "capex": summed(trials, wells, "capex"),
            "capex_gross": summed(trials, wells, "job_cost"),
        }
        assert rows.loc[(jobs, "npv"), "wells"] == len(wells)
        for measure, values in sums.items():
            if jobs == "none" and measure != "npv":
                assert (jobs, measure) not in rows.index
                continue
            row, errors = rows.loc[(jobs, measure)], estimators.summarise(values, sizes, design)
            assert row["mean"] == pytest.approx(values.mean(), rel=1e-12)
            for name, share in (("p90", 0.1), ("p50", 0.5), ("p10", 0.9)):
                assert row[name] == pytest.approx(np.quantile(values, share), rel=0.01, abs=1.0)
                assert row[name] == pytest.approx(float(errors[name]), rel=1e-12)
                assert row[f"{name}_se"] == pytest.approx(float(errors[f"{name}_se"]), rel=1e-9)
            assert row["se"] == pytest.approx(float(errors["se"]), rel=1e-9)
        if jobs != "none":
            assert rows.loc[(jobs, "p_loss"), "mean"] == pytest.approx((gain < 0).mean(), abs=1e-12)
            worst = np.sort(gain)[: TRIALS // 10].mean()
            assert rows.loc[(jobs, "cvar"), "mean"] == pytest.approx(worst, rel=1e-9)
            ratio = gain.mean() / summed(trials, wells, "discounted_capex").mean()
            assert rows.loc[(jobs, "capital_efficiency"), "mean"] == pytest.approx(ratio, rel=1e-12)


def test_percentiles_of_the_sum_are_not_sums_of_percentiles(tables) -> None:
    rows = tables["portfolio_total"].set_index(["jobs", "measure"])
    wells = tables["wells_ranked"]
    low, high = rows.loc[("all", "incremental_npv"), ["p90", "p10"]]
    assert low > wells["p90_usd"].sum()
    assert high < wells["p10_usd"].sum()


def test_wells_stand_by_value_per_dollar_with_the_sums_down_to_each(tables, trials) -> None:
    rows = tables["wells_ranked"]
    assert rows["place"].tolist() == [1, 2, 3]
    ratios = {
        well: its["incremental_npv"].mean() / its["discounted_capex"].mean() for well, its in trials.items()
    }
    assert rows["well"].tolist() == sorted(ratios, key=lambda well: -ratios[well])
    assert rows["value_per_dollar"].tolist() == pytest.approx(sorted(ratios.values())[::-1], rel=1e-12)
    capital = [trials[well]["capex"].mean() for well in rows["well"]]
    assert rows["capital_usd"].tolist() == pytest.approx(capital, rel=1e-12)
    assert rows["capital_to_here_usd"].tolist() == pytest.approx(np.cumsum(capital), rel=1e-12)
    assert rows["value_to_here_usd"].tolist() == pytest.approx(np.cumsum(rows["mean_usd"]), rel=1e-12)
    counts = (rows["verdict"] == "refracture") * capital
    assert rows["chosen_capital_to_here_usd"].tolist() == pytest.approx(np.cumsum(counts), rel=1e-12)
    months = tables["portfolio_months"]
    assert months["count"].sum() == 3
    assert months["capital_usd"].sum() == pytest.approx(sum(capital), rel=1e-12)
    assert sorted("; ".join(months["wells"]).split("; ")) == sorted(trials)


def test_years_are_sums_of_the_trials_of_the_fan(tables, trials) -> None:
    rows = tables["portfolio_years"].set_index(["jobs", "measure", "year"]).sort_index()
    dates = tables["decision"].set_index("well")["date"]
    for jobs in ("refracture", "all"):
        wells = chosen(tables, jobs)
        for measure, column in (("capex", "capex"), ("capex_gross", "job_cost")):
            for year in range(2026, 2033):
                its = [well for well in wells if dates[well].startswith(str(year))]
                values = summed(trials, its, column)[:FAN]
                row = rows.loc[(jobs, measure, year)]
                assert row["mean"] == pytest.approx(values.mean(), rel=1e-12)
                assert row["p90"] == pytest.approx(np.quantile(values, 0.1), rel=0.01)
                assert row["p10"] == pytest.approx(np.quantile(values, 0.9), rel=0.01)
        more = rows.loc[(jobs, "oil"), "mean"].sum() - rows.loc[("none", "oil"), "mean"].sum()
        gained = summed(trials, wells, "incremental_eur")[:FAN].mean()
        assert more == pytest.approx(gained, rel=1e-9)
        assert more != pytest.approx(summed(trials, wells, "incremental_eur").mean(), rel=1e-6)
    assert set(rows.loc["none"].index.get_level_values("measure")) == {"oil", "gas", "water"}
    assert sorted(set(rows.index.get_level_values("year"))) == list(range(2026, 2033))


def test_any_number_of_workers_gives_the_same_bytes(run, tmp_path) -> None:
    text = changed(TEXT, ("[sampling]", "[outputs]\ncharts = false\n[sampling]"))
    again = run_case(write_case(tmp_path, text, sleeves=ROWS), tmp_path / "out", keep_trials=True, workers=2)
    assert run_bytes(again.folder) == run_bytes(run)


def test_one_well_has_no_sums(tmp_path) -> None:
    text = changed(CASE, (B, ""), ("[sampling]", "[outputs]\ncharts = false\n[sampling]"))
    made = run_case(write_case(tmp_path, text), tmp_path / "out", trials=200, workers=1)
    assert not [path for path in made.folder.rglob("*") if "portfolio" in path.name or "ranked" in path.name]


def test_a_well_without_capital_stands_last() -> None:
    common = {"date": "2027-01", "days_on_job": 1.0, "capital_gross_usd": 1.0}
    rows = [
        {
            "well": name,
            "verdict": verdict,
            "value_per_dollar": ratio,
            "capital_usd": 2.0,
            "mean_usd": gain,
            **common,
        }
        for name, verdict, ratio, gain in (
            ("none", "leave", np.nan, 0.0),
            ("low", "leave", -0.5, -1.0),
            ("high", "refracture", 2.0, 4.0),
            ("equal", "refracture", 2.0, 4.0),
        )
    ]
    ranked = ranked_rows(rows)
    assert [row["well"] for row in ranked] == ["high", "equal", "low", "none"]
    assert [row["value_to_here_usd"] for row in ranked] == [4.0, 8.0, 7.0, 7.0]
    assert [row["chosen_value_to_here_usd"] for row in ranked] == [4.0, 8.0, 8.0, 8.0]
    assert [(row["jobs"], row["count"], row["wells"]) for row in month_rows(ranked)] == [
        ("refracture", 2, "high; equal"),
        ("other", 2, "low; none"),
    ]
