"""Offset wells in the cash flow of a job. Oracle: algebra, and the case without them."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from refracmc.case.load import load_case
from refracmc.engine.draws import draw
from refracmc.engine.ledger import month_ledger
from refracmc.engine.neighbours import HIT
from refracmc.engine.one_trial import evaluate_one
from refracmc.engine.plan import WellPlan, build_plan
from refracmc.engine.valuation import evaluate
from refracmc.errors import InputError
from tests.second_route.awkward_choices import BESIDE, CHOICES

TEXT, TALLY = CHOICES["offset wells, gas, process"]
OFF = TEXT.replace(BESIDE, "")
RATE, MONTH = 250.0, 365.25 / 12.0


def plan_of(folder: Path, text: str) -> WellPlan:
    folder.mkdir(exist_ok=True)
    (folder / "case.toml").write_text(text, "utf-8")
    (folder / "sleeves.csv").write_text(TALLY, "utf-8")
    case = load_case(folder / "case.toml")
    return build_plan(case, case.wells[0], 0, None)


def table(**keys: float) -> str:
    stated = {"rate_per_d": RATE, "decline_per_year": 0.0, "hit_chance": 1.0, "recovery_months": 2.0} | keys
    return OFF + "[wells.offset_wells]\n" + "".join(f"{key} = {value}\n" for key, value in stated.items())


def npv(plan: WellPlan) -> tuple[np.ndarray, np.ndarray]:
    found = evaluate(plan, draw(plan, 0, 128)).measures
    return found["npv"], found["executed"]


@pytest.mark.parametrize("keys", [{"rate_per_d": 0.0}, {"lost_fraction": 0.0}, {"hit_chance": 0.0}])
def test_nothing_beside_changes_nothing(tmp_path: Path, keys: dict[str, float]) -> None:
    """Every measure of the case without them. Negative control: neighbours that lose something."""
    plain, same = plan_of(tmp_path / "a", OFF), plan_of(tmp_path / "b", table(**keys))
    other = plan_of(tmp_path / "c", table())
    expected, found = (evaluate(plan, draw(plan, 0, 128)).measures for plan in (plain, same))
    for name, values in expected.items():
        np.testing.assert_allclose(found[name], values, rtol=1e-12, atol=1e-6, equal_nan=True)
    assert not np.allclose(npv(other)[0], expected["npv"], rtol=1e-9)


def test_the_loss_is_the_volume_at_what_it_nets(tmp_path: Path) -> None:
    """Two months: three quarters, then one quarter of the loss, in the months of the job and after; gas prices of the
    trial less 7.5 + 2 % taxes and the unit cost. Oracle: this sum by hand; the well's own stream does not move."""
    off, on = plan_of(tmp_path / "a", OFF), plan_of(tmp_path / "b", table(lost_fraction=0.4))
    draws, strategy = draw(on, 0, 128), on.dated[0]
    one = evaluate_one(on, draws, strategy)
    done = (one.cash.measures["executed"][1] > 0.0) & (one.outcome.effective_share > 0.0)
    assert done.any()
    m, settings = strategy.month, on.well.settings
    lost = np.zeros(128)
    for j, part in ((0, 0.75), (1, 0.25)):
        price = one.model.economics.gas_price[:, m + j] + draws["prices.gas_differential_usd_per_mcf"]
        liquids = draws["prices.ngl_yield_bbl_per_mcf"] * draws["prices.ngl_price_fraction_of_oil"]
        price = price + liquids * one.model.economics.oil_price[:, m + j]
        fiscal = settings.fiscal
        kept = settings.interests.net_revenue * (
            1.0 - fiscal.severance_gas_fraction - fiscal.ad_valorem_fraction
        )
        unit = price * kept - settings.interests.working * draws["opex.gas_usd_per_mcf"]
        lost += 0.4 * part * RATE * MONTH * unit * one.model.economics.discount[m + j]
    difference = evaluate(off, draw(off, 0, 128)).measures["npv"][1] - one.cash.measures["npv"][1]
    np.testing.assert_allclose(one.cash.measures["offset_npv"][1][done], -lost[done], rtol=1e-9)
    np.testing.assert_allclose(difference[done], lost[done], rtol=1e-6)
    np.testing.assert_array_equal(difference[~done], 0.0)


def test_a_gain_is_a_loss_turned_round(tmp_path: Path) -> None:
    base = npv(plan_of(tmp_path / "a", OFF))[0]
    loss = npv(plan_of(tmp_path / "b", table(lost_fraction=0.2)))[0]
    gain = npv(plan_of(tmp_path / "c", table(lost_fraction=-0.2)))[0]
    np.testing.assert_allclose(gain - base, base - loss, rtol=1e-6, atol=1e-3)


def test_a_child_well_counts_for_a_job_in_time(tmp_path: Path) -> None:
    """Its value at its month, discounted, for the jobs before it; nothing for those after it."""
    keys = table(rate_per_d=0.0, child_value_usd=100_000.0) + 'child_month = "2029-02"\n'
    off, on = plan_of(tmp_path / "a", OFF), plan_of(tmp_path / "b", keys)
    draws = draw(on, 0, 128)
    for strategy in on.dated:
        one = evaluate_one(on, draws, strategy)
        before = evaluate(off, draw(off, 0, 128), [s for s in off.dated if s.name == strategy.name])
        gain = one.cash.measures["npv"][1] - before.measures["npv"][1]
        counts = (one.cash.measures["executed"][1] > 0.0) & (one.outcome.effective_share > 0.0)
        at = 28 if strategy.month <= 28 else None  # from 2026-10
        worth = 0.0 if at is None else 100_000.0 * one.model.economics.discount[at]
        np.testing.assert_allclose(gain, worth * counts, rtol=1e-6, atol=1e-3)


def test_the_ledger_adds_up(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, TEXT)
    draws = draw(plan, 0, 64)
    one = evaluate_one(plan, draws, plan.dated[0])
    seen = 0.0
    for row in range(64):
        ledger = month_ledger(plan, draws, one, row)
        total = float(ledger["present_value_usd"].sum())
        assert total == pytest.approx(one.cash.measures["npv"][1, row], rel=1e-9, abs=1e-4)
        seen += float(np.abs(ledger["offset_wells_usd"]).sum())
    assert seen > 0.0


def test_the_luck_of_a_hit_moves_no_other_number(tmp_path: Path) -> None:
    """All draws of the case without neighbours are there as they were."""
    plain, plan = plan_of(tmp_path / "a", OFF), plan_of(tmp_path / "b", TEXT)
    before, after = draw(plain, 0, 32), draw(plan, 0, 32)
    for name, values in before.items():
        np.testing.assert_array_equal(values, after[name])
    assert HIT in after
    assert HIT not in before


def test_hits_come_by_their_chance(tmp_path: Path) -> None:
    """Share of 512 trials within four standard errors of .3."""
    plan = plan_of(tmp_path, table(hit_chance=0.3))
    hit = draw(plan, 0, 512)[HIT] < 0.3
    assert abs(hit.mean() - 0.3) < 4 * np.sqrt(0.3 * 0.7 / 512)


def test_a_job_that_places_nothing_hits_nothing(tmp_path: Path) -> None:
    """As where all of it went elsewhere: effectiveness of zero."""
    from refracmc.engine.block_jobs import job_outcomes
    from refracmc.engine.block_model import model_block
    from refracmc.engine.valuation import months_of, value_jobs

    found = []
    for folder, text in (("a", OFF), ("b", table())):
        plan = plan_of(tmp_path / folder, text)
        draws = draw(plan, 0, 64)
        model, chosen = model_block(plan, draws), plan.dated[:1]
        jobs, _ = job_outcomes(plan, draws, model, chosen)
        jobs = replace(jobs, effective_share=np.zeros_like(jobs.effective_share))
        found.append(value_jobs(plan, model, months_of(chosen, 64), jobs, ("npv",))["npv"])
    np.testing.assert_allclose(found[0], found[1], rtol=1e-12, atol=1e-6)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("child_value_usd = 5\n", "child_value_usd without it"),
        ("working = 0.5\n", "one interest without the other"),
        ("working = 0.5\nnet_revenue = 0.6\n", "above the working interest"),
        ("lost_fraction = 1.5\n", "1.5"),
    ],
)
def test_faults_of_offset_wells(tmp_path: Path, more: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        plan_of(tmp_path, OFF + "[wells.offset_wells]\nrate_per_d = 3\n" + more)
    assert said in str(caught.value)
