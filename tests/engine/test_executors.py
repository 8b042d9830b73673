"""Worker processes that die. Oracle: the rules of the house: one message that says the way on, whenever it happens."""

import multiprocessing
import os
import time

import pytest

from refracmc.engine import executors
from refracmc.errors import RunFailure


def twice(state: int, task: int) -> int:
    return state * task


def dies(state: int, task: int) -> int:
    if task == 3:
        os._exit(1)
    return task


def test_a_worker_that_dies_at_its_task() -> None:
    with pytest.raises(RunFailure, match=r"a worker process ended .* run again with --resume"):
        list(executors.run_tasks(dies, 0, range(6), 2))
    done = dict(executors.run_tasks(twice, 2, range(6), 2))  # negative control
    assert done == {task: 2 * task for task in range(6)}


def test_a_worker_that_dies_before_all_tasks_are_given(monkeypatch: pytest.MonkeyPatch) -> None:
    """Killed as soon as it is there, while the first tasks are handed out still."""
    real = executors.ProcessPoolExecutor.submit

    def submit_and_kill(pool, *words):
        future = real(pool, *words)
        for worker in multiprocessing.active_children():
            worker.kill()
            worker.join()
        time.sleep(0.1)
        return future

    monkeypatch.setattr(executors.ProcessPoolExecutor, "submit", submit_and_kill)
    with pytest.raises(RunFailure, match=r"a worker process ended .* run again with --resume"):
        list(executors.run_tasks(twice, 2, range(6), 2))
