"""The tables of one well against the trials they are made of.

Oracle: sums and means of the trials on disk, taken here directly.
"""

import numpy as np
import pandas as pd
import pytest

from refracmc.case.load import load_case
from refracmc.decisions.gather import (
    DRIVER_BLOCKS,
    driver_rows,
    gather_well,
    leading,
    results_of,
    sample_drivers,
)
from refracmc.engine.blocks import block_task, read_results
from refracmc.engine.draws import GROUPS
from refracmc.engine.plan import blocks_of, build_plan
from tests.system.small_case import CASE, changed, write_case

TRIALS = 700


@pytest.fixture(scope="module")
def gathered(tmp_path_factory: pytest.TempPathFactory):
    """Plan, trials and tables of the well with a type curve."""
    folder = tmp_path_factory.mktemp("gather")
    first = CASE.index('[[wells]]\nid = "A"'), CASE.index('[[wells]]\nid = "B"')
    text = changed(CASE, (CASE[slice(*first)], ""), ("trials = 1100", f"trials = {TRIALS}"))
    case = load_case(write_case(folder, text))
    plan = build_plan(case, case.wells[0], 0, None)
    sizes = blocks_of(TRIALS)
    (folder / "blocks").mkdir()
    for block in range(len(sizes)):
        block_task(([plan], folder, sizes), (block, (0,)))
    found = read_results(plan, folder, sizes)
    made = gather_well(plan, folder, sizes)
    samples = [sample_drivers(plan, made.best, made.second, block) for block in range(DRIVER_BLOCKS)]
    tables = {**made.tables, "drivers": driver_rows(plan, samples)}
    return plan, found, {key: pd.DataFrame(rows) for key, rows in tables.items()}


def test_the_decision_is_of_the_trials(gathered) -> None:
    plan, found, tables = gathered
    row = tables["decision"].iloc[0]
    inc = found.measures["incremental_npv"].whole()
    best = plan.names.index(row["strategy"])
    assert best == 1 + inc[1:].mean(axis=1).argmax() == results_of(found).best
    assert row["mean_usd"] == pytest.approx(inc[best].mean(), rel=1e-12)
    assert row["p_loss"] == pytest.approx((inc[best] < 0).mean(), abs=1e-12)
    assert row["job_days"] == pytest.approx(found.measures["job_days"][best].mean(), rel=1e-12)
    low, high = np.quantile(inc[best], [0.1, 0.9])
    assert (row["p90_usd"], row["p10_usd"]) == pytest.approx((low, high), rel=1e-12)


def test_the_parts_of_the_cost_add_up(gathered) -> None:
    plan, found, tables = gathered
    cost = tables["cost"]
    best = plan.names.index(cost["strategy"].iloc[0])
    assert cost["mean_usd"].sum() == pytest.approx(found.measures["job_cost"][best].mean(), rel=1e-12)
    assert cost["share"].sum() == pytest.approx(1.0, rel=1e-12)
    assert (cost["mean_usd"] > 0.0).all()
    assert (cost["se_usd"] >= 0.0).all()
    assert cost["part"].is_unique


def test_the_fan_is_of_what_is_produced(gathered) -> None:
    """Mean volumes left alone add up to the mean recovery less what was made before (first two blocks: all)."""
    plan, found, tables = gathered
    fan = tables["production"]
    best = plan.names.index(fan.loc[fan["branch"] == "refrac", "strategy"].iloc[0])
    totals = fan.groupby("branch")["mean"].sum()
    eur = found.measures["eur"].whole().mean(axis=1)
    assert totals["refrac"] - totals["nothing"] == pytest.approx(eur[best] - eur[0], rel=1e-9)
    whole = fan[fan["branch"] != "history"]
    assert (whole["p90"] <= whole["p50"]).all()
    assert (whole["p50"] <= whole["p10"]).all()
    assert whole.groupby("branch").size().eq(plan.horizon).all()


def test_the_typical_job_is_a_trial(gathered) -> None:
    _, found, tables = gathered
    line = tables["timeline"]
    typical = line[line["scenario"] == "typical"]
    days = typical["end_hour"].max() / 24.0
    best = results_of(found).best
    of_the_trials = found.measures["job_days"][best]
    assert np.abs(of_the_trials - days).min() < 1e-9
    assert abs(days - np.median(of_the_trials)) < 0.05 * days
    for _, part in line.groupby("scenario"):
        assert (part["end_hour"] >= part["start_hour"]).all()
        assert np.allclose(part["start_hour"].iloc[1:], part["end_hour"].iloc[:-1], atol=1e-9)


def test_the_drivers_cover_every_group(gathered) -> None:
    plan, _, tables = gathered
    rows = tables["drivers"]
    assert set(rows["target"]) == {"npv", "incremental_npv", "difference"}
    for target, part in rows.groupby("target"):
        assert set(part["group"]) == set(GROUPS)
        assert (part["first"] <= part["total"] + part["first_ci"] + part["total_ci"]).all(), target
        assert (part["total"] + part["total_ci"] >= 0.0).all()
    gain = rows[rows["target"] == "incremental_npv"].set_index("group")["total"]
    assert gain["response"] == gain.max()  # uplift from 0.25 to 1.0 decides this well
    assert plan.id == rows["well"].iloc[0]


def test_the_tornado_names_inputs_that_vary(gathered) -> None:
    plan, _, tables = gathered
    rows = tables["tornado"]
    varying = {variable.name for variable in plan.variables if not variable.distribution.is_fixed}
    assert set(rows["input"]) <= varying
    assert rows["input"].iloc[0] == "response.uplift"
    swing = (rows["high_mean_usd"] - rows["low_mean_usd"]).abs()
    assert swing.is_monotonic_decreasing


def test_timing_and_orders_are_of_the_trials(gathered) -> None:
    plan, found, tables = gathered
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


def test_the_leaders_of_the_summary_are_those_of_the_trials(gathered) -> None:
    """Oracle: the means of the trials; the control turns the summary round."""
    plan, found, tables = gathered
    means = found.measures["incremental_npv"].whole()[1 : 1 + len(plan.dated)].mean(axis=1)
    order = np.argsort(-means, kind="stable")
    names = [s.name for s in plan.dated]
    summary = pd.concat(
        [
            pd.DataFrame({"well": plan.id, "strategy": names, "measure": measure, "mean": values})
            for measure, values in (("incremental_npv", means), ("executed_share", np.ones(len(names))))
        ]
    )
    assert leading(plan, summary) == (plan.dated[order[0]], plan.dated[order[1]])
    assert tables["decision"].iloc[0][["strategy", "runner_up"]].tolist() == [
        plan.dated[order[k]].name for k in (0, 1)
    ]
    sign = np.where(summary["measure"] == "incremental_npv", -1.0, 1.0)
    turned = leading(plan, summary.assign(mean=sign * summary["mean"]))
    assert turned[0] == plan.dated[order[-1]]
