"""A sleeve that leaks on record: opened and closed again before a stage below it is pumped, or left as it is.

Oracle: shares of the fluid, shifts and hours by hand (algebra).
"""

import dataclasses

import numpy as np
import pytest
from job_wells import PERFECT, luck, tally

from refracmc.engine.job_runs import simulate
from refracmc.job.inputs import JobInputs, JobPolicy
from refracmc.job.log import end_states, job_log
from refracmc.job.luck import prepare
from refracmc.job.planner import PlanRefused, check_actions, plan

STATES = ["open", "open", "leaking", "open"]
TAKES = {"leak_fluid_fraction": 0.2, "open_sleeve_take": 1.0, "stray_fluid_value": 0.0}
ORDER = (1, 2, 3, 4)


def job(order=ORDER, leaking="reseat", close_policy="all", policy=None, states=STATES, **changes):
    """One trial of a well whose shifts are sure but for what is changed: plan, result, log."""
    well, policy = tally(4, states), policy or JobPolicy()
    made = plan(well, order, close_policy, leaking_sleeve=leaking)
    inputs, chance = JobInputs.build(1, **(PERFECT | TAKES | changes)), luck(1, 4)
    result = simulate(made, well, inputs, chance, np.zeros(4), policy, detail=True)
    return made, result, job_log(made, prepare(inputs, chance, well, policy.max_tries), policy, result, 0)


@pytest.mark.parametrize("close_policy", ["all", "needed"])
def test_it_is_tight_before_anything_below_it_is_pumped(close_policy) -> None:
    made, result, rows = job(close_policy=close_policy)
    assert made.reseats.tolist() == [False, False, True, False]
    assert made.exposed.tolist() == [0, 0, 0, 0]
    assert result.placed.tolist() == [[1.0] * 4]
    acts = [(row.action, row.sleeve) for row in rows]
    assert acts.index(("reseat", 3)) < acts.index(("treat", 1))
    assert acts[acts.index(("reseat", 3)) + 1] == ("test", 3)
    assert acts.index(("open", 3)) == acts.index(("treat", 3)) - 1
    assert made.cycles[:, 2].tolist() == [1, 2, 3, 3]  # opened and closed, opened, treated


def test_it_takes_two_shifts_and_a_test_more_than_leaving_it() -> None:
    reseated, left = job(), job(leaking="accept")
    assert reseated[0].shifts == left[0].shifts + 2
    for name, more in (("shifts", 2), ("tries", 2), ("tests", 1)):
        assert reseated[1].counts[name][0] == left[1].counts[name][0] + more
    hours = 2.0 * PERFECT["hours_per_try"] + PERFECT["hours_per_test"]
    assert reseated[1].ct_hours[0] == pytest.approx(left[1].ct_hours[0] + hours)
    assert [row.hours for row in reseated[2] if row.action == "reseat"] == [2.0 * PERFECT["hours_per_try"]]


def test_left_as_it_is_it_takes_fluid_of_every_stage_below_and_the_plan_counts_them() -> None:
    made, result, _ = job(leaking="accept")
    assert made.exposed.tolist() == [0, 0, 2, 0]
    np.testing.assert_allclose(result.placed[0], [1 / 1.2, 1 / 1.2, 1.0, 1.0], rtol=1e-15)


def test_one_that_does_not_close_stands_open_or_is_patched() -> None:
    """Closings never work: the two open ones above stage 1 stand open too; openings are not needed."""
    states = ["open", "stuck_closed", "leaking", "stuck_closed"]
    _, result, rows = job((1, 3), states=states, close_chance=0.0)
    np.testing.assert_allclose(result.placed[0], [0.5, 0.0, 1.0, 0.0], rtol=1e-15)
    assert (
        result.counts["tries"][0] == 3 * 3
    )  # sleeve 1 three tries, sleeve 3 three of two shifts, no opening
    assert [row.outcome for row in rows if row.action == "reseat"] == ["not closed"]
    assert end_states(tally(4, states), result, 0)[2] == "stuck_open"
    _, result, _ = job((1, 3), states=states, close_chance=0.0, policy=JobPolicy("patch"), patch_success=1.0)
    assert result.placed[0].tolist() == [1.0, 0.0, 0.0, 0.0]
    assert end_states(tally(4, states), result, 0)[2] == "patched"


def test_its_own_stage_first_needs_no_reseating() -> None:
    assert not job((4, 3, 2, 1))[0].reseats.any()
    assert not job((3, 4), close_policy="needed")[0].reseats.any()
    assert job((4, 2, 3, 1))[0].reseats[2]


def test_without_a_stage_it_is_opened_again_at_the_end() -> None:
    made, result, _ = job((1,))
    assert made.reopens[2]
    assert result.kept[0].tolist() == [1.0] * 4
    assert end_states(tally(4, STATES), result, 0) == ("open",) * 4
    _, shut, _ = job((1,), reopen_chance=0.0)
    assert end_states(tally(4, STATES), shut, 0)[2] == "stuck_closed"
    assert shut.kept[0, 2] == 0.0


def test_the_test_finds_a_leak_that_stays_or_it_takes_fluid_still() -> None:
    """Luck of the test is .5: a closed sleeve leaks at a chance of .6, and is found at a chance of .5 (.3 unseen)."""
    u = {"closed_leak_chance": 0.6}
    well, made = tally(4, STATES), plan(tally(4, STATES), ORDER)
    placed = []
    for tight in (0.1, 0.5):
        tests = {"u_tight_close": np.array([[1.0, 1.0, tight, 1.0]]), "u_tight_reclose": np.ones((1, 4))}
        chance = dataclasses.replace(luck(1, 4), **tests)
        inputs = JobInputs.build(1, **(PERFECT | TAKES | u | {"leak_test_finds_chance": 0.5}))
        result = simulate(made, well, inputs, chance, np.zeros(4), JobPolicy(), detail=True)
        placed.append(result.placed[0].tolist())
        assert result.counts["tries"][0] == made.shifts + (tight == 0.5)
    np.testing.assert_allclose(placed, [[1 / 1.2, 1 / 1.2, 1.0, 1.0], [1.0] * 4], rtol=1e-15)


def test_lists_of_actions_may_reseat_a_leaking_sleeve_only() -> None:
    actions = [
        ("close", 4),
        ("reseat", 3),
        ("close", 2),
        ("treat", 1),
        ("reopen", 2),
        ("reopen", 3),
        ("reopen", 4),
    ]
    assert check_actions(tally(4, STATES), actions).shifts == 7
    with pytest.raises(PlanRefused, match="only a leaking sleeve") as caught:
        check_actions(tally(4), actions)
    assert caught.value.sleeve == 3
