"""A finished run that was altered or whose files were exchanged: named by whoever reads it, and not touched.

Oracle: the rules of the house on results; a digest finds any change of what it was taken of.
"""

import json
import shutil
from pathlib import Path

import pytest

from refracmc.commands.run import RunResult, run_case
from refracmc.engine import manifest, store
from refracmc.errors import InputError
from tests.system.small_case import CASE, changed, refracmc, write_case

PLAIN = changed(
    CASE,
    ("[strategies]", "[outputs]\ncharts = false\n[strategies]"),
    ("trials = 1100", "trials = 64"),
    ('"toe_to_heel", "mine"', '"mine"'),
    ('"2027-01", "2028-04"', '"2027-01"'),
)
FIRST, SECOND = "blocks/well0000-block00000.values.npy", "blocks/well0001-block00000.values.npy"


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    place = tmp_path_factory.mktemp("finished")
    case = write_case(place / "case", PLAIN)
    return case, run_case(case, place / "out", workers=1).folder


@pytest.fixture
def run(finished: tuple[Path, Path], tmp_path: Path) -> tuple[Path, Path]:
    return finished[0], Path(shutil.copytree(finished[1], tmp_path / "out" / "small"))


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def alter_manifest(path: Path, *keys: str) -> None:
    whole = json.loads(path.read_text())
    at = whole
    for key in keys[:-1]:
        at = at[key]
    at[keys[-1]] = None
    path.write_text(json.dumps(whole, indent=2, sort_keys=True) + "\n")


@pytest.mark.parametrize(
    "keys",
    [
        ("run", "verdicts"),
        ("run", "title"),
        ("run", "seed"),
        ("run", "input_files_sha256"),
        ("run", "files"),
        ("run",),
        ("host", "seconds"),
        ("host", "manifest_sha256"),
        ("host",),
    ],
)
def test_an_altered_manifest(run: tuple[Path, Path], keys: tuple[str, ...]) -> None:
    case, folder = run
    alter_manifest(folder / "manifest.json", *keys)
    before = bytes_of(folder.parent)
    done = refracmc("run", case, "--out", folder.parent, "--resume", "--quiet")
    (line,) = done.stderr.splitlines()
    assert (done.returncode, done.stdout) == (2, "")
    assert f"{folder / 'manifest.json'}: found a file of a finished run that was altered" in line
    assert bytes_of(folder.parent) == before
    for read in (lambda: RunResult(folder, {}, "").summary, lambda: store.read_values(folder, 0, 1)):
        with pytest.raises(
            InputError, match=r"manifest\.json: found a file of a finished run that was altered"
        ):
            read()


@pytest.mark.parametrize(
    "name", ["summary.parquet", "tables/decision.csv", "report.html", "identity.json", FIRST]
)
def test_an_altered_file(run: tuple[Path, Path], name: str) -> None:
    case, folder = run
    with open(folder / name, "ab") as file:
        file.write(b" ")
    before = bytes_of(folder.parent)
    done = refracmc("run", case, "--out", folder.parent, "--resume", "--quiet")
    (line,) = done.stderr.splitlines()
    assert done.returncode == 2
    assert str(folder / name) in line
    assert bytes_of(folder.parent) == before


def test_exchanged_blocks(run: tuple[Path, Path]) -> None:
    case, folder = run
    one, other = (folder / FIRST).read_bytes(), (folder / SECOND).read_bytes()
    (folder / FIRST).write_bytes(other)
    (folder / SECOND).write_bytes(one)
    done = refracmc("run", case, "--out", folder.parent, "--resume", "--quiet")
    assert done.returncode == 2
    assert FIRST in done.stderr
    assert (folder / FIRST).read_bytes() == other


def test_a_summary_altered_since(run: tuple[Path, Path]) -> None:
    _, folder = run
    assert len(RunResult(folder, {}, "").summary)  # as it was written it is read
    (folder / "summary.parquet").write_bytes((folder / "summary.parquet").read_bytes() + b" ")
    with pytest.raises(InputError, match=r"summary\.parquet"):
        _ = RunResult(folder, {}, "").summary


def test_what_was_not_altered_is_complete(run: tuple[Path, Path]) -> None:
    """Negative control; and a file that is absent is made again."""
    case, folder = run
    before = bytes_of(folder)
    assert refracmc("run", case, "--out", folder.parent, "--resume", "--quiet").returncode == 0
    assert bytes_of(folder) == before
    (folder / "report.html").unlink()
    assert refracmc("run", case, "--out", folder.parent, "--resume", "--quiet").returncode == 0
    assert (folder / "report.html").read_bytes() == before[str(folder / "report.html")]
    assert manifest.read_manifest(folder) is not None
