"""Run tasks here or in worker processes; the tasks decide nothing by order, so neither changes a byte."""

from __future__ import annotations

import contextlib
import ctypes
import gc
import multiprocessing
import os
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.connection import wait as wait_for
from typing import Any, TypeVar

from threadpoolctl import threadpool_limits

from refracmc.errors import RunFailure
from refracmc.interrupts import held

Result = TypeVar("Result")
_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
"""Options of mallopt(3)."""
LOCAL = "local"
"""In place of a scheduler's address: one is started here."""
START = "fork" if sys.platform.startswith("linux") else "spawn"
"""How workers begin: as copies of this process with all that it has loaded, or anew."""
_state: Any = None


def default_workers() -> int:
    """Processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return max(1, os.cpu_count() or 1)


def keep_memory() -> None:
    """Ask the C library to keep freed memory: block arrays come and go, and fresh pages cost as much as sums.

    GNU only; elsewhere it does nothing. It changes no number.
    """
    with contextlib.suppress(OSError, AttributeError):
        library = ctypes.CDLL("libc.so.6")
        for option in (_TRIM_THRESHOLD, _MMAP_THRESHOLD):
            library.mallopt(option, 1 << 30)


def _start(state: Any) -> None:
    global _state
    _state = state
    gc.freeze()  # the collector leaves alone what came with the fork, whose pages stay shared
    keep_memory()
    threadpool_limits(1)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # an interrupt from the keyboard is the parent's to handle
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """End this worker when its parent is gone, killed say: it would wait for tasks, and hold locks, for ever."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait_for([parent.sentinel])
        os._exit(1)


def _call(function: Callable[[Any, Any], Result], task: Any) -> tuple[Any, Result]:
    return task, function(_state, task)


def run_tasks(
    function: Callable[[Any, Any], Result], state: Any, tasks: Sequence[Any], workers: int
) -> Iterator[tuple[Any, Result]]:
    """Yield (task, function(state, task)) as they finish, with linear algebra held to one thread each.

    state is handed to every worker once. Raises RunFailure when a worker dies.
    """
    keep_memory()  # the caller works on what it is given
    if workers <= 1 or len(tasks) <= 1:
        with threadpool_limits(1):
            for task in tasks:
                yield task, function(state, task)
        return
    context = multiprocessing.get_context(START)
    with warnings.catch_warnings():
        # Python 3.12+ warns of fork beside library threads; nothing but array code runs in the children
        warnings.filterwarnings("ignore", category=DeprecationWarning, message=".*fork.*")
        with ProcessPoolExecutor(
            max_workers=min(workers, len(tasks)), mp_context=context, initializer=_start, initargs=(state,)
        ) as pool:
            todo = iter(tasks)
            pending: set[Future[tuple[Any, Result]]] = set()
            try:
                with held():
                    for _, task in zip(range(4 * workers), todo, strict=False):
                        pending.add(pool.submit(_call, function, task))
                while pending:
                    done, pending = wait(pending, return_when=FIRST_COMPLETED)
                    for future in done:
                        yield future.result()
                        for task in todo:
                            pending.add(pool.submit(_call, function, task))
                            break
            except BrokenProcessPool:
                raise RunFailure(
                    "a worker process ended before its block was done (killed, or out of memory); "
                    "what is finished is kept: run again with --resume."
                ) from None
            finally:
                for future in pending:
                    future.cancel()
