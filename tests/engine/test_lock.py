"""One run at a time in an output folder, whatever ended the one before.

Oracle: the rules of the house for results on disk; what a lock promises.
"""

import multiprocessing
import os
from pathlib import Path

import pytest

from refracmc.engine import run_folder
from refracmc.errors import InputError, RunFailure


@pytest.fixture
def place(tmp_path: Path) -> run_folder.RunFolder:
    return run_folder.RunFolder(tmp_path / "out", "x")


def hold(out: Path, taken, release) -> None:
    with run_folder.RunFolder(out, "x").locked():
        taken.set()
        release.wait(30)


def test_two_runs_into_one_folder(place: run_folder.RunFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run_folder, "LOCK_PATIENCE", 0.2)
    context = multiprocessing.get_context("spawn")
    taken, release = context.Event(), context.Event()
    other = context.Process(target=hold, args=(place.out, taken, release))
    other.start()
    try:
        assert taken.wait(30)
        with pytest.raises(RunFailure, match=r"^\S*/x: another run is writing into it now"), place.locked():
            pass
        with run_folder.RunFolder(place.out, "y").locked():  # another case may run beside it
            pass
    finally:
        release.set()
        other.join(30)
    with place.locked():
        pass
    assert not list(place.out.glob(".*.lock"))


def test_a_killed_holder_holds_nothing(place: run_folder.RunFolder) -> None:
    """The system lets go of what a killed process held, though its lock file stays."""
    context = multiprocessing.get_context("spawn")
    taken, release = context.Event(), context.Event()
    other = context.Process(target=hold, args=(place.out, taken, release))
    other.start()
    try:
        assert taken.wait(30)
    finally:
        other.kill()
        other.join(30)
    assert place._lock.is_file()
    with place.locked():
        place.open({"case": "x"}, resume=False)
    assert [entry.name for entry in place.out.iterdir()] == [".x.partial"]


@pytest.mark.parametrize("target", ["a file", "nothing", "a folder"])
def test_a_link_in_the_place_of_the_lock(place: run_folder.RunFolder, tmp_path: Path, target: str) -> None:
    """Refused, not followed: the lock would empty what it leads to, or make a file there."""
    place.out.mkdir()
    mine = tmp_path / "mine"
    if target == "a file":
        mine.write_text("mine")
    elif target == "a folder":
        mine.mkdir()
    place._lock.symlink_to(mine)
    with pytest.raises(InputError, match=r"\.x\.lock: found a link"), place.locked():
        pass
    assert place._lock.is_symlink()
    assert not mine.is_file() or mine.read_text() == "mine"
    assert mine.exists() == (target != "nothing")


def test_a_link_made_in_the_last_moment(
    place: run_folder.RunFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the check and the lock: the package that locks does not follow it either (its lower bound)."""
    place.out.mkdir()
    mine = tmp_path / "mine"
    mine.write_text("mine")
    place._lock.symlink_to(mine)
    monkeypatch.setattr(os.path, "islink", lambda path: False)
    with pytest.raises(InputError, match="cannot be written"), place.locked():
        pass
    assert mine.read_text() == "mine"


def test_a_lock_file_taken_away_is_no_lock(
    place: run_folder.RunFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its holder removes it on leaving: one who opened it before must not hold it beside the next."""
    import fcntl

    real, seen = fcntl.flock, []

    def late(handle, how):
        if not seen:
            place._lock.unlink()
            place._lock.write_text("")
        seen.append(handle)
        real(handle, how)

    monkeypatch.setattr(fcntl, "flock", late)
    with place.locked():
        assert len(seen) == 2
