"""The compiled cash flow against the one in arrays: limits and payout identical, values to 1e-11 of their scale.

Oracle: two kernels written separately from the same rules (the array kernel is held to the plain second route
in tests/second_route). Skipped where numba, an optional extra, is absent.
"""

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from refracmc.engine.block_jobs import outcome_rows
from refracmc.engine.block_model import model_block
from refracmc.engine.cash import PER_TRIAL, JobOutcome
from refracmc.engine.shapes import check_kernel
from refracmc.engine.valuation import evaluate, value_jobs
from tests.engine.kernels import CASES, EDGES, TOLERANCE, awkward_plan, both, differences, drawn

pytest.importorskip("numba")

from refracmc.engine.compiled import value_trials
from refracmc.engine.lanes import COUNT

ROOT = Path(__file__).parents[2]
SOME = ("deck, nominal, tax", "suspended, lease lost")


@pytest.mark.parametrize("name", CASES)
def test_an_awkward_case(name: str, tmp_path: Path) -> None:
    plan = awkward_plan(name, tmp_path)
    draws = drawn(plan)
    arrays, compiled = both(plan, draws)
    assert not differences(arrays, compiled)
    # values so close mean the same limit months: a month earlier or later moves the discounted abandonment by
    # far more than the tolerance
    money = model_block(plan, draws).economics.money
    step = -np.diff(money.abandonment * money.discount, axis=1)
    assert step.min() > 1e3 * TOLERANCE * np.abs(arrays["npv"]).max()


@pytest.mark.parametrize("edge", EDGES)
@pytest.mark.parametrize("name", SOME)
def test_an_edge(name: str, edge: str, tmp_path: Path) -> None:
    plan = awkward_plan(name, tmp_path)
    assert not differences(*both(plan, drawn(plan, EDGES[edge], 160)))


@pytest.mark.parametrize("key", ["opex.fixed_usd_per_month", "response.uplift", "opex.abandonment_usd"])
def test_a_small_change_is_seen(key: str, tmp_path: Path) -> None:
    """Negative control: one input off by a billionth in one kernel."""
    plan = awkward_plan(SOME[0], tmp_path)
    draws = drawn(plan, trials=160)
    off = draws | {key: draws[key] * (1.0 + 1e-9)}
    assert differences(both(plan, draws)[0], both(plan, off)[1])


@pytest.mark.parametrize("compiled", [False, True])
def test_a_trial_stands_alone(compiled: bool, tmp_path: Path) -> None:
    """To the last bit whatever other strategies, and (compiled) other trials, are valued with it.

    The chunks of the array kernel have their own test below.
    """
    plan = replace(awkward_plan(SOME[1], tmp_path), compiled=compiled)
    draws = drawn(plan)
    whole = evaluate(plan, draws).measures
    few = [plan.strategies[k] for k in (9, 2)]
    some = evaluate(plan, draws, few).measures
    rows = slice(100, 237) if compiled else slice(0, 128)
    part = evaluate(plan, {key: value[rows] for key, value in draws.items()}).measures
    for name in PER_TRIAL:
        assert np.array_equal(some[name], whole[name][[0, 10, 3]], equal_nan=True), name
        assert np.array_equal(part[name], whole[name][:, rows], equal_nan=True), name


@pytest.mark.parametrize("name", CASES)
def test_no_neighbour_shows(name: str, tmp_path: Path) -> None:
    """Compiled kernel: the same bits in other lanes beside other trials. Long shut-ins and outlays of a few barrels'
    worth send rates of return beyond the secant steps; negative control: trials out of their order differ."""
    plan = replace(awkward_plan(name, tmp_path), compiled=True)
    draws, rng = drawn(plan, trials=160), np.random.default_rng(1)
    model = model_block(plan, draws)
    outlays, delays = np.array([0.0, 1.0, 3e4, 5e5, 1e6, 4e6]), np.array([0.0, 20.0, 91.3125, 200.0, 400.0])
    shape = (len(plan.dated), 160)
    shares = rng.choice([0.0, 0.3, 0.8, 1.0], (2, *shape))
    jobs = JobOutcome(
        rng.choice(delays, shape), rng.choice(outlays, shape), *shares, shares[1], rng.random(shape) < 0.1
    )
    whole = value_jobs(plan, model, plan.dated, jobs, PER_TRIAL)
    for rows in (np.arange(1, 160), np.arange(2, 90), rng.permutation(160), np.array([5])):
        cut = outcome_rows(jobs, (slice(None), rows))
        some = value_jobs(plan, model.rows(rows), plan.dated, cut, PER_TRIAL)
        for measure in PER_TRIAL:
            assert np.array_equal(some[measure], whole[measure][:, rows], equal_nan=True), measure
    assert not np.array_equal(some["npv"], whole["npv"][:, :1])


def test_neither_the_order_of_work_nor_the_place_shows() -> None:
    """Compiled kernel: the same bits for any order of trials, whose delays go from none to beyond the horizon;
    strategies stand where they are asked to.

    Negative control: the results of two trials and of two strategies differ.
    """
    rng = np.random.default_rng(4)
    n = 64
    plain = kernel_arguments(n)
    low, high = np.array([[335.0], [0.0], [0.0]]), np.array([[395.0], [420.0], [70.0]])
    plain[17][0] = rng.uniform(low, high, (3, n))  # days; the horizon is twelve months
    plain[10][3:8] = 0.0  # no costs but the abandonment's: every month counts
    plain[23] = np.argsort(plain[17][0, 0])
    value_trials(*plain)
    for _ in range(20):
        moved = [*plain[:23], rng.permutation(n), np.array([3, 1, 2]), plain[25], np.empty_like(plain[26])]
        value_trials(*moved)
        assert np.array_equal(plain[26], moved[26][:, [0, 3, 1, 2]], equal_nan=True)
    assert not np.array_equal(plain[26][:, :, 0], plain[26][:, :, 1], equal_nan=True)
    assert not np.array_equal(plain[26][:, 1], plain[26][:, 2], equal_nan=True)


OTHER_WIDTH = """
import sys
from pathlib import Path
import numpy as np
from numba import config
from numba.core.codegen import get_host_cpu_features
config.CPU_FEATURES = ",".join(f for f in get_host_cpu_features().split(",") if not f.startswith("+avx512"))
from refracmc.engine import lanes
from tests.engine.test_kernels_agree import measures_of_some
np.savez(sys.argv[1], **measures_of_some(Path(sys.argv[2])))
print(lanes.COUNT)
"""


def measures_of_some(folder: Path) -> dict[str, np.ndarray]:
    """Compiled measures of a few awkward cases, 40 trials each."""
    made = {}
    for name in SOME:
        plan = replace(awkward_plan(name, folder), compiled=True)
        for measure, values in evaluate(plan, drawn(plan, trials=40)).measures.items():
            made[f"{name}, {measure}"] = values
    return made


@pytest.mark.skipif(COUNT == 4, reason="this processor has no wider lanes to compare with")
def test_the_number_of_lanes_does_not_show(tmp_path: Path) -> None:
    """Four lanes in a process of their own give the bits of eight. Negative control: the cases differ."""
    done = subprocess.run(
        [sys.executable, "-c", OTHER_WIDTH, str(tmp_path / "four.npz"), str(tmp_path / "four")],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env={**os.environ, "NUMBA_CACHE_DIR": str(tmp_path / "cache")},
        timeout=600,
        check=False,
    )
    assert done.stdout == "4\n", done.stderr[-2000:]
    four, eight = np.load(tmp_path / "four.npz"), measures_of_some(tmp_path / "eight")
    assert set(four) == set(eight)
    for name, values in eight.items():
        assert np.array_equal(four[name], values, equal_nan=True), name
    assert not np.array_equal(eight[f"{SOME[0]}, npv"], eight[f"{SOME[1]}, npv"])


@pytest.mark.parametrize("compiled", [False, True])
def test_only_what_is_wanted_is_made(compiled: bool, tmp_path: Path) -> None:
    """To the last bit as among all measures; the cost parts too. The unknown name is the negative control."""
    plan = replace(awkward_plan(SOME[1], tmp_path), compiled=compiled)
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


@pytest.mark.parametrize("name", CASES)
def test_chunks_do_not_show(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Array kernel: the same bits in chunks of 7 trials, where other trials have the usual delay."""
    plan = replace(awkward_plan(name, tmp_path), compiled=False)
    draws = drawn(plan, trials=40)
    whole = evaluate(plan, draws).measures
    monkeypatch.setattr("refracmc.engine.block_model.CHUNK", 7)
    for measure, values in evaluate(plan, draws).measures.items():
        assert np.array_equal(values, whole[measure], equal_nan=True), measure


def kernel_arguments(n: int = 2) -> list:
    """Sound arguments of the kernel: n trials, twelve months, three strategies, four rows of streams."""
    rng = np.random.default_rng(1)
    sheet, ratios, line = rng.random((n, 12)), rng.random((2, 3, n)), rng.random(12)
    table, unit = (np.cumsum(rng.random((rows, 13)), axis=1) for rows in (4, n))
    jobs, months = rng.random((6, 3, n)), np.array([0, 3, 11])
    return [
        *(table, np.arange(n) * 3 % 4, ratios, unit, ratios.copy(), sheet, sheet, sheet, sheet, False),
        *(rng.random((9, n)), line, line, rng.random(2), 0, rng.random(n), rng.random((6, n)), jobs, months),
        *(np.zeros((3, 12)), 0.0, 1.0, 5, np.arange(n)[::-1].copy(), np.array([1, 2, 3])),
        *(np.ones(14, dtype=bool), np.empty((14, 4, n))),
    ]


@pytest.mark.parametrize("place", [0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 15, 16, 17, 19, 23, 24, 25, 26])
@pytest.mark.parametrize("axis", [0, -1])
def test_a_wrong_shape_is_refused(place: int, axis: int) -> None:
    """Each array a row or a column short."""
    check_kernel(tuple(kernel_arguments()))
    arguments = kernel_arguments()
    if place == 0:  # any number of rows of streams is allowed, other than of months
        axis = 1
    arguments[place] = np.delete(arguments[place], 0, axis=axis)
    with pytest.raises(ValueError, match=r"found shape .* allowed: "):
        check_kernel(tuple(arguments))


@pytest.mark.parametrize(
    ("place", "index", "value", "said"),
    [
        (18, 0, -1, "months: found -1"),
        (18, 2, 12, "months: found 0 to 12; allowed: 0 to 11"),
        (1, 0, -1, "rows: found -1"),
        (1, 1, 4, "rows: found 0 to 4; allowed: 0 to 3"),
        (2, (1, 2, 0), -0.1, "own_ratios"),
        (4, (0, 0, 1), np.nan, "unit_ratios"),
        (17, (0, 1, 1), np.nan, "days shut in"),
        (17, (0, 1, 1), np.inf, "days shut in"),
        (17, (0, 1, 1), -0.5, "days shut in"),
        (23, 0, 0, "order: found a number twice"),
        (23, 0, 2, "order: found a number twice or one out of bounds"),
        (24, 0, 0, "places: found a number twice or one out of bounds; allowed: each from 1 on"),
    ],
)
def test_an_index_out_of_bounds_is_refused(place: int, index, value: float, said: str) -> None:
    arguments = kernel_arguments()
    arguments[place][index] = value
    with pytest.raises(ValueError, match=said):
        check_kernel(tuple(arguments))


BOUNDS = """
import sys
from pathlib import Path
from tests.engine.kernels import CASES, EDGES, awkward_plan, both, differences, drawn
from tests.engine.job_wells import arguments_of, pairs_of, random_jobs
from tests.engine.job_wells import differences as job_differences
from tests.engine.test_kernels_agree import kernel_arguments
import numpy as np
from refracmc.engine import compiled, compiled_jobs
folder = Path(sys.argv[1])
for name in CASES:
    plan = awkward_plan(name, folder)
    found = differences(*both(plan, drawn(plan, trials=40)))
    assert not found, (name, found)
for edge in EDGES.values():
    found = differences(*both(plan, drawn(plan, edge, 40)))
    assert not found, (edge, found)
for sleeves in (1, 15, 16, 90):
    jobs = random_jobs(sleeves, sleeves)
    arguments = arguments_of(jobs, pairs_of(jobs))
    compiled_jobs.run_jobs(*arguments)
    found = job_differences(jobs, arguments[-1])
    assert not found, (sleeves, found)
try:
    compiled_jobs.run_jobs(*arguments[:-1], np.empty((25, 1, 21)))
except IndexError:
    print("JOBS WITHIN BOUNDS")
arguments = kernel_arguments()
arguments[12] = arguments[12][:11]
try:
    compiled.value_trials(*arguments)
except IndexError:
    print("ALL WITHIN BOUNDS")
"""


def test_within_bounds(tmp_path: Path) -> None:
    """Every index checked by the compiler; the mis-sized arrays at the end are the negative controls."""
    settings = {"NUMBA_BOUNDSCHECK": "1", "NUMBA_CACHE_DIR": str(tmp_path / "cache")}
    done = subprocess.run(
        [sys.executable, "-c", BOUNDS, str(tmp_path)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env={**os.environ, **settings},
        timeout=600,
        check=False,
    )
    assert done.stdout.split("\n")[:2] == ["JOBS WITHIN BOUNDS", "ALL WITHIN BOUNDS"], done.stderr[-2000:]
