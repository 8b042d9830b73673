"""Isolation methods on random wells, the job alone: the engine against the plain second route.

Oracle: methods.py of this folder. Wells of every mixture of states, reaches, one sleeve to twelve. Negative control:
one rule changed.
"""

import random

import numpy as np
import pytest

from refracmc.job.cost import CostRates, job_cost
from refracmc.job.inputs import JobInputs, JobLuck
from refracmc.job.luck import prepare
from refracmc.job.methods import METHODS, plan_method, simulate_method
from refracmc.job.methods.timeline import method_log
from refracmc.job.sleeves import PlanRefused, Tally
from tests.second_route import job, methods
from tests.second_route.test_job_agrees import TRIALS, random_case

FRACTIONS = ("diverter_evens_fraction", "effect_fraction", "old_kept_fraction", "failed_kept_fraction")
CHANCES = ("seal_chance", "liner_fails_chance", "stage_fails_chance")
OF_A_METHOD = {
    "bullhead": (
        "volume_fraction",
        "hours_per_drop",
        "diverter_usd_per_drop",
        "share_log_sd",
        "diverter_evens_fraction",
        "effect_fraction",
    ),
    "straddle": ("hours_per_set", "seal_chance", "tool_usd_per_set", "effect_fraction"),
    "liner": (
        "liner_days",
        "liner_usd",
        "liner_fails_chance",
        "hours_per_stage",
        "stage_usd",
        "volume_factor",
        "stage_fails_chance",
        "drill_out_hours_per_plug",
        "old_kept_fraction",
        "failed_kept_fraction",
        "effect_factor",
    ),
}


def random_terms(rng, kind, tally):
    terms = {name: rng.uniform(0.0, 3.0) for name in OF_A_METHOD[kind]}
    for name in (*FRACTIONS, *CHANCES):
        if name in terms:
            terms[name] = rng.choice([0.0, 1.0, rng.random()])
    fixed = {
        "bullhead": {"diverter_drops": rng.randint(0, 9), "pumping_hours_factor": rng.uniform(0.2, 3.0)},
        "straddle": {
            "sets_per_trip": rng.randint(1, 6),
            "sleeves": None,
            "pumping_hours_factor": rng.random(),
        },
        "liner": {"stage_spacing_ft": rng.choice([30.0, 150.0, 400.0, 5000.0])},
    }[kind]
    some = [s for s in methods.open_sleeves(tally) if rng.random() < 0.6]
    if kind == "straddle" and some and rng.random() < 0.5:
        rng.shuffle(some)
        fixed["sleeves"] = some
    return terms, fixed


def agrees(rng, kind):
    """None where the engine refuses the method; else what the two routes do not agree on."""
    case = random_case(rng)
    tally, policy = case["tally"], case["policy"]
    terms, fixed = random_terms(rng, kind, tally)
    engine = Tally(
        depth_ft=np.array(tally["depth_ft"]),
        isolation=np.array(tally["isolation"]),
        state=np.array(tally["state"]),
        installed=np.full(len(tally["state"]), "2015-01", dtype="datetime64[M]"),
        shifts=np.array(tally["shifts"]),
    )
    inputs = JobInputs(**{k: np.full(TRIALS, v) for k, v in case["inputs"].items()})
    luck = JobLuck(**{k: np.array(v) for k, v in case["luck"].items()})
    shared = prepare(inputs, luck, engine, policy["max_tries"])
    drawn = {name: np.full(TRIALS, value) for name, value in terms.items()}
    try:
        made = plan_method(kind, engine, policy["ct_reach_ft"], **fixed)
        result = simulate_method(made, shared, drawn)
    except PlanRefused:
        return None
    rates = {name: rng.uniform(0.1, 1.0) for name in CostRates.names()}
    parts = job_cost(result, CostRates.build(**rates))[1]
    out = []
    for t in range(TRIALS):
        own = {k: v[t] for k, v in case["luck"].items()}
        mine = methods.simulate(
            kind, tally, terms | fixed, case["inputs"], own, policy["max_tries"], policy["ct_reach_ft"]
        )
        for name in ("days", "ct_days", "ct_hours", "frac_days", "called_off", "lost", "kept", "placed"):
            check(name, getattr(result, name)[t], mine[name], out)
        check("effect", result.effectiveness[t], mine["effectiveness"], out)
        check("share", result.stages_effective_share[t], mine["stages_effective_share"], out)
        for name, value in job.cost(mine, case["inputs"], rates).items():
            check(name, parts[name][t], value, out)
        rows = method_log(made, shared, drawn, t)
        check("log", sum(row.hours for row in rows), 24.0 * mine["days"], out)
        made_sets = sum(row.action == "set" for row in rows)
        if kind == "straddle":
            check("sets", made_sets * terms["tool_usd_per_set"], mine["isolation_usd"], out)
    return out


def check(name, engine, plain, out):
    if not np.allclose(np.asarray(engine, float), np.asarray(plain, float), rtol=1e-10, atol=1e-12):
        out.append(f"{name}: engine {engine}, second route {plain}")


@pytest.mark.parametrize("kind", METHODS)
def test_a_method_agrees_on_random_wells(kind: str) -> None:
    rng = random.Random(kind)
    found = [agrees(rng, kind) for _ in range(150)]
    assert sum(one is not None for one in found) > 100
    assert not any(found), next(one for one in found if one)


@pytest.mark.parametrize(
    ("kind", "name", "change"),
    [
        ("bullhead", "takes_fluid", lambda real: lambda state: True),
        ("straddle", "leaks", lambda real: lambda *args: False),
        ("liner", "liner_stages", lambda real: lambda depth, feet: [g for g in real(depth, feet) if g]),
    ],
)
def test_a_changed_rule_is_seen(kind: str, name: str, change, monkeypatch: pytest.MonkeyPatch) -> None:
    """Negative control: without the lengths that hold no sleeve, say, the two must not agree."""
    monkeypatch.setattr(methods, name, change(getattr(methods, name)))
    rng = random.Random(kind)
    assert any(agrees(rng, kind) for _ in range(60))
