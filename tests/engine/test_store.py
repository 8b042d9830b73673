"""Block files and run folders: whole or absent, one run at a time, nothing of the user's lost.

Oracle: the rules of the house for results on disk. Faults of the disk are simulated at the system calls here;
tests/system has real ones (a full and a read-only file system, killed processes).
"""

import errno
import hashlib
import json
import os
from pathlib import Path

import numpy as np
import pytest

from refracmc.engine import manifest as manifest_of
from refracmc.engine import run_folder, store
from refracmc.errors import InputError, RunFailure

IDENTITY = {"case": "x", "seed": 1, "trials": 512}


@pytest.fixture
def place(tmp_path: Path) -> run_folder.RunFolder:
    return run_folder.RunFolder(tmp_path / "out", "x")


def finish_run(
    place: run_folder.RunFolder, mark: float = 1.0, files: dict[str, str] | None = None, **manifest
) -> None:
    """A complete run of one well and one block as the command writes it."""
    with place.locked():
        place.open(IDENTITY, resume=False)
        store.write_block(place.work, 0, 0, {store.KEPT: np.full((4, 2, 512), mark)})
        for name, text in {"summary.csv": str(mark), **(files or {})}.items():
            (place.work / name).parent.mkdir(exist_ok=True)
            (place.work / name).write_text(text)
        run = {"keep_trials": False, "wells": [{"number": 0}], "blocks": {"trials": [512]}, **manifest}
        run["files"] = manifest_of.file_digests(place.work)
        store.write_json(place.work / "manifest.json", manifest_of.sealed({"run": run, "host": {}}))
        place.finish()


def test_a_block_comes_back_to_the_bit(tmp_path: Path) -> None:
    values = np.random.default_rng(3).standard_normal((4, 5, 60))
    values[0, 0, 0] = np.nan
    (tmp_path / "blocks").mkdir()
    arrays = {store.KEPT: values, store.EXTRA: values + 1, store.PARTS: values[0], store.INPUTS: values[1]}
    store.write_block(tmp_path, 3, 7, arrays)
    found = store.read_block(tmp_path, 3, 7)
    assert found is not None
    assert all(
        found[kind].tobytes() == np.ascontiguousarray(array).tobytes() for kind, array in arrays.items()
    )
    path = store.block_path(tmp_path, 3, 7, store.KEPT)
    assert np.array_equal(np.load(path), values, equal_nan=True)  # plain NumPy reads it too
    before = path.read_bytes()
    store.write_block(tmp_path, 3, 7, {store.KEPT: list(values)})  # its rows: the same file
    assert path.read_bytes() == before
    with pytest.raises(ValueError, match="different shapes"):
        store.write_array(path, [values[0], values[0, :2]])
    store.write_block(tmp_path, 4, 0, {store.KEPT: values})
    store.write_block(tmp_path, 4, 1, {store.KEPT: values[:, :, :9]})
    assert store.read_values(tmp_path, 4, 2).shape == (4, 5, 69)


@pytest.mark.parametrize(
    "harm", ["cut", "emptied", "one bit", "digest", "longer", "another's bytes", "sealed junk"]
)
@pytest.mark.parametrize("kind", [store.KEPT, *store.PASSING_KINDS])
def test_a_damaged_block_is_no_block(tmp_path: Path, harm: str, kind: str) -> None:
    (tmp_path / "blocks").mkdir()
    values = np.arange(24.0).reshape(2, 3, 4)
    store.write_block(tmp_path, 0, 0, dict.fromkeys((store.KEPT, *store.PASSING_KINDS), values))
    assert store.read_block(tmp_path, 0, 0) is not None
    path = store.block_path(tmp_path, 0, 0, kind)
    data = bytearray(path.read_bytes())
    if harm == "one bit":
        data[len(data) // 2] ^= 1
    elif harm == "digest":
        data[-1] ^= 1
    changed = {
        "cut": bytes(data[:-1]),
        "emptied": b"",
        "longer": bytes(data) + b"\0",
        "another's bytes": b"not an array" * 20,
        "sealed junk": b"junk" + hashlib.sha256(path.name.encode() + b"junk").digest(),
    }.get(harm, bytes(data))
    path.write_bytes(changed)
    assert store.read_block(tmp_path, 0, 0) is None
    if kind == store.KEPT:
        with pytest.raises(RunFailure, match=r"well0000-block00000.*--resume"):
            store.read_values(tmp_path, 0, 1)


@pytest.mark.parametrize("other", ["block", "well", "kind", "run"])
def test_a_block_in_the_place_of_another_is_no_block(tmp_path: Path, other: str) -> None:
    """Whole files, exchanged: of two blocks, two wells, two kinds, or two runs of the same case and another seed."""
    values, kinds = np.arange(24.0).reshape(2, 3, 4), (store.KEPT, *store.PASSING_KINDS)
    folders = [tmp_path / "one", tmp_path / "two"]
    for seed, folder in enumerate(folders):
        (folder / "blocks").mkdir(parents=True)
        store.write_json(folder / "identity.json", {**IDENTITY, "seed": seed})
        for well in (0, 1):
            for block in (0, 1):
                store.write_block(folder, well, block, dict.fromkeys(kinds, values + seed + well + 2 * block))
    here = store.block_path(folders[0], 0, 0, store.KEPT)
    there = {
        "block": store.block_path(folders[0], 0, 1, store.KEPT),
        "well": store.block_path(folders[0], 1, 0, store.KEPT),
        "kind": store.block_path(folders[0], 0, 0, store.EXTRA),
        "run": store.block_path(folders[1], 0, 0, store.KEPT),
    }[other]
    assert store.read_array(here) is not None
    assert store.read_array(there) is not None  # control
    one, two = here.read_bytes(), there.read_bytes()
    here.write_bytes(two)
    there.write_bytes(one)
    assert store.read_array(here) is None
    assert store.read_array(there) is None
    with pytest.raises(RunFailure, match="another's"):
        store.check_file(here, values.shape)
    moved = folders[0].rename(tmp_path / "moved")  # control: a whole run may be moved
    assert store.read_array(store.block_path(moved, 1, 1, store.KEPT)) is not None


def test_a_block_is_done_only_with_its_last_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped before any of the renames, the block is absent."""
    (tmp_path / "blocks").mkdir()
    values = np.zeros((2, 2))
    real, calls = os.replace, []

    def stop(source, target):
        calls.append(target)
        if len(calls) == stop_at:
            raise KeyboardInterrupt
        real(source, target)

    monkeypatch.setattr(os, "replace", stop)
    for stop_at in (1, 2, 3, 4):
        calls.clear()
        with pytest.raises(KeyboardInterrupt):
            store.write_block(tmp_path, 0, stop_at, dict.fromkeys((store.KEPT, *store.PASSING_KINDS), values))
        assert store.read_block(tmp_path, 0, stop_at) is None


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EIO, errno.EDQUOT])
def test_a_disk_fault_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    path = tmp_path / "summary.csv"
    store.write_atomic(path, b"old")

    def fail(_):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(RunFailure) as caught:
        store.write_atomic(path, b"new and longer")
    assert str(path) in str(caught.value)
    assert os.strerror(number) in str(caught.value)
    assert path.read_bytes() == b"old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["summary.csv"]  # nothing half-written beside it


def test_a_changed_identity_is_refused(place: run_folder.RunFolder) -> None:
    with place.locked():
        place.open(IDENTITY, resume=False)
    for changed in ({**IDENTITY, "seed": 2}, {**IDENTITY, "new": 0}, {"case": "x", "seed": 1}):
        key = next(k for k in ("seed", "new", "trials") if changed.get(k) != IDENTITY.get(k))
        with place.locked(), pytest.raises(InputError, match=rf"interrupted run that differs.*in: {key}"):
            place.open(changed, resume=True)
    with place.locked():
        place.open({**IDENTITY, "seed": 2}, resume=False)  # afresh it may
    finish_run(place)
    with place.locked(), pytest.raises(InputError, match=r"finished run that differs.*in: seed"):
        place.open({**IDENTITY, "seed": 2}, resume=True)
    assert (place.final / "summary.csv").exists()


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"case": "y"}'])
def test_what_an_unreadable_identity_left_is_not_trusted(place: run_folder.RunFolder, text: str) -> None:
    with place.locked():
        place.open(IDENTITY, resume=False)
        store.write_block(place.work, 0, 0, {store.KEPT: np.zeros(3)})
        (place.work / "identity.json").write_text(text)
        if "case" in text:
            with pytest.raises(InputError):
                place.open(IDENTITY, resume=True)
        else:
            place.open(IDENTITY, resume=True)
            assert not list((place.work / "blocks").iterdir())


def test_resuming_keeps_blocks_and_nothing_else(place: run_folder.RunFolder) -> None:
    with place.locked():
        place.open(IDENTITY, resume=False)
        store.write_block(place.work, 0, 0, {store.KEPT: np.zeros(3)})
        (place.work / "blocks" / ".well0000-block00001.values.npy.77.part").write_bytes(b"half")
        (place.work / "charts").mkdir()
        (place.work / "charts" / ".x.png.part").write_bytes(b"half")
        (place.work / "results.parquet").write_bytes(b"of a run that kept trials")
    with place.locked():
        place.open(IDENTITY, resume=True)
    left = sorted(path.relative_to(place.work).as_posix() for path in place.work.rglob("*"))
    assert left == ["blocks", "blocks/well0000-block00000.values.npy", "identity.json"]


def test_the_old_run_stays_until_the_new_one_is_whole(place: run_folder.RunFolder) -> None:
    finish_run(place, mark=1.0)
    with place.locked():
        place.open({**IDENTITY, "seed": 2}, resume=False)
        store.write_block(place.work, 0, 0, {store.KEPT: np.full(3, 2.0)})
    assert (place.final / "summary.csv").read_text() == "1.0"
    assert place.finished(IDENTITY, False) is not None
    finish_run(place, mark=2.0)
    assert (place.final / "summary.csv").read_text() == "2.0"
    assert sorted(entry.name for entry in place.out.iterdir()) == ["x"]


@pytest.mark.parametrize(
    "step", ["after the old one went aside", "after the new one came in", "half brought over"]
)
def test_a_kill_in_the_exchange_loses_nothing(
    place: run_folder.RunFolder, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    finish_run(place, mark=1.0)
    for name in ("notes.txt", "more.txt", "charts/mine.png"):
        (place.final / name).parent.mkdir(exist_ok=True)
        (place.final / name).write_text("mine")
    stop_at = {"after the old one went aside": 2, "after the new one came in": 3, "half brought over": 4}[
        step
    ]
    real, calls = Path.rename, []

    def stop(self, target):
        calls.append(target)
        if len(calls) == stop_at:
            raise KeyboardInterrupt
        return real(self, target)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "rename", stop)
        with pytest.raises(KeyboardInterrupt):
            finish_run(place, mark=2.0)
    with place.locked():
        assert (place.final / "summary.csv").read_text() == ("1.0" if stop_at == 2 else "2.0")
    finish_run(place, mark=3.0)
    for name in ("notes.txt", "more.txt", "charts/mine.png"):
        assert (place.final / name).read_text() == "mine"
    assert (place.final / "summary.csv").read_text() == "3.0"
    assert sorted(entry.name for entry in place.out.iterdir()) == ["x"]


def test_foreign_files_are_kept_and_own_ones_replaced(place: run_folder.RunFolder) -> None:
    finish_run(place, 1.0, {"charts/old-well.png": "drawn", "report.html": "first"})
    (place.final / "memo.docx").write_text("mine")
    (place.final / "charts" / "mine.png").write_text("mine")
    (place.final / "blocks" / "readme").write_text("mine")
    (place.final / "sub" / "deep").mkdir(parents=True)
    (place.final / "sub" / "deep" / "file").write_text("mine")
    (place.final / "link").symlink_to("memo.docx")
    finish_run(place, 2.0)
    kept = ("memo.docx", "charts/mine.png", "blocks/readme", "sub/deep/file", "link")
    assert all((place.final / name).read_text() == "mine" for name in kept)
    assert (place.final / "link").is_symlink()
    gone = ("charts/old-well.png", "report.html")  # the new run has no such well, no page
    assert not any((place.final / name).exists() for name in gone)


def test_a_folder_of_the_user_alone(place: run_folder.RunFolder) -> None:
    """No run stood there before: what carries a name of the run is replaced, all else is kept."""
    (place.final / "sub").mkdir(parents=True)
    (place.final / "sub" / "notes.txt").write_text("mine")
    (place.final / "tables").mkdir()
    (place.final / "tables" / "mine.csv").write_text("mine")
    finish_run(place, 2.0, {"tables/cost.csv": "a,b"})
    assert (place.final / "sub" / "notes.txt").read_text() == "mine"
    assert (place.final / "tables" / "mine.csv").read_text() == "mine"
    assert (place.final / "summary.csv").read_text() == "2.0"


def test_a_file_in_the_place_of_the_folder(place: run_folder.RunFolder) -> None:
    place.out.mkdir()
    place.final.write_text("mine")
    with pytest.raises(InputError, match="a file"), place.locked():
        pass
    assert place.final.read_text() == "mine"


def test_finished_means_every_file_is_whole(place: run_folder.RunFolder) -> None:
    finish_run(place, 1.0, {"tables/cost.csv": "a,b"})
    assert place.finished(IDENTITY, False) is not None
    assert place.finished(IDENTITY, True) is None  # trials were not kept
    assert place.finished({**IDENTITY, "seed": 2}, False) is None
    for name in ("summary.csv", "tables/cost.csv", "blocks/well0000-block00000.values.npy", "manifest.json"):
        path = place.final / name
        before = path.read_bytes()
        for data in (before[:-2], b"x" + before[1:], None):
            path.unlink() if data is None else path.write_bytes(data)
            if data is None:
                assert place.finished(IDENTITY, False) is None, name
            else:
                with pytest.raises(
                    InputError, match=f"{name}: found a file of a finished run that was altered"
                ):
                    place.finished(IDENTITY, False)
        path.write_bytes(before)
        assert place.finished(IDENTITY, False) is not None
    content = json.loads((place.final / "manifest.json").read_text())
    assert set(content["run"]["files"]) == {"identity.json", "summary.csv", "tables/cost.csv"}


def test_an_output_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    with (
        pytest.raises(InputError, match="cannot be written"),
        run_folder.RunFolder(tmp_path / "out", "x").locked(),
    ):
        pass
