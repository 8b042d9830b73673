"""Dates set by triggers. Oracle: the fixed date of the same month, value for value; the months by plain loops over
what is known; knowledge taken away (later months changed) as a negative control."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from refracmc.case.load import load_case
from refracmc.commands.trace import trace_content
from refracmc.engine.block_model import model_block
from refracmc.engine.cash_flow import limit_alone
from refracmc.engine.draws import draw
from refracmc.engine.plan import build_plan
from refracmc.engine.triggers import first_month, trigger_months
from refracmc.engine.valuation import evaluate
from refracmc.errors import InputError
from tests.second_route.awkward import CURVE, HEAD, SAMPLING, TALLY

BASE = (
    HEAD
    + SAMPLING
    + """[valuation]
date = "2025-06"
horizon_months = 120
[prices]
model = "mean_reverting"
oil_usd_per_bbl = 70.0
gas_usd_per_mcf = 3.0
[fiscal.income_tax]
rate = 0.21
[job]
age_slope_per_year = -0.3
[opex]
fixed_usd_per_month = {dist = "uniform", low = 20000, high = 60000}
lease_holding_months = 3
[strategies]
orders = ["toe_to_heel", "alternating"]
dates = ["2025-09", "2026-03"]
[strategies.methods.straddle]
[strategies.triggers.fixed]
when = "date"
earliest = "2026-03"
latest = "2026-03"
[strategies.triggers.low]
when = "rate_below"
rate_per_d = 12.0
earliest = "2025-07"
latest = "2029-06"
min_price_usd = 66.0
max_service_index = 1.2
orders = ["toe_to_heel"]
[strategies.triggers.limit]
when = "economic_limit"
earliest = "2025-07"
latest = "2033-06"
orders = ["alternating"]
[[wells]]
id = "A"
tally = "sleeves.csv"
main_phase = "oil"
[wells.interests]
working = 1.0
net_revenue = 0.8
"""
)
N = 60


@pytest.fixture
def plan(tmp_path: Path):
    (tmp_path / "case.toml").write_text(BASE + CURVE, "utf-8")
    (tmp_path / "sleeves.csv").write_text(TALLY, "utf-8")
    case = load_case(tmp_path / "case.toml")
    return build_plan(case, case.wells[0], 0, None)


def strategy(plan, name: str):
    return next(s for s in plan.strategies if s.name == name)


def test_a_window_of_one_month_is_the_fixed_date(plan) -> None:
    draws = draw(plan, 0, N)
    found = evaluate(plan, draws)
    at = {name: k for k, name in enumerate(plan.names)}
    for order in ("toe_to_heel", "alternating", "straddle"):
        one, other = at[f"{order}@2026-03"], at[f"{order}@fixed"]
        for name, values in found.measures.items():
            np.testing.assert_allclose(values[other], values[one], rtol=1e-11, atol=1e-6, err_msg=name)
        for name, values in found.parts.items():
            np.testing.assert_allclose(values[other - 1], values[one - 1], rtol=1e-12, err_msg=name)


def test_months_are_the_first_with_condition_and_gate(plan) -> None:
    model = model_block(plan, draw(plan, 0, N))
    low = strategy(plan, "toe_to_heel@low").trigger
    months = trigger_months(model, low)
    assert (months >= 0).any()
    assert (months < 0).any()
    limit = limit_alone(model)
    assert (limit >= 0).any()
    oil = np.diff(model.own.sums(slice(None))["oil"], axis=1)
    for t in range(N):
        expected = -1
        for i in range(low.first, low.last + 1):
            rate = oil[t, i - 1] / (365.25 / 12.0)
            if i - 1 > limit[t]:  # past its limit the well stands still
                rate = 0.0
            price = model.economics.main_price[t, i - 1]
            if rate < 12.0 and price >= 66.0 and model.economics.service_index[i][t] <= 1.2:
                expected = i
                break
        assert months[t] == expected


def test_nothing_that_comes_later_is_used(plan) -> None:
    """Rates and prices after month m are changed: no decision up to month m moves. Changed before, some do."""
    model = model_block(plan, draw(plan, 0, N))
    low = strategy(plan, "toe_to_heel@low").trigger
    limit = limit_alone(model)
    rate = np.diff(model.own.sums(slice(None))["oil"], axis=1) / (365.25 / 12.0)
    service = np.stack([model.economics.service_index[i] for i in range(low.first, low.last + 1)], axis=1)
    m = 30

    def months_if(columns: slice):
        """Months of the job, the limit as it was, with other rates and prices in some months."""
        rates, price = rate.copy(), model.economics.main_price.copy()
        rates[:, columns] *= 0.2
        price[:, columns] = 500.0
        known = slice(low.first - 1, low.last)
        return first_month(low, limit, rates[:, known], price[:, known], service)

    months = months_if(slice(0, 0))
    np.testing.assert_array_equal(months, trigger_months(model, low))
    early = (months >= 0) & (months <= m)
    assert early.any()
    after = months_if(slice(m, None))
    np.testing.assert_array_equal(after[early], months[early])
    assert ((after > m) | (after < 0))[~early].all()
    assert (months_if(slice(0, m))[early] != months[early]).any()


def test_a_trigger_that_never_fires_leaves_the_well_alone(plan) -> None:
    name = "toe_to_heel@low"
    chosen = strategy(plan, name)
    never = dataclasses.replace(chosen, trigger=dataclasses.replace(chosen.trigger, min_price_usd=1e6))
    plan = dataclasses.replace(plan, strategies=(*plan.dated, never))
    found = evaluate(plan, draw(plan, 0, N)).measures
    np.testing.assert_array_equal(found["npv"][-1], found["npv"][0])
    np.testing.assert_array_equal(found["eur"][-1], found["eur"][0])
    for measure in ("incremental_npv", "capex", "job_days", "executed"):
        assert not found[measure][-1].any()
    assert np.isnan(found["irr"][-1]).all()


@pytest.mark.parametrize("name", ["toe_to_heel@low", "alternating@limit", "straddle@fixed"])
def test_a_trace_of_a_triggered_trial_reconciles(plan, name: str) -> None:
    months = trigger_months(model_block(plan, draw(plan, 0, 512)), strategy(plan, name).trigger)
    for trial in (int(np.argmax(months)), int(np.argmin(months))):
        content = trace_content(plan, name, trial)
        assert abs(content["reconciliation"]["difference_usd"]) < 1e-5
        assert content["reconciliation"]["job_hours"] == pytest.approx(24.0 * content["measures"]["job_days"])


def test_faults_of_triggers_are_named(tmp_path: Path) -> None:
    text = BASE.replace("rate_per_d = 12.0\n", "").replace(
        'orders = ["alternating"]', 'orders = ["sideways"]'
    )
    (tmp_path / "case.toml").write_text(text + CURVE, "utf-8")
    (tmp_path / "sleeves.csv").write_text(TALLY, "utf-8")
    with pytest.raises(InputError) as caught:
        load_case(tmp_path / "case.toml")
    said = "; ".join(map(str, caught.value.faults))
    assert "strategies.triggers.low.rate_per_d" in said
    assert "sideways" in said
