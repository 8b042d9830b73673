"""Wells that do not respond to the job: a mixture of trials with and without a refrac stream.

Oracle: algebra of the mixture, trial by trial on the same draws.
"""

from pathlib import Path

import numpy as np
import pytest

from refracmc.case.uncertain_inputs import RESPONDS
from refracmc.engine.draws import draw, group_names
from refracmc.engine.trials import RESPONDED, input_names
from refracmc.engine.valuation import evaluate
from tests.engine.awkward_cases import awkward_plan, plan_of_text
from tests.second_route.awkward import CASES

CHANCE = 0.4
PLAIN, TALLY = CASES["suspended, deck"]
MIXED = PLAIN.replace("[opex]", f"[response]\nno_response_chance = {CHANCE}\n[opex]", 1)


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory):
    return plan_of_text(MIXED, TALLY, tmp_path_factory.mktemp("mixed"))


def test_a_trial_is_one_of_the_two(plan) -> None:
    """With the same draws a trial is that of a well that responds, or that of no uplift, to the bit; so the mean is
    (1 - p) E[responds] + p E[does not] with the share p that the design gives."""
    draws = draw(plan, 0, 512)
    mixed = evaluate(plan, draws).measures
    all_respond = evaluate(plan, draws | {RESPONDS: np.full(512, 1.0)}).measures
    silent = evaluate(plan, draws | {"response.uplift": np.zeros(512)}).measures
    none = draws[RESPONDS] < CHANCE
    for name, values in mixed.items():
        np.testing.assert_array_equal(values, np.where(none, silent[name], all_respond[name]), err_msg=name)
    for name in ("job_cost", "job_days", "capex"):
        np.testing.assert_array_equal(mixed[name], all_respond[name])
    npv, share = mixed["npv"], none.mean()
    parts = share * silent["npv"][:, none].mean(axis=1) + (1 - share) * all_respond["npv"][:, ~none].mean(
        axis=1
    )
    np.testing.assert_allclose(npv.mean(axis=1), parts, rtol=1e-12)


def test_the_share_is_the_chance_in_every_block(plan) -> None:
    """A Latin hypercube meets each of 512 strata once: the share is within one trial of the chance."""
    for block in range(4):
        share = (draw(plan, block, 512)[RESPONDS] < CHANCE).mean()
        assert abs(share - CHANCE) <= 1 / 512


def test_the_luck_is_independent_of_the_uplift(plan) -> None:
    """The mean over those that respond is the mean of all wells that do, within four standard errors. Negative control:
    luck that follows the uplift."""
    draws = [draw(plan, block, 512) for block in range(8)]
    uplift = np.concatenate([d["response.uplift"] for d in draws])
    luck = np.concatenate([d[RESPONDS] for d in draws])

    def apart(u: np.ndarray) -> float:
        kept = uplift[u >= CHANCE]
        return abs(kept.mean() - uplift.mean()) / (kept.std() * np.sqrt(CHANCE / kept.size))

    assert apart(luck) < 4.0
    assert apart(np.argsort(np.argsort(uplift)) / uplift.size) > 4.0


def test_the_risk_is_not_averaged_out(plan) -> None:
    """Struck once a well, the gain varies more than under a plain factor of the same mean, which is what a chance for
    each of many stages comes to."""
    draws = draw(plan, 0, 512)
    every = draws | {RESPONDS: np.full(512, 1.0)}
    factor = every | {"response.uplift_record_factor": np.full(512, 1.0 - CHANCE)}
    struck, averaged = (evaluate(plan, d).measures["incremental_npv"][1] for d in (draws, factor))
    assert struck.std() > 1.1 * averaged.std()


def test_it_stands_among_the_inputs_only_where_it_may_strike(plan, tmp_path: Path) -> None:
    """Oracle: the lists of the well whose case states no chance."""
    without = awkward_plan("suspended, deck", tmp_path)
    assert RESPONDED in input_names(plan)
    assert RESPONDED not in input_names(without)
    assert RESPONDS not in draw(without, 0, 16)
    assert group_names(plan)[RESPONDS] == "response"
    ours, theirs = draw(plan, 2, 64), draw(without, 2, 64)
    for name, values in theirs.items():
        if name != "response.no_response_chance":
            np.testing.assert_array_equal(values, ours[name], err_msg=name)
