"""Terminals that have few characters: a command that has done its work does not fail of its own words.

Oracle: the exit code and the words of the same call where every character can be printed.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from refracmc import cli
from refracmc.case.starter import write_starter


def called(encoding: str, *arguments: object) -> subprocess.CompletedProcess[bytes]:
    place = {**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0", "LC_ALL": "C"}
    command = [sys.executable, "-m", "refracmc", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, env=place, timeout=60)


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "utf-8"])
def test_a_title_the_terminal_does_not_have(tmp_path: Path, encoding: str) -> None:
    path = write_starter(tmp_path / "case")[0]
    text = path.read_text("utf-8")
    (title,) = (line for line in text.splitlines() if line.startswith("title"))
    path.write_text(text.replace(title, 'title = "Br\u00fcnn \u0394 \u4e95"'), encoding="utf-8")
    done = called(encoding, "check", path)
    assert done.returncode == 0, done.stderr
    assert done.stderr == b""
    said = done.stdout.decode(encoding)
    for mark, escaped in (("\u00fc", r"\xfc"), ("\u0394", r"\u0394"), ("\u4e95", r"\u4e95")):
        can = mark.encode(encoding, errors="ignore") != b""
        assert (mark if can else escaped) in said


@pytest.mark.parametrize("encoding", ["ascii", "utf-8"])
def test_a_fault_the_terminal_cannot_print(tmp_path: Path, encoding: str) -> None:
    path = write_starter(tmp_path / "case")[0]
    path.write_text(
        path.read_text("utf-8").replace('status = "invented"', 'status = "erf\u00fcnden"'), encoding="utf-8"
    )
    done = called(encoding, "check", path)
    assert done.returncode == 2
    assert b"Traceback" not in done.stderr


def test_a_word_of_the_caller_steers_no_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What does not print is escaped in every fault."""
    path = write_starter(tmp_path / "case")[0]
    assert cli.main(["job", str(path), "--well", "\x1b[2J\u202eW", "--out", str(tmp_path)]) == cli.BAD_INPUT
    (line,) = capsys.readouterr().err.splitlines()
    assert line.isprintable()
    assert r"\x1b[2J\u202eW" in line
