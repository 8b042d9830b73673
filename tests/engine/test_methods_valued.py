"""Isolation methods valued beside stage orders: strategies, draws, logs, faults.

Oracle: the job's log against its days; a run
without the methods' tables against one with them, byte for byte where they share strategies.
"""

from pathlib import Path

import numpy as np
import pytest

from refracmc.case.load import load_case
from refracmc.engine.block_jobs import simulate_jobs
from refracmc.engine.draws import draw
from refracmc.engine.one_trial import planned_log, strategy_log
from refracmc.engine.plan import build_plan
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
oil_usd_per_bbl = 70.0
gas_usd_per_mcf = 3.0
[strategies]
orders = ["toe_to_heel", "alternating"]
dates = ["2025-09", "2026-03"]
"""
)
METHODS = """[strategies.methods.bullhead]
volume_fraction = {dist = "uniform", low = 0.5, high = 1.0}
[strategies.methods.straddle]
[strategies.methods.liner]
liner_fails_chance = 0.2
"""
WELL = """[[wells]]
id = "A"
tally = "sleeves.csv"
main_phase = "oil"
[wells.interests]
working = 1.0
net_revenue = 0.8
"""


def case_of(folder: Path, methods: str = METHODS, extra: str = ""):
    (folder / "case.toml").write_text(BASE + methods + extra + WELL + CURVE, "utf-8")
    (folder / "sleeves.csv").write_text(TALLY, "utf-8")
    return load_case(folder / "case.toml")


def plan_of(case):
    assert not case.refused, case.refused
    return build_plan(case, case.wells[0], 0, None)


def test_methods_are_strategies_and_change_no_order(tmp_path: Path) -> None:
    with_methods = plan_of(case_of(tmp_path))
    without = plan_of(case_of(tmp_path, ""))
    names = [s.name for s in with_methods.strategies]
    assert names[:5] == [
        "toe_to_heel@2025-09",
        "alternating@2025-09",
        "bullhead@2025-09",
        "straddle@2025-09",
        "liner@2025-09",
    ]
    a = evaluate(with_methods, draw(with_methods, 0, 60)).measures
    b = evaluate(without, draw(without, 0, 60)).measures
    for k, strategy in enumerate(without.strategies):
        at = 1 + names.index(strategy.name)
        for measure, values in b.items():
            np.testing.assert_array_equal(a[measure][at], values[1 + k], err_msg=measure)
    assert a["executed"][1:].any()


def test_logs_reconcile_and_a_failed_liner_is_called_off(tmp_path: Path) -> None:
    plan = plan_of(case_of(tmp_path))
    draws = draw(plan, 0, 40)
    for strategy, job, cost, parts in simulate_jobs(plan, draws, plan.strategies):
        np.testing.assert_allclose(sum(parts.values()), cost, rtol=1e-12)
        for t in (0, 7, 39):
            rows = strategy_log(plan, draws, strategy, t)
            assert sum(row.hours for row in rows) == pytest.approx(24.0 * job.days[t], rel=1e-12)
        if strategy.order == "liner":
            assert 0 < job.called_off.sum() < 40
            assert not job.effectiveness[job.called_off].any()
            assert (parts["isolation"] > 0).all()
    assert planned_log(plan, draws, "liner")[1].action == "liner"


def test_faults_of_methods_are_named(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        case_of(tmp_path, '[strategies.methods.bullhead]\nvolume_fraction = -1\ndiverter = "much"\n')
    text = "; ".join(map(str, caught.value.faults))
    assert "strategies.methods.bullhead.volume_fraction" in text
    assert "strategies.methods.bullhead.diverter" in text
    with pytest.raises(InputError, match="sleeve 5, which is closed"):
        case_of(tmp_path, "[strategies.methods.straddle]\nsleeves = [5]\n")
    with pytest.raises(InputError, match="least_cost"):
        case_of(tmp_path, "", "[job]\nct_string_life_ft = 50000\n")
