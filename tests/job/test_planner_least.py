"""Least travel and least shifts for up to 8 sleeves, partial jobs and sleeves stuck on record included.

Oracle: a shortest-path search over all states of the well. A state is where the coiled tubing is, which sleeves
are open, which leak and how many stages are done; the tubing moves from one sleeve to the next, so that each state has
two moves, and wells of eight sleeves are searched in full (2 x 10^4 states).
"""

import heapq

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from job_wells import tallies, tally

from refracmc.job.machine import Plan
from refracmc.job.planner import plan
from refracmc.job.sleeves import Tally

CLOSABLE = ("open", "closed", "leaking")


def least(well: Tally, order: tuple[int, ...], policy: str, weights: tuple[float, float]) -> float:
    """Least weights[0] * travel + weights[1] * shifts of any job that keeps the uphole rule and, with the policy
    "all", has every open sleeve closed, and every leaking one that a stage below it needs tight, before it pumps."""
    n = well.count
    depth = [*well.depth_ft.tolist(), 0.0]
    record = well.state.tolist()
    closable = [state in CLOSABLE for state in record]
    above = [sum(1 << j for j in range(k + 1, n) if closable[j]) for k in range(n)]
    leak = sum(1 << k for k in range(n) if record[k] == "leaking")  # until it is opened, to be closed tight
    start = sum(1 << k for k in range(n) if record[k] in ("open", "stuck_open", "perforated"))
    stages = [s - 1 for s in order]
    end = start | sum(1 << k for k in stages)
    untouched = leak & ~end  # may be left as they are, or opened again
    to_close = to_seat = 0  # before the first stage
    if policy == "all":
        to_close = sum(1 << k for k in range(n) if record[k] == "open")
        to_seat = sum(1 << k for k in range(n) if leak >> k & 1 and _is_exposed(k, stages))
    first = (n, start, leak, 0, not to_close | to_seat)
    best = {first: 0.0}
    queue = [(0.0, first)]
    while queue:
        cost, state = heapq.heappop(queue)
        if cost > best[state]:
            continue
        at, is_open, leaks, done, ready = state
        if at == n and done == len(stages) and is_open | (leaks & untouched) == end | untouched:
            return cost
        following = [
            (weights[0] * abs(depth[to] - depth[at]), (to, is_open, leaks, done, ready))
            for to in (at - 1, at + 1)
            if 0 <= to <= n
        ]
        if at < n:
            bit = 1 << at
            if closable[at]:
                flipped, left = is_open ^ bit, leaks & ~bit
                shut = not (flipped & (to_close | to_seat) or left & to_seat)
                following.append((weights[1], (at, flipped, left, done, ready or shut)))
            if (
                ready
                and done < len(stages)
                and at == stages[done]
                and is_open & bit
                and not (is_open | leaks) & above[at]
            ):
                following.append((0.0, (at, is_open, leaks, done + 1, ready)))
        for step, after in following:
            total = cost + step
            if total < best.get(after, float("inf")) - 1e-9:
                best[after] = total
                heapq.heappush(queue, (total, after))
    raise AssertionError("no valid job")


def _is_exposed(sleeve: int, stages: list[int]) -> bool:
    """Whether a stage below the sleeve comes before its own, or it has none (sleeves from 0, the deepest)."""
    before = stages[: stages.index(sleeve)] if sleeve in stages else stages
    return any(stage < sleeve for stage in before)


def spent(made: Plan, weights: tuple[float, float]) -> float:
    return weights[0] * made.travel_ft + weights[1] * made.shifts


@given(st.data())
def test_no_job_of_up_to_eight_sleeves_takes_less(data) -> None:
    """Whatever a shift takes against travel: hours 0.25 to 4 a shift at 50 ft/min, and each alone."""
    well = data.draw(tallies(max_count=8))
    stages = [
        int(s) for s in data.draw(st.permutations([k + 1 for k in range(well.count) if well.treatable[k]]))
    ]
    assume(stages)
    order = tuple(stages[: data.draw(st.integers(1, len(stages)))])
    policy = data.draw(st.sampled_from(["all", "needed"]))
    hours = data.draw(st.sampled_from([0.25, 1.0, 4.0]))
    made = plan(well, order, policy, "needed")
    for weights in ((1.0 / 3000.0, hours), (1.0, 1e-3), (1e-5, 1.0)):
        assert spent(made, weights) == pytest.approx(least(well, order, policy, weights), rel=1e-9)


def test_the_search_sees_one_shift_too_many() -> None:
    """Negative control: closing all first where only two stages of eight are treated is not the least."""
    well, order = tally(8), (2, 5)
    asked, habit = plan(well, order, "needed"), plan(well, order, "all")
    weights = (1.0 / 3000.0, 0.25)
    assert spent(asked, weights) == pytest.approx(least(well, order, "needed", weights), rel=1e-9)
    assert spent(habit, weights) > least(well, order, "needed", weights) + 0.25


def test_known_stuck_sleeves_are_left_out_and_named_where_asked_for() -> None:
    well = tally(8, ["open", "stuck_closed", "open", "patched", "open", "stuck_open", "open", "open"])
    made = plan(well, (1, 3, 5, 6, 7, 8), "needed")
    touched = {step.sleeve for step in made.steps if step.action in ("close", "open", "reclose", "reopen")}
    assert touched == {3, 5, 7, 8}
