"""What must hold for every job, whatever the well, the order and the luck. Oracle: conservation and
counting."""

import dataclasses

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from job_wells import BASE, PERFECT, inputs, luck, orders, tallies, tally

from refracmc.engine.job_runs import simulate, simulate_dates
from refracmc.job.inputs import JobInputs, JobPolicy
from refracmc.job.log import end_states, job_log, planned_steps
from refracmc.job.luck import prepare
from refracmc.job.orders import NAMED_ORDERS, named_order
from refracmc.job.planner import KINDS, plan

TRIALS = 12
HARD = {"close_chance": 0.6, "open_chance": 0.6, "reclose_chance": 0.5, "reopen_chance": 0.6}


@st.composite
def jobs(draw, **kwargs):
    well = draw(tallies(**kwargs))
    assume(well.treatable.any())
    made = plan(
        well,
        draw(orders(well)),
        draw(st.sampled_from(["all", "needed"])),
        draw(st.sampled_from(["needed", "every"])),
    )
    policy = JobPolicy(
        draw(st.sampled_from(["accept", "patch"])),
        draw(st.sampled_from(["skip", "perforate"])),
        draw(st.sampled_from(["accept", "perforate"])),
        draw(st.sampled_from([None, 0, 1, 2])),
        draw(st.integers(1, 4)),
        draw(st.sampled_from(["nothing", "slim", "lost"])),
    )
    chance = luck(TRIALS, well.count, draw(st.integers(0, 10**6)))
    return well, made, policy, chance


@given(jobs(), st.sampled_from([BASE, BASE | HARD]))
def test_every_job_reconciles(job, base) -> None:
    well, made, policy, chance = job
    given_inputs = JobInputs.build(TRIALS, **base)
    age = np.full(well.count, 8.0)
    shared = prepare(given_inputs, chance, well, policy.max_tries)
    result = simulate(made, well, given_inputs, chance, age, policy, detail=True)
    d = result.detail

    fluid = (result.treated * shared.pumped.T).sum(axis=1)
    np.testing.assert_allclose(
        result.placed.sum(axis=1) + d.received.sum(axis=0), fluid, rtol=1e-12, atol=1e-12
    )
    assert (result.placed >= 0).all()
    assert ((result.effectiveness >= 0) & (result.effectiveness <= 1)).all()
    np.testing.assert_allclose(sum(result.hours.values()), result.ct_hours, rtol=1e-13)
    days = result.days_before_ct + result.ct_days + result.stuck_days + result.days_after_ct
    np.testing.assert_allclose(days, result.days, rtol=1e-14)
    assert (result.stages_effective_share[result.called_off | result.lost] == 0).all()
    assert not result.treated[:, ~made.treated].any()
    assert not result.treated[result.called_off].any()
    assert not (result.lost & ~result.stuck).any()

    for t in range(TRIALS):
        rows = job_log(made, shared, policy, result, t)
        assert sum(row.hours for row in rows) == pytest.approx(24.0 * result.days[t], rel=1e-12)
        assert sum(row.work_hours for row in rows) == pytest.approx(result.ct_hours[t], rel=1e-12)
        starts = np.array([row.start_hour for row in rows])
        ends = np.array([row.start_hour + row.hours for row in rows])
        np.testing.assert_allclose(starts[1:], ends[:-1], rtol=1e-12)
        shifted = sum(row.tries > 0 for row in rows if row.action in KINDS)
        shifted += sum(2 * (row.tries > 0) for row in rows if row.action == "reseat")
        assert shifted == result.counts["shifts"][t]
        assert sum(row.tries for row in rows) == result.counts["tries"][t]
        check_uphole(rows, well, result, t)
        barred = check_barred(rows) if policy.patched_restricts == "lost" else 0
        check_end(rows, well, result, t, barred)


def check_barred(rows) -> int:
    """The shallowest sleeve patched in the job, 0 for none; nothing is done below a patch once it is set."""
    barred = 0
    for row in rows:
        if row.outcome == "patched":
            barred = max(barred, row.sleeve)
        elif row.sleeve is not None and row.sleeve < barred and row.action not in ("move", "run_in"):
            assert row.hours == 0.0
            assert row.outcome.startswith("left out")
    return barred


def check_uphole(rows, well, result, t) -> None:
    """Going through the log alone: who is open above each stage treated, and where its fluid goes."""
    is_open = {k + 1: state in ("open", "stuck_open", "perforated") for k, state in enumerate(well.state)}
    cannot = {k + 1 for k, state in enumerate(well.state) if state in ("stuck_open", "perforated")}
    for row in rows:
        if row.outcome in ("closed", "reclosed", "patched"):
            is_open[row.sleeve] = False
        elif row.outcome in ("opened", "reopened", "perforated"):
            is_open[row.sleeve] = True
            if row.outcome == "perforated":
                cannot.add(row.sleeve)
        elif row.outcome in ("not closed", "not reclosed"):
            cannot.add(row.sleeve)
            is_open[row.sleeve] = True
        elif row.action == "treat" and row.outcome in ("treated", "screened out"):
            assert is_open[row.sleeve]
            assert {j for j in is_open if j > row.sleeve and is_open[j]} <= cannot
            if not (is_open.keys() - {row.sleeve}) or not any(is_open[j] for j in is_open if j > row.sleeve):
                continue
            assert result.placed[t, row.sleeve - 1] < 1.0


def check_end(rows, well, result, t, barred) -> None:
    """The last state explains the production; what was closed in the job is open, or its failure is logged, or it
    is deeper than a patch that no tool passes (sleeve `barred`) and closed still."""
    failed = {row.sleeve for row in rows if row.outcome.startswith("not ")}
    shut_in_job = {row.sleeve for row in rows if row.outcome in ("closed", "reclosed")}
    for k, state in enumerate(end_states(well, result, t)):
        producing = state in ("open", "stuck_open", "perforated", "leaking")
        assert producing == bool(result.detail.producing[k, t])
        assert result.kept[t, k] == float(producing and well.old_producers[k])
        assert result.effectiveness[t, k] == 0.0 or producing
        if k + 1 in shut_in_job and k + 1 < barred:
            assert state == "closed"
        elif k + 1 in shut_in_job:
            assert producing or k + 1 in failed
        if well.state[k] in ("closed", "stuck_closed", "patched") and k + 1 not in {r.sleeve for r in rows}:
            assert state == well.state[k]


@pytest.mark.parametrize("name", NAMED_ORDERS)
@pytest.mark.parametrize("close_policy", ["all", "needed"])
@pytest.mark.parametrize("count", [1, 9, 90])
def test_perfect_well(name: str, close_policy: str, count: int) -> None:
    """Every stage is fully effective, every sleeve kept, and the days are those of the planned steps."""
    well = tally(count)
    made = plan(well, named_order(name, well), close_policy)
    sure = JobInputs.build(5, **PERFECT)
    result = simulate(made, well, sure, luck(5, count), np.full(count, 9.0), JobPolicy())
    assert (result.effectiveness == 1.0).all()
    assert (result.placed == 1.0).all()
    assert (result.kept == 1.0).all()
    assert (result.counts["shifts"] == made.shifts).all()
    assert (result.counts["tries"] == made.shifts).all()
    rows = planned_steps(made, sure.mean())
    assert sum(row.hours for row in rows) == pytest.approx(24.0 * result.days[0], rel=1e-12)
    cleanout = [row for row in rows if row.action == "cleanout"]
    first = rows[[row.action for row in rows].index("run_in")].depth_ft
    assert max(row.depth_ft for row in cleanout) == 20000.0  # sleeve 1, wherever the tubing starts to work
    assert cleanout[-1].depth_ft == first
    assert sum(row.work_hours for row in cleanout) == pytest.approx(PERFECT["cleanout_hours"], rel=1e-14)
    assert {row.action for row in rows} >= {
        "run_in",
        "cleanout",
        "treat",
        "pull_out",
        "before_ct",
        "after_ct",
    }


def test_two_open_sleeves_cost_by_where_they_sit() -> None:
    """Toe to heel, 40 stages, half the fluid lost per open sleeve above: by hand, share = 1/(1 + take n)."""
    count, take = 40, 1.0
    state = ["open"] * count
    state[17], state[38] = "stuck_open", "stuck_open"
    well = tally(count, state)
    sure = JobInputs.build(3, **(PERFECT | {"open_sleeve_take": take, "stray_fluid_value": 0.0}))
    result = simulate(
        plan(well, named_order("toe_to_heel", well)),
        well,
        sure,
        luck(3, count),
        np.full(count, 9.0),
        JobPolicy(),
    )
    expected = [1 / (1 + take * ((s < 18) + (s < 39))) for s in range(1, count + 1)]
    np.testing.assert_allclose(result.placed[0], expected)
    assert result.stages_effective_share[0] == pytest.approx((17 / 3 + 21 / 2 + 2) / 40)


def test_a_failed_reclose_hurts_only_what_is_treated_below_it_afterwards() -> None:
    well = tally(5)
    sure = JobInputs.build(4, **(PERFECT | {"reclose_chance": 0.0, "open_sleeve_take": 1.0}))
    made = plan(well, (1, 4, 2, 3, 5))
    result = simulate(made, well, sure, luck(4, 5), np.full(5, 9.0), JobPolicy())
    np.testing.assert_allclose(result.placed[0], [1.0, 0.5, 0.5, 1.0, 1.0])
    np.testing.assert_allclose(result.effectiveness[0], [1.0, 0.5, 0.5, 1.0, 1.0])
    assert (result.kept == 1.0).all()


@pytest.mark.parametrize("count", [1, 7])
def test_nothing_works(count: int) -> None:
    """All chances 0: no sleeve closes, all are treated open, nothing is lost at the end."""
    well = tally(count)
    never = JobInputs.build(3, **(PERFECT | dict.fromkeys(HARD, 0.0)))
    made = plan(well, named_order("heel_to_toe", well))
    result = simulate(made, well, never, luck(3, count), np.full(count, 9.0), JobPolicy(max_tries=2))
    assert (result.counts["close_failed"] == count).all()
    assert (result.counts["tries"] == 2 * count).all()
    assert (result.counts["reopen_tried"] == 0).all()
    assert result.kept.all()
    assert result.treated.all()
    off = simulate(
        made, well, never, luck(3, count), np.full(count, 9.0), JobPolicy(stop_loss_failed_closes=count - 1)
    )
    assert off.called_off.all()
    assert not off.effectiveness.any()
    assert not off.treated.any()
    assert off.kept.all()
    assert off.hours["travel"][0] == pytest.approx(2 * 20000.0 / (60 * 50.0))


def test_called_off_reopens_with_one_more_cycle() -> None:
    """After a stop-loss the reopening chance is that of one closing: by hand from a cycle slope that
    decides."""
    well = tally(4, ["open", "open", "open", "open"])
    certain = PERFECT | {
        "well_effect_sd": 0.0,
        "sleeve_effect_sd": 0.0,
        "age_slope_per_year": 0.0,
        "cycle_slope": -3.0,
        "close_chance": 0.5,
        "reopen_chance": 1.0 / (1.0 + np.exp(-4.5)),
    }
    given_inputs = JobInputs.build(64, **certain)
    chance = luck(64, 4)
    chance = dataclasses.replace(chance, u_reopen=np.full((64, 4), 0.5), u_close=np.full((64, 4), 0.6))
    chance.u_close[:, 1:] = 0.1
    # heel to toe a reopening has 3 cycles planned (logit -4.5, fails at u = .5); called off, 1 (1.5, works)
    made = plan(well, named_order("heel_to_toe", well))
    assert made.cycles[3].tolist() == [2, 3, 3, 3]
    policy = JobPolicy(max_tries=1, stop_loss_failed_closes=0)
    result = simulate(made, well, given_inputs, chance, np.zeros(4), policy, detail=True)
    assert result.called_off.all()
    assert result.kept.all()
    assert (result.counts["reopen_tried"] == 3).all()
    assert (result.counts["reopen_failed"] == 0).all()


def test_ages_by_trial_agree_with_a_common_age() -> None:
    well = tally(8)
    made = plan(well, named_order("alternating", well))
    chance = luck(30, 8)
    given_inputs = inputs(30)
    age = np.linspace(3.0, 9.0, 8)
    one = simulate(made, well, given_inputs, chance, age, JobPolicy(stop_loss_failed_closes=1))
    each = simulate(
        made, well, given_inputs, chance, np.tile(age, (30, 1)), JobPolicy(stop_loss_failed_closes=1)
    )
    assert one.called_off.any()
    for name in ("days", "kept", "effectiveness", "placed", "called_off"):
        np.testing.assert_array_equal(getattr(one, name), getattr(each, name))


def test_dates_together_change_nothing() -> None:
    """Dates simulated together give the bytes of each alone, in any order of dates."""
    well = tally(10, ["open"] * 6 + ["leaking", "stuck_open", "open", "closed"])
    block = prepare(inputs(40), luck(40, 10), well, 3)
    ages = [np.full(10, age) for age in (7.5, 5.0, 5.0, 9.0)]
    for name in NAMED_ORDERS:
        for policy in (JobPolicy(), JobPolicy("patch", "perforate", "perforate", 2)):
            made = plan(well, named_order(name, well), "needed")
            together = simulate_dates(made, block, ages, policy)
            for age, found in zip(ages, together, strict=True):
                (alone,) = simulate_dates(made, block, [age], policy)
                for member in ("days", "kept", "effectiveness", "placed", "treated", "called_off"):
                    np.testing.assert_array_equal(getattr(found, member), getattr(alone, member))
                for count, values in found.counts.items():
                    np.testing.assert_array_equal(values, alone.counts[count])


def test_misuse_is_refused() -> None:
    well = tally(4)
    made = plan(well, (1, 2))
    chance, given_inputs = luck(6, 4), inputs(6)
    with pytest.raises(ValueError, match="ages"):
        simulate(made, well, given_inputs, chance, np.zeros(5), JobPolicy())
    with pytest.raises(ValueError, match="luck is for 3"):
        prepare(given_inputs, luck(6, 3), well)
    with pytest.raises(ValueError, match="inputs are for"):
        prepare(inputs(7), chance, well)
    with pytest.raises(ValueError, match="u_leak has shape"):
        dataclasses.replace(chance, u_leak=np.zeros((6, 5)))
    with pytest.raises(ValueError, match=r"close_chance must.*leak_fluid_fraction must"):
        inputs(6, close_chance=1.2, leak_fluid_fraction=0.6)
    with pytest.raises(ValueError, match="npt_fraction must"):
        inputs(6, npt_fraction=np.nan)
    with pytest.raises(ValueError, match="when_not_closing"):
        JobPolicy("hope")
