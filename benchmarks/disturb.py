"""A command started as a process group of its own, waited for, and killed or interrupted. Needs /proc."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

LINE = "refracmc: interrupted; finished blocks are kept: run again with --resume"
HELD = "another run is writing into it now"
PATIENCE = 120.0
"""Seconds that a command may take."""
Bytes = dict[str, bytes]


@dataclass(frozen=True)
class Ended:
    """What a process ended with: exit code and standard error."""

    code: int
    said: str

    @property
    def lines(self) -> list[str]:
        """Its messages, without progress."""
        return [line for line in self.said.splitlines() if line.startswith("refracmc: ")]


def folder_bytes(folder: Path) -> Bytes:
    """Every file under a folder by its path, of a manifest all but its part `host`."""
    found = {}
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        data = path.read_bytes()
        if path.name == "manifest.json":
            data = json.dumps({key: part for key, part in json.loads(data).items() if key != "host"}).encode()
        found[path.relative_to(folder).as_posix()] = data
    return found


def difference(found: Bytes, wanted: Bytes) -> str | None:
    """The files in which two folders differ, or None."""
    names = [name for name in {*found, *wanted} if found.get(name) != wanted.get(name)]
    return f"other bytes than undisturbed: {', '.join(sorted(names)[:9])}" if names else None


def half_written(found: Bytes, wanted: Bytes) -> str | None:
    """Files under their final names that are not those of the undisturbed command, or None."""
    stand = {name: data for name, data in found.items() if not Path(name).name.startswith(".")}
    return difference(stand, {name: wanted[name] for name in stand if name in wanted})


class Command:
    """A command that runs. `with` ends it and whatever of its group is left."""

    def __init__(self, *words: object, module: str = "refracmc") -> None:
        self.began = time.monotonic()
        self.process = subprocess.Popen(
            [sys.executable, "-m", module, *map(str, words)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )

    def __enter__(self) -> Command:
        return self

    def __exit__(self, *fault: object) -> None:
        self.send(signal.SIGKILL)
        self.process.wait()
        if self.process.stderr is not None:
            self.process.stderr.close()

    @property
    def runs(self) -> bool:
        """Whether it has not ended yet."""
        return self.process.poll() is None

    def _alive(self, field: int) -> list[int]:
        """Processes, without those that have ended, whose parent (0) or group (1) is this process."""
        found = []
        for status in Path("/proc").glob("[0-9]*/stat"):
            try:
                number, rest = status.read_text().split(" (", 1)
            except OSError:
                continue
            state, *of = rest.rpartition(") ")[2].split()[:3]
            if int(of[field]) == self.process.pid and state != "Z":
                found.append(int(number))
        return sorted(found)

    def workers(self) -> list[int]:
        """Processes that it started and that live."""
        return self._alive(0)

    def wait_until(self, is_so: Callable[[], bool]) -> bool:
        """Wait for something while it runs; whether that came."""
        while self.runs and time.monotonic() - self.began < PATIENCE:
            if is_so():
                return True
            time.sleep(0.002)
        return False

    def wait(self, seconds: float) -> None:
        """Wait so long from its start, unless it ends before."""
        self.wait_until(lambda: time.monotonic() - self.began >= seconds)

    def send(self, what: int) -> None:
        """Send a signal to the whole group, as a terminal does."""
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self.process.pid, what)

    def end(self) -> Ended:
        """Wait for its end; exit code 124 where it does not come."""
        try:
            _, said = self.process.communicate(timeout=PATIENCE)
        except subprocess.TimeoutExpired:
            self.send(signal.SIGKILL)
            return Ended(124, "no end")
        return Ended(self.process.returncode, said)

    def leaves_nobody(self, seconds: float = 5.0) -> bool:
        """Whether all of its group ends within some seconds."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            if not self._alive(1):
                return True
            time.sleep(0.02)
        return False


def files_under(folder: Path, *names: str) -> int:
    """Files in some places of a folder that may not be there, those half written too."""
    return sum(
        sum(len(files) for _, _, files in os.walk(folder / name)) + (folder / name).is_file()
        for name in names
    )
