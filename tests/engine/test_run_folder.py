"""Links and wrong kinds of entries where a run has its folders.

Oracle: the rules of the house for results on disk: a line or recovery, and nothing of the user's lost.
"""

from pathlib import Path

import numpy as np
import pytest

from refracmc.engine import run_folder, store
from refracmc.errors import InputError

IDENTITY = {"case": "x", "seed": 1, "trials": 512}


@pytest.fixture
def place(tmp_path: Path) -> run_folder.RunFolder:
    return run_folder.RunFolder(tmp_path / "out", "x")


def test_resuming_over_what_is_of_the_wrong_kind(place: run_folder.RunFolder, tmp_path: Path) -> None:
    """Folders where files stood, files and links where folders stood: all go, what a link leads to stays."""
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("mine")
    with place.locked():
        place.open(IDENTITY, resume=False)
        store.write_block(place.work, 0, 0, {store.KEPT: np.zeros(3)})
        (place.work / "blocks" / "well0001-block00000.values.npy" / "deep").mkdir(parents=True)
        (place.work / "passing").symlink_to(tmp_path / "mine")
    with place.locked():
        place.open(IDENTITY, resume=True)
        left = sorted(path.relative_to(place.work).as_posix() for path in place.work.rglob("*"))
        assert left == ["blocks", "blocks/well0000-block00000.values.npy", "identity.json"]
        store.block_path(place.work, 0, 0, store.KEPT).unlink()
        (place.work / "blocks").rmdir()
        (place.work / "blocks").write_text("no folder")
    with place.locked():
        place.open(IDENTITY, resume=True)
    assert not list((place.work / "blocks").iterdir())
    assert (tmp_path / "mine" / "notes.txt").read_text() == "mine"


def test_a_link_in_the_place_of_the_blocks(place: run_folder.RunFolder, tmp_path: Path) -> None:
    """The link goes; what it leads to is neither emptied nor written into."""
    mine = tmp_path / "mine"
    (mine / "deep").mkdir(parents=True)
    (mine / ".notes").write_text("mine")
    with place.locked():
        place.open(IDENTITY, resume=False)
    (place.work / "blocks").rmdir()
    (place.work / "blocks").symlink_to(mine)
    with place.locked():
        place.open(IDENTITY, resume=True)
        store.write_block(place.work, 0, 0, {store.KEPT: np.zeros(3)})
    assert not (place.work / "blocks").is_symlink()
    assert sorted(path.name for path in mine.iterdir()) == [".notes", "deep"]


@pytest.mark.parametrize("name", ["x", ".x.partial", ".x.replaced"])
def test_a_link_in_the_place_of_a_folder(place: run_folder.RunFolder, tmp_path: Path, name: str) -> None:
    """Refused before anything is done: the exchange of runs would move the link, not what it leads to."""
    place.out.mkdir()
    (tmp_path / "big").mkdir()
    (tmp_path / "big" / "notes.txt").write_text("mine")
    (place.out / name).symlink_to(tmp_path / "big")
    with pytest.raises(InputError, match="a link"), place.locked():
        pass
    assert (place.out / name).is_symlink()
    assert (tmp_path / "big" / "notes.txt").read_text() == "mine"
