"""Tables of the job alone, with a trigger beside dates.

Oracles: the job simulated once more trial by trial, NumPy's mean and quantiles; a trigger that always fires in one
month has the numbers of that date; shares counted by hand. Negative control: a trigger that never fires has none.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from refracmc.case.load import load_case
from refracmc.commands.job import plan_job
from refracmc.commands.job_outputs import write_job
from refracmc.decisions import job_report, planned_orders
from refracmc.engine.block_jobs import simulate_jobs
from refracmc.engine.block_model import model_block
from refracmc.engine.draws import draw
from refracmc.engine.money import service_index
from refracmc.engine.plan import build_plan
from refracmc.engine.triggers import trigger_months
from refracmc.sampling.streams import blocks_of
from tests.second_route.awkward import CURVE, HEAD, SAMPLING, TALLY

TEXT = (
    HEAD
    + SAMPLING
    + """[valuation]
date = "2025-06"
horizon_months = 120
[prices]
model = "mean_reverting"
oil_usd_per_bbl = 70.0
gas_usd_per_mcf = 3.0
[job]
close_chance = {dist = "uniform", low = 0.5, high = 0.9}
[strategies]
orders = ["toe_to_heel", "alternating"]
dates = ["2025-09", "2026-03"]
[strategies.triggers.fixed]
when = "date"
earliest = "2026-03"
latest = "2026-03"
[strategies.triggers.dear]
when = "date"
earliest = "2025-07"
latest = "2026-06"
min_price_usd = 80.0
orders = ["alternating"]
[strategies.triggers.never]
when = "date"
earliest = "2025-07"
latest = "2026-06"
min_price_usd = 1e6
orders = ["alternating"]
[[wells]]
id = "A 1"
tally = "sleeves.csv"
main_phase = "oil"
[wells.interests]
working = 1.0
net_revenue = 0.8
"""
    + CURVE
)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory):
    folder: Path = tmp_path_factory.mktemp("case")
    (folder / "case.toml").write_text(TEXT, "utf-8")
    (folder / "sleeves.csv").write_text(TALLY, "utf-8")
    case = load_case(folder / "case.toml").with_sampling(700, None)
    plan = build_plan(case, case.wells[0], 0, None)
    return case, plan, job_report.simulate_all(plan)


def named(jobs, name: str):
    return next(found for found in jobs if found.strategy.name == name)


def test_every_strategy_over_all_trials(made) -> None:
    _, plan, jobs = made
    assert [found.strategy.name for found in jobs] == list(plan.names[1:])
    rows = pd.DataFrame(job_report.strategy_rows(plan, jobs)).set_index(["strategy", "measure"])
    days, cost = [], []
    for block, size in enumerate(blocks_of(700)):
        draws = draw(plan, block, size)
        strategy = plan.dated[1]
        ((_, job, total, _),) = simulate_jobs(plan, draws, [strategy])
        days.append(job.days)
        cost.append(total * service_index(plan, draws)[strategy.month])
    for measure, parts in (("days", days), ("cost_usd", cost)):
        values, row = np.concatenate(parts), rows.loc[(plan.dated[1].name, measure)]
        assert row["mean"] == pytest.approx(values.mean(), rel=1e-12)
        low, mid, high = np.quantile(values, [0.1, 0.5, 0.9])
        assert (row["p90"], row["p50"], row["p10"]) == pytest.approx((low, mid, high))
        assert 0 < row["p50_se"] < row["p10"] - row["p90"]


def test_the_cost_adds_up_from_its_parts(made) -> None:
    _, plan, jobs = made
    total = pd.DataFrame(job_report.strategy_rows(plan, jobs)).query("measure == 'cost_usd'")
    parts = pd.DataFrame(job_report.cost_rows(plan, jobs)).groupby("strategy")
    mean = total.set_index("strategy")["mean"].dropna()
    pd.testing.assert_series_equal(parts["mean_usd"].sum().sort_index(), mean.sort_index(), check_names=False)
    np.testing.assert_allclose(parts["share"].sum(), 1.0)


def test_a_trigger_that_always_fires_is_its_date(made) -> None:
    _, _, jobs = made
    for order in ("toe_to_heel", "alternating"):
        date, trigger = named(jobs, f"{order}@2026-03"), named(jobs, f"{order}@fixed")
        assert trigger.started_share == 1.0
        for name, values in date.columns.items():
            np.testing.assert_allclose(trigger.columns[name], values, rtol=1e-12, err_msg=name)


def test_a_trigger_counts_over_the_trials_in_which_it_fires(made) -> None:
    case, plan, jobs = made
    found = named(jobs, "alternating@dear")
    months = np.concatenate(
        [
            trigger_months(model_block(plan, draw(plan, block, size)), found.strategy.trigger)
            for block, size in enumerate(blocks_of(700))
        ]
    )
    fired = months >= 0
    assert 0.05 < fired.mean() < 0.95
    assert found.started_share == fired.mean()
    assert (np.isfinite(found.columns["days"]) == fired).all()
    row = next(
        r
        for r in job_report.strategy_rows(plan, jobs)
        if (r["strategy"], r["measure"]) == ("alternating@dear", "days")
    )
    assert row["mean"] == pytest.approx(found.columns["days"][fired].mean(), rel=1e-12)
    middle = sorted(months[fired])[(int(fired.sum()) - 1) // 2]
    assert row["month"] == str(np.datetime64(case.valuation.date, "M") + middle)
    never = named(jobs, "alternating@never")
    assert never.started_share == 0.0
    assert np.isnan(never.columns["days"]).all()


def test_steps_run_on_without_a_gap(made) -> None:
    _, plan, _ = made
    steps = pd.DataFrame(planned_orders.step_rows(plan, planned_orders.order_rows(plan)))
    for _, mine in steps.groupby("order"):
        np.testing.assert_allclose(mine["cumulative_hours"], mine["hours"].cumsum())
        assert mine["depth_ft"].max() <= plan.well.tally.depth_ft.max()


def test_files_are_those_of_this_call_only(made, tmp_path: Path) -> None:
    """Files of an earlier call with another order go, a stranger's stay; the same bytes with any workers."""
    case, plan, jobs = made
    for name in ("cost-two_pass.png", "notes.txt", "my-chart.png"):
        (tmp_path / name).write_text("old", "utf-8")
    written = write_job(case, plan, jobs, tmp_path)
    assert {path.name for path in tmp_path.iterdir()} - {path.name for path in written} >= {
        "notes.txt",
        "my-chart.png",
    }
    assert not (tmp_path / "cost-two_pass.png").exists()
    assert {"timeline-alternating.png", "distributions.svg", "job_steps.csv"} <= {p.name for p in written}
    again = write_job(case, plan, jobs, tmp_path / "two", workers=2)
    assert [path.read_bytes() for path in written] == [path.read_bytes() for path in again]


def test_the_mean_days_by_kind_add_up(made) -> None:
    _, _, jobs = made
    for found in jobs:
        kinds = found.mean_days
        if np.isnan(found.columns["days"]).all():
            assert set(kinds.values()) == {None}
        else:
            assert sum(kinds.values()) == pytest.approx(np.nanmean(found.columns["days"]), rel=1e-12)


def test_the_page_of_the_job_is_one_page(tmp_path: Path) -> None:
    """One line an order in each table; every number of it stands in the content; no step but with --steps."""
    (tmp_path / "case.toml").write_text(TEXT, "utf-8")
    (tmp_path / "sleeves.csv").write_text(TALLY, "utf-8")
    report = plan_job(tmp_path / "case.toml", trials=700)
    (well,) = report.content["wells"]
    page, full = report.text().splitlines(), report.text(steps=True).splitlines()
    assert len(page) <= 60
    assert max(map(len, page + full)) <= 120
    steps = sum(len(order["steps"]) for order in well["orders"])
    assert len(full) > len(page) + steps
    for row in well["orders"]:
        (line,) = [line.split() for line in page if line.split()[:1] == [row["order"]]]
        told = [str(row["stages"]), *map(str, row["shifts"].values())]
        assert line[1:] == [*told, f"{row['travel_ft']:,.0f}", f"{row['planned_days']:.1f}"]
    first = [row for row in well["strategies"] if row["date"] == well["strategies"][0]["date"]]
    for row in first:
        if not row["strategy"].endswith(row["date"]):
            continue
        results, wrong = [line.split() for line in page if line.split()[:1] == [row["strategy"]]]
        assert results[1:6:2] == [f"{row['days'][name]:.1f}" for name in ("p90", "p50", "p10")]
        assert float(wrong[1]) == pytest.approx(row["mean_counts"]["close_failed"], abs=0.005)
        assert wrong[-1] == f"{row['well_lost_fraction']:.1%}"


def test_the_page_names_what_is_pumped_below_an_open_sleeve(tmp_path: Path) -> None:
    """Sleeve 4 leaks and is left so, above three stages of toe to heel; sealed by default."""
    lines = TALLY.splitlines(keepends=True)
    lines[4] = lines[4].replace("open", "leaking")
    (tmp_path / "sleeves.csv").write_text("".join(lines), "utf-8")
    for text, expected in (
        (TEXT.replace("[strategies]", '[strategies]\nleaking_sleeve = "accept"', 1), 3),
        (TEXT, 0),
    ):
        (tmp_path / "case.toml").write_text(text, "utf-8")
        report = plan_job(tmp_path / "case.toml", trials=512)
        order = report.content["wells"][0]["orders"][0]
        assert order["exposed_stages"].get("4", 0) == expected
        assert ("sleeve 4 stands open or leaks" in report.text()) == (expected == 3)
