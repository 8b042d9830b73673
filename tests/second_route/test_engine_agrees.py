"""The engine against the plain second route: production, job, cash flow and measures of single trials.

Oracle: the second route (decline, plan, job, stress, response, prices, money, trial in this folder), written
from the model's definition in Python floats and loops, with no use of the package's calculations. Both get
the same drawn numbers. Agreement to 1e-9 of each number, or of the terms it is the difference of. The
negative controls change one rule of the second route each and must be found out.
"""

import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from refracmc.case.load import load_case
from refracmc.engine.plan import build_plan
from refracmc.engine.well_fit import fit_well
from tests.engine.awkward_cases import EDGES
from tests.second_route import job, job_size, money, prices, response, trial
from tests.second_route.awkward import CASES as AWKWARD
from tests.second_route.awkward_choices import CHOICES
from tests.second_route.compare import compare
from tests.second_route.decline import MONTH

CASES = AWKWARD | CHOICES
DEMO = Path(__file__).parents[2] / "configs" / "demo" / "case.toml"
TRIALS_OF_THE_DEMO = 200


@pytest.fixture(scope="module")
def demo_plans():
    case = load_case(DEMO)
    return [build_plan(case, well, k, fit_well(case, well)) for k, well in enumerate(case.wells)]


def awkward_plan(name, folder):
    text, tally = CASES[name]
    (folder / "case.toml").write_text(text, "utf-8")
    (folder / "sleeves.csv").write_text(tally, "utf-8")
    case = load_case(folder / "case.toml")
    assert not case.refused, case.refused
    return build_plan(case, case.wells[0], 0, None)


def text_of(found):
    lines = []
    for (well, strategy, number), texts in list(found.items())[:5]:
        lines += [f"{well} {strategy} trial {number}:", *(f"    {text}" for text in texts[:8])]
    return f"{len(found)} trials differ\n" + "\n".join(lines)


def test_the_demo_agrees(demo_plans) -> None:
    """Every strategy of every well at least once, 200 random trials in all."""
    rng = random.Random(20261101)
    picks = {(k, s.name): [rng.randrange(512)] for k, plan in enumerate(demo_plans) for s in plan.strategies}
    while sum(map(len, picks.values())) < TRIALS_OF_THE_DEMO:
        picks[rng.choice(list(picks))].append(rng.randrange(512))
    compared = 0
    for k, plan in enumerate(demo_plans):
        rows_of = {s.name: picks[k, s.name] for s in plan.strategies}
        count, found = compare(plan, rows_of, block=rng.randrange(4))
        assert not found, text_of(found)
        compared += count
    assert compared == TRIALS_OF_THE_DEMO


@pytest.mark.parametrize("name", CASES)
def test_an_awkward_case_agrees(name: str, tmp_path: Path) -> None:
    plan = awkward_plan(name, tmp_path)
    rng = random.Random(name)
    rows_of = {s.name: [rng.randrange(512) for _ in range(8)] for s in plan.strategies}
    _, found = compare(plan, rows_of)
    assert not found, text_of(found)


# Without costs a life ends where months are what rounding leaves of a volume, which the columns do not share.
@pytest.mark.parametrize("edge", [edge for edge in EDGES if edge != "no costs at all"])
@pytest.mark.parametrize("name", ["deck, nominal, tax", "suspended, lease lost"])
def test_an_edge_agrees(name: str, edge: str, tmp_path: Path) -> None:
    """Trials whose draws stand at the edges of the model."""
    plan = awkward_plan(name, tmp_path)
    rng = random.Random(edge)
    rows_of = {s.name: [rng.randrange(64) for _ in range(2)] for s in plan.strategies}
    _, found = compare(plan, rows_of, edit=EDGES[edge])
    assert not found, text_of(found)


def idle_plan(plan):
    """The plan with every other row of its posterior standing idle for good."""
    posterior = plan.posterior
    idle = np.arange(posterior.uptime.size) % 2 == 0
    return replace(
        plan,
        posterior=replace(
            posterior,
            uptime=np.where(idle, 0.0, posterior.uptime),
            running_uptime=np.where(idle, 0.7, posterior.uptime),
        ),
    )


def test_a_job_brings_back_an_idle_well(demo_plans, monkeypatch: pytest.MonkeyPatch) -> None:
    """The stream of the job runs where the well would stand idle. Negative control: at the well's own uptime."""
    plan = idle_plan(demo_plans[0])
    soon = sorted(plan.dated, key=lambda s: s.month)[0]  # before the lease of an idle well lapses
    chosen = {soon.name: list(range(24))}
    _, found = compare(plan, chosen)
    assert not found, text_of(found)
    real = trial.refrac_streams

    def own_uptime(response, well, base, after, running, *rest):
        idle = not any(base["main"])
        return real(response, well, base, after, 0.0 if idle else running, *rest)

    monkeypatch.setattr(trial, "refrac_streams", own_uptime)
    _, found = compare(plan, chosen)
    assert found


def test_an_idle_well_may_stay_idle(demo_plans, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the case says so. Negative control: the second route brings it back."""
    plan = idle_plan(demo_plans[0])
    settings = plan.well.settings
    stays = settings.response.model_copy(update={"revives_idle": False})
    plan = replace(plan, well=replace(plan.well, settings=replace(settings, response=stays)))
    soon = sorted(plan.dated, key=lambda s: s.month)[0]
    chosen = {soon.name: list(range(24))}
    _, found = compare(plan, chosen)
    assert not found, text_of(found)
    real = response.uplift
    monkeypatch.setattr(response, "uplift", lambda terms: real(terms | {"revives_idle": True}))
    _, found = compare(plan, chosen)
    assert found


def changed_argument(position, change):
    """A rule that gets one of its arguments altered."""

    def wrap(real):
        def changed(*args):
            return real(*args[:position], change(args[position]), *args[position + 1 :])

        return changed

    return wrap


TAX, FALLBACKS, SUSPENDED, SHARES, SILENT, LIFT = (
    "deck, nominal, tax",
    "fallbacks, every reclose, needed closing",
    "suspended, lease lost",
    "stated shares, level, custom order",
    "no response, record factor",
    "uptime and limits after the job",
)
CHANGED_RULES = [
    # case, where the rule is, its name, what becomes of it
    (SUSPENDED, money, "cash_flow", changed_argument(2, lambda limit: limit + 1)),
    (SUSPENDED, prices, "MONTHS_AHEAD", lambda _: 3),
    (TAX, money, "escalation", changed_argument(1, lambda i: i + 0.01)),
    (TAX, money, "depreciation", changed_argument(2, lambda month: month % 12 + 1)),
    (TAX, response, "calendar", changed_argument(2, lambda days: days // MONTH * MONTH)),
    (TAX, trial, "stage_multiplier", lambda _: lambda *args: 1.0),
    (FALLBACKS, job.Trial, "leaks", lambda _: lambda self, interface: True),
    (FALLBACKS, job, "critical_logit", changed_argument(1, lambda tries: tries + 1)),
    (SHARES, response, "intensity_factor", lambda _: lambda terms: 1.0),
    (LIFT, trial, "held_back", lambda _: lambda volumes, *rest: volumes),
    (LIFT, trial, "stream_after", changed_argument(2, lambda uptime: 0.9 * uptime)),
    ("sizes of the job", job_size, "effect", lambda _: lambda proppant, *rest: proppant**0.45),
    ("offset wells, tax, known deck", trial.cash, "neighbours", changed_argument(2, lambda month: month + 1)),
    (SILENT, response, "uplift", lambda real: lambda terms: real(terms | {"u_responds": 1.0})),
]


@pytest.mark.parametrize("rule", CHANGED_RULES, ids=lambda rule: rule[2])
def test_a_changed_rule_is_seen(rule, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Negative control: with one rule of the second route changed the two must not agree."""
    name, where, attribute, change = rule
    plan = awkward_plan(name, tmp_path)
    chosen = {s.name: list(range(12)) for s in plan.strategies[:2]}
    _, found = compare(plan, chosen)
    assert not found, text_of(found)
    monkeypatch.setattr(where, attribute, change(getattr(where, attribute)))
    _, found = compare(plan, chosen)
    assert found
