"""What a failure costs depends on where it sits. Oracle: algebra of rules 6, 8 and 10, sleeve by sleeve."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from job_wells import PERFECT, inputs, luck, tally

from refracmc.engine.job_runs import simulate
from refracmc.job.cost import CostRates, job_cost
from refracmc.job.inputs import JobInputs, JobPolicy
from refracmc.job.planner import plan

TAKE = 0.8
SURE = PERFECT | {
    "open_sleeve_take": TAKE,
    "well_effect_sd": 0.0,
    "sleeve_effect_sd": 0.0,
    "age_slope_per_year": 0.0,
    "cycle_slope": 0.0,
}


def run(well, order, policy=None, close_policy="all", base=SURE, fails=(), trials=3, **changes):
    """A job in which exactly the (kind, sleeve) pairs of `fails` do not work; all else does."""
    chances = {f"{kind}_chance": 0.5 for kind in ("close", "open", "reclose", "reopen")}
    chance = luck(trials, well.count)
    draws = {}
    for kind in ("close", "open", "reclose", "reopen"):
        u = np.full((trials, well.count), 1e-6)
        for failing, s in fails:
            if failing == kind:
                u[:, s - 1] = 1.0 - 1e-6
        draws[f"u_{kind}"] = u
    chance = dataclasses.replace(chance, **draws, **changes)
    given_inputs = JobInputs.build(trials, **(base | chances))
    made = plan(well, order, close_policy)
    job_policy = policy or JobPolicy(max_tries=1)
    return simulate(made, well, given_inputs, chance, np.zeros(well.count), job_policy, detail=True)


@given(st.integers(2, 12), st.data())
def test_a_sleeve_stuck_open_takes_from_deeper_stages_only(count: int, data) -> None:
    order = tuple(data.draw(st.permutations(range(1, count + 1))))
    stuck = data.draw(st.integers(1, count))
    result = run(tally(count), order, fails=[("close", stuck)])
    number = np.arange(1, count + 1)
    np.testing.assert_allclose(result.placed[0], np.where(number < stuck, 1.0 / (1.0 + TAKE), 1.0))
    received = result.detail.received[:, 0]
    assert received[stuck - 1] == pytest.approx((stuck - 1) * TAKE / (1.0 + TAKE))
    assert received.sum() == pytest.approx(received[stuck - 1])


@given(st.integers(2, 12), st.data())
def test_a_failed_reclose_hurts_stages_treated_below_it_afterwards_only(count: int, data) -> None:
    order = tuple(data.draw(st.permutations(range(1, count + 1))))
    failed = data.draw(st.integers(1, count))
    result = run(tally(count), order, fails=[("reclose", failed)])
    later = order[order.index(failed) + 1 :]
    hurt = [s < failed and s in later for s in range(1, count + 1)]
    np.testing.assert_allclose(result.placed[0], np.where(hurt, 1.0 / (1.0 + TAKE), 1.0))
    assert result.kept.all()


@given(st.integers(2, 12), st.data())
def test_a_failed_reopen_loses_old_and_new_of_that_sleeve_alone(count: int, data) -> None:
    order = tuple(data.draw(st.permutations(range(1, count + 1))))
    failed = data.draw(st.integers(1, count))
    result = run(tally(count), order, fails=[("reopen", failed)])
    reclosed = any(s < failed for s in order[order.index(failed) + 1 :])  # else it was never closed again
    alive = np.arange(1, count + 1) != failed if reclosed else np.ones(count, bool)
    np.testing.assert_array_equal(result.kept[0], alive)
    np.testing.assert_array_equal(result.effectiveness[0], alive)
    np.testing.assert_array_equal(result.placed[0], np.ones(count))


def test_a_failed_open_loses_old_and_new_unless_perforated() -> None:
    lost = run(tally(5), (1, 2, 3, 4, 5), fails=[("open", 3)])
    np.testing.assert_array_equal(lost.kept[0], [1, 1, 0, 1, 1])
    np.testing.assert_array_equal(lost.effectiveness[0], [1, 1, 0, 1, 1])
    jetted = run(
        tally(5),
        (1, 2, 3, 4, 5),
        JobPolicy(when_not_opening="perforate", max_tries=1),
        base=SURE | {"perforate_success": 1.0},
        fails=[("open", 3)],
    )
    assert jetted.kept.all()
    assert (jetted.counts["perforate_tries"] == 1).all()


@pytest.mark.parametrize("restricts", ["nothing", "slim", "lost"])
def test_what_a_patch_means_for_deeper_stages(restricts: str) -> None:
    """Sleeve 4 of 6 does not close and is patched: three stages lie deeper."""
    base = SURE | {"patch_success": 1.0, "slim_hours_per_stage": 0.5, "hours_per_trip": 10.0}
    policy = JobPolicy("patch", max_tries=1, patched_restricts=restricts)
    result = run(tally(6), (1, 2, 3, 4, 5, 6), policy, base=base, fails=[("close", 4)])
    plain = run(
        tally(6), (1, 2, 3, 4, 5, 6), JobPolicy("patch", max_tries=1), base=base, fails=[("close", 4)]
    )
    if restricts == "lost":
        np.testing.assert_array_equal(result.treated[0], [0, 0, 0, 0, 1, 1])
        # 1 to 3 were closed on the way in, before the patch: no tool gets to them to reopen them
        np.testing.assert_array_equal(result.kept[0], [0, 0, 0, 0, 1, 1])
        np.testing.assert_array_equal(result.effectiveness[0], [0, 0, 0, 0, 1, 1])
        assert (result.counts["reopen_tried"] == 0).all()
        np.testing.assert_array_equal(plain.kept[0], [1, 1, 1, 0, 1, 1])
        return
    np.testing.assert_array_equal(result.treated, plain.treated)
    more = result.ct_hours - plain.ct_hours
    np.testing.assert_allclose(more, 3 * 0.5 + 10.0 if restricts == "slim" else 0.0, atol=1e-12)
    rates = CostRates.build(
        **dict.fromkeys(CostRates.names(), 0.0) | {"slim_stage_usd": 9.0, "service_index": 1.0}
    )
    np.testing.assert_array_equal(job_cost(result, rates)[0], 27.0 if restricts == "slim" else 0.0)


@pytest.mark.parametrize(("finds", "place"), [(0.0, 1.0 / (1.0 + TAKE * 0.3)), (1.0, 1.0)])
def test_a_leak_the_test_misses_takes_fluid_and_one_it_finds_costs_a_cycle(
    finds: float, place: float
) -> None:
    base = SURE | {"closed_leak_chance": 0.5, "leak_test_finds_chance": finds, "leak_fluid_fraction": 0.3}
    u = np.full((3, 4), 0.9)
    u[:, 2] = 0.2  # sleeve 3 leaks
    result = run(tally(4), (1, 2, 3, 4), base=base, u_tight_close=u, u_tight_reclose=np.full((3, 4), 0.9))
    np.testing.assert_allclose(result.placed[0], [place, place, 1.0, 1.0])
    assert (result.counts["tests"] == 4 + finds).all()
    assert (result.counts["tries"] == 8 + finds).all()


def test_a_casing_failure_adds_its_days_and_may_lose_the_well() -> None:
    base = SURE | {
        "casing_failure_chance": 0.5,
        "casing_failure_days": 7.0,
        "well_lost_chance_given_casing_failure": 0.4,
    }
    u = np.array([0.1, 0.3, 0.6])
    result = run(tally(3), (1, 2, 3), base=base, u_casing=u)
    sound = run(tally(3), (1, 2, 3))
    np.testing.assert_allclose(result.days - sound.days, [7.0, 7.0, 0.0])
    np.testing.assert_array_equal(result.lost, [True, False, False])
    assert (result.stages_effective_share == [0.0, 1.0, 1.0]).all()
    with pytest.raises(ValueError, match="u_casing"):
        run(tally(3), (1, 2, 3), base=base)


def test_rules_that_are_off_draw_nothing() -> None:
    """The same bytes with the optional luck absent as with it there and its chances zero."""
    well, chance, given_inputs = tally(7), luck(20, 7), inputs(20)
    made = plan(well, (2, 5, 1, 7, 3))
    extra = {
        "u_tight_close": np.zeros((20, 7)),
        "u_tight_reclose": np.zeros((20, 7)),
        "u_casing": np.zeros(20),
    }
    one = simulate(made, well, given_inputs, chance, np.full(7, 9.0), JobPolicy())
    other = simulate(
        made, well, given_inputs, dataclasses.replace(chance, **extra), np.full(7, 9.0), JobPolicy()
    )
    for name in ("days", "kept", "effectiveness", "lost", "ct_hours"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
