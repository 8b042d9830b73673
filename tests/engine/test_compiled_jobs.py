"""The compiled job against the array code: counts and booleans the same, values to 1e-12.

Oracle: `simulate`, `job_cost` and `stress_multiplier`, written separately in arrays from the same rules and held to
the plain second route in tests/second_route. Skipped where numba, an optional extra, is absent.
"""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refracmc.engine import valuation as engine
from refracmc.engine.job_arguments import RULES
from refracmc.engine.shapes import check_jobs
from refracmc.job.cost import COST_PARTS
from tests.engine.awkward_cases import CASES, awkward_plan, drawn
from tests.engine.job_wells import TRIALS, arguments_of, differences, pairs_of, random_jobs

pytest.importorskip("numba")


def run(arguments):
    from refracmc.engine.compiled_jobs import run_jobs

    check_jobs(arguments)
    run_jobs(*arguments)
    return arguments[-1]


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=150, deadline=None)
def test_any_well(seed: int) -> None:
    jobs = random_jobs(seed)
    assert not differences(jobs, run(arguments_of(jobs, pairs_of(jobs))))


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_a_trial_stands_alone(seed: int) -> None:
    """To the last bit whatever other strategies and trials are evaluated with it, and in whatever order."""
    jobs, rng = random_jobs(seed), np.random.default_rng(seed)
    pairs = pairs_of(jobs)
    whole = run(arguments_of(jobs, pairs))
    first = int(rng.integers(TRIALS))
    rows = slice(first, first + 1 + int(rng.integers(TRIALS - first)))
    chosen = rng.permutation(len(pairs))[: rng.integers(1, len(pairs))]
    some = run(arguments_of(jobs, [pairs[k] for k in chosen], rows))
    np.testing.assert_array_equal(some, whole[:, chosen, rows])


@pytest.mark.parametrize("tries", [5, 8, 9, 100])
@pytest.mark.parametrize("sleeves", [63, 64, 65, 130])
def test_many_tries_and_sleeves(tries: int, sleeves: int) -> None:
    """More tries than the kernel takes at once, and sleeves at the edges of its words of 64."""
    jobs = random_jobs(sleeves + tries, sleeves, max_tries=tries)
    assert not differences(jobs, run(arguments_of(jobs, pairs_of(jobs))))


def test_the_exponential() -> None:
    """Oracle: math.exp, to 2 ulp over the range that is not clipped. Negative control: an argument off by 1e-15
    of itself is seen."""
    from refracmc.engine.compiled_jobs import _exp

    points = np.concatenate(
        [np.random.default_rng(2).uniform(-700.0, 700.0, 20_000), np.linspace(-1.0, 1.0, 4001)]
    )
    off = np.array([abs(_exp(x) / math.exp(x) - 1.0) for x in points])
    assert off.max() < 5e-16
    assert max(abs(_exp(x * (1.0 + 1e-15)) / math.exp(x) - 1.0) for x in points) > 5e-16
    assert _exp(0.0) == 1.0
    assert _exp(-1e9) == _exp(-700.0) < 1e-300
    assert _exp(np.inf) == _exp(700.0) > 1e300


HARD = {"when_not_closing": "patch", "when_not_opening": "perforate", "when_not_reopening": "perforate"}
CHANGED = {
    "stop_loss": ({"stop_loss_failed_closes": 1}, -1),
    "patch": (HARD, 0),
    "perforate": (HARD, 0),
    "perforate2": (HARD, 0),
    "lost": (HARD | {"patched_restricts": "lost"}, 0),
    "slim": (HARD | {"patched_restricts": "slim"}, 0),
    "max_tries": ({"max_tries": 3}, 2),
}


@pytest.mark.parametrize("rule", RULES)
def test_a_changed_rule_is_seen(rule: str) -> None:
    """Negative control: one rule of the compiled job otherwise than the case has it."""
    fixed, value = CHANGED[rule]
    jobs = random_jobs(5, 40, **{"stop_loss_failed_closes": None, "patched_restricts": "nothing"} | fixed)
    arguments = arguments_of(jobs, pairs_of(jobs))
    assert not differences(jobs, run(arguments))
    arguments[0].rules[RULES.index(rule)] = value
    assert differences(jobs, run(arguments))


@pytest.mark.parametrize(
    ("part", "name"),
    [(1, "masks"), (1, "position"), (1, "feet"), (1, "stress"), (3, "ages"), (3, "service"), (5, "share")],
)
def test_a_small_change_is_seen(part: int, name: str) -> None:
    """Negative control: one number or mark of the compiled job otherwise than that of the array code."""
    jobs = random_jobs(8, 31, stop_loss_failed_closes=None)
    arguments = arguments_of(jobs, pairs_of(jobs))
    assert not differences(jobs, run(arguments))
    array = getattr(arguments[part], name)
    if name == "masks":
        array[0, 5] = 1 - array[0, 5]
    elif name == "position":
        array[:] = array[:, ::-1].copy()
    elif name == "ages":
        array += 4.0
    else:
        array *= 1.0 + 1e-9
    assert differences(jobs, run(arguments))


@pytest.mark.parametrize("name", CASES)
def test_an_awkward_case(name: str, tmp_path: Path) -> None:
    """The jobs as a block has them, isolation methods among them: outcomes and parts."""
    plan = awkward_plan(name, tmp_path)
    draws = drawn(plan, trials=130)
    model = engine.model_block(plan, draws)
    arrays, costs = engine._jobs_arrays(plan, draws, model, plan.dated)
    compiled, parts = engine._jobs_compiled(plan, draws, model, plan.dated)
    assert list(parts) == list(COST_PARTS)
    for member in arrays.__dataclass_fields__:
        a, c = getattr(arrays, member), getattr(compiled, member)
        assert a.shape == (len(plan.dated), 130)
        np.testing.assert_allclose(c, a, rtol=1e-12, atol=1e-15)
    for part in parts:
        np.testing.assert_allclose(parts[part], costs[part], rtol=1e-12, atol=0)


def test_one_strategy_is_that_of_all(tmp_path: Path) -> None:
    """What `trace` shows is what `run` has, to the last bit, parts among them."""
    plan = replace(awkward_plan("fallbacks, every reclose, needed closing", tmp_path), compiled=True)
    draws = drawn(plan, trials=64)
    whole = engine.evaluate(plan, draws)
    for k, strategy in enumerate(plan.strategies):
        one = engine.evaluate(plan, draws, [strategy])
        for name, values in one.measures.items():
            np.testing.assert_array_equal(values[1], whole.measures[name][1 + k])
        for name, values in one.parts.items():
            np.testing.assert_array_equal(values[0], whole.parts[name][k])


@pytest.mark.parametrize("part", range(6))
def test_a_wrong_shape_is_refused(part: int) -> None:
    jobs = random_jobs(3, 7)
    arguments = arguments_of(jobs, pairs_of(jobs))
    check_jobs(arguments)
    for name, array in arguments[part]._asdict().items():
        for axis in range(array.ndim):
            short = arguments[part]._replace(**{name: np.delete(array, 0, axis=axis)})
            changed = (*arguments[:part], short, *arguments[part + 1 :])
            with pytest.raises(ValueError, match=r"found (shape )?.* allowed: "):
                check_jobs(changed)


@pytest.mark.parametrize(
    ("part", "name", "value"),
    [
        (0, "rules", 101),
        (1, "position", 7),
        (1, "sequence", -1),
        (1, "numbers", 8),
        (1, "table", 40),
        (2, "kind", 4),
        (2, "level", -1),
        (3, "group", 99),
        (4, "order", 3),
        (4, "date", 4),
        (4, "row", 12),
    ],
)
def test_an_index_out_of_bounds_is_refused(part: int, name: str, value: int) -> None:
    jobs = random_jobs(3, 7)
    arguments = arguments_of(jobs, pairs_of(jobs))
    getattr(arguments[part], name)[:] = value
    with pytest.raises(ValueError, match=r"found .* allowed: "):
        check_jobs(arguments)


def test_a_rule_without_its_luck_is_refused() -> None:
    jobs = next(jobs for jobs in map(random_jobs, range(50)) if jobs.luck.u_casing is not None)
    for name in ("u_tight_close", "u_casing"):
        with pytest.raises(ValueError, match=name):
            arguments_of(replace(jobs, luck=replace(jobs.luck, **{name: None})), pairs_of(jobs))
