"""Plans: shifts by order, least travel and shifts by exhaustive search, refusals with the sleeve named.

Oracle: counting by hand (algebra), and a shortest-path search over all states of wells of up to 6 sleeves.
"""

import heapq

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from job_wells import orders, tallies, tally

from refracmc.job.orders import NAMED_ORDERS, named_order, validate
from refracmc.job.planner import PlanRefused, check_actions, plan
from refracmc.job.sleeves import Tally, TallyProblem

SEARCHED = ("open", "closed", "stuck_open", "stuck_closed", "perforated")


def least(well: Tally, order, close_policy: str, habit: str, first: str) -> tuple[float, float]:
    """(travel, shifts) of the cheapest valid job by Dijkstra, compared by `first` and then the other.

    With habit "every" the coiled tubing may only move towards the next stage while stages are left.
    """
    n = well.count
    depth = [*well.depth_ft.tolist(), 0.0]  # position n is the surface
    record = well.state.tolist()
    closable = [state in ("open", "closed") for state in record]
    start_open = tuple(state in ("open", "stuck_open", "perforated") for state in record)
    stages = [s - 1 for s in order]
    must_end_open = [start_open[k] or k in stages for k in range(n)]
    must_close = [k for k in range(n) if record[k] == "open"] if close_policy == "all" else []

    def weight(travel, shifts):
        return (travel, shifts) if first == "travel" else (shifts, travel)

    start = (n, start_open, 0, not must_close, False)
    best = {start: (0.0, 0.0)}
    queue = [((0.0, 0.0), 0, start)]
    tick = 0
    while queue:
        cost, _, state = heapq.heappop(queue)
        if cost > best[state]:
            continue
        at, is_open, done, all_closed, locked = state
        if at == n and done == len(stages) and is_open == tuple(must_end_open):
            return cost if first == "travel" else cost[::-1]
        following = []
        owing = habit == "every" and 0 < done < len(stages) and at == stages[done - 1]
        may_leave = not (owing and is_open[at] and closable[at])
        if may_leave:
            for to in range(n + 1):
                if to == at:
                    continue
                if habit == "every" and done < len(stages) and all_closed:
                    target = depth[stages[done]]
                    if not min(depth[at], target) <= depth[to] <= max(depth[at], target):
                        continue
                step = weight(abs(depth[to] - depth[at]), 0)
                following.append((step, (to, is_open, done, all_closed, False)))
        if at < n and closable[at] and not (locked and not is_open[at]):
            flipped = (*is_open[:at], not is_open[at], *is_open[at + 1 :])
            complete = all_closed or not any(flipped[k] for k in must_close)
            following.append((weight(0.0, 1), (at, flipped, done, complete, is_open[at] and owing)))
        if done < len(stages) and at == stages[done] and is_open[at] and all_closed:
            above = range(at + 1, n)
            if not any(is_open[k] and closable[k] for k in above):
                following.append((weight(0.0, 0), (at, is_open, done + 1, all_closed, False)))
        for step, state_after in following:
            total = (cost[0] + step[0], cost[1] + step[1])
            if total < best.get(state_after, (np.inf, np.inf)):
                best[state_after] = total
                tick += 1
                heapq.heappush(queue, (total, tick, state_after))
    raise AssertionError("no valid job")


@given(st.data())
def test_no_valid_job_travels_less_or_shifts_less(data) -> None:
    well = data.draw(tallies(max_count=6, states=SEARCHED))
    assume(well.treatable.any())
    order = data.draw(orders(well))
    policy = data.draw(st.sampled_from(["all", "needed"]))
    made = plan(well, order, policy, "needed")
    assert least(well, order, policy, "needed", "travel") == pytest.approx((made.travel_ft, made.shifts))
    assert least(well, order, policy, "needed", "shifts") == pytest.approx((made.travel_ft, made.shifts))


@given(st.data())
def test_the_habit_of_closing_costs_the_least_of_direct_jobs(data) -> None:
    well = data.draw(tallies(max_count=5, states=SEARCHED))
    assume(well.treatable.any())
    order = data.draw(orders(well))
    made = plan(well, order, "needed", "every")
    assert least(well, order, "needed", "every", "travel") == pytest.approx((made.travel_ft, made.shifts))


def test_search_finds_what_a_wasteful_plan_wastes() -> None:
    """Negative control: a plan that closes first where nothing asks for it is beaten by the search."""
    well = tally(4)
    wasteful = plan(well, (1, 2, 3, 4), "all", "needed")
    travel, shifts = least(well, (1, 2, 3, 4), "needed", "needed", "shifts")
    assert shifts == wasteful.shifts - 2
    assert travel == pytest.approx(wasteful.travel_ft)


@pytest.mark.parametrize("count", [1, 2, 9, 40, 90])
def test_toe_to_heel_needs_no_reclosing(count: int) -> None:
    for policy, opened in (("all", count), ("needed", count - 1)):
        made = plan(tally(count), named_order("toe_to_heel", tally(count)), policy)
        assert made.shift_counts() == {"close": opened, "open": opened, "reclose": 0, "reopen": 0}
        assert made.travel_ft == 2 * 20000.0


def test_alternating_forty_stages_costs_38_more_shifts() -> None:
    well = tally(40)
    plans = {name: plan(well, named_order(name, well)) for name in NAMED_ORDERS}
    assert plans["alternating"].shifts - plans["toe_to_heel"].shifts == 38
    assert plans["two_pass"].shifts - plans["toe_to_heel"].shifts == 2 * 19
    assert plans["heel_to_toe"].shifts - plans["toe_to_heel"].shifts == 2 * 39
    assert plans["alternating"].travel_ft == 2 * 20000.0 + 19 * 2 * 150.0


def test_named_orders() -> None:
    well = tally(6)
    assert named_order("toe_to_heel", well) == (1, 2, 3, 4, 5, 6)
    assert named_order("heel_to_toe", well) == (6, 5, 4, 3, 2, 1)
    assert named_order("alternating", well) == (1, 3, 2, 5, 4, 6)
    assert named_order("alternating", tally(5)) == (1, 3, 2, 5, 4)
    assert named_order("two_pass", well) == (1, 3, 5, 2, 4, 6)
    stuck = tally(5, ["open", "stuck_closed", "open", "patched", "leaking"])
    assert named_order("two_pass", stuck) == (1, 5, 3)
    assert named_order("toe_to_heel", well, reach_ft=19750.0) == (3, 4, 5, 6)
    with pytest.raises(ValueError, match="unknown stage order"):
        named_order("sideways", well)
    with pytest.raises(PlanRefused):
        named_order("toe_to_heel", tally(2, "patched"))


@given(st.data())
def test_every_plan_passes_as_a_list_of_actions(data) -> None:
    well = data.draw(tallies())
    assume(well.treatable.any())
    order = data.draw(orders(well))
    policy = data.draw(st.sampled_from(["all", "needed"]))
    habit = data.draw(st.sampled_from(["needed", "every"]))
    made = plan(well, order, policy, habit)
    again = check_actions(well, [(step.action, step.sleeve) for step in made.steps])
    assert again.steps == made.steps
    assert again.order == order
    takes = {"close": 1, "reseat": 2, "open": 1, "reclose": 1, "reopen": 1}
    assert sum(takes.get(s.action, 0) for s in made.steps) == made.shifts == sum(made.shift_counts().values())
    depths = [0.0] + [s.depth_ft for s in made.steps]
    assert np.abs(np.diff(depths)).sum() == pytest.approx(made.travel_ft)
    assert made.deeper_planned.tolist() == [any(s < k + 1 for s in order) for k in range(well.count)]


def test_cycles_count_what_is_planned_before() -> None:
    well = tally(3, ["open", "closed", "open"], shifts=[5, 0, 2])
    made = plan(well, (3, 2, 1), "all", "needed")
    close, opening, reclose, reopen = made.cycles.tolist()
    assert close == [5, 0, 2]
    assert opening == [6, 0, 3]
    assert reclose == [7, 1, 4]
    assert reopen == [7, 2, 5]


def test_sleeves_that_cannot_close_are_accepted_above_a_stage() -> None:
    well = tally(4, ["open", "open", "stuck_open", "perforated"])
    made = plan(well, (4, 3, 2, 1), "all", "needed")
    assert not made.closes[2:].any()
    assert not made.recloses[2:].any()
    assert not made.opens[2:].any()


def test_only_the_needed_is_closed() -> None:
    made = plan(tally(6), (5, 3), "needed", "needed")
    assert made.closes.tolist() == [False, False, False, True, False, True]
    assert made.recloses.tolist() == [False, False, False, False, True, False]
    assert made.opens.sum() == 0
    assert made.travel_ft == 2 * (20000.0 - 2 * 150.0)


def test_sleeves_deeper_than_all_stages_are_reopened_on_leaving() -> None:
    made = plan(tally(4), (3, 4), "all", "needed")
    acts = [(s.action, s.sleeve) for s in made.steps if s.action not in ("move", "test")]
    assert acts[1:8] == [
        ("close", 4),
        ("close", 3),
        ("close", 2),
        ("close", 1),
        ("reopen", 1),
        ("reopen", 2),
        ("open", 3),
    ]


@pytest.mark.parametrize(
    ("order", "sleeve", "text"),
    [
        ((1, 7), 7, "has sleeves 1 to 5"),
        ((0, 1), 0, "has sleeves 1 to 5"),
        ((1, 2, 1), 1, "twice"),
        ((1, 3), 3, "stuck_closed"),
        ((), None, "at least one"),
    ],
)
def test_orders_refused(order, sleeve, text) -> None:
    well = tally(5, ["open", "open", "stuck_closed", "open", "open"])
    for call in (lambda: validate(order, well), lambda: plan(well, order)):
        with pytest.raises(PlanRefused, match=text) as caught:
            call()
        assert caught.value.sleeve == sleeve


def test_never_reclosing_is_refused_where_a_later_stage_is_deeper() -> None:
    with pytest.raises(PlanRefused, match="sleeve 3 would stay open while sleeve 2") as caught:
        plan(tally(4), (1, 3, 2, 4), "all", "never")
    assert caught.value.sleeve == 3
    assert plan(tally(4), (1, 2, 3, 4), "all", "never").recloses.sum() == 0
    well = tally(4, ["open", "open", "stuck_open", "open"])
    assert plan(well, (1, 3, 2, 4), "all", "never").order == (1, 3, 2, 4)


def test_reach() -> None:
    made = plan(tally(5), (3, 4, 5), "all", "needed", reach_ft=19700.0)
    assert made.closes.tolist() == [False, False, True, True, True]
    with pytest.raises(PlanRefused, match="beyond the reach") as caught:
        plan(tally(5), (2, 3), reach_ft=19700.0)
    assert caught.value.sleeve == 2


GOOD = [("close", 3), ("close", 2), ("treat", 1), ("open", 2), ("treat", 2), ("open", 3), ("treat", 3)]


@pytest.mark.parametrize(
    ("actions", "sleeve", "text"),
    [
        ([("treat", 1)], 2, "open above sleeve 1"),
        ([("close", 3), ("treat", 1)], 2, "open above sleeve 1"),
        ([("close", 3), ("treat", 2), ("treat", 1)], 2, "open above sleeve 1"),
        ([("close", 3), ("close", 2), ("treat", 1)], 3, "never opened again"),
        ([("close", 3), ("close", 2), ("treat", 1), ("reopen", 3), ("treat", 2)], 2, "not open"),
        ([("close", 3), ("close", 3), ("treat", 1)], 3, "twice"),
        ([("close", 4), ("treat", 1)], 4, "has sleeves 1 to 3"),
        ([("open", 1), ("treat", 1)], 1, "is open"),
        ([("close", 1), ("treat", 1)], 1, "not open"),
        ([("reopen", 1), ("treat", 1)], 1, "not closed in the job"),
        ([("jump", 1)], 1, "unknown action"),
        ([("close", 3), ("reclose", 2)], 2, "wrong time"),
    ],
)
def test_action_lists_refused(actions, sleeve, text) -> None:
    assert check_actions(tally(3), GOOD).shifts == 4
    with pytest.raises(PlanRefused, match=text) as caught:
        check_actions(tally(3), actions)
    assert caught.value.sleeve == sleeve


def test_action_lists_take_close_and_open_in_their_place() -> None:
    meant = [
        ("close", 2),
        ("close", 1),
        ("open", 2),
        ("treat", 2),
        ("close", 2),
        ("open", 1),
        ("treat", 1),
        ("open", 2),
    ]
    made = check_actions(tally(2), [("run_in", None), *meant, ("pull_out", None)])
    assert made.recloses.tolist() == [False, True]
    assert made.reopens.tolist() == [False, True]
    assert made.opens.tolist() == [True, True]
    with pytest.raises(PlanRefused, match="cannot be closed") as caught:
        check_actions(tally(2, ["open", "stuck_open"]), [("close", 2), ("treat", 1)])
    assert caught.value.sleeve == 2


def test_tally_problems_are_all_named() -> None:
    with pytest.raises(TallyProblem) as caught:
        Tally(
            depth_ft=np.array([9000.0, 9100.0, 8000.0]),
            isolation=np.array(["cement", "glue", "none"]),
            state=np.array(["open", "shut", "open"]),
            installed=np.array(["2015-01", "2015-01", "NaT"], dtype="datetime64[M]"),
            shifts=np.array([0, 0, -1]),
        )
    assert [sleeve for sleeve, _ in caught.value.problems] == [2, 2, 2, 3, 3]
    with pytest.raises(PlanRefused) as refused:
        tally(2).age_years(np.datetime64("2014-12"))
    assert refused.value.sleeve == 1
    assert tally(2).age_years(np.datetime64("2016-07")).tolist() == [1.5, 1.5]
