"""Trials read back row by row, and summed up.

Oracle: the arrays that were written, and the estimators applied to whole arrays at once: equal to the bit.
"""

import os
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from refracmc.engine import store, summary, trials
from refracmc.errors import RunFailure
from refracmc.measures import EXTRA_MEASURES, KEPT_MEASURES, PER_TRIAL
from refracmc.sampling import estimators

SIZES = [64] * 9 + [40]
COUNT = 7
PLAN = SimpleNamespace(number=2, strategies=range(COUNT - 1))


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, np.ndarray]]:
    """Block files of a well, some values undefined, and what they hold."""
    rng, folder = np.random.default_rng(11), tmp_path_factory.mktemp("trials")
    (folder / "blocks").mkdir()
    values = {name: rng.standard_normal((COUNT, sum(SIZES))) for name in PER_TRIAL}
    values["irr"][:, ::3] = np.nan
    values["executed"] = (values["executed"] > 0.0).astype(float)
    values["npv"][0] = 3.0
    at = 0
    for block, size in enumerate(SIZES):
        here = {
            kind: np.stack([values[name][:, at : at + size] for name in names])
            for kind, names in ((store.KEPT, KEPT_MEASURES), (store.EXTRA, EXTRA_MEASURES))
        }
        store.write_block(folder, PLAN.number, block, here)
        at += size
    return folder, values


def test_rows_are_what_was_written(written, monkeypatch: pytest.MonkeyPatch) -> None:
    folder, values = written
    for held in (1, 8 * 3 * sum(SIZES), 1 << 20):  # one row at a time, three, all
        monkeypatch.setattr(trials, "HELD_BYTES", held)
        found = trials.stored_measures(PLAN, folder, SIZES)
        assert list(found) == list(PER_TRIAL)
        for name, whole in values.items():
            assert found[name].whole().tobytes() == whole.tobytes()
            assert len(found[name]) == COUNT
            for k in (0, 5, 2, 6, -1):
                assert found[name][k].tobytes() == whole[k].tobytes()
            part = found[name].rows(1, 4, range(3, 6))
            assert part.tobytes() == np.ascontiguousarray(whole[1:4, 3 * 64 : 6 * 64]).tobytes()
        with pytest.raises(IndexError):
            found["npv"][COUNT]


def test_a_summary_does_not_depend_on_how_it_is_read(written, monkeypatch: pytest.MonkeyPatch) -> None:
    """Oracle: the estimators applied to whole arrays."""
    folder, values = written
    found, design = trials.stored_measures(PLAN, folder, SIZES), "latin_hypercube"
    whole = summary.summarise_well(found, SIZES, design, 0.1)
    done = values["executed"] > 0.0
    for key, its in (
        ("npv", values["npv"]),
        ("job_cost", np.where(done, values["job_cost"], np.nan)),
        ("executed_share", values["executed"]),
    ):
        its = estimators.summarise(its, SIZES, design)
        for k, statistic in enumerate(summary.STATISTICS):
            assert whole.of(key)[:, k].tobytes() == its[statistic].tobytes()
    tail = estimators.cvar_with_error(values["incremental_npv"], 0.1, SIZES, design)
    assert whole.of("cvar")[:, 0].tobytes() == tail.value.tobytes()
    for name, held in (("HELD_BYTES", 8 * 2 * sum(SIZES)), ("_TOGETHER", sum(SIZES))):
        monkeypatch.setattr(summary, name, held)
        again = summary.summarise_well(found, SIZES, design, 0.1)
        assert again.statistics.tobytes() == whole.statistics.tobytes()
        for measure, at in whole.percentiles.items():
            assert again.percentiles[measure].tobytes() == at.tobytes()


def test_percentiles_by_another_way(written) -> None:
    """Against NumPy's own quantiles and moments."""
    folder, values = written
    found = summary.summarise_well(trials.stored_measures(PLAN, folder, SIZES), SIZES, "plain", 0.1)
    done = values["executed"] > 0.0
    for name, its in (("npv", values["npv"]), ("job_cost", np.where(done, values["job_cost"], np.nan))):
        row = found.of(name)
        assert row[:, 0] == pytest.approx(np.nanmean(its, axis=1), rel=1e-12, abs=1e-14)
        assert pytest.approx(np.nanquantile(its, [0.1, 0.5, 0.9], axis=1), rel=1e-12) == row[:, 2:8:2].T
        assert row[:, 8] == pytest.approx(np.isnan(its).mean(axis=1), abs=1e-15)
    for name, at in found.percentiles.items():
        expected = np.quantile(values[name], 1.0 - summary.PERCENTS / 100.0, axis=1).T
        assert at == pytest.approx(expected, rel=1e-12)


def summed(tmp_path: Path, executed, **columns) -> summary.WellSummary:
    """Summary of one row of trials, all columns but these 0."""
    (tmp_path / "blocks").mkdir()
    values = {name: np.zeros((COUNT, len(executed))) for name in PER_TRIAL} | {"executed": executed + 0.0}
    values = {name: np.broadcast_to(row, (COUNT, len(executed))) for name, row in (values | columns).items()}
    here = {
        kind: np.stack([values[name] for name in names])
        for kind, names in ((store.KEPT, KEPT_MEASURES), (store.EXTRA, EXTRA_MEASURES))
    }
    store.write_block(tmp_path, PLAN.number, 0, here)
    sizes = [len(executed)]
    return summary.summarise_well(trials.stored_measures(PLAN, tmp_path, sizes), sizes, "plain", 0.1)


def test_never_ranks_last_and_a_loss_first(tmp_path: Path) -> None:
    """Oracle: places in the order of 101 trials counted by hand, at 10, 50 and 90 of 0 .. 100; ten more without a job.

    Payout 1 .. 60 months and 41 never: 11, 51, never. Of what pays alone the middle would be 30.5."""
    done = np.arange(111) < 101
    payout = np.where(done, np.where(np.arange(111) < 60, np.arange(111) + 1.0, np.inf), np.nan)
    rate = np.where(done, np.where(np.arange(111) < 41, -1.0, np.arange(111) / 100.0), np.nan)
    found = summed(tmp_path, done, payout_months=payout, irr=rate, job_days=np.where(done, 20.0, 0.0))
    mean, se, *rest, undefined = found.of("payout_months")[1]
    triple = rest[::2]
    assert np.isnan(mean)
    assert np.isnan(se)
    assert (triple, undefined) == ([11.0, 51.0, np.inf], pytest.approx(10 / 111))
    share = found.of("payout_share")[1]
    assert share[:2] == pytest.approx([60 / 101, np.sqrt(60 / 101 * 41 / 101 / 100)])
    assert found.of("irr")[1, 2::2] == pytest.approx([-1.0, 0.50, 0.90, 10 / 111])
    assert np.isnan(found.of("irr")[1, :2]).all()
    assert found.of("irr_several_share")[1, 0] == 0.0
    assert found.of("job_days")[1, [0, 2, 4, 6]] == pytest.approx(20.0)
    assert found.of("executed_share")[1, 0] == pytest.approx(101 / 111)


@pytest.mark.parametrize("several", [0, 1, 9, 11])
def test_a_percentile_is_given_where_open_ranks_cannot_change_it(tmp_path: Path, several: int) -> None:
    """Oracle: 101 trials, 50 a total loss, then `several` that may rank anywhere, then rates that differ.

    P90 lies in the losses wherever those rank while there are fewer than 11; P50 and P10 move if there is one."""
    place = np.arange(101)
    rate = np.where(place < 50, -1.0, place / 100.0)
    rate[50 : 50 + several] = np.nan
    row = summed(tmp_path, place >= 0, irr=rate).of("irr")[1]
    assert np.isnan(row[2]) == (several > 10)
    assert np.isnan(row[[4, 6]]).all() == (several > 0)
    if several <= 10:
        assert row[2] == -1.0
    assert row[8] == pytest.approx(several / 101)


@pytest.mark.parametrize("harm", ["absent", "cut", "one bit", "another shape", "emptied"])
def test_damage_is_found(written, tmp_path: Path, harm: str) -> None:
    folder, _ = written
    (tmp_path / "blocks").mkdir()
    for path in (folder / "blocks").iterdir():
        (tmp_path / "blocks" / path.name).write_bytes(path.read_bytes())
    path = store.block_path(tmp_path, PLAN.number, 4, store.EXTRA)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    if harm == "absent":
        path.unlink()
    elif harm == "another shape":
        store.write_array(path, np.zeros((1, COUNT, 64)))
    else:
        path.write_bytes({"cut": bytes(data[:-9]), "one bit": bytes(data), "emptied": b""}[harm])
    with pytest.raises(RunFailure, match=r"well0002-block00004.more.*--resume"):
        trials.stored_measures(PLAN, tmp_path, SIZES)


@pytest.mark.parametrize("harm", ["none", "cut", "one bit", "replaced", "absent"])
def test_what_this_run_wrote_is_not_read_for_its_digest(
    written, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, harm: str
) -> None:
    """Unless something touched it since: the times are set back, as a careless copy would leave them."""
    folder, values = written
    (tmp_path / "blocks").mkdir()
    kinds = {store.KEPT: KEPT_MEASURES, store.EXTRA: EXTRA_MEASURES}
    for block in range(len(SIZES)):
        found = {kind: store.read_array(store.block_path(folder, PLAN.number, block, kind)) for kind in kinds}
        store.remember(store.write_block(tmp_path, PLAN.number, block, found))
    path = store.block_path(tmp_path, PLAN.number, 4, store.EXTRA)
    before, data = path.stat(), bytearray(path.read_bytes())
    time.sleep(0.02)  # coarser than the clock of any file system in use here
    data[len(data) // 2] ^= 1
    if harm == "replaced":
        path.with_name("other").write_bytes(data)
        path.with_name("other").replace(path)
    elif harm == "absent":
        path.unlink()
    elif harm != "none":
        path.write_bytes(data[:-9] if harm == "cut" else data)
    if harm not in ("none", "absent"):
        os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    try:
        if harm != "none":
            with pytest.raises(RunFailure, match=r"well0002-block00004.more.*--resume"):
                trials.stored_measures(PLAN, tmp_path, SIZES)
            return
        with monkeypatch.context() as patch:
            patch.setattr(store, "hashlib", None)
            known = trials.stored_measures(PLAN, tmp_path, SIZES)
            with pytest.raises(RunFailure, match="damaged"):  # the shape is looked at all the same
                store.check_file(path, (1, COUNT, 64))
        assert all(known[name].whole().tobytes() == whole.tobytes() for name, whole in values.items())
    finally:
        store.remember()
