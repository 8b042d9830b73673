"""Files that are absent, their old selves, or whole. Oracle: the rules of the house for results on disk."""

import errno
import os
from pathlib import Path

import pytest

from refracmc import cli
from refracmc.whole_file import write_whole
from tests.system.small_case import CASE, write_case


@pytest.mark.parametrize("problem", [OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)), KeyboardInterrupt()])
@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_the_old_file_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str, problem: BaseException
) -> None:
    """A full disk or an interrupt before the end: the old file, nothing beside it, and the error names the file."""
    path = tmp_path / "scores.csv"
    write_whole(path, b"old", b" and whole")

    def fail(*_: object) -> None:
        raise problem

    with monkeypatch.context() as patch:
        patch.setattr(os, call, fail)
        with pytest.raises(type(problem)) as caught:
            write_whole(path, b"new", keep=True)
    assert not isinstance(caught.value, OSError) or caught.value.filename == str(path)
    assert path.read_bytes() == b"old and whole"
    assert list(tmp_path.iterdir()) == [path]
    write_whole(path, b"new")  # negative control
    assert path.read_bytes() == b"new"


@pytest.mark.parametrize("problem", [OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)), KeyboardInterrupt()])
@pytest.mark.parametrize("command", ["forecast", "hindcast", "job", "orders"])
def test_a_command_stopped_at_a_file(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    command: str,
    problem: BaseException,
) -> None:
    """At its second file: the first one is whole, the second absent; one line, exit code 1."""
    case = write_case(
        tmp_path / "case", CASE.replace("[strategies]", "[outputs]\ncharts = false\n[strategies]")
    )
    words = {
        "hindcast": (case.parent / "history.csv", "--months-in", "12", "--months-out", "12"),
        "orders": (case, "--well", "B", "--trials", "8", "--budget", "4"),
        "job": (case, "--well", "B", "--trials", "8"),
    }.get(command, (case,))
    real, names = os.replace, []

    def stop(source: Path, target: Path) -> None:
        if tmp_path in Path(target).parents:  # code that is compiled is kept elsewhere
            names.append(Path(target).name)
            if len(names) == 2:
                raise problem
        real(source, target)

    monkeypatch.setattr(os, "replace", stop)
    assert cli.main([command, *map(str, words), "--out", str(tmp_path / "out")]) == cli.FAILED
    line = [text for text in capsys.readouterr().err.splitlines() if text.startswith("refracmc: ")]
    assert len(line) == 1
    if isinstance(problem, OSError):
        assert names[1] in line[0]
        assert "free space" in line[0]
    assert [path.name for path in (tmp_path / "out").rglob("*") if path.is_file()] == [names[0]]
