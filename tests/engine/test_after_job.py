"""Uptime, limits of the rate and idle wells after the job.

Oracles: algebra (volumes under a limit and those that wait are all there is; the same uptime is no other uptime; a
limit that never binds is none), and the measures of `no uplift` where an idle well is not brought back.
"""

from pathlib import Path

import numpy as np
import pytest

from refracmc.engine.cash_flow import limit_alone
from refracmc.engine.draws import draw
from refracmc.engine.one_trial import evaluate_one
from refracmc.engine.valuation import evaluate
from refracmc.engine.volumes import PHASES, volumes_of
from tests.engine.awkward_cases import main_volumes, plan_of_text
from tests.second_route.awkward import CASES

TEXT, TALLY = CASES["suspended, deck"]
DECK, ITS_TALLY = CASES["limit of gas, known deck"]
N = 200


def keyed(folder: Path, keys: str, text=TEXT, tally=TALLY):
    return plan_of_text(text.replace("[opex]", f"[response]\n{keys}\n[opex]", 1), tally, folder)


def same(found, expected, rtol=1e-9) -> bool:
    return all(
        np.allclose(
            found[name],
            values,
            rtol=rtol,
            atol=rtol * np.abs(values[np.isfinite(values)]).max(initial=1.0),
            equal_nan=True,
        )
        for name, values in expected.items()
    )


def test_the_same_uptime_and_a_limit_never_reached_change_nothing(tmp_path: Path) -> None:
    """Negative control: another uptime, and a limit that binds."""
    plain = keyed(tmp_path / "a", "b = 0.9")
    stated = keyed(tmp_path / "b", "uptime = 0.9\nliquid_limit_bbl_per_d = 1e9\ngas_limit_mcf_per_d = 1e9")
    draws, others = draw(plain, 0, N), draw(stated, 0, N)
    expected = evaluate(plain, draws).measures
    others["response.uptime"] = draws["type_curve.uptime"].copy()
    assert same(evaluate(stated, others).measures, expected)
    for name, value in (("response.uptime", 0.5), ("response.liquid_limit_bbl_per_d", 60.0)):
        assert not same(evaluate(stated, others | {name: np.full(N, value)}).measures, expected), name


def test_what_a_limit_holds_back_comes_later(tmp_path: Path) -> None:
    """Where life lasts to the horizon with and without it, the volumes differ by what waits at the end; they are never
    ahead, and never above the limit."""
    plan = plan_of_text(DECK, ITS_TALLY, tmp_path)
    draws = draw(plan, 0, N) | {
        "opex.fixed_usd_per_month": np.zeros(N),
        "job.cost.mobilisation_usd": np.zeros(N),
    }
    strategy = plan.dated[0]
    month, rows = strategy.month, np.arange(N)
    cap = draws["response.gas_limit_mcf_per_d"]
    free = draws | {"response.gas_limit_mcf_per_d": np.full(N, 1e12)}
    found = []
    for given in (draws, free):
        one = evaluate_one(plan, given, strategy)
        volumes = volumes_of(one.model, rows, PHASES, np.full(N, month), one.outcome, one.cash)
        lasts = one.cash.details.life[0] == plan.horizon - month - 1
        found.append((volumes, lasts & (one.cash.measures["executed"][1] > 0.0)))
    ((oil, gas, water), lasts), (unheld, freely) = found
    both = lasts & freely
    held = both & (gas.sum(axis=1) < 0.999 * unheld[1].sum(axis=1))
    late = both & ~held & (np.abs(gas - unheld[1]).max(axis=1) > 1.0)
    assert both.sum() > N // 2
    assert late.sum() > 10  # all that was held back had come by the horizon
    capacity = cap * draws["type_curve.uptime"] * 365.25 / 12.0
    assert (gas[:, month:] <= capacity[:, None] * (1 + 1e-12)).all()
    for phase, other in zip((oil, gas, water), unheld, strict=True):
        behind = np.cumsum(other - phase, axis=1)[both]
        assert (behind >= -1e-9 * other[both].sum(axis=1, keepdims=True)).all()
        np.testing.assert_allclose(phase[late].sum(axis=1), other[late].sum(axis=1), rtol=1e-9)


def test_months_sum_to_the_recovery(tmp_path: Path) -> None:
    """Volumes by month, of a second way to them, sum to what the cash flow recovers. Negative control: without the
    limit they do not."""
    text, tally = CASES["uptime and limits after the job"]
    plan = plan_of_text(text, tally, tmp_path)
    draws = draw(plan, 0, N)
    one = evaluate_one(plan, draws, plan.dated[0])
    produced, eur = one.model.own.np0, one.cash.measures["eur"][1]
    _, treated = main_volumes(plan, draws, plan.dated[0])
    np.testing.assert_allclose(produced + treated.sum(axis=1), eur, rtol=1e-11)
    free = draws | {
        f"response.{name}": np.full(N, 1e9) for name in ("liquid_limit_bbl_per_d", "gas_limit_mcf_per_d")
    }
    assert not np.allclose(produced + main_volumes(plan, free, plan.dated[0])[1].sum(axis=1), eur, rtol=1e-3)


@pytest.mark.parametrize("revives", [True, False])
def test_an_idle_well_that_is_not_brought_back(revives: bool, tmp_path: Path) -> None:
    """Its trials are those of no uplift; those of a well that runs do not change."""
    plan = keyed(tmp_path, f"revives_idle = {str(revives).lower()}")
    draws = draw(plan, 0, N)
    idle = np.arange(N) % 3 == 0
    draws["type_curve.uptime"] = np.where(idle, 0.0, draws["type_curve.uptime"])
    found = evaluate(plan, draws).measures
    assert (limit_alone(evaluate_one(plan, draws, plan.dated[0]).model)[idle] == -1).all()
    brought = evaluate(keyed(tmp_path / "b", "revives_idle = true"), draws).measures
    silent = evaluate(plan, draws | {"response.uplift": np.zeros(N)}).measures
    for name, values in found.items():
        np.testing.assert_array_equal(values[:, ~idle], brought[name][:, ~idle])
        np.testing.assert_array_equal(values[:, idle], (brought if revives else silent)[name][:, idle])


def test_triggered_jobs_come_back_at_the_uptime_too(tmp_path: Path) -> None:
    """A trigger that always fires in one month is that date."""
    soon = 'when = "rate_below"\nrate_per_d = 1e9\nearliest = "2028-07"\nlatest = "2028-07"\n'
    text = TEXT.replace("[[wells]]", f"[strategies.triggers.soon]\n{soon}[[wells]]")
    plan = keyed(tmp_path, "uptime = 0.6\nliquid_limit_bbl_per_d = 150", text)
    found = evaluate(plan, draw(plan, 0, N)).measures
    dated, by_trigger = (plan.names.index(f"toe_to_heel@{date}") for date in ("2028-07", "soon"))
    done = found["executed"][by_trigger] > 0.0
    assert done.sum() > N // 4
    for name, values in found.items():
        np.testing.assert_array_equal(values[dated][done], values[by_trigger][done], err_msg=name)
