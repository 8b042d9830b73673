"""Planned changes of assembly and string. Oracle: every subset of changes tried, costed from its definition."""

import itertools

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from job_wells import BASE, luck, orders, tallies, tally

from refracmc.engine.job_runs import simulate
from refracmc.job.changes import ChangeRules, plan_changes, with_changes
from refracmc.job.cost import CostRates, job_cost
from refracmc.job.inputs import JobInputs, JobPolicy
from refracmc.job.log import job_log, planned_steps
from refracmc.job.luck import prepare
from refracmc.job.orders import named_order
from refracmc.job.planner import PlanRefused, plan


def hours_of(made, rules: ChangeRules, chosen: list[tuple[int, str]]) -> float | None:
    """Hours a set of changes adds, None where it breaks a limit: from the definition, change by change."""
    hours = stages = feet = depth = 0.0
    at = dict(chosen)
    parts = sorted({s.depth_ft for s in made.steps if s.depth_ft > 0.0})
    passages = dict.fromkeys(parts, 0)  # of the part that ends so many feet above the tool
    allowed = np.inf if rules.string_life_trips is None else 2.0 * rules.string_life_trips + 1e-6

    def out_of_life(times: int) -> bool:
        return any(passages[x] + times * (x <= depth) > allowed for x in parts)

    for number, step in enumerate([*made.steps, None]):
        if number in at:
            if depth == 0.0 or step is None or step.action == "test":
                return None
            hours += 2.0 * depth / (60.0 * rules.ct_speed_ft_per_min)
            stages = 0.0
            if at[number] == "string":
                if feet + depth > (rules.string_life_ft or np.inf) or out_of_life(1):
                    return None
                hours, feet = hours + rules.string_change_hours, depth
                passages = {x: int(x <= depth) for x in parts}
            else:
                hours, feet = hours + rules.bha_change_hours, feet + 2.0 * depth
                passages = {x: passages[x] + 2 * (x <= depth) for x in parts}
        if step is None:
            break
        feet += abs(step.depth_ft - depth)
        low, high = sorted((depth, step.depth_ft))
        passages = {x: passages[x] + (low < x <= high) for x in parts}
        depth = step.depth_ft
        stages += step.action == "treat"
        if stages > rules.stages_per_bha or feet + depth > (rules.string_life_ft or np.inf) + 1e-6:
            return None
        if out_of_life(1):
            return None
    return hours


def least_hours(made, rules: ChangeRules, most: int) -> float:
    """Least hours over all sets of up to `most` changes, before any steps and of either kind."""
    limits = (rules.string_life_ft, rules.string_life_trips)
    kinds = ("bha",) if limits == (None, None) else ("bha", "string")
    found = np.inf
    for count in range(most + 1):
        for places in itertools.combinations(range(1, len(made.steps)), count):
            for chosen in itertools.product(kinds, repeat=count):
                hours = hours_of(made, rules, list(zip(places, chosen, strict=True)))
                found = found if hours is None else min(found, hours)
    return found


@given(st.data())
def test_no_other_set_of_changes_takes_fewer_hours(data) -> None:
    well = data.draw(tallies(max_count=4))
    assume(well.treatable.any())
    made = plan(well, data.draw(orders(well)), data.draw(st.sampled_from(["all", "needed"])))
    life = data.draw(st.sampled_from([None, None, 30_000.0, 45_000.0]))
    trips = data.draw(st.sampled_from([None, 1.5, 2.0, 2.5, 3.0, 4.0]))
    rules = ChangeRules(
        data.draw(st.integers(1, 3)), life, 2.0, data.draw(st.sampled_from([1.0, 9.0])), 50.0, trips
    )
    try:
        changes = plan_changes(made, rules)
    except PlanRefused:
        assert least_hours(made, rules, 3 if len(made.steps) < 14 else 1) == np.inf
        return
    assume(len(changes.kinds) <= 3)
    chosen = list(zip(changes.before_step, changes.kinds, strict=True))
    hours = hours_of(made, rules, chosen)
    assert hours is not None
    assert hours == pytest.approx(least_hours(made, rules, 3 if len(made.steps) < 16 else 2))


def most_passages(made) -> int:
    """Times the part bent most goes over the gooseneck in a plan without changes, move by move."""
    path = [0.0, *(step.depth_ft for step in made.steps)]
    parts = {depth for depth in path if depth > 0.0}
    return max(sum((a < x) != (b < x) for a, b in itertools.pairwise(path)) for x in parts)


def test_moves_wear_the_part_that_passes_the_gooseneck() -> None:
    """Toe to heel closes its sleeves going in and treats them coming out: every part passes twice, one trip. The
    passes up and down of the other order wear the lateral's parts more than twice."""
    well = tally(5)
    easy, back = (plan(well, named_order(name, well)) for name in ("toe_to_heel", "alternating"))
    assert most_passages(easy) == 2
    assert plan_changes(easy, ChangeRules(5, string_life_trips=1.0)).kinds == ()
    worst = most_passages(back)
    assert worst > 2
    assert plan_changes(back, ChangeRules(5, string_life_trips=worst / 2)).kinds == ()
    less = ChangeRules(5, string_life_trips=worst / 2 - 0.5)
    changes = plan_changes(back, less)
    assert set(changes.kinds) == {"string"}
    assert hours_of(back, less, list(zip(changes.before_step, changes.kinds, strict=True))) is not None
    assert hours_of(back, less, []) is None  # negative control: without the change the limit is broken


def test_the_limit_that_binds_first_asks_for_the_change() -> None:
    well = tally(20)
    made = plan(well, named_order("two_pass", well))
    feet, trips = made.travel_ft, most_passages(made) / 2

    def strings(more_ft: float, more_trips: float) -> int:
        return plan_changes(made, ChangeRules(20, feet + more_ft, 6.0, 30.0, 50.0, trips + more_trips)).count(
            "string"
        )

    assert strings(1.0, 1.0) == 0
    assert strings(-1.0, 1.0) == 1
    assert strings(1.0, -0.5) >= 1
    with pytest.raises(PlanRefused, match="string life of 0.5 trips".replace(".", r"\.")):
        plan_changes(made, ChangeRules(20, string_life_trips=0.5))


def test_strings_worn_by_trips_reach_cost_and_log() -> None:
    """As for feet: changes by trips alone are counted, paid and logged."""
    well = tally(12)
    made = plan(well, named_order("two_pass", well))
    made = with_changes(made, ChangeRules(4, string_life_trips=most_passages(made) / 2))
    assert made.changes is not None
    assert made.changes.count("string") >= 1
    inputs, chance, age = JobInputs.build(4, **BASE), luck(4, 12), np.full(12, 8.0)
    result = simulate(made, well, inputs, chance, age, JobPolicy(), detail=True)
    assert (result.counts["string_changes"] == made.changes.count("string")).all()
    for t in range(4):
        rows = job_log(made, prepare(inputs, chance, well), JobPolicy(), result, t)
        assert sum(row.hours for row in rows) == pytest.approx(24 * result.days[t], rel=1e-12)
        assert sum("string" in row.outcome for row in rows) == made.changes.count("string")


def test_a_change_waits_for_a_shallow_place() -> None:
    """Alternating 1-3-2-5-4: with three stages an assembly the change comes at sleeve 5 or above, not below."""
    well = tally(5)
    made = plan(well, named_order("alternating", well))
    changes = plan_changes(made, ChangeRules(3))
    assert changes.kinds == ("bha",)
    step = made.steps[changes.before_step[0]]
    assert changes.travel_ft == 2 * well.depth_ft[4]
    assert [s.action for s in made.steps[: changes.before_step[0]]].count("treat") in (2, 3)
    assert step.sleeve == 5


def test_fewest_changes_and_ninety_sleeves() -> None:
    well = tally(90)
    made = plan(well, named_order("two_pass", well))
    changes = plan_changes(made, ChangeRules(20))
    assert changes.kinds == ("bha",) * 4
    limited = plan_changes(made, ChangeRules(20, string_life_ft=60_000.0))
    assert limited.count("string") >= 1
    assert plan_changes(plan(tally(3), (1, 2, 3)), ChangeRules(3)).kinds == ()


def test_a_string_too_short_for_one_run_is_refused() -> None:
    with pytest.raises(PlanRefused, match="string life") as caught:
        plan_changes(plan(tally(3), (1, 2, 3)), ChangeRules(3, string_life_ft=39_000.0))
    assert caught.value.sleeve is not None


def test_changes_reach_hours_cost_and_log() -> None:
    well = tally(12)
    rules = ChangeRules(4, 50_000.0)
    made = with_changes(plan(well, named_order("heel_to_toe", well)), rules)
    assert made.changes is not None
    base = BASE | {"bha_change_hours": 5.0, "string_change_hours": 20.0}
    given_inputs, chance, age = JobInputs.build(8, **base), luck(8, 12), np.full(12, 8.0)
    policy = JobPolicy(stop_loss_failed_closes=2)
    result = simulate(made, well, given_inputs, chance, age, policy, detail=True)
    assert 0 < result.called_off.sum() < 8
    ran = ~result.called_off
    assert (result.counts["string_changes"] == made.changes.count("string") * ran).all()
    rates = CostRates.build(
        **dict.fromkeys(CostRates.names(), 0.0) | {"string_change_usd": 7.0, "service_index": 1.0}
    )
    total, parts = job_cost(result, rates)
    np.testing.assert_array_equal(parts["string_changes"], 7.0 * result.counts["string_changes"])
    np.testing.assert_array_equal(total, parts["string_changes"])
    for t in range(8):
        rows = job_log(made, prepare(given_inputs, chance, well), policy, result, t)
        assert sum(row.hours for row in rows) == pytest.approx(24 * result.days[t], rel=1e-12)
        assert sum(r.outcome.endswith("assembly changed") for r in rows) == len(made.changes.kinds) * ran[t]
    assert sum(r.action == "trip" for r in planned_steps(made, given_inputs.mean())) == len(
        made.changes.kinds
    )
