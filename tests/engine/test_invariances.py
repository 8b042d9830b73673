"""Relations that hold whatever the numbers: two runs of the model whose difference is known beforehand.

Oracle: algebra of the model named beside each.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from refracmc.case.load import load_case
from refracmc.economics.breakeven import BREAKEVEN_BOUND
from refracmc.engine.draws import draw
from refracmc.engine.plan import build_plan
from refracmc.engine.valuation import evaluate
from refracmc.engine.well_fit import fit_well
from tests.system.small_case import CASE, TALLY, changed, history_text, write_case

B_ONLY = changed(CASE, (CASE[CASE.index('[[wells]]\nid = "A"') : CASE.index('[[wells]]\nid = "B"')], ""))
MONEY = ("npv", "incremental_npv", "job_cost", "capex", "discounted_capex", "breakeven_price")
FIXED_SHIFTS = """
[job]
close_chance = 1.0
open_chance = 1.0
reclose_chance = 1.0
reopen_chance = 1.0
hours_per_try = 0.0
hours_per_test = 0.0
ct_speed_ft_per_min = 1e9
stuck_ct_chance = 0.0
trip_chance_per_stage = 0.0
screenout_chance = 0.0
leak_chance_cement = 0.0
leak_chance_packer = 0.0
well_effect_sd = 0.0
sleeve_effect_sd = 0.0
"""


def plan_for(folder: Path, text: str, well: str = "B", **files: str):
    case = load_case(write_case(folder, text, **files))
    number = next(k for k, one in enumerate(case.wells) if one.id == well)
    return build_plan(case, case.wells[number], number, fit_well(case, case.wells[number]))


def valued(plan, trials=256, edit=None):
    draws = draw(plan, 0, trials)
    draws.update({} if edit is None else {key: np.full(trials, value) for key, value in edit.items()})
    return evaluate(plan, draws).measures


def test_twice_the_money_twice_the_value(tmp_path: Path) -> None:
    """Every price and cost doubled: money doubles, volumes, months and rates of return stay."""
    plan = plan_for(tmp_path, B_ONLY)
    draws = draw(plan, 0, 256)
    double = {
        name: 2.0 * value
        for name, value in draws.items()
        if name.startswith(("opex.", "job.cost.")) and ("usd" in name)
    }
    double |= {name: 2.0 * draws[name] for name in draws if name.startswith("prices.") and "_usd_" in name}
    assert {"opex.abandonment_usd", "job.cost.mobilisation_usd"} <= set(double)
    richer = replace(plan, deck_oil=2.0 * plan.deck_oil, deck_gas=2.0 * plan.deck_gas)
    richer = replace(richer, case=replace(plan.case))  # a case of its own: paths are not taken from the other
    one, two = evaluate(plan, draws).measures, evaluate(richer, draws | double).measures
    assert np.abs(one["npv"]).min() > 0.0
    for name, values in one.items():
        factor = 2.0 if name in MONEY else 1.0
        wanted = factor * values
        if name == "breakeven_price":  # reported within bounds that do not scale
            wanted = np.where(wanted < np.inf, np.clip(wanted, -BREAKEVEN_BOUND, BREAKEVEN_BOUND), wanted)
        np.testing.assert_allclose(two[name], wanted, rtol=1e-9, atol=1e-3, err_msg=name)
    np.testing.assert_array_equal(two["payout_months"], one["payout_months"])
    # negative control: one cost left as it was
    less = evaluate(
        richer, draws | {k: v for k, v in double.items() if k != "job.cost.mobilisation_usd"}
    ).measures
    assert np.abs(less["npv"][1:] - 2.0 * one["npv"][1:]).min() > 1e3


def test_metric_history_is_the_same_well(tmp_path: Path) -> None:
    """Oil and water in m3, gas in 1000 m3 (1 m3 = 6.28981 bbl = 35.3147 cf): same fit, same value to the rounding."""
    rows = [line.split(",") for line in history_text().splitlines()[1:]]
    lines = ["well_id,date,oil_m3,gas_e3m3,water_m3,days_on"]
    for well, date, oil, gas, water, days in rows:
        oil_m3, water_m3 = float(oil) / 6.28981077043211, float(water) / 6.28981077043211
        gas_e3m3 = float(gas) / 35.31466672148859
        lines.append(f"{well},{date},{oil_m3!r},{gas_e3m3!r},{water_m3!r},{days}")
    field = plan_for(tmp_path / "field", CASE, "A")
    metric = plan_for(tmp_path / "metric", CASE, "A", history="\n".join(lines) + "\n")
    assert metric.np_anchor == pytest.approx(field.np_anchor, rel=1e-6)
    one, two = valued(field), valued(metric)
    # a fit is a long chain of comparisons: what it draws is compared, not each trial
    for name in ("npv", "eur"):
        for k in range(len(field.names)):
            np.testing.assert_allclose(
                np.quantile(two[name][k], [0.1, 0.5, 0.9]),
                np.quantile(one[name][k], [0.1, 0.5, 0.9]),
                rtol=2e-3,
            )
    # negative control: gas taken as if in Mcf moves the value by far more
    wrong = [line.replace("gas_e3m3", "gas_mcf").replace("oil_m3", "oil_bbl").replace("water_m3", "water_bbl")
             for line in lines]  # fmt: skip
    other = valued(plan_for(tmp_path / "wrong", CASE, "A", history="\n".join(wrong) + "\n"))
    assert np.median(other["npv"][0]) < 0.5 * np.median(one["npv"][0])


def test_metric_depths_are_the_same_sleeves(tmp_path: Path) -> None:
    rows = [line.split(",") for line in TALLY.splitlines()]
    rows[0][2] = "depth_m"
    for row in rows[1:]:
        row[2] = repr(float(row[2]) * 0.3048)
    metric = "\n".join(",".join(row) for row in rows) + "\n"
    one = valued(plan_for(tmp_path / "field", B_ONLY))
    two = valued(plan_for(tmp_path / "metric", B_ONLY, sleeves=metric))
    for name in ("npv", "job_days", "job_cost", "eur"):
        np.testing.assert_allclose(two[name], one[name], rtol=1e-9, atol=1e-3)


def test_no_response_loses_the_cost_and_the_lost_production(tmp_path: Path) -> None:
    """Without uplift a job earns nothing: incremental NPV below minus nothing, P(loss) = 1, no payout, no rate above 0.

    With days = 0 lost in production the loss is the job's cost alone; each more condition takes a part away.
    """
    plan = plan_for(tmp_path, B_ONLY)
    got = valued(plan, edit={"response.uplift": 0.0, "response.acceleration_fraction": 0.0})
    done = got["executed"][1:] > 0
    loss = got["incremental_npv"][1:]
    assert (loss[done] < 0.0).all()
    assert (got["payout_months"][1:][done] == np.inf).all()
    assert not (got["irr"][1:][done] >= 0.0).any()
    assert (got["irr"][1:][done] < 0.0).mean() > 0.9
    assert np.isnan(got["payout_months"][0]).all()
    # never less than what is put at stake: the job, and the well's whole value without it; abandoning earlier
    # than in the base can cost no more than abandoning now
    abandonment = draw(plan, 0, 256)["opex.abandonment_usd"]
    at_stake = got["discounted_capex"][1:] + np.maximum(got["npv"][0], 0.0) + abandonment
    assert (-loss <= at_stake * (1.0 + 1e-12))[done].all()
    # all kept, nothing shut in, nothing added: the cost and nothing else
    kept = {
        "response.uplift": 0.0,
        "response.acceleration_fraction": 0.0,
        "response.kept_fraction": 1.0,
        "job.days_before_ct": 0.0,
        "job.days_after_ct": 0.0,
        "job.waiting_days": 0.0,
        "job.cleanout_hours": 0.0,
        "job.hours_per_stage": 0.0,
        "opex.fixed_usd_per_month": 0.0,
        "opex.oil_usd_per_bbl": 0.0,
        "opex.gas_usd_per_mcf": 0.0,
        "opex.water_usd_per_bbl": 0.0,
    }
    # no costs of operation: the life is the horizon in both branches
    quick = plan_for(
        tmp_path / "quick", changed(B_ONLY, JOB_TABLE, ("[job.cost]", FIXED_SHIFTS + "[job.cost]"))
    )
    got = valued(quick, edit=kept)
    assert got["job_days"].max() < 1e-6
    np.testing.assert_allclose(-got["incremental_npv"][1:], got["discounted_capex"][1:], rtol=1e-6)
    np.testing.assert_allclose(got["incremental_eur"][1:], 0.0, atol=1e-3)


JOB_TABLE = (CASE[CASE.index("[job]") : CASE.index("[job.cost]")], "")


def test_orders_of_equal_days_are_equal_without_stress(tmp_path: Path) -> None:
    """Perfect sleeves, no time for shifts and moves, no stress effect: the order cannot matter."""
    orders = '["toe_to_heel", "heel_to_toe", "alternating", "two_pass"]'
    text = changed(
        B_ONLY,
        JOB_TABLE,
        ("[job.cost]", FIXED_SHIFTS + "[job.cost]"),
        ('["toe_to_heel", "mine"]', orders),
        ("[strategies.custom_orders]\nmine = [1, 3, 2]\n", ""),
    )
    without = plan_for(tmp_path / "without", text + "[stress]\nenabled = false\n")
    got = valued(without)
    spread = np.ptp(got["job_days"][1:5], axis=0)
    assert spread.max() < 1e-6
    for first in (1, 5):
        for name in ("npv", "eur", "job_cost", "effective_share"):
            dated = got[name][first : first + 4]
            assert (np.ptp(dated, axis=0) <= 1e-8 * np.abs(dated).max(axis=0)).all(), name
    # negative control: with the stress effect on, orders differ
    strong = "[stress]\nenabled = true\neffect_strength = 0.3\nlimit_strength = 0.3\n"
    differ = valued(plan_for(tmp_path / "with", text + strong))["npv"][1:5]
    assert (np.ptp(differ, axis=0) > 1e-4 * np.abs(differ).max(axis=0)).mean() > 0.5


def test_doing_nothing_does_not_know_the_job(tmp_path: Path) -> None:
    """All inputs of job, response and cost redrawn: the well left alone keeps its value to the bit."""
    plan = plan_for(tmp_path, B_ONLY)
    draws, others = draw(plan, 0, 256), draw(plan, 1, 256)
    mixed = {
        name: others[name] if name.startswith(("job.", "response.", "luck.", "stress.")) else value
        for name, value in draws.items()
    }
    one, two = evaluate(plan, draws).measures, evaluate(plan, mixed).measures
    assert one["npv"][0].tobytes() == two["npv"][0].tobytes()
    assert (one["npv"][1] != two["npv"][1]).all()


def test_a_later_date_is_the_same_job_later(tmp_path: Path) -> None:
    """Flat prices, no decline of the response with depletion, ageless sleeves: only time passes."""
    plan = plan_for(tmp_path, B_ONLY)
    edit = {"job.age_slope_per_year": 0.0}
    got = valued(plan, edit=edit)
    names = list(plan.names)
    early, late = names.index("toe_to_heel@2027-01"), names.index("toe_to_heel@2028-04")
    both = (got["executed"][early] > 0) & (got["executed"][late] > 0)
    np.testing.assert_array_equal(got["job_days"][early][both], got["job_days"][late][both])
    aged = valued(plan, edit={"job.age_slope_per_year": -0.5})
    assert aged["job_days"][late].mean() > aged["job_days"][early].mean()
