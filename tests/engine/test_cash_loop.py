"""The loop of the cash flow: what it may be called with, and that nothing beside a trial shows in its numbers.

Its values are held to the plain second route in tests/second_route. Here: the same source as plain Python, the same
bits beside other trials and strategies and for other measures wanted, every index within bounds.
"""

import os
import pickle
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from refracmc.engine.block_jobs import JobOutcome
from refracmc.engine.block_model import BlockModel, model_block
from refracmc.engine.cash_flow import _block, _conditions, check_block, value_block
from refracmc.engine.cash_loop import Block, Conditions, Results, room_for, value_trials
from refracmc.engine.valuation import evaluate
from refracmc.measures import PER_TRIAL
from tests.engine.awkward_cases import CASES, EDGES, awkward_plan, drawn

ROOT = Path(__file__).parents[2]
SOME = ("deck, nominal, tax", "suspended, lease lost")
LEASE = 7


def outlandish(name: str, folder: Path, trials: int = 160) -> tuple[BlockModel, np.ndarray, JobOutcome]:
    """A model, months and jobs whose long shut-ins and outlays of a few barrels' worth try every way of the loop."""
    plan = awkward_plan(name, folder)
    draws, rng = drawn(plan, trials=trials), np.random.default_rng(1)
    outlays, delays = np.array([0.0, 1.0, 3e4, 5e5, 1e6, 4e6]), np.array([0.0, 20.0, 91.3125, 200.0, 400.0])
    shape = (6, trials)
    shares = rng.choice([0.0, 0.3, 0.8, 1.0], (2, *shape))
    months = rng.integers(-1, plan.horizon, shape)
    lost = rng.random(shape) < 0.1
    days = rng.choice(np.append(delays, 31.0 * plan.horizon), shape)
    jobs = JobOutcome(days, rng.choice(outlays, shape), *shares, shares[1], lost)
    return model_block(plan, draws), months, jobs


def some_rows(block: Block, rows: np.ndarray) -> Block:
    """Some of the trials, in their order."""
    whole = {"own_sums"}
    first = {
        "rows",
        "new_sums",
        "oil",
        "gas",
        "oil_ahead",
        "gas_ahead",
        "np0",
        "own_after",
        "after_place",
        "lost_volumes",
    }
    return Block(
        *(
            array
            if name in whole
            else np.ascontiguousarray(array[rows] if name in first else array[..., rows])
            for name, array in block._asdict().items()
        )
    )


def valued(conditions: Conditions, block: Block) -> np.ndarray:
    strategies, trials = block.months.shape
    results = Results(
        np.empty((len(PER_TRIAL), strategies + 1, trials)), np.empty(trials, np.int64), np.zeros((7, 0, 0))
    )
    every = np.ones(len(PER_TRIAL), dtype=bool)
    value_trials(conditions, block, every, room_for(strategies, conditions.discount.size), results)
    return results.measures


def prepared(name: str, folder: Path, trials: int = 160) -> tuple[Conditions, Block]:
    model, months, jobs = outlandish(name, folder, trials)
    if model.economics.write_off:  # known of every month here, so that any may be a job's
        line = next(iter(model.economics.write_off.values()))
        model = replace(
            model, economics=replace(model.economics, write_off=dict.fromkeys(range(line.size), line))
        )
    return _conditions(model, LEASE), _block(model, months, jobs)


@pytest.mark.parametrize("name", CASES)
def test_no_neighbour_shows(name: str, tmp_path: Path) -> None:
    """The same bits beside other trials, in another order, and beside other strategies. Negative control: trials out
    of their order differ."""
    conditions, block = prepared(name, tmp_path)
    whole = valued(conditions, block)
    rng = np.random.default_rng(2)
    for rows in (np.arange(1, 160), np.arange(2, 90), rng.permutation(160), np.array([5])):
        some = valued(conditions, some_rows(block, rows))
        np.testing.assert_array_equal(some, whole[:, :, rows])
    assert not np.array_equal(some[0], whole[0][:, :1])
    for chosen in ([4, 1], [0], [5, 4, 3, 2, 1, 0]):
        jobs, months = block.jobs[:, chosen], block.months[chosen]
        few = valued(conditions, block._replace(jobs=jobs.copy(), months=months.copy()))
        np.testing.assert_array_equal(few, whole[:, [0, *(k + 1 for k in chosen)]])


def test_only_what_is_wanted_is_made(tmp_path: Path) -> None:
    """To the last bit as among all measures; the cost parts too. The unknown name is the negative control."""
    plan = awkward_plan(SOME[1], tmp_path)
    draws = drawn(plan, trials=64)
    whole = evaluate(plan, draws)
    for wanted in (("payout_months", "npv"), ("irr",), ("breakeven_price", "incremental_eur"), ()):
        some = evaluate(plan, draws, wanted=wanted)
        assert set(some.measures) == set(wanted)
        for name in wanted:
            assert np.array_equal(some.measures[name], whole.measures[name], equal_nan=True), name
        for name, values in whole.parts.items():
            assert np.array_equal(some.parts[name], values), name
    with pytest.raises(ValueError, match=r"wanted: \['profit'\]; allowed: npv, "):
        evaluate(plan, draws, wanted=["npv", "profit"])


PLAIN = """
import pickle, sys
from pathlib import Path
import numpy as np
from tests.engine.test_cash_loop import valued
for given in Path(sys.argv[1]).glob("*.given"):
    np.save(given.with_suffix(".npy"), valued(*pickle.loads(given.read_bytes())))
"""


def run_apart(source: str, folder: Path, **settings: str) -> str:
    """What a process of its own says."""
    done = subprocess.run(
        [sys.executable, "-c", source, str(folder)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env={**os.environ, **settings},
        timeout=600,
        check=False,
    )
    assert not done.returncode, done.stderr[-2000:]
    return done.stdout


def test_the_same_source_as_plain_python(tmp_path: Path) -> None:
    """Oracle of the compiler: the interpreter. Every value to 1e-12 of the largest of its measure and trial (money
    and volumes are differences); rates of return and prices to 1e-9, months and marks the same. Negative control: the
    trials one further on differ."""
    given = [prepared(name, tmp_path / str(k), 3) for k, name in enumerate(CASES)]
    for k, arguments in enumerate(given):
        (tmp_path / f"{k}.given").write_bytes(pickle.dumps(arguments))
    run_apart(PLAIN, tmp_path, NUMBA_DISABLE_JIT="1")
    for k, name in enumerate(CASES):
        plain, compiled = np.load(tmp_path / f"{k}.npy"), valued(*given[k])
        np.testing.assert_array_equal(np.isnan(plain), np.isnan(compiled))
        np.testing.assert_array_equal(np.isinf(plain), np.isinf(compiled))
        plain, compiled = (np.where(np.isinf(found), 0.0, found) for found in (plain, compiled))
        for row, measure in enumerate(PER_TRIAL):
            scale = np.nanmax(np.abs(compiled[row]), axis=0, initial=1.0)
            allowed = (1e-9 if measure in ("irr", "breakeven_price") else 1e-12) * scale
            assert (np.nan_to_num(np.abs(plain[row] - compiled[row])) <= allowed).all(), (name, measure)
        assert not np.allclose(plain[0], np.roll(compiled[0], 1, axis=1), rtol=1e-6)


BOUNDS = """
import sys
from pathlib import Path
import numpy as np
from tests.engine.test_cash_loop import CASES, prepared, valued
for k, name in enumerate(CASES):
    conditions, block = prepared(name, Path(sys.argv[1]) / str(k), 40)
    valued(conditions, block)
try:
    valued(conditions._replace(discount=conditions.discount[:-1]), block)
except IndexError:
    print("WITHIN BOUNDS")
"""


@pytest.mark.slow
def test_within_bounds(tmp_path: Path) -> None:
    """Every index checked by the compiler; the mis-sized array at the end is the negative control."""
    said = run_apart(BOUNDS, tmp_path, NUMBA_BOUNDSCHECK="1", NUMBA_CACHE_DIR=str(tmp_path / "cache"))
    assert said == "WITHIN BOUNDS\n"


@pytest.mark.parametrize("name", Block._fields)
def test_a_wrong_shape_is_refused(name: str, tmp_path: Path) -> None:
    """Each array a row or a column short."""
    conditions, block = prepared(SOME[0], tmp_path, 5)
    horizon = conditions.discount.size
    check_block(block, horizon)
    array = getattr(block, name)
    for axis in range(array.ndim):
        if (name, axis) in (
            ("own_sums", 0),
            ("rows", 0),
        ):  # any number of rows; the trials are as many as `rows`
            continue
        if not array.shape[axis]:  # of dates with another uptime there are none
            continue
        with pytest.raises(ValueError, match=r"found shape .* allowed: "):
            check_block(block._replace(**{name: np.delete(array, 0, axis=axis)}), horizon)


@pytest.mark.parametrize(
    ("name", "index", "value", "said"),
    [
        ("months", (0, 0), -2, "months: found -2"),
        ("months", (2, 1), 1000, "months: found .* to 1000; allowed: -1 to "),
        ("rows", (0,), -1, "rows: found -1"),
        ("rows", (1,), 1000, "rows: found .* to 1000; allowed: 0 to "),
        ("own_ratios", (1, 2, 0), -0.1, "own_ratios"),
        ("new_ratios", (0, 0, 1), np.nan, "new_ratios"),
        ("limits", (0, 1), 0.0, "limits"),
        ("limits", (1, 2), np.nan, "limits"),
        ("jobs", (0, 1, 1), np.nan, "days shut in"),
        ("jobs", (0, 1, 1), np.inf, "days shut in"),
        ("jobs", (0, 1, 1), -0.5, "days shut in"),
    ],
)
def test_an_index_out_of_bounds_is_refused(name, index, value, said: str, tmp_path: Path) -> None:
    conditions, block = prepared(SOME[0], tmp_path, 5)
    changed = getattr(block, name).copy()
    changed[index] = value
    with pytest.raises(ValueError, match=said):
        check_block(block._replace(**{name: changed}), conditions.discount.size)


@pytest.mark.parametrize("edge", EDGES)
def test_details_are_those_of_the_measures(edge: str, tmp_path: Path) -> None:
    """The details of a strategy give its recovery and the cap anew (algebra of the response, volumes by month)."""
    from refracmc.engine.one_trial import evaluate_one
    from refracmc.engine.volumes import volumes_of

    plan = awkward_plan(SOME[1], tmp_path)
    draws = drawn(plan, EDGES[edge], 100)
    for strategy in (plan.dated[0], plan.dated[-1]):
        one = evaluate_one(plan, draws, strategy)
        rows, months = np.arange(100), np.full(100, strategy.month)
        (main,) = volumes_of(one.model, rows, (plan.well.main_phase,), months, one.outcome, one.cash)
        eur = one.cash.measures["eur"][1]
        np.testing.assert_allclose(one.model.own.np0 + main.sum(axis=1), eur, rtol=1e-11)
        done = one.cash.measures["executed"][1] > 0.0
        capped = one.cash.measures["capped"][1] > 0.0
        np.testing.assert_array_equal((one.cash.details.scale[0] < 1.0)[done], capped[done])


def test_a_month_never_reached_leaves_the_well_alone(tmp_path: Path) -> None:
    """Month -1: the measures of `nothing`, no job, no cost. Negative control: the same job in month 0."""
    model, _, jobs = outlandish(SOME[1], tmp_path, 20)
    for month, same in ((-1, True), (0, False)):
        found = value_block(model, LEASE, np.full((6, 20), month), jobs, PER_TRIAL).measures
        assert np.array_equal(found["npv"][1:], np.repeat(found["npv"][:1], 6, axis=0)) == same
        assert (not found["executed"].any()) == same
