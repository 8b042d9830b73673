"""Blocks on a dask cluster of real processes: the bytes of a run here, workers and schedulers that are killed.

Oracle: the rule that who computes a block changes no byte; the run by one process here is what is compared with.
Workers stand in a folder of their own and are given no path. Skipped where the extra `cluster` is not installed.
"""

import contextlib
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from refracmc.commands.run import run_case
from refracmc.errors import InputError
from tests.system.small_case import CASE, changed, refracmc_process, run_bytes, write_case

pytest.importorskip("distributed")
pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
TEXT = changed(
    CASE, ("[strategies]", "[outputs]\ncharts = false\n[strategies]"), ("trials = 1100", "trials = 3000")
)
Start = Callable[..., subprocess.Popen[str]]


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_case(tmp_path_factory.mktemp("case"), TEXT)


@pytest.fixture(scope="module")
def reference(case: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    return run_bytes(run_case(case, tmp_path_factory.mktemp("here"), workers=1).folder)


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Start Python modules as processes of their own; all are ended with the test."""
    running: list[subprocess.Popen[str]] = []

    def go(module: str, *arguments: object, where: Path = tmp_path) -> subprocess.Popen[str]:
        where.mkdir(exist_ok=True)
        before = os.environ.get("PYTHONPATH", "")
        process = subprocess.Popen(
            [sys.executable, "-m", module, *map(str, arguments)],
            cwd=where,
            env={**os.environ, "PYTHONPATH": f"{ROOT}{os.pathsep}{before}"},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        running.append(process)
        return process

    yield go
    for process in running:
        process.kill()
        process.communicate()


def told(process: subprocess.Popen[str], pattern: str) -> re.Match[str]:
    """Read its standard error until a line matches."""
    assert process.stderr is not None
    said = []
    for line in process.stderr:
        said.append(line)
        found = re.search(pattern, line)
        if found:
            return found
    raise AssertionError(f"it ended without saying {pattern!r}: {''.join(said)}")


def scheduler_of(start: Start) -> tuple[subprocess.Popen[str], str]:
    process = start("distributed.cli.dask_scheduler", "--port", 0, "--no-dashboard", "--host", "127.0.0.1")
    return process, told(process, r"Scheduler at:\s+(tcp://\S+)").group(1)


def worker_of(start: Start, address: str, where: Path) -> subprocess.Popen[str]:
    process = start(
        "distributed.cli.dask_worker",
        *(address, "--nthreads", 2, "--no-nanny", "--no-dashboard", "--local-directory", where),
        where=where,
    )
    told(process, r"Registered to:")
    return process


def test_a_worker_is_killed(case: Path, reference: dict[str, bytes], start: Start, tmp_path: Path) -> None:
    """Two workers, one killed at work: the other does its blocks too, and the bytes are those of a run here."""
    _, address = scheduler_of(start)
    workers = [worker_of(start, address, tmp_path / f"worker{k}") for k in range(2)]
    run = start("refracmc", "run", case, "--out", tmp_path / "out", "--scheduler", address)
    told(run, r"blocks: [2-6] of 12")
    workers[0].kill()
    told(run, r"blocks: 12 of 12")
    _, errors = run.communicate(timeout=120)
    assert run.returncode == 0, errors
    assert run_bytes(tmp_path / "out" / "small") == reference
    left = [path for k in range(2) for path in (tmp_path / f"worker{k}").rglob("*.npy")]
    assert not left  # results went back, nothing was written by a worker


def test_a_scheduler_is_lost(case: Path, reference: dict[str, bytes], start: Start, tmp_path: Path) -> None:
    """One line and exit code 1; what was done is kept, and --resume goes on here to the same bytes."""
    scheduler, address = scheduler_of(start)
    worker_of(start, address, tmp_path / "worker")
    out = tmp_path / "out"
    run = start("refracmc", "run", case, "--out", out, "--scheduler", address)
    told(run, r"blocks: [2-6] of 12")
    scheduler.send_signal(signal.SIGKILL)
    _, errors = run.communicate(timeout=120)
    assert run.returncode == 1, errors
    assert "Traceback" not in errors
    (line,) = (line for line in errors.splitlines() if "blocks:" not in line)
    assert "scheduler was lost" in line
    assert "--resume" in line
    done = {
        path: path.stat().st_mtime_ns for path in (out / ".small.partial" / "blocks").glob("*.values.npy")
    }
    assert done
    again = refracmc_process("run", case, "--out", out, "--resume", "--quiet", "--workers", 1)
    assert again.returncode == 0, again.stderr
    assert run_bytes(out / "small") == reference
    for path, stamp in done.items():
        assert (out / "small" / "blocks" / path.name).stat().st_mtime_ns == stamp  # not done again


def test_a_scheduler_started_here(case: Path, reference: dict[str, bytes], tmp_path: Path) -> None:
    done = refracmc_process("run", case, "--out", tmp_path, "--scheduler", "local", "--workers", 2, "--quiet")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert run_bytes(tmp_path / "small") == reference


def test_nobody_answers(case: Path, tmp_path: Path) -> None:
    done = refracmc_process("run", case, "--out", tmp_path, "--scheduler", "tcp://127.0.0.1:9", "--quiet")
    assert done.returncode == 1
    (line,) = done.stderr.splitlines()
    assert "after 3 s" in line
    assert "no scheduler answers at tcp://127.0.0.1:9" in line
    assert not (tmp_path / "small").exists()


def test_who_answers_is_no_scheduler(case: Path, tmp_path: Path) -> None:
    """A server of another kind: told as such, in seconds, and not as a lack of memory."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def answer() -> None:
            with contextlib.suppress(OSError):
                while True:
                    caller, _ = server.accept()
                    caller.sendall(b"HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n" * 4)

        threading.Thread(target=answer, daemon=True).start()
        address = f"127.0.0.1:{server.getsockname()[1]}"
        began = time.monotonic()
        done = refracmc_process("run", case, "--out", tmp_path, "--scheduler", address, "--quiet")
        assert time.monotonic() - began < 30
    assert done.returncode == 1
    (line,) = done.stderr.splitlines()
    assert address in line
    assert "scheduler" in line


@pytest.mark.parametrize(
    "address",
    ["nowhere", "host:port", ":8786", "tcp://", "", "host:0", "host:65536", "ftp://host:1", "a b:1"],
)
def test_no_address(case: Path, address: str) -> None:
    with pytest.raises(InputError, match="--scheduler: found"):
        run_case(case, scheduler=address)


def test_a_worker_of_another_release() -> None:
    """Its versions would change bytes: the task is refused, with what differs."""
    from refracmc.engine import cluster
    from refracmc.errors import RunFailure

    class Worker:
        address = "tcp://there:1"

    plugin = cluster._RunState("a run", (7,))
    plugin.setup(Worker())
    assert cluster._call("a run", lambda state, task: state[0] + task, 1)[0] == 8
    plugin._versions = {**cluster.versions(), "numpy": "0.1"}
    plugin.setup(Worker())
    with pytest.raises(RunFailure, match=r"tcp://there:1 has numpy .* in place of 0\.1"):
        cluster._call("a run", lambda state, task: state[0] + task, 1)
    plugin.teardown(Worker())
    assert "a run" not in cluster._states


def test_without_the_extra(case: Path, tmp_path: Path) -> None:
    """Simulated: the package is hidden from the process."""
    hidden = (
        "import sys; sys.modules['distributed'] = sys.modules['dask'] = None; "
        "from refracmc.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", hidden, "run", str(case), "--out", str(tmp_path), "--scheduler", "local"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert "pip install -e '.[cluster]'" in line
    assert not list(tmp_path.iterdir())
