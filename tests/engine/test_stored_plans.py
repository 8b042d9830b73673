"""Plans built from posteriors on disk: the same wells as those held in memory, and no more of them than are held.

Oracle: the plans of `prepare_wells`, which stay in memory, and the draws and values made with them.
"""

from __future__ import annotations

import pickle
from collections import OrderedDict
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from refracmc.case.load import load_case
from refracmc.engine import block_model, store, stored_plans
from refracmc.engine.blocks import MOST_TOGETHER, block_arrays, block_task
from refracmc.engine.draws import ROW, draw
from refracmc.engine.fitted_wells import prepare_wells, store_wells
from refracmc.engine.progress import Silent
from refracmc.engine.trials import RECOVERY, input_names, stored_inputs
from refracmc.errors import RunFailure
from refracmc.sampling.streams import blocks_of
from tests.system.small_case import CASE, write_case


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory):
    return load_case(write_case(tmp_path_factory.mktemp("wells"), CASE))


@pytest.mark.parametrize("workers", [1, 2])
def test_plans_from_disk_are_those_in_memory(case, tmp_path: Path, workers: int) -> None:
    held, refused = prepare_wells(case, workers, Silent())
    stored, also = store_wells(case, workers, Silent(), tmp_path)
    assert refused == also == {}
    assert [plan.posterior is None for plan in held] == [False, True]  # a history and a type curve
    sizes = blocks_of(600)
    sent = pickle.loads(pickle.dumps(stored))  # as a worker that is not forked gets it
    for plans in (stored, sent):
        assert len(plans) == len(held)
        for index, plan in enumerate(held):
            mine = plans[index]
            assert (mine.id, mine.number, mine.names) == (plan.id, plan.number, plan.names)
            assert stored.outlines[index].names == plan.names
            if plan.posterior is not None:
                for name in ("form", "slots", "uptime", "technical_eur", "running_uptime"):
                    theirs = getattr(plan.posterior, name)
                    assert getattr(mine.posterior, name).dtype == theirs.dtype
                    assert np.array_equal(getattr(mine.posterior, name), theirs), name
                assert mine.posterior.secondary.keys() == plan.posterior.secondary.keys()
                for phase, rows in plan.posterior.secondary.items():
                    assert np.array_equal(mine.posterior.secondary[phase], rows), phase
        made = block_arrays((plans, sizes), (1, (0, 1)))
        for got, wanted in zip(made, block_arrays((held, sizes), (1, (0, 1))), strict=True):
            assert got.keys() == wanted.keys()
            for kind, rows in wanted.items():
                assert np.array_equal(np.stack([*got[kind]]), np.stack([*rows]), equal_nan=True), kind


def test_inputs_on_disk_are_those_drawn(case, tmp_path: Path) -> None:
    """Oracle: the draws themselves; the recovery is that of row floor(u K) of the K rows of the block's own set."""
    plans, _ = prepare_wells(case, 1, Silent())
    sizes = blocks_of(600)
    (tmp_path / "blocks").mkdir()
    for block in range(len(sizes)):
        block_task((plans, tmp_path, sizes), (block, (0, 1)))
    for plan in plans:
        drawn = [draw(plan, block, size) for block, size in enumerate(sizes)]
        expected = {
            variable.name: np.concatenate([draws[variable.name] for draws in drawn])
            for variable in plan.variables
            if not variable.distribution.is_fixed
        }
        if plan.posterior is not None:
            sets = plan.posterior.technical_eur.reshape(plan.posterior.sets, -1)
            rows = [np.floor(draws[ROW] * sets.shape[1]).astype(int) for draws in drawn]
            expected[RECOVERY] = np.concatenate([sets[block][k] for block, k in enumerate(rows)])
        found = stored_inputs(plan, tmp_path, sizes)
        assert input_names(plan) == list(expected)
        assert all(np.array_equal(found[k], values) for k, values in enumerate(expected.values()))
    store.block_path(tmp_path, 1, 1, store.INPUTS).unlink()
    with pytest.raises(RunFailure, match=r"well0001-block00001.inputs.*--resume"):
        stored_inputs(plans[1], tmp_path, sizes)


def test_few_plans_are_held(case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stored, _ = store_wells(case, 1, Silent(), tmp_path)
    assert stored[0] is stored[0]
    monkeypatch.setattr(stored_plans, "_HELD", 1)
    first = stored[0]
    assert stored[1] is stored[-1]
    assert stored[0] is not first  # negative control: with room for one, the first was let go
    assert [plan.id for plan in stored[0:2]] == ["A", "B"]
    with pytest.raises(IndexError):
        stored[2]


@pytest.mark.parametrize(("held", "times"), [(stored_plans._HELD, 1), (MOST_TOGETHER - 1, 2)])
def test_streams_of_wells_done_in_a_row_are_made_once(
    case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, held: int, times: int
) -> None:
    """Two blocks of as many wells as are done in a row; the negative control holds one plan too few."""
    stored, _ = store_wells(case, 1, Silent(), tmp_path)
    (path,) = (tmp_path / stored_plans.PASSING).iterdir()
    posterior = store.read_array(path)
    assert posterior is not None
    for k in range(1, MOST_TOGETHER):
        store.write_array(path.with_name(path.name.replace("0000", f"{k:04d}")), posterior)
    outlines = [replace(stored.outlines[0], number=k) for k in range(MOST_TOGETHER)]
    many = stored_plans.StoredPlans(case, tmp_path, outlines, [stored.fits[0]] * MOST_TOGETHER)
    made: list[tuple[object, ...]] = []
    monkeypatch.setattr(block_model, "_TABLES", OrderedDict())
    monkeypatch.setattr(block_model, "stream_table", lambda *told: made.append(told))
    monkeypatch.setattr(stored_plans, "_HELD", held)
    for _ in range(2):
        for plan in many:
            block_model._posterior_table(plan, 0)
    assert len(made) == times * MOST_TOGETHER


@pytest.mark.parametrize("fault", ["absent", "truncated", "altered"])
def test_a_posterior_that_is_not_as_written_is_found(case, tmp_path: Path, fault: str) -> None:
    stored, _ = store_wells(case, 1, Silent(), tmp_path)
    (path,) = (tmp_path / stored_plans.PASSING).iterdir()
    data = bytearray(path.read_bytes())
    path.unlink()
    if fault == "truncated":
        path.write_bytes(data[:-9])
    elif fault == "altered":
        data[len(data) // 2] ^= 1
        path.write_bytes(data)
    with pytest.raises(RunFailure, match="absent, damaged or"):
        stored[0]
