"""Other isolation methods, dates set by triggers and planned changes: the engine against the plain second route.

Oracle: the second route (methods, trigger, changes in this folder), written from the docstrings of the modules it
checks and from the reference; to 1e-9 as in test_engine_agrees. The negative controls change one rule each.
"""

import random
from pathlib import Path

import pytest

from refracmc.case.load import load_case
from refracmc.engine.plan import build_plan
from tests.second_route import changes, inputs, methods, trial, trigger
from tests.second_route.compare import compare, drawn_rows
from tests.second_route.method_cases import CASES

TRIALS_PER_CASE = 40


def plan_of(name, folder):
    text, tally = CASES[name]
    (folder / "case.toml").write_text(text, "utf-8")
    (folder / "sleeves.csv").write_text(tally, "utf-8")
    case = load_case(folder / "case.toml")
    assert not case.refused, case.refused
    return build_plan(case, case.wells[0], 0, None)


def text_of(found):
    lines = []
    for (_, strategy, number), texts in list(found.items())[:6]:
        lines += [f"{strategy} trial {number}:", *(f"    {text}" for text in texts[:8])]
    return f"{len(found)} trials differ\n" + "\n".join(lines)


@pytest.mark.parametrize("name", CASES)
def test_a_case_agrees(name: str, tmp_path: Path) -> None:
    """40 random trials of each case, 200 in all, over every strategy of it."""
    plan = plan_of(name, tmp_path)
    rng = random.Random(name)
    names = [s.name for s in plan.strategies]
    picks = {s: [rng.randrange(512)] for s in names}
    while sum(map(len, picks.values())) < TRIALS_PER_CASE:
        picks[rng.choice(names)].append(rng.randrange(512))
    count, found = compare(plan, picks, block=rng.randrange(4))
    assert not found, text_of(found)
    assert count >= TRIALS_PER_CASE


def test_the_trigger_cases_reach_what_they_are_for(tmp_path: Path) -> None:
    """Trials that start at once, later and never; wells that stand idle before the job and leases that lapse."""
    plan = plan_of("triggers", tmp_path)
    draws = drawn_rows(plan, range(60))
    months: dict[str, list] = {"slow": [], "spent": [], "cheap": []}
    for strategy in plan.strategies:
        if strategy.trigger is not None and strategy.order == "toe_to_heel":
            for t in range(60):
                mine = trial.run(inputs.trial_inputs(plan, draws, strategy, t))
                months[strategy.date].append(mine["job_month"])
    for name, found in months.items():
        assert None in found, name
        assert len(set(found)) > 4, name
    assert 1 in months["spent"]


def swapped(position, change):
    """A rule that gets one of its arguments altered."""
    return lambda real: lambda *args: real(*args[:position], change(args[position]), *args[position + 1 :])


def said(value):
    return lambda real: lambda *args: value


METHODS, REACH, TRIGGERS, KNOWN_PATH, PLANNED = CASES
CHANGED_RULES = {
    # what is changed: case, order, where the rule is, its name, what becomes of it
    "every joint leaks": (METHODS, "straddle", methods, "leaks", said(True)),
    "one more set is made": (METHODS, "straddle", methods, "sets_needed", swapped(2, lambda most: most + 1)),
    "only open sleeves count": (
        METHODS,
        "bullhead",
        methods,
        "treatable_sleeves",
        lambda real: methods.open_sleeves,
    ),
    "the tubing reaches the toe": (REACH, "bullhead", methods, "within", swapped(1, lambda reach: None)),
    "longer liner stages": (REACH, "liner", methods, "liner_stages", swapped(1, lambda feet: 1.3 * feet)),
    "old production comes back whole": (METHODS, "liner", methods, "keep_old", said(None)),
    "sleeves of a stage one by one": (
        METHODS,
        "liner",
        trial,
        "stage_multiplier",
        swapped(2, lambda groups: [[s] for group in groups for s in group]),
    ),
    "the pumping crew waits on": (
        METHODS,
        "liner",
        methods,
        "finish",
        lambda real: lambda made, *rest: real({**made, "stands_by": True}, *rest),
    ),
    "no gate": (TRIGGERS, "toe_to_heel", trigger, "gate", said(True)),
    "a month later at the limit": (
        TRIGGERS,
        "alternating",
        trigger,
        "holds",
        swapped(2, lambda idle: idle - 1),
    ),
    "this month's price": (
        TRIGGERS,
        "toe_to_heel",
        trigger,
        "month_of",
        swapped(3, lambda prices: [*prices[1:], prices[-1]]),
    ),
    "this month's rate": (
        KNOWN_PATH,
        "toe_to_heel",
        trigger,
        "month_of",
        swapped(1, lambda volumes: [*volumes[1:], 0.0]),
    ),
    "an assembly that lasts longer": (
        PLANNED,
        "two_pass",
        inputs,
        "plan_changes",
        swapped(2, lambda rules: rules._replace(stages_per_bha=rules.stages_per_bha + 1)),
    ),
    "a string that lasts longer": (
        PLANNED,
        "two_pass",
        inputs,
        "plan_changes",
        swapped(2, lambda rules: rules._replace(string_life_ft=3.0 * rules.string_life_ft)),
    ),
    "changes at the surface alone cost": (
        PLANNED,
        "alternating",
        changes,
        "places",
        lambda real: lambda *args: ([(0.0, *rest) for _, *rest in real(*args)[0]], *real(*args)[1:]),
    ),
}


@pytest.mark.parametrize("what", CHANGED_RULES)
def test_a_changed_rule_is_seen(what: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Negative control: with one rule of the second route changed the two must not agree."""
    name, order, where, attribute, change = CHANGED_RULES[what]
    plan = plan_of(name, tmp_path)
    chosen = {s.name: list(range(8)) for s in plan.strategies if s.order == order}
    changes.plan_changes.cache_clear()
    _, found = compare(plan, chosen)
    assert not found, text_of(found)
    monkeypatch.setattr(where, attribute, change(getattr(where, attribute)))
    changes.plan_changes.cache_clear()
    _, found = compare(plan, chosen)
    changes.plan_changes.cache_clear()
    assert found
