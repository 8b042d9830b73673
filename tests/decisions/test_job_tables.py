"""Tables of the job. Oracles: totals that must add up, the log, counting by hand, and the pair sums of stress."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from refracmc.case.load import load_case
from refracmc.decisions.job_tables import job_tables
from refracmc.engine.block_jobs import simulate_jobs
from refracmc.engine.draws import draw
from refracmc.engine.one_trial import strategy_log
from refracmc.engine.plan import build_plan
from tests.second_route.awkward import CURVE, HEAD, SAMPLING

TALLY = "sleeve,depth_ft,isolation_above,state_date,state,shifts,installed\n" + "".join(
    f"{k + 1},{15000 - 150 * k},cement,2024-05,open,1,2016-02\n" for k in range(12)
)
TEXT = (
    HEAD
    + SAMPLING
    + """[valuation]
date = "2025-06"
[prices]
oil_usd_per_bbl = 70.0
gas_usd_per_mcf = 3.0
[job]
close_chance = 0.8
reclose_chance = 0.7
open_sleeve_take = 1.0
stray_fluid_value = 0.0
screenout_chance = 0.0
leak_chance_cement = 0.0
[job.pressure]
true_vertical_depth_ft = 9000
depletion_psi = {dist = "uniform", low = 0, high = 4000}
net_pressure_psi = {dist = "uniform", low = 0, high = 3000}
[strategies]
orders = ["toe_to_heel", "alternating", "two_pass"]
dates = ["2025-09"]
[strategies.methods.bullhead]
[[wells]]
id = "A"
tally = "sleeves.csv"
main_phase = "oil"
[wells.interests]
working = 1.0
net_revenue = 0.8
[wells.completion]
casing_od_in = 5.5
casing_wall_in = 0.304
casing_grade = "J-55"
ct_od_in = 2.0
"""
    + CURVE
)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory):
    folder: Path = tmp_path_factory.mktemp("case")
    (folder / "case.toml").write_text(TEXT, "utf-8")
    (folder / "sleeves.csv").write_text(TALLY, "utf-8")
    case = load_case(folder / "case.toml")
    plan = build_plan(case, case.wells[0], 0, None)
    found = job_tables(plan, draw(plan, 0, 512), plan.dated[1], plan.dated, 3)
    return plan, {key: pd.DataFrame(rows) for key, rows in found.items()}


def test_parts_add_up_to_days_and_cost(made) -> None:
    plan, tables = made
    parts = tables["job_parts"].groupby(["order", "measure"])["mean"].sum()
    draws = draw(plan, 0, 512)
    for strategy, job, _, _ in simulate_jobs(plan, draws, plan.dated):
        assert parts[strategy.order, "days"] == pytest.approx(job.days.mean(), rel=1e-12)
        spread = tables["job_spread"].query("order == @strategy.order and measure == 'days'")
        assert spread["value"].is_monotonic_increasing
        at = spread.set_index("exceedance_percent")["value"]
        assert at[50.0] == pytest.approx(np.median(job.days))


def test_every_sleeve_is_mapped_from_start_to_end(made) -> None:
    plan, tables = made
    rows = tables["sleeve_map"]
    log = strategy_log(plan, draw(plan, 0, 512), plan.dated[1], 3)
    stop = log[-1].start_hour + log[-1].hours
    treated = {
        row.sleeve for row in log if row.action == "treat" and row.outcome in ("treated", "screened out")
    }
    for sleeve, mine in rows.groupby("sleeve"):
        assert mine["from_hour"].iloc[0] == 0.0
        assert mine["to_hour"].iloc[-1] == pytest.approx(stop)
        np.testing.assert_allclose(mine["from_hour"].iloc[1:], mine["to_hour"].iloc[:-1])
        assert (sleeve in treated) == ("being treated" in set(mine["state"]))
        if sleeve in treated:  # reclosed and reopened, it is a treated sleeve still
            assert mine["state"].iloc[-1] != "open"
    assert rows["sleeve"].nunique() == 12


def test_pairs_of_stages_count_once_in_any_order(made) -> None:
    """Where nothing fails the sum met is the same for all orders (linear map); failures move it by little here."""
    _, tables = made
    met = tables["stress_state"].query("state == 'as its stage is pumped'")
    sums = met.groupby("order")["contrast_fall_psi"].sum()
    assert sums.max() / sums.min() < 1.1
    most = met.groupby("order")["contrast_fall_psi"].max()
    assert most["two_pass"] > 1.2 * most["toe_to_heel"]


def test_a_failure_costs_by_its_place(made) -> None:
    """take 1: a sleeve stuck open above d stages halves them; d/(2 N) of the effect by hand."""
    plan, tables = made
    rows = tables["failures"]
    closing = rows[rows["kind"] == "close"].set_index("sleeve")["stages_lost_share"]
    for sleeve in range(1, 13):
        assert closing[sleeve] == pytest.approx((sleeve - 1) / 2 / 12)
    reclosing = rows[rows["kind"] == "reclose"].set_index("sleeve")["stages_lost_share"]
    order = plan.orders["alternating"].job.order
    for sleeve in reclosing.index:
        later = order[order.index(sleeve) + 1 :]
        assert reclosing[sleeve] == pytest.approx(sum(s < sleeve for s in later) / 2 / 12)
    reopening = rows[rows["kind"] == "reopen"]
    np.testing.assert_allclose(reopening["old_lost_share"], 1 / 12)
    assert rows["chance"].between(0, 1).all()


def test_the_screen_counts_trials_within_limits(made) -> None:
    _, tables = made
    rows = tables["pressure"].set_index("limit_name")
    assert 0 < rows.loc["casing burst", "inside_share"] < 1
    assert rows.loc["all", "inside_share"] <= rows["inside_share"].min() + 1e-12
    assert (rows["asked_p90_psi"] <= rows["asked_p10_psi"]).all()
