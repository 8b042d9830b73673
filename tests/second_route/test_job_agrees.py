"""The vectorised job against the plain second route: plans, logs, days and what is left, on random wells.

Oracle: the second route (plan.py, job.py), written from the rules. The negative control changes one rule.
"""

import itertools
import math
import random

import numpy as np
import pytest

from refracmc.engine.job_runs import simulate as engine_simulate
from refracmc.job.changes import ChangeRules, with_changes
from refracmc.job.inputs import JobInputs, JobLuck, JobPolicy
from refracmc.job.log import job_log
from refracmc.job.luck import prepare
from refracmc.job.planner import PlanRefused, plan
from refracmc.job.sleeves import ISOLATIONS, STATES, Tally
from tests.second_route import job as second
from tests.second_route.changes import Rules, plan_changes
from tests.second_route.plan import Refused, plan_job, travel_ft

TRIALS = 6
PER_TRIAL = ("z_well", "u_event", "u_casing", "u_method")
NORMAL = ("z_well", "z_sleeve", "z_stage")


def random_case(rng: random.Random) -> dict:
    count = rng.randint(1, 12)
    weights = rng.choice([(8, 1, 1, 1, 1, 1, 1), (1, 0, 0, 0, 0, 0, 0), (1, 1, 1, 1, 1, 1, 1)])
    depth, depths = 9000.0, []
    for _ in range(count):
        depth += rng.uniform(50.0, 300.0)
        depths.append(depth)
    depths.reverse()
    tally = {
        "depth_ft": depths,
        "state": rng.choices(STATES, weights, k=count),
        "isolation": rng.choices(ISOLATIONS, k=count),
        "age_years_now": [rng.uniform(0.0, 12.0) for _ in range(count)],
        "shifts": [rng.randint(0, 4) for _ in range(count)],
    }
    later = rng.choice([0.0, 1.5])
    tally["age_years"] = [age + later for age in tally["age_years_now"]]
    reach = rng.choice([None, None, depths[0] - 200.0])
    stages = [
        s
        for s in range(1, count + 1)
        if tally["state"][s - 1] not in ("stuck_closed", "patched")
        and (reach is None or depths[s - 1] <= reach)
    ]
    kind = rng.randrange(4)
    order = sorted(stages, reverse=kind == 1)
    if kind >= 2:
        rng.shuffle(order)
    if kind == 3:
        order = order[: rng.randint(0, len(order))]
    inputs = {
        **dict.fromkeys(("close_chance", "open_chance", "reclose_chance", "reopen_chance"), 0.0),
        "age_slope_per_year": rng.choice([0.0, -0.1]),
        "cycle_slope": rng.choice([0.0, -0.2]),
        "well_effect_sd": rng.choice([0.0, 1.0, 2.5]),
        "sleeve_effect_sd": rng.choice([0.0, 2.0]),
        "hours_per_try": 0.6,
        "hours_per_test": 0.3,
        "hours_per_stage": 1.9,
        "stage_hours_log_sd": rng.choice([0.0, 0.3]),
        "ct_speed_ft_per_min": 65.0,
        "cleanout_hours": 9.0,
        "hours_per_trip": 14.0,
        "stages_per_bha": float(rng.choice([1, 3, 20])),
        "trip_chance_per_stage": 0.15,
        "screenout_chance": 0.2,
        "screenout_hours": 6.0,
        "screenout_placed_fraction": rng.choice([0.0, 0.6]),
        "npt_fraction": 0.17,
        "waiting_days": 1.4,
        "days_before_ct": 5.0,
        "days_after_ct": 3.3,
        "work_hours_per_day": rng.choice([24.0, 12.0]),
        "stuck_ct_chance": 0.3,
        "stuck_ct_days": 11.0,
        "well_lost_chance_given_stuck": 0.4,
        "leak_chance_cement": 0.1,
        "leak_chance_packer": 0.4,
        "leak_fluid_fraction": rng.choice([0.0, 0.2, 0.5]),
        "open_sleeve_take": rng.choice([0.0, 0.7, 1.3]),
        "stray_fluid_value": rng.choice([0.0, 0.4, 1.0]),
        "patch_hours": 8.0,
        "patch_success": 0.6,
        "perforate_hours": 5.0,
        "perforate_success": 0.7,
        "bha_change_hours": 5.0,
        "string_change_hours": 21.0,
        "slim_hours_per_stage": 0.7,
        "closed_leak_chance": rng.choice([0.0, 0.0, 0.4]),
        "leak_test_finds_chance": rng.choice([0.0, 0.6, 1.0]),
        "casing_failure_chance": rng.choice([0.0, 0.3]),
        "casing_failure_days": 9.0,
        "well_lost_chance_given_casing_failure": 0.5,
    }
    for name in ("close_chance", "open_chance", "reclose_chance", "reopen_chance"):
        inputs[name] = rng.choice([0.0, 0.5, 0.8, 0.95, 1.0])
    policy = {
        "close_policy": rng.choice(["all", "needed"]),
        "reclose_habit": rng.choice(["every", "needed", "needed", "never"]),
        "when_not_closing": rng.choice(["accept", "patch"]),
        "when_not_opening": rng.choice(["skip", "perforate"]),
        "when_not_reopening": rng.choice(["accept", "perforate"]),
        "stop_loss_failed_closes": rng.choice([None, None, 0, 1, 3]),
        "max_tries": rng.randint(1, 4),
        "patched_restricts": rng.choice(["nothing", "slim", "lost"]),
        "life_ft": rng.choice([None, None, 45_000.0, 90_000.0]),
        "planned": rng.random() < 0.4,
        "ct_reach_ft": reach,
        "leaking_sleeve": rng.choice(["reseat", "reseat", "accept"]),
    }
    luck = {}
    for name in JobLuck.__dataclass_fields__:
        draw = (lambda: rng.gauss(0.0, 1.0)) if name in NORMAL else rng.random
        shape = () if name in PER_TRIAL else (count,)
        luck[name] = [[draw() for _ in range(count)] if shape else draw() for _ in range(TRIALS)]
    return {"tally": tally, "order": order, "inputs": inputs, "policy": policy, "luck": luck}


def planning(policy: dict) -> tuple:
    """What a plan asks of the policy."""
    return tuple(policy[key] for key in ("close_policy", "reclose_habit", "ct_reach_ft", "leaking_sleeve"))


def engine_run(case: dict):
    tally = Tally(
        depth_ft=np.array(case["tally"]["depth_ft"]),
        isolation=np.array(case["tally"]["isolation"]),
        state=np.array(case["tally"]["state"]),
        installed=np.full(len(case["tally"]["state"]), "2015-01", dtype="datetime64[M]"),
        shifts=np.array(case["tally"]["shifts"]),
    )
    p = case["policy"]
    made = plan(tally, case["order"], *planning(p))
    p["changes"] = None
    if p["planned"]:
        made = with_changes(
            made, ChangeRules(int(case["inputs"]["stages_per_bha"]), p["life_ft"], 5.0, 21.0, 65.0)
        )
        actions = plan_job(case["tally"], case["order"], *planning(p))
        rules = Rules(int(case["inputs"]["stages_per_bha"]), p["life_ft"], 5.0, 21.0, 65.0)
        p["changes"] = plan_changes(tuple(case["tally"]["depth_ft"]), tuple(actions), rules)
    policy = JobPolicy(
        when_not_closing=p["when_not_closing"],
        when_not_opening=p["when_not_opening"],
        when_not_reopening=p["when_not_reopening"],
        stop_loss_failed_closes=p["stop_loss_failed_closes"],
        max_tries=p["max_tries"],
        patched_restricts=p["patched_restricts"],
    )
    inputs = JobInputs(**{k: np.full(TRIALS, v) for k, v in case["inputs"].items()})
    luck = JobLuck(**{k: np.array(v) for k, v in case["luck"].items()})
    age = np.array(case["tally"]["age_years"])
    now = np.array(case["tally"]["age_years_now"])
    result = engine_simulate(made, tally, inputs, luck, age, policy, ages_now=now, detail=True)
    return tally, made, policy, inputs, luck, age, result


def second_run(case: dict, t: int) -> dict:
    luck = {k: v[t] for k, v in case["luck"].items()}
    return second.simulate(case["tally"], case["order"], case["inputs"], luck, case["policy"])


def differences(case: dict) -> list[str]:
    """What the two routes do not agree on, for every trial of the case."""
    tally, made, policy, inputs, luck, _, result = engine_run(case)
    out = []

    def same(name, engine, plain):
        if not np.allclose(np.asarray(engine, float), np.asarray(plain, float), rtol=1e-10, atol=1e-12):
            out.append(f"{name}: engine {engine} second route {plain}")

    p = case["policy"]
    actions = plan_job(case["tally"], case["order"], *planning(p))
    engine_actions = [
        (s.action, s.sleeve)
        for s in made.steps
        if s.action in ("close", "reseat", "open", "treat", "reclose", "reopen")
    ]
    if actions != engine_actions:
        out.append(f"plan: engine {engine_actions} second route {actions}")
    same("travel", made.travel_ft, travel_ft(case["tally"], actions))
    for t in range(TRIALS):
        mine = second_run(case, t)
        for name in ("days", "ct_days", "stuck_days", "ct_hours", "called_off", "stuck", "lost"):
            same(f"{name}[{t}]", getattr(result, name)[t], mine[name])
        for name in ("kept", "effectiveness", "placed"):
            same(f"{name}[{t}]", getattr(result, name)[t], mine[name])
        same(f"share[{t}]", result.stages_effective_share[t], mine["stages_effective_share"])
        same(f"treated[{t}]", result.counts["treated"][t], len(mine["treated"]))
        for name, own in (
            ("tries", "tries"),
            ("tests", "tests"),
            ("trips", "trips"),
            ("screenouts", "screenouts"),
            ("patch_tries", "patches"),
            ("perforate_tries", "perforations"),
        ):
            same(f"{name}[{t}]", result.counts[name][t], mine["count"][own])
        rows = job_log(made, prepare(inputs, luck, tally, policy.max_tries), policy, result, t)
        out += log_differences(rows, mine, result.days[t], t)
    return out


WORDS = {"closed": "done", "opened": "done", "reclosed": "done", "reopened": "done"}


def log_differences(rows, mine, days, t):
    """Shifts in the order done, with their tries and outcome; the clock from first row to last."""
    shifts = [
        ("close" if r.action == "reseat" else r.action, r.sleeve, r.tries, WORDS.get(r.outcome, "failed"))
        for r in rows
        if r.action in (*second.SHIFT_CHANCE, "reseat") and r.tries > 0
    ]
    plain = [row for row in mine["log"] if row[0] in second.SHIFT_CHANCE]
    out = [] if shifts == plain else [f"log[{t}]: engine {shifts} second route {plain}"]
    hours = math.fsum(r.hours for r in rows)
    if not math.isclose(hours, 24.0 * days, rel_tol=1e-12):
        out.append(f"log[{t}]: {hours} hours in {days} days")
    for before, after in itertools.pairwise(rows):
        if not math.isclose(before.start_hour + before.hours, after.start_hour, rel_tol=1e-12, abs_tol=1e-9):
            out.append(f"log[{t}]: step {after.step} starts at {after.start_hour}")
    return out


def cases(seed: int, count: int):
    rng = random.Random(seed)
    done = refused = 0
    while done < count:
        case = random_case(rng)
        p = case["policy"]
        if not case["order"]:
            continue
        try:
            plan_job(case["tally"], case["order"], *planning(p))
        except Refused:
            refused += 1
            with pytest.raises(PlanRefused):
                engine_run(case)
            continue
        done += 1
        yield case
    assert refused > 0


@pytest.mark.parametrize("seed", range(5))
def test_the_job_agrees_on_random_wells(seed: int) -> None:
    for number, case in enumerate(cases(seed, 60)):
        wrong = differences(case)
        assert not wrong, (
            f"case {number}: {case['policy']} {case['order']} {case['tally']['state']}\n"
            + "\n".join(wrong[:6])
        )


def another_input(name, change):
    """The second route gets one input altered, the engine does not."""

    def wrap(real):
        def changed(tally, order, inputs, luck, policy):
            return real(tally, order, {**inputs, name: change(inputs[name])}, luck, policy)

        return changed

    return wrap


def unrestricted(real):
    return lambda tally, order, inputs, luck, policy: real(
        tally, order, inputs, luck, {**policy, "patched_restricts": "nothing"}
    )


CHANGED_RULES = {
    "a leak reaches one neighbour only": (
        second.Trial,
        "leaks",
        lambda real: lambda self, i: i % 2 == 0 and real(self, i),
    ),
    "patches restrict nothing": (second, "simulate", unrestricted),
    "a patch on record counts as set here": (
        second.Trial,
        "set_here",
        lambda real: lambda self, s: self.patched[s],
    ),
    "slim stages take no longer": (
        second,
        "simulate",
        another_input("slim_hours_per_stage", lambda hours: 0.0),
    ),
    "every leak of a closed sleeve is found": (
        second,
        "simulate",
        another_input("leak_test_finds_chance", lambda chance: 1.0),
    ),
    "no closed sleeve leaks": (second, "simulate", another_input("closed_leak_chance", lambda chance: 0.0)),
    "no casing costs the well": (
        second,
        "simulate",
        another_input("well_lost_chance_given_casing_failure", lambda chance: 0.0),
    ),
    "changes of the string take no time": (
        second,
        "simulate",
        another_input("string_change_hours", lambda hours: 0.0),
    ),
}


@pytest.mark.parametrize("what", CHANGED_RULES)
def test_a_changed_rule_is_seen(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Negative controls: one rule of the second route changed must be found out."""
    where, name, change = CHANGED_RULES[what]
    monkeypatch.setattr(where, name, change(getattr(where, name)))
    assert any(differences(case) for case in cases(0, 60))
