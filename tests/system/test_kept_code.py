"""Compiled code that is kept on disk: damage is made good, and a place that cannot be used costs time alone.

Oracle: the plain function, and the compiler's own count of what it loaded and what it compiled.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from refracmc import compiler

pytestmark = pytest.mark.skipif(compiler.DISABLED, reason="nothing is compiled")


def sum_of_squares(row: Any) -> float:
    total = 0.0
    for value in row:
        total += value * value
    return total


@pytest.fixture
def keep_in(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[Path], None]]:
    """Have compiled code kept under another folder."""
    import numba

    def keep(folder: Path) -> None:
        monkeypatch.setattr(numba.config, "CACHE_DIR", str(folder))
        compiler.cache_folder.cache_clear()

    yield keep
    compiler.cache_folder.cache_clear()


def called() -> tuple[int, int]:
    """Call the function as a new process does; how often the compiler loaded it and how often it compiled it."""
    marked: Any = compiler.compiled(sum_of_squares)
    assert marked(np.array([1.0, 2.0, 3.0])) == 14.0
    stats = marked._compiled.stats
    return sum(stats.cache_hits.values()), sum(stats.cache_misses.values())


@pytest.mark.parametrize("kind", ["nbi", "nbc"])
@pytest.mark.parametrize("left", [0, 3, 60, 200])
def test_a_damaged_file_is_made_anew(
    tmp_path: Path, keep_in: Callable[[Path], None], kind: str, left: int
) -> None:
    keep_in(tmp_path)
    assert called() == (0, 1)
    assert called() == (1, 0)  # negative control: what is whole is loaded
    (path,) = tmp_path.rglob(f"*.{kind}")
    path.write_bytes(path.read_bytes()[:left])
    called()
    assert called() == (1, 0)


def test_a_file_of_zeros(tmp_path: Path, keep_in: Callable[[Path], None]) -> None:
    """As a loss of power leaves them."""
    keep_in(tmp_path)
    called()
    for path in (path for path in tmp_path.rglob("*.nb?") if path.is_file()):
        path.write_bytes(bytes(path.stat().st_size))
    called()
    assert called() == (1, 0)


def test_a_file_that_cannot_be_read_or_written(tmp_path: Path, keep_in: Callable[[Path], None]) -> None:
    keep_in(tmp_path)
    called()
    (index,) = tmp_path.rglob("*.nbi")
    index.unlink()
    index.mkdir()
    assert called() == (0, 1)


def test_no_place_to_keep_it(
    tmp_path: Path, keep_in: Callable[[Path], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("mine")
    keep_in(tmp_path / "file" / "cache")
    assert compiler.cache_folder() is None
    assert called() == (0, 1)
    # none is stated: beside the package or the user's
    monkeypatch.setattr("numba.config.CACHE_DIR", "")
    monkeypatch.setattr(compiler, "PACKAGE", tmp_path / "file")
    monkeypatch.setattr(Path, "home", no_home)
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    compiler.cache_folder.cache_clear()
    assert compiler.cache_folder() is None
    assert called() == (0, 1)
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def no_home() -> Path:
    raise RuntimeError("Could not determine home directory.")
