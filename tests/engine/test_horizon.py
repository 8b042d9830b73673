"""The response does not depend on how long a well is valued.

Oracle: the same trials under a longer horizon, where every well is dead long before the shortest ends.
"""

from pathlib import Path

import numpy as np
import pytest

from refracmc.engine.draws import draw
from refracmc.engine.one_trial import evaluate_one
from refracmc.engine.valuation import evaluate
from tests.engine.awkward_cases import plan_of_text
from tests.second_route.awkward import CASES

TEXT, TALLY = CASES["suspended, deck"]
DEAD_BY = 195
N = 256


def plan_at(horizon: int, folder: Path, keys: str = ""):
    text = TEXT.replace("horizon_months = 240", f"horizon_months = {horizon}")
    text = text.replace("low = 20000, high = 90000", "low = 30000, high = 90000")
    return plan_of_text(text.replace("[opex]", f"[response]\n{keys}[opex]", 1), TALLY, folder)


def dead_early(plan) -> np.ndarray:
    """Trials in which the well is dead by DEAD_BY, with every strategy."""
    draws, dead = draw(plan, 0, N), np.ones(N, dtype=bool)
    for strategy in plan.dated:
        one = evaluate_one(plan, draws, strategy)
        dead &= (one.cash.limit < DEAD_BY) & (strategy.month + one.cash.details.life[0] < DEAD_BY)
    return dead


@pytest.mark.parametrize("keys", ["", "uptime = 0.7\nliquid_limit_bbl_per_d = 200\n"])
def test_a_longer_horizon_changes_no_value(keys: str, tmp_path: Path) -> None:
    """All measures at 240, 480 and 720 months, to rounding. Negative control: another technical limit."""
    plan = plan_at(240, tmp_path / "240", keys)
    dead = dead_early(plan)
    assert dead.mean() > 0.9
    first = evaluate(plan, draw(plan, 0, N)).measures
    for horizon in (480, 720):
        longer = plan_at(horizon, tmp_path / str(horizon), keys)
        found = evaluate(longer, draw(longer, 0, N)).measures
        for name, values in first.items():
            scale = np.abs(values[np.isfinite(values)]).max(initial=1.0)
            np.testing.assert_allclose(
                found[name][:, dead], values[:, dead], rtol=1e-10, atol=1e-10 * scale, err_msg=name
            )
    other = plan_at(240, tmp_path / "other", f"{keys}technical_limit_bbl_per_d = 20\n")
    assert not np.allclose(evaluate(other, draw(other, 0, N)).measures["npv"], first["npv"])


def test_a_limit_above_the_rate_of_today(tmp_path: Path) -> None:
    """Nothing is left in the old stream then, and the ultimate is what is produced with its headroom; algebra."""
    plan = plan_at(240, tmp_path, "technical_limit_bbl_per_d = 300\nheadroom = 1.5\n")
    one = evaluate_one(plan, draw(plan, 0, N), plan.dated[0])
    own, details = one.model.own, one.cash.details
    np.testing.assert_array_equal(own.technical, own.np0)
    ultimate = one.model.terms[5]
    np.testing.assert_allclose(ultimate, 1.5 * own.np0, rtol=1e-14)
    done = one.cash.measures["executed"][1] > 0.0
    assert (details.acceleration[0][done] == 0.0).all()
    assert np.isfinite(one.cash.measures["npv"]).all()


def test_the_ultimate_is_that_of_the_curve_whatever_the_uptime(tmp_path: Path) -> None:
    """Half the uptime takes twice as long to the same recovery; what is produced by today differs.
    Negative control: a steeper decline has another."""
    plan = plan_at(240, tmp_path)
    draws = draw(plan, 0, N)
    slow = draws | {"type_curve.uptime": 0.5 * draws["type_curve.uptime"]}
    steep = draws | {
        "type_curve.terminal_decline_per_year": 2.0 * draws["type_curve.terminal_decline_per_year"]
    }
    own, slowly, steeply = (evaluate_one(plan, d, plan.dated[0]).model.own for d in (draws, slow, steep))
    above = own.np0 < own.technical  # the rest is below the limit today
    assert above.mean() > 0.5
    np.testing.assert_array_equal(own.technical[above], slowly.technical[above])
    assert not np.allclose(own.np0, slowly.np0)
    assert not np.allclose(own.technical, steeply.technical)
