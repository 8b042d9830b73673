"""Monthly volumes from the recovery of a trial against those of the array kernel, which knows the life.

Oracle: `DateKernel.volumes`, of lives found from prices. Both ways to a recovery are tried. Negative control: a
recovery off by a hundredth.
"""

from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from refracmc.engine.block_model import chunks_of
from refracmc.engine.cash import late_volumes
from refracmc.engine.fan import main_volumes
from refracmc.engine.one_trial import evaluate_one
from refracmc.engine.valuation import evaluate
from tests.engine.kernels import CASES, EDGES, awkward_plan, drawn

WITH_NUMBA = pytest.param(True, marks=pytest.mark.skipif(not find_spec("numba"), reason="numba is an extra"))


def by_life(plan, draws, strategy):
    """Volumes (n, T) of the main phase, left alone and with the job, chunk by chunk."""
    alone, made = [], []
    for streams in evaluate_one(plan, draws, strategy, chunks_of(draws["luck.z_well"].size)):
        after = np.arange(plan.horizon) > streams.kernel.nothing.limit[:, None]
        alone.append(np.where(after, 0.0, streams.kernel.base.main))
        made.append(streams.date.volumes(streams.valued)[0 if plan.well.main_phase == "oil" else 1])
    return np.concatenate(alone), np.concatenate(made)


def by_recovery(plan, draws, strategy, off=1.0):
    found = evaluate(plan, draws, [strategy], ("eur", "executed")).measures
    return main_volumes(plan, draws, strategy, off * found["eur"], found["executed"][1])


def agree(plan, draws, strategy, off=1.0):
    pairs = zip(by_recovery(plan, draws, strategy, off), by_life(plan, draws, strategy), strict=True)
    return all(np.allclose(a, b, rtol=1e-9, atol=1e-9 * max(b.max(), 1e-9)) for a, b in pairs)


@pytest.mark.parametrize("compiled", [False, WITH_NUMBA])
@pytest.mark.parametrize("name", CASES)
def test_the_volumes_of_a_recovery(name: str, compiled: bool, tmp_path: Path) -> None:
    plan = replace(awkward_plan(name, tmp_path), compiled=compiled)
    draws = drawn(plan, trials=200)
    chosen = [plan.dated[0], plan.dated[-1]]
    assert all(agree(plan, draws, strategy) for strategy in chosen)
    assert not agree(plan, draws, chosen[0], off=0.99)


@pytest.mark.parametrize("edge", EDGES)
def test_an_edge(edge: str, tmp_path: Path) -> None:
    plan = awkward_plan("suspended, lease lost", tmp_path)
    draws = drawn(plan, EDGES[edge], 130)
    for strategy in (plan.dated[0], plan.dated[-1]):
        assert agree(plan, draws, strategy)


def test_late_volumes_are_those_of_a_cumulative_that_is_linear_within_a_month() -> None:
    """Oracle: interpolation of the cumulative at month edges, moved by the delay."""
    stream = np.random.default_rng(5).random((4, 9))
    late = np.array([0.0, 0.37, 3.9, 9.0])
    edges = np.arange(10.0)
    total = np.concatenate((np.zeros((4, 1)), np.cumsum(stream, axis=1)), axis=1)
    moved = np.array(
        [np.diff(np.interp(edges - delay, edges, row)) for delay, row in zip(late, total, strict=True)]
    )
    found = late_volumes(stream, np.floor(late).astype(np.intp), late - np.floor(late))
    np.testing.assert_allclose(found, moved, atol=1e-12)
    assert not np.allclose(stream[1:], moved[1:], atol=1e-3)
