"""An interrupt from the keyboard ends a command with one line, whenever it comes.

Oracle: the rules of the house (one line, exit code 1, no traceback, finished blocks kept).
"""

import ctypes
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from refracmc import cli
from refracmc.interrupts import held
from tests.system.small_case import CASE, changed, write_case


@pytest.fixture(autouse=True)
def heeded() -> Iterator[None]:
    """Interrupts are heeded here and by processes started here, also where a shell began all this in the background."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_an_interrupt_from_the_keyboard(tmp_path: Path) -> None:
    """One line, exit code 1, the finished blocks kept."""
    case = write_case(tmp_path / "case", changed(CASE, ("trials = 1100", "trials = 40000")))
    command = [sys.executable, "-m", "refracmc", "run", str(case), "--out", str(tmp_path), "--workers", "2"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True, start_new_session=True) as process:
        assert process.stderr is not None
        for line in process.stderr:
            if re.search("blocks: [1-9]", line):
                break
        os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to the whole group
        said = process.stderr.read()
    assert process.returncode == 1
    assert "Traceback" not in said
    assert said.splitlines()[-1] == "refracmc: interrupted; finished blocks are kept: run again with --resume"


def import_that_hides(cases: object) -> int:
    """As a compiled module does that an interrupt finds half loaded."""
    try:
        signal.raise_signal(signal.SIGINT)
    except KeyboardInterrupt:
        raise ImportError("initialization failed") from None
    return 0


def test_an_interrupt_that_a_module_hides(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line and exit code 1 as well; without an interrupt the same error passes as it is (negative control)."""

    def absent(cases: object) -> int:
        raise ImportError("initialization failed")

    before = signal.getsignal(signal.SIGINT)
    monkeypatch.setitem(cli._COMMANDS, "check", import_that_hides)
    assert cli.main(["check", "case.toml"]) == 1
    assert capsys.readouterr().err.splitlines() == [
        "refracmc: interrupted; finished blocks are kept: run again with --resume"
    ]
    assert signal.getsignal(signal.SIGINT) is before
    monkeypatch.setitem(cli._COMMANDS, "check", absent)
    with pytest.raises(ImportError, match="initialization"):
        cli.main(["check", "case.toml"])


def test_an_interrupt_that_nobody_would_hear(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In a callback of compiled code it would be ignored: it comes again. Another error is told (negative control)."""
    call = ctypes.CFUNCTYPE(None)

    def in_callback(cases: object) -> int:
        call(lambda: signal.raise_signal(signal.SIGINT))()
        time.sleep(30)
        return 0

    def fault_in_callback(cases: object) -> int:
        call(lambda: 1 // 0)()
        return 0

    monkeypatch.setitem(cli._COMMANDS, "check", in_callback)
    assert cli.main(["check", "case.toml"]) == 1
    assert capsys.readouterr().err.splitlines() == [
        "refracmc: interrupted; finished blocks are kept: run again with --resume"
    ]
    told: list[object] = []
    monkeypatch.setattr(sys, "unraisablehook", lambda what: told.append(what.exc_type))
    monkeypatch.setitem(cli._COMMANDS, "check", fault_in_callback)
    assert cli.main(["check", "case.toml"]) == 0
    assert told == [ZeroDivisionError]


def test_an_interrupt_is_put_off() -> None:
    """It comes at the end of the block, not inside; outside of one at once (negative control)."""
    reached: list[str] = []

    def interrupted(place: str) -> None:
        signal.raise_signal(signal.SIGINT)
        reached.append(place)

    def inside() -> None:
        with held():
            interrupted("inside")

    with pytest.raises(KeyboardInterrupt):
        inside()
    assert reached == ["inside"]
    with pytest.raises(KeyboardInterrupt):
        interrupted("outside")
    assert reached == ["inside"]


def test_an_interrupt_after_the_last_word(tmp_path: Path) -> None:
    """While the interpreter tidies up: the command is done and says no more."""
    program = (
        "import atexit, signal, sys; atexit.register(signal.raise_signal, signal.SIGINT);"
        "from refracmc.cli import main; sys.exit(main())"
    )
    case = write_case(tmp_path / "case", CASE)
    done = subprocess.run([sys.executable, "-c", program, "check", str(case)], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")
    assert "small" in done.stdout


@pytest.mark.parametrize("place", ["refracmc.cli", "argparse", "after"])
def test_an_interrupt_before_the_first_word_and_after_the_last(tmp_path: Path, place: str) -> None:
    """While the command line loads, while arguments are parsed, and when all is said: the one line, exit code 1."""
    program = f"""
import builtins, runpy, signal, sys
import refracmc.cli, refracmc.interrupts
if {place!r} == "after":
    refracmc.interrupts.ignore_from_now_on = lambda: signal.raise_signal(signal.SIGINT)
elif {place!r} == "argparse":
    refracmc.cli.command_line = lambda: signal.raise_signal(signal.SIGINT)
else:
    class Interrupting:
        def find_spec(self, name, path=None, target=None):
            if name == "refracmc.cli":
                signal.raise_signal(signal.SIGINT)
    del sys.modules["refracmc.cli"]
    sys.meta_path.insert(0, Interrupting())
sys.argv = ["refracmc", "explain", "manifest"]
runpy.run_module("refracmc", run_name="__main__")
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert done.returncode == 1
    assert done.stderr.splitlines() == [
        "refracmc: interrupted; finished blocks are kept: run again with --resume"
    ]
