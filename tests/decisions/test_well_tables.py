"""The tables of one well against the trials they are made of.

Oracle: sums and means of the trials on disk, taken here directly.
"""

import numpy as np
import pandas as pd
import pytest

from refracmc.case.load import load_case
from refracmc.decisions.well_tables import TABLE_ROWS, sum_up, tables_of
from refracmc.engine.blocks import block_task
from refracmc.engine.draws import GROUPS
from refracmc.engine.plan import build_plan
from refracmc.measures import DISTRIBUTION, SHARE, SHARE_OPEN, SHARE_REACHED, SUMMARY
from refracmc.reporting.columns import TABLES
from refracmc.reporting.columns_over_wells import OVER_WELLS
from refracmc.sampling.streams import blocks_of
from tests.system.small_case import CASE, changed, write_case

TRIALS = 700


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory):
    """The well with a type curve: its plan, its trials, its tables."""
    folder = tmp_path_factory.mktemp("well")
    first = CASE.index('[[wells]]\nid = "A"'), CASE.index('[[wells]]\nid = "B"')
    text = changed(CASE, (CASE[slice(*first)], ""), ("trials = 1100", f"trials = {TRIALS}"))
    case = load_case(write_case(folder, text))
    plan = build_plan(case, case.wells[0], 0, None)
    sizes = blocks_of(TRIALS)
    (folder / "blocks").mkdir()
    for block in range(len(sizes)):
        block_task(([plan], folder, sizes), (block, (0,)))
    well = sum_up(plan, folder, sizes)
    tables = tables_of(well)
    return plan, well.trials, {key: pd.DataFrame(rows) for key, rows in tables.items()}


def test_every_table_of_the_report_has_its_rows_here() -> None:
    """But the inputs, which belong to the case, those over wells and scenarios; in the order of the columns."""
    others = {"inputs", "scenarios", *OVER_WELLS}
    assert list(TABLE_ROWS) == [key for key in TABLES if key not in others]


def test_the_summary_is_of_the_trials(made) -> None:
    plan, found, tables = made
    rows = tables["summary"].set_index(["strategy", "measure"])
    assert len(rows) == len(plan.names) * len(SUMMARY)
    for measure in SUMMARY:
        values = found.measures[measure.column].whole()
        if measure.given:
            values = np.where(found.measures[measure.given].whole() > 0.0, values, np.nan)
        if measure.no_mean:
            expected = np.full(len(values) - 1, np.nan)
        elif measure.summed == SHARE_REACHED:
            expected = np.isfinite(values[1:]).sum(axis=1) / (~np.isnan(values[1:])).sum(axis=1)
        elif measure.summed == SHARE_OPEN:
            assert measure.given == "executed"
            done = found.measures["executed"].whole()[1:] > 0.0
            expected = (np.isnan(values[1:]) & done).sum(axis=1) / done.sum(axis=1)
        elif measure.summed in (DISTRIBUTION, SHARE):
            expected = np.nanmean(np.where(np.isfinite(values), values, np.nan)[1:], axis=1)
        elif measure.name == "p_loss":
            expected = (values[1:] < 0.0).mean(axis=1)
        elif measure.name == "cvar":
            expected = np.sort(values[1:], axis=1)[:, : TRIALS // 10].mean(axis=1)
        else:
            expected = values[1:].mean(axis=1) / found.measures[measure.over].whole()[1:].mean(axis=1)
        got = [rows.loc[(name, measure.name), "mean"] for name in plan.names[1:]]
        assert got == pytest.approx(expected.tolist(), rel=1e-11, abs=1e-12, nan_ok=True), measure.name


def test_the_decision_is_of_the_trials(made) -> None:
    plan, found, tables = made
    row = tables["decision"].iloc[0]
    inc = found.measures["incremental_npv"].whole()
    best = plan.names.index(row["strategy"])
    assert best == 1 + inc[1:].mean(axis=1).argmax()
    assert row["mean_usd"] == pytest.approx(inc[best].mean(), rel=1e-12)
    assert row["p_loss"] == pytest.approx((inc[best] < 0).mean(), abs=1e-12)
    assert row["job_days"] == pytest.approx(found.measures["job_days"][best].mean(), rel=1e-12)
    low, high = np.quantile(inc[best], [0.1, 0.9])
    assert (row["p90_usd"], row["p10_usd"]) == pytest.approx((low, high), rel=1e-12)


def test_the_parts_of_the_cost_add_up(made) -> None:
    plan, found, tables = made
    cost = tables["cost"]
    best = plan.names.index(cost["strategy"].iloc[0])
    assert cost["mean_usd"].sum() == pytest.approx(found.measures["job_cost"][best].mean(), rel=1e-12)
    assert cost["share"].sum() == pytest.approx(1.0, rel=1e-12)
    assert (cost["mean_usd"] > 0.0).all()
    assert (cost["se_usd"] >= 0.0).all()
    assert cost["part"].is_unique


def test_the_fan_is_of_what_is_produced(made) -> None:
    """Mean volumes left alone add up to the mean recovery less what was made before (first two blocks: all)."""
    plan, found, tables = made
    fan = tables["production"]
    best = plan.names.index(fan.loc[fan["branch"] == "refrac", "strategy"].iloc[0])
    totals = fan.groupby("branch")["mean"].sum()
    eur = found.measures["eur"].whole().mean(axis=1)
    assert totals["refrac"] - totals["nothing"] == pytest.approx(eur[best] - eur[0], rel=1e-9)
    whole = fan[fan["branch"] != "history"]
    assert (whole["p90"] <= whole["p50"]).all()
    assert (whole["p50"] <= whole["p10"]).all()
    assert whole.groupby("branch").size().eq(plan.horizon).all()


def test_the_typical_job_is_a_trial(made) -> None:
    _, found, tables = made
    line = tables["timeline"]
    typical = line[line["scenario"] == "typical"]
    days = typical["end_hour"].max() / 24.0
    best = 1 + np.argmax(found.measures["incremental_npv"].whole()[1:].mean(axis=1))
    of_the_trials = found.measures["job_days"][best]
    assert np.abs(of_the_trials - days).min() < 1e-9
    assert abs(days - np.median(of_the_trials)) < 0.05 * days
    for _, part in line.groupby("scenario"):
        assert (part["end_hour"] >= part["start_hour"]).all()
        assert np.allclose(part["start_hour"].iloc[1:], part["end_hour"].iloc[:-1], atol=1e-9)


def test_the_drivers_cover_every_group(made) -> None:
    plan, _, tables = made
    rows = tables["drivers"]
    assert set(rows["target"]) == {"npv", "incremental_npv", "difference"}
    for target, part in rows.groupby("target"):
        assert set(part["group"]) == set(GROUPS)
        assert (part["first"] <= part["total"] + part["first_ci"] + part["total_ci"]).all(), target
        assert (part["total"] + part["total_ci"] >= 0.0).all()
    gain = rows[rows["target"] == "incremental_npv"].set_index("group")["total"]
    assert gain["response"] == gain.max()  # uplift from 0.25 to 1.0 decides this well
    assert plan.id == rows["well"].iloc[0]


def test_the_tornado_names_inputs_that_vary(made) -> None:
    plan, _, tables = made
    rows = tables["tornado"]
    varying = {variable.name for variable in plan.variables if not variable.distribution.is_fixed}
    assert set(rows["input"]) <= varying
    assert rows["input"].iloc[0] == "response.uplift"
    swing = (rows["high_mean_usd"] - rows["low_mean_usd"]).abs()
    assert swing.is_monotonic_decreasing


def test_timing_and_orders_are_of_the_trials(made) -> None:
    plan, found, tables = made
    inc = found.measures["incremental_npv"].whole().mean(axis=1)
    for _, row in tables["timing"].iterrows():
        assert row["mean_usd"] == pytest.approx(
            inc[plan.names.index(f"{row['order']}@{row['date']}")], rel=1e-12
        )
    orders = tables["orders"].set_index("order")
    assert set(orders.index) == set(plan.orders)
    for name, row in orders.iterrows():
        at = [k for k, one in enumerate(plan.names) if one.startswith(f"{name}@")]
        assert row["mean_usd"] == pytest.approx(inc[at].max(), rel=1e-12)
    fewest = min(made.job.shifts for made in plan.orders.values())
    assert orders.loc["mine", "extra_shifts"] == plan.orders["mine"].job.shifts - fewest


def test_the_two_best_refracs_are_those_of_the_trials(made) -> None:
    plan, found, tables = made
    order = np.argsort(-found.measures["incremental_npv"].whole()[1:].mean(axis=1), kind="stable")
    assert tables["decision"].iloc[0][["strategy", "runner_up"]].tolist() == [
        plan.strategies[order[k]].name for k in (0, 1)
    ]
