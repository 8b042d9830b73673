"""Run tasks on the workers of a dask scheduler, on this machine or on others (extra `cluster`).

Results come back to this process, which alone writes: workers need no disk in common with it and keep nothing. A task
whose worker dies is given to another by the scheduler. Workers must have the versions of this process; a mix of
processors may differ in last digits, and is pointed out.
"""

from __future__ import annotations

import asyncio
import concurrent.futures
import contextlib
import logging
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from importlib import import_module
from importlib.metadata import PackageNotFoundError, version
from typing import Any, TypeVar

import dask
from distributed import Client, KilledWorker, LocalCluster, WorkerPlugin, wait
from distributed.comm.core import CommClosedError
from threadpoolctl import threadpool_limits

from refracmc import __version__
from refracmc.errors import RunFailure

from .executors import LOCAL, default_workers, keep_memory

Result = TypeVar("Result")
CONNECT_SECONDS = 10
ANSWER_SECONDS = 3
"""Seconds in which a scheduler that runs has answered."""
PATIENCE = 60.0
"""Seconds to wait for a worker where there is none."""
_LOOK = 2.0
_AHEAD = 3
"""Tasks given out for each worker: one at work, the next on their way."""
_TALKING = ("distributed", "tornado", "asyncio")
_LOST = (asyncio.CancelledError, concurrent.futures.CancelledError, CommClosedError, OSError, TimeoutError)
_states: dict[str, tuple[Any, threading.Lock, str]] = {}


def versions() -> dict[str, str]:
    """What a worker must have in common with this process, for the same bytes."""
    found = {"refracmc": __version__}
    for name in ("numpy", "scipy", "numba"):
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "absent"
    return found


def processor() -> str:
    """Vector instructions NumPy uses here, which decide last digits."""
    for name in ("numpy._core._multiarray_umath", "numpy.core._multiarray_umath"):
        with contextlib.suppress(ImportError, AttributeError):
            found: dict[str, bool] = import_module(name).__cpu_features__
            return " ".join(sorted(name for name, there in found.items() if there))
    return ""


class _RunState(WorkerPlugin):
    """What every task must know, sent to each worker once, those that join later included."""

    def __init__(self, name: str, state: Any) -> None:
        self.name, self._state, self._versions = name, state, versions()

    def setup(self, worker: Any) -> None:
        keep_memory()
        threadpool_limits(1)
        mine = versions()
        wrong = [
            f"{key} {mine[key]} in place of {its}" for key, its in self._versions.items() if mine[key] != its
        ]
        fault = f"worker {worker.address} has {', '.join(wrong)}" if wrong else ""
        _states[self.name] = self._state, threading.Lock(), fault

    def teardown(self, worker: Any) -> None:
        _states.pop(self.name, None)


def _call(name: str, function: Callable[[Any, Any], Result], task: Any) -> tuple[Result, str]:
    state, lock, fault = _states[name]
    if fault:
        raise RunFailure(f"{fault}; install the same versions on all workers.")
    with lock:  # one task at a time in a process, whatever threads the worker was given
        return function(state, task), processor()


@contextlib.contextmanager
def connected(address: str, workers: int | None) -> Iterator[Client]:
    """A client of the scheduler at `address`, or of one started here with as many worker processes.

    Raises RunFailure where there is none.
    """
    settings = {
        "distributed.comm.timeouts.connect": f"{CONNECT_SECONDS}s",
        "distributed.admin.large-graph-warning-threshold": "1GB",
    }
    with dask.config.set(settings), _hushed(), contextlib.ExitStack() as stack:
        try:
            if address == LOCAL:
                cluster = LocalCluster(
                    n_workers=workers or default_workers(),
                    threads_per_worker=1,
                    processes=True,
                    dashboard_address="127.0.0.1:0",  # whatever port is free: nobody looks at it
                    scheduler_kwargs={"dashboard": False},
                    memory_limit=0,
                )
                stack.callback(_quietly, cluster.close)
                client = Client(cluster)
            else:
                client = Client(address, timeout=ANSWER_SECONDS)
        except MemoryError:  # what answered was read as the length of a message
            raise RunFailure(
                f"what answers at {address} is no dask scheduler; correct --scheduler."
            ) from None
        except (OSError, TimeoutError, CommClosedError, ValueError) as fault:
            raise RunFailure(
                f"no scheduler answers at {address} ({_first_line(fault)}); start one, or correct --scheduler."
            ) from None
        stack.callback(_quietly, client.close)
        yield client


@contextlib.contextmanager
def _hushed() -> Iterator[None]:
    """No log of the libraries: what matters is said in one line."""
    names = [name for name in logging.root.manager.loggerDict if name.split(".")[0] in _TALKING]
    loggers = [logging.getLogger(name) for name in names]
    before = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for logger, level in zip(loggers, before, strict=True):
            logger.setLevel(level)


def _quietly(close: Callable[[], object]) -> None:
    with contextlib.suppress(Exception, asyncio.CancelledError):
        close()


def _first_line(fault: BaseException) -> str:
    return (str(fault).strip() or type(fault).__name__).splitlines()[0]


def run_on(
    client: Client,
    function: Callable[[Any, Any], Result],
    state: Any,
    tasks: Sequence[Any],
    note: Callable[[str], None],
) -> Iterator[tuple[Any, Result]]:
    """Yield (task, function(state, task)) as they finish. state is sent to every worker once.

    note: is told where processors differ. Raises RunFailure where the scheduler is lost, no worker is left, or a task
    ends its workers again and again; results yielded before are good.
    """
    name = f"refracmc-{client.id}"
    kept = "what is finished is kept: run again with --resume."
    todo, noted = iter(tasks), False
    pending: dict[Any, Any] = {}
    mine = processor()
    try:
        client.register_plugin(_RunState(name, state), name=name)
        seen = time.monotonic()
        more = True
        while more or pending:
            count = len(client.scheduler_info(n_workers=-1)["workers"])
            if count:
                seen = time.monotonic()
            elif time.monotonic() - seen > PATIENCE:
                raise RunFailure(f"the scheduler has had no worker for {PATIENCE:.0f} s; {kept}")
            while more and len(pending) < _AHEAD * max(count, 1):
                task = next(todo, None)
                if task is None:
                    more = False
                    break
                pending[client.submit(_call, name, function, task, pure=False)] = task
            if not pending:
                break
            try:
                done = wait(list(pending), timeout=_LOOK, return_when="FIRST_COMPLETED").done
            except TimeoutError:
                continue
            for future in done:
                result, its = future.result()
                task = pending.pop(future)
                future.release()
                if its != mine and not noted:
                    noted = True
                    note("a worker's processor differs from this one's: last digits may too")
                yield task, result
    except KilledWorker:
        raise RunFailure(f"a block ended one worker after another (out of memory?); {kept}") from None
    except _LOST:
        raise RunFailure(f"the scheduler was lost; {kept}") from None
    finally:
        for future in pending:
            _quietly(future.release)
        _quietly(lambda: client.unregister_worker_plugin(name))
