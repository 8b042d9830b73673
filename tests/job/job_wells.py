"""Wells, inputs and luck shared by the tests of the job."""

import numpy as np
from hypothesis import strategies as st

from refracmc.job.inputs import PER_SLEEVE_LUCK, PER_TRIAL_LUCK, JobInputs, JobLuck
from refracmc.job.sleeves import ISOLATIONS, STATES, Tally

BASE = {
    "close_chance": 0.8,
    "open_chance": 0.85,
    "reclose_chance": 0.75,
    "reopen_chance": 0.8,
    "age_slope_per_year": -0.05,
    "cycle_slope": -0.1,
    "well_effect_sd": 1.0,
    "sleeve_effect_sd": 2.0,
    "hours_per_try": 0.4,
    "hours_per_test": 0.2,
    "hours_per_stage": 1.5,
    "stage_hours_log_sd": 0.25,
    "ct_speed_ft_per_min": 50.0,
    "cleanout_hours": 12.0,
    "hours_per_trip": 14.0,
    "stages_per_bha": 4.0,
    "trip_chance_per_stage": 0.05,
    "screenout_chance": 0.1,
    "screenout_hours": 10.0,
    "screenout_placed_fraction": 0.5,
    "npt_fraction": 0.15,
    "waiting_days": 1.0,
    "days_before_ct": 5.0,
    "days_after_ct": 6.0,
    "work_hours_per_day": 24.0,
    "stuck_ct_chance": 0.1,
    "stuck_ct_days": 10.0,
    "well_lost_chance_given_stuck": 0.3,
    "leak_chance_cement": 0.1,
    "leak_chance_packer": 0.2,
    "leak_fluid_fraction": 0.3,
    "open_sleeve_take": 0.9,
    "stray_fluid_value": 0.4,
    "patch_hours": 12.0,
    "patch_success": 0.7,
    "perforate_hours": 8.0,
    "perforate_success": 0.6,
}

PERFECT = BASE | {
    "close_chance": 1.0,
    "open_chance": 1.0,
    "reclose_chance": 1.0,
    "reopen_chance": 1.0,
    "screenout_chance": 0.0,
    "trip_chance_per_stage": 0.0,
    "stuck_ct_chance": 0.0,
    "leak_chance_cement": 0.0,
    "leak_chance_packer": 0.0,
    "stage_hours_log_sd": 0.0,
}


def tally(
    count: int, state: list[str] | str = "open", isolation: list[str] | str = "cement", shifts=0
) -> Tally:
    return Tally(
        depth_ft=20000.0 - 150.0 * np.arange(count),
        isolation=np.array([isolation] * count if isinstance(isolation, str) else isolation),
        state=np.array([state] * count if isinstance(state, str) else state),
        installed=np.full(count, "2015-01", dtype="datetime64[M]"),
        shifts=np.broadcast_to(np.asarray(shifts), (count,)),
    )


def luck(trials: int, count: int, seed: int = 11) -> JobLuck:
    rng = np.random.default_rng(seed)
    draws = {}
    for name in PER_TRIAL_LUCK + PER_SLEEVE_LUCK:
        shape = (trials,) if name in PER_TRIAL_LUCK else (trials, count)
        draws[name] = rng.standard_normal(shape) if name.startswith("z_") else rng.random(shape)
    return JobLuck(**draws)


def inputs(trials: int, **changes) -> JobInputs:
    return JobInputs.build(trials, **(BASE | changes))


@st.composite
def tallies(draw, max_count: int = 9, states=STATES) -> Tally:
    count = draw(st.integers(1, max_count))
    gaps = draw(st.lists(st.integers(1, 30), min_size=count, max_size=count))
    return Tally(
        depth_ft=9000.0 + 10.0 * np.cumsum(gaps)[::-1],
        isolation=np.array(draw(st.lists(st.sampled_from(ISOLATIONS), min_size=count, max_size=count))),
        state=np.array(draw(st.lists(st.sampled_from(states), min_size=count, max_size=count))),
        installed=np.full(count, "2012-05", dtype="datetime64[M]"),
        shifts=np.array(draw(st.lists(st.integers(0, 4), min_size=count, max_size=count))),
    )


@st.composite
def orders(draw, well: Tally) -> tuple[int, ...]:
    stages = [int(k) + 1 for k in np.flatnonzero(well.treatable)]
    shuffled = draw(st.permutations(stages))
    return tuple(shuffled[: draw(st.integers(1, len(stages)))])
