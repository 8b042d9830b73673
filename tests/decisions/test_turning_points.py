"""What turns a verdict, against the case changed by hand and run anew on the same draws.

Oracle: `evaluate` on a case in which the input stands at the value said; algebra for the cost of the job.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from refracmc.case.decision_section import Decision
from refracmc.case.load import load_case
from refracmc.decisions.turning_points import turning_rows
from refracmc.decisions.verdict_rule import VERDICTS, grade
from refracmc.engine.changed_inputs import Change, first_trials
from refracmc.engine.draws import draw
from refracmc.engine.plan import WellPlan, build_plan
from refracmc.engine.valuation import evaluate
from tests.system.small_case import CASE, TALLY, changed, write_case

ALONE = changed(CASE, (CASE[CASE.index('[[wells]]\nid = "A"') : CASE.index('[[wells]]\nid = "B"')], ""))
STUCK = TALLY.replace("B,8,9900,packer,2024-05,open", "B,8,9900,packer,2024-05,stuck_open")


def plan_of(folder: Path, *pairs: tuple[str, str], sleeves: str = TALLY) -> WellPlan:
    case = load_case(write_case(folder, changed(ALONE, *pairs), sleeves=sleeves))
    return build_plan(case, case.wells[0], 0, None)


def numbers(plan: WellPlan) -> tuple[np.ndarray, np.ndarray]:
    """Incremental NPV and discounted capex (512,) of the first strategy."""
    found = evaluate(plan, draw(plan, 0, 512), plan.dated[:1]).measures
    return found["incremental_npv"][1], found["discounted_capex"][1]


def judged(plan: WellPlan, asked: Decision) -> str:
    inc, capex = numbers(plan)
    return VERDICTS[grade(inc.mean() / capex.mean(), (inc < 0).mean(), asked)]


def rows_of(plan: WellPlan, asked: Decision) -> dict[tuple[str, str], dict]:
    inc, capex = numbers(plan)
    value, loss = inc.mean() / capex.mean(), float((inc < 0).mean())
    verdict = {"verdict": "x", "value_per_dollar": value, "p_loss": loss, "value_per_dollar_se": 0.02,
        "p_loss_se": 0.01, "verdict_of_estimates": VERDICTS[grade(value, loss, asked)]}  # fmt: skip
    well = replace(plan.well, settings=replace(plan.well.settings, decision=asked))
    rows = turning_rows(replace(plan, well=well), plan.dated[0], verdict, [512, 512, 76], 1e6)
    return {(row["input"], row["verdict_then"]): row for row in rows}


@pytest.fixture(scope="module")
def asked_and_rows(tmp_path_factory: pytest.TempPathFactory):
    """Limits about the case's own numbers, so that it is marginal and turns to both sides."""
    plan = plan_of(tmp_path_factory.mktemp("turn"), sleeves=STUCK)
    inc, capex = numbers(plan)
    middle = float(inc.mean() / capex.mean())
    asked = Decision(
        least_value_per_dollar=middle + 0.2,
        marginal_value_per_dollar=0.4,
        greatest_chance_of_loss=1.0,
        marginal_chance_of_loss=0.0,
    )
    return asked, rows_of(plan, asked)


KEYS = {
    "uplift": lambda at: [("[response]\n", f"[response]\nplay_factor = {at}\n")],
    "discount rate": lambda at: [('date = "2026-10"', f'date = "2026-10"\nannual_discount_rate = {at}')],
}


@pytest.mark.parametrize("name", KEYS)
@pytest.mark.parametrize("then", ["leave", "refracture"])
def test_it_turns_where_the_changed_case_does(name: str, then: str, asked_and_rows, tmp_path: Path) -> None:
    asked, rows = asked_and_rows
    row = rows[name, then]
    at = row["turns_at"]
    sides = {
        judged(plan_of(tmp_path / f"{k}", *KEYS[name](at + k * 0.02 * (at if name == "uplift" else 1)),
                       sleeves=STUCK), asked)
        for k in (-1, 1)
    }  # fmt: skip
    assert sides == {"marginal", then}


def test_the_price_turns_it_where_the_changed_deck_does(asked_and_rows, tmp_path: Path) -> None:
    asked, rows = asked_and_rows
    for then in ("leave", "refracture"):
        at, said = rows["oil price", then]["turns_at"], set()
        for factor in (0.98 * at, 1.02 * at):
            plan = plan_of(tmp_path / f"{factor}", sleeves=STUCK)
            lines = (tmp_path / f"{factor}" / "prices.csv").read_text("utf-8").split()
            cells = [line.split(",") for line in lines[1:]]
            text = [lines[0], *(f"{m},{factor * float(oil)},{gas}" for m, oil, gas in cells)]
            (tmp_path / f"{factor}" / "prices.csv").write_text("\n".join(text) + "\n", "utf-8")
            case = load_case(plan.case.path)
            said.add(judged(build_plan(case, case.wells[0], 0, None), asked))
        assert said == {"marginal", then}


def test_the_cost_turns_it_where_algebra_says(asked_and_rows, tmp_path: Path) -> None:
    """At a factor f the gain is that at 1 less (f - 1) capex: its ratio to f capex is the limit at
    f = (gain + capex)/(capex (1 + limit))."""
    asked, rows = asked_and_rows
    inc, capex = numbers(plan_of(tmp_path, sleeves=STUCK))
    for then, limit in (
        ("refracture", asked.least_value_per_dollar),
        ("leave", asked.least_value_per_dollar - asked.marginal_value_per_dollar),
    ):
        row = rows["job cost", then]
        expected = (inc.mean() + capex.mean()) / (capex.mean() * (1 + limit))
        assert row["turns_at"] == pytest.approx(expected, abs=0.01)
        assert row["amount_then"] == pytest.approx(1e6 * row["turns_at"])
        # the slope of the ratio over f at the turn is -(gain + capex)/(capex f^2)
        slope = (inc.mean() + capex.mean()) / capex.mean() / expected**2
        assert row["turns_at_se"] >= 0.9 * 0.02 / slope


def test_jobs_that_bring_nothing_and_sleeves(asked_and_rows) -> None:
    """A share s of trials without a response mixes the two values: the place of the turn is linear in them."""
    _, rows = asked_and_rows
    assert 0.0 < rows["chance of no response", "leave"]["turns_at"] < 1.0
    assert np.isnan(rows["chance of no response", "refracture"]["turns_at"])
    assert ("sleeve 8, stuck open on record, working", "refracture") in rows
    assert ("sleeve 7 stuck open", "leave") in rows


def test_the_chance_of_no_response_turns_it_in_the_case(asked_and_rows, tmp_path: Path) -> None:
    """The case draws anew who responds: four standard errors of the turn to either side."""
    asked, rows = asked_and_rows
    row = rows["chance of no response", "leave"]
    at, off = row["turns_at"], 4.0 * row["turns_at_se"]
    said = []
    for k, chance in enumerate((max(at - off, 0.0), at + off)):
        stated = ("[response]\n", f"[response]\nno_response_chance = {chance}\n")
        said.append(judged(plan_of(tmp_path / f"{k}", stated, sleeves=STUCK), asked))
    assert said == ["marginal", "leave"]


def test_nothing_turns_what_is_far_away(tmp_path: Path) -> None:
    asked = Decision(least_value_per_dollar=-10.0, marginal_value_per_dollar=0.0, greatest_chance_of_loss=1.0)
    rows = rows_of(plan_of(tmp_path), asked)
    assert {key[1] for key in rows} == {"marginal"}
    assert all(np.isnan(row["turns_at"]) for row in rows.values())


def test_sleeves_in_other_states_are_those_of_the_changed_tally(tmp_path: Path) -> None:
    """The same trials on a plan with a sleeve in another state are the trials of a case that states it so."""
    plan, stuck = plan_of(tmp_path / "a"), plan_of(tmp_path / "b", sleeves=STUCK)
    trials = first_trials(plan, plan.dated[0], [512])
    for found, expected in zip(trials.on(stuck).valued(Change()), numbers(stuck), strict=True):
        assert found == pytest.approx(expected, rel=1e-10)
    assert not np.allclose(trials.valued(Change())[0], numbers(stuck)[0])  # negative control


def test_trials_that_all_respond_are_those_of_a_case_without_the_chance(tmp_path: Path) -> None:
    plain = plan_of(tmp_path / "a")
    some = plan_of(tmp_path / "b", ("[response]\n", "[response]\nno_response_chance = 0.4\n"))
    trials = first_trials(some, some.dated[0], [512])
    for found, expected in zip(trials.all_responding().valued(Change()), numbers(plain), strict=True):
        assert found == pytest.approx(expected, rel=1e-10)
    assert not np.allclose(trials.valued(Change())[0], numbers(plain)[0])  # negative control
