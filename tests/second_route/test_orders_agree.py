"""Named orders, families of orders and what the search values them at: against the plain second route.

Oracle: orders.py of this folder, written from the reference and the docstring of the search; values by the whole second
route, trial by trial. Negative control: another order.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from refracmc.case.load import load_case
from refracmc.decisions import order_search
from refracmc.decisions.order_search import families, search_orders
from refracmc.engine.plan import build_plan
from refracmc.job.orders import NAMED_ORDERS, named_order
from refracmc.job.sleeves import Tally
from tests.second_route import inputs, job, orders, trial
from tests.second_route.awkward import (
    DECK,
    HARD_JOB,
    HEAD,
    OIL_WELL,
    SAMPLING,
    TALLY,
    strategies,
    valuation,
)
from tests.second_route.compare import TOLERANCE, drawn_rows

TRIALS = 12
CASE = (
    HEAD
    + SAMPLING
    + valuation()
    + DECK
    + HARD_JOB
    + strategies('["toe_to_heel"]', ["2027-02"], 'patched_restricts = "lost"\n')
    + OIL_WELL
)
PATCHED = TALLY.replace("cement,2024-05,open,1,2016-02\n3", "cement,2024-05,patched,1,2016-02\n3")


@pytest.fixture
def plan(tmp_path):
    (tmp_path / "case.toml").write_text(CASE, "utf-8")
    (tmp_path / "sleeves.csv").write_text(PATCHED, "utf-8")
    case = load_case(tmp_path / "case.toml")
    return build_plan(case, case.wells[0], 0, None)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 6, 7, 12, 17, 40])
def test_orders_are_those_of_the_text(count: int) -> None:
    state = ["open"] * count
    if count > 4:
        state[1], state[3] = "stuck_closed", "patched"
    tally = {"state": state, "depth_ft": [15000.0 - 150.0 * k for k in range(count)]}
    engine = Tally(
        depth_ft=np.array(tally["depth_ft"]),
        isolation=np.full(count, "cement"),
        state=np.array(state),
        installed=np.full(count, "2015-01", dtype="datetime64[M]"),
        shifts=np.zeros(count, dtype=np.int64),
    )
    for reach in (None, 14_800.0):
        stages = orders.stages_of(tally, reach)
        if not stages:
            continue
        for name in NAMED_ORDERS:
            assert list(named_order(name, engine, reach)) == orders.NAMED[name](stages), name
        found = {label: list(order) for label, order in families(stages).items()}
        assert found == orders.families(stages)
    assert orders.alternating([1, 2, 3, 4, 5, 6]) == [1, 3, 2, 5, 4, 6]  # as the reference prints it
    assert orders.two_pass([1, 2, 3, 4, 5, 6]) == [1, 3, 5, 2, 4, 6]


def exposure(plan, draws, strategy, order):
    """Chance of a failed reclose, sleeve by sleeve, times the deeper stages that follow; mean of the trials."""
    total = 0.0
    for t in range(TRIALS):
        terms = inputs.trial_inputs(plan, draws, strategy, t)
        policy = terms["policy"]
        actions = job.plan_job(
            terms["tally"], order, policy["close_policy"], policy["reclose_habit"], policy["ct_reach_ft"]
        )
        well = job.Trial(
            terms["tally"], terms["inputs"], terms["luck"], policy, job.cycles_before(terms["tally"], actions)
        )
        for kind, s in actions:
            if kind == "reclose" and not well.shift(kind, s):
                total += orders.stages_below_after(order, s)
    return total / TRIALS


def test_what_the_search_values_agrees(plan) -> None:
    """Mean value, days and exposure of ten orders over the same trials."""
    month = plan.strategies[0].month
    stages = orders.stages_of(inputs.tally_inputs(plan.well.tally, 0, 0), 15_050.0)
    chosen = dict(list(orders.families(stages).items())[::2]) | {"alternating": orders.alternating(stages)}
    valuer = order_search._Valuer(plan, month, [(0, TRIALS)])
    found = valuer.value([(label, tuple(order)) for label, order in chosen.items()])
    draws = drawn_rows(plan, range(TRIALS))
    exposed = 0
    for k, one in enumerate(found):
        strategy = replace(valuer.strategy, order=f"o{k}")
        mine = [
            trial.run(inputs.trial_inputs(valuer.plan, draws, strategy, t))["measures"] for t in range(TRIALS)
        ]
        value = math.fsum(m["incremental_npv"] for m in mine) / TRIALS
        size = math.fsum(abs(m["npv"]) for m in mine) / TRIALS
        assert abs(one.value_usd - value) <= TOLERANCE * (size + abs(value)), one.label
        assert one.days == pytest.approx(math.fsum(m["job_days"] for m in mine) / TRIALS, rel=TOLERANCE)
        expected = exposure(valuer.plan, draws, strategy, list(one.sleeves))
        assert one.exposure == pytest.approx(expected, rel=TOLERANCE, abs=1e-12)
        exposed += expected > 0.0
    assert exposed > 2
    one, other = (
        trial.run(inputs.trial_inputs(valuer.plan, draws, replace(valuer.strategy, order=name), 0))
        for name in ("o0", "o1")
    )
    assert one["measures"]["npv"] != pytest.approx(other["measures"]["npv"], rel=TOLERANCE)


def test_the_search_stays_above_a_patch_the_tools_do_not_pass(plan) -> None:
    """The stages searched are those the orders of a run have."""
    found = search_orders(plan, "2027-02", budget=2, judge_blocks=1)
    expected = set(plan.orders["toe_to_heel"].job.order)
    assert all(set(one.sleeves) == expected for one in found.tried)
    assert {"toe_to_heel", "alternating"} <= {one.found.label for one in found.judged}
