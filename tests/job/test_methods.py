"""Isolation methods beside reclosed sleeves. Oracle: each trial worked through in plain Python from the rules."""

import dataclasses
import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from job_wells import inputs, luck, tallies, tally

from refracmc.job.cost import CostRates, job_cost
from refracmc.job.luck import prepare
from refracmc.job.methods import METHODS, plan_method, simulate_method
from refracmc.job.methods.timeline import method_log, planned_method
from refracmc.job.sleeves import PlanRefused

TRIALS = 6
TERMS = {
    "bullhead": {
        "volume_fraction": 0.8,
        "hours_per_drop": 0.7,
        "diverter_usd_per_drop": 900.0,
        "share_log_sd": 1.1,
        "diverter_evens_fraction": 0.4,
        "effect_fraction": 0.5,
    },
    "straddle": {"hours_per_set": 0.9, "seal_chance": 0.6, "tool_usd_per_set": 300.0, "effect_fraction": 0.8},
    "liner": {
        "liner_days": 5.0,
        "liner_usd": 40_000.0,
        "liner_fails_chance": 0.3,
        "hours_per_stage": 3.5,
        "stage_usd": 2_000.0,
        "volume_factor": 1.7,
        "stage_fails_chance": 0.2,
        "drill_out_hours_per_plug": 0.6,
        "old_kept_fraction": 0.45,
        "failed_kept_fraction": 0.7,
        "effect_factor": 1.25,
    },
}


def setting(kind: str, well, seed: int = 3, **changes):
    chance = luck(TRIALS, well.count, seed)
    u = np.random.default_rng(seed).random(TRIALS)
    chance = dataclasses.replace(chance, u_method=u)
    made = plan_method(
        kind, well, diverter_drops=3, sets_per_trip=4, stage_spacing_ft=250.0, pumping_hours_factor=1.6
    )
    shared = prepare(inputs(TRIALS, **changes), chance, well, 2)
    terms = {name: np.full(TRIALS, value) for name, value in TERMS[kind].items()}
    return made, shared, terms


def plain(kind: str, well, made, shared, t: int):
    """(ct hours, pumping hours, effect, kept, US$ of the method, volumes) of one trial, from the rules."""
    v = {name: float(getattr(shared.inputs, name)[0]) for name in shared.inputs.names()}
    k, u = TERMS[kind], shared.luck
    n = well.count
    hours = v["cleanout_hours"] + 2.0 * made.bottom_ft / (60.0 * v["ct_speed_ft_per_min"])
    old = [1.0 if state in ("open", "stuck_open", "perforated", "leaking") else 0.0 for state in well.state]
    treatable = sum(state not in ("stuck_closed", "patched") for state in well.state)
    if kind == "bullhead":
        volumes = max(round(k["volume_fraction"] * treatable), 1)
        sd = k["share_log_sd"] * (1.0 - k["diverter_evens_fraction"])
        weight = [
            0.0
            if not old[j]
            else math.exp(sd * u.z_stage[t, j]) * (0.3 if well.state[j] == "leaking" else 1.0)
            for j in range(n)
        ]
        effect = [k["effect_fraction"] * min(1.0, volumes * w / sum(weight)) for w in weight]
        pumped = 1.6 * v["hours_per_stage"] * volumes + 3 * k["hours_per_drop"]
        return hours, pumped, effect, old, 3 * k["diverter_usd_per_drop"], volumes
    if kind == "straddle":
        placed, received, sets, treated = [0.0] * n, [0.0] * n, 0, 0
        for j in [s - 1 for s in made.sleeves]:
            tries = 1 if u.u_open[t, j] < k["seal_chance"] else 2
            sets += tries
            if not u.u_open[t, j] < 1.0 - (1.0 - k["seal_chance"]) ** 2:
                continue
            treated += 1
            own = v["screenout_placed_fraction"] if u.u_screen[t, j] < v["screenout_chance"] else 1.0
            hours += v["screenout_hours"] * (own < 1.0) + v["hours_per_trip"] * (
                u.u_trip[t, j] < v["trip_chance_per_stage"]
            )
            hours += (
                1.6
                * v["hours_per_stage"]
                * math.exp(v["stage_hours_log_sd"] * u.z_stage[t, j] - v["stage_hours_log_sd"] ** 2 / 2)
            )
            left = own
            for other, joint in ((j + 1, j), (j - 1, j - 1)):
                if not 0 <= other < n:
                    continue
                chance = {"none": 1.0, "cement": v["leak_chance_cement"], "packer": v["leak_chance_packer"]}
                if u.u_leak[t, joint] < chance[str(well.isolation[joint])]:
                    received[other] += own * v["leak_fluid_fraction"]
                    left -= own * v["leak_fluid_fraction"]
            placed[j] = left
        hours += k["hours_per_set"] * sets + v["hours_per_trip"] * (max(sets - 1, 0) // 4)
        effect = [
            k["effect_fraction"] * min(1.0, placed[j] + v["stray_fluid_value"] * received[j]) * old[j]
            for j in range(n)
        ]
        return hours, 0.0, effect, old, k["tool_usd_per_set"] * sets, treated
    stage = [int((well.depth_ft[0] - d) // 250.0) for d in well.depth_ft]
    stages = stage[-1] + 1
    if u.u_method[t] < k["liner_fails_chance"]:
        return hours, 0.0, [0.0] * n, [0.7 * o for o in old], k["liner_usd"], 0
    works = [not u.u_screen[t, stage.index(j)] < k["stage_fails_chance"] for j in stage]
    hours += k["drill_out_hours_per_plug"] * (stages - 1)
    usd = k["liner_usd"] + k["stage_usd"] * stages
    effect = [k["effect_factor"] * w for w in works]
    return hours, k["hours_per_stage"] * stages, effect, [0.45 * o for o in old], usd, round(1.7 * stages)


@given(st.sampled_from(list(METHODS)), tallies(max_count=10), st.integers(0, 10**6))
def test_every_method_agrees_with_plain_loops_and_its_log(kind: str, well, seed: int) -> None:
    opened = well.in_state("open", "stuck_open", "perforated")
    assume(kind == "liner" or opened.any())
    made, shared, terms = setting(kind, well, seed)
    result = simulate_method(made, shared, terms)
    whole = CostRates.build(**dict.fromkeys(CostRates.names(), 0.0) | {"service_index": 1.0})
    v = shared.inputs
    for t in range(TRIALS):
        ct, pumping, effect, kept, usd, volumes = plain(kind, well, made, shared, t)
        assert result.ct_hours[t] == pytest.approx(ct + pumping, rel=1e-12)
        np.testing.assert_allclose(result.effectiveness[t], effect, rtol=1e-12, atol=1e-15)
        np.testing.assert_allclose(result.kept[t], kept, rtol=1e-12)
        assert job_cost(result, whole)[1]["isolation"][t] == pytest.approx(usd)
        assert result.counts["treated"][t] == volumes
        pace = (1.0 + v.npt_fraction[0]) / v.work_hours_per_day[0]
        days = v.days_before_ct[0] + (5.0 if kind == "liner" else 0.0) + ct * pace + v.waiting_days[0]
        days += pumping * pace + v.days_after_ct[0] + (v.stuck_ct_days[0] if result.stuck[t] else 0.0)
        assert result.days[t] == pytest.approx(days, rel=1e-12)
        rows = method_log(made, shared, terms, t)
        assert sum(row.hours for row in rows) == pytest.approx(24.0 * result.days[t], rel=1e-12)
        assert sum(row.work_hours for row in rows) == pytest.approx(result.ct_hours[t], rel=1e-12)
    np.testing.assert_allclose(sum(result.hours.values()), result.ct_hours, rtol=1e-12)


def test_the_log_says_which_set_sealed() -> None:
    """Oracle: a stage is pumped after a set that sealed, and every other set did not; some of each occur."""
    made, shared, terms = setting("straddle", tally(20))
    words = []
    for trial in range(TRIALS):
        rows = [r for r in method_log(made, shared, terms, trial) if r.action in ("set", "treat")]
        for before, after in itertools.pairwise(rows):
            if before.action == "set":
                words.append(before.outcome)
                assert (before.outcome == "sealed") == (after.outcome in ("treated", "screened out"))
    assert set(words) == {"sealed", "did not seal"}


def test_plugs_are_milled_before_the_tubing_reaches_the_toe() -> None:
    made, shared, terms = setting("liner", tally(20))
    for trial in range(TRIALS):
        rows = method_log(made, shared, terms, trial)
        actions = [row.action for row in rows]
        at_toe = next(k for k, row in enumerate(rows) if row.depth_ft == made.bottom_ft)
        if "drill_out" in actions:
            assert actions.index("treat") < actions.index("drill_out") < at_toe
        else:
            assert "called_off" in actions


@pytest.mark.parametrize("kind", METHODS)
@pytest.mark.parametrize("count", [9, 90])
def test_planned_steps_are_the_days_of_a_job_without_mishap(kind: str, count: int) -> None:
    quiet = {
        "screenout_chance": 0.0,
        "trip_chance_per_stage": 0.0,
        "stuck_ct_chance": 0.0,
        "stage_hours_log_sd": 0.0,
    }
    made, shared, terms = setting(kind, tally(count), **quiet)
    for name in ("liner_fails_chance", "stage_fails_chance"):
        if name in terms:
            terms[name] = np.zeros(TRIALS)
    if kind == "straddle":
        terms["seal_chance"] = np.ones(TRIALS)
    result = simulate_method(made, shared, terms)
    means = {name: float(value.mean()) for name, value in terms.items()}
    rows = planned_method(made, shared.inputs.mean(), means)
    assert sum(row.hours for row in rows) == pytest.approx(24.0 * result.days[0], rel=1e-12)


def test_bullheaded_fluid_is_conserved_and_even_flow_is_the_best_of_it() -> None:
    made, shared, terms = setting("bullhead", tally(30))
    uneven = simulate_method(made, shared, terms)
    np.testing.assert_allclose(uneven.placed.sum(axis=1), 24.0, rtol=1e-12)
    even = simulate_method(made, shared, terms | {"diverter_evens_fraction": np.ones(TRIALS)})
    np.testing.assert_allclose(even.placed, 0.8, rtol=1e-12)
    assert (even.stages_effective_share > uneven.stages_effective_share).all()


def test_refusals_name_the_sleeve() -> None:
    well = tally(4, ["open", "closed", "open", "open"])
    for listed, sleeve in (((1, 9), 9), ((2,), 2)):
        with pytest.raises(PlanRefused) as caught:
            plan_method("straddle", well, sleeves=listed)
        assert caught.value.sleeve == sleeve
    with pytest.raises(PlanRefused, match="reach") as caught:
        plan_method("straddle", well, 19_900.0, sleeves=(1,))
    assert caught.value.sleeve == 1
    assert plan_method("straddle", well, 19_900.0).sleeves == (3, 4)
    for states in ("closed", ["leaking", "closed", "leaking"]):
        with pytest.raises(PlanRefused, match="no sleeve is open"):
            plan_method("bullhead", tally(3, states))
    with pytest.raises(ValueError, match="unknown method"):
        plan_method("hope", well)
