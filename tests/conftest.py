"""How the tests run: the same examples every time, and what is long in the making made once.

Property tests draw the same examples in every run, so that a change is judged by the change alone: few of them by
default, more with REFRACMC_TESTS=thorough in the environment, as `.ci/run` sets it.
"""

import os
from importlib import import_module
from itertools import groupby
from pathlib import Path

import pytest
from filelock import FileLock
from hypothesis import HealthCheck, settings

from refracmc.compiler import DISABLED, cache_folder

COMMON = {
    "derandomize": True,
    "deadline": None,
    "suppress_health_check": [HealthCheck.function_scoped_fixture],
}
settings.register_profile("quick", max_examples=25, **COMMON)
settings.register_profile("thorough", max_examples=200, **COMMON)
settings.load_profile(os.environ.get("REFRACMC_TESTS", "quick"))

LONG = {"system", "second_route", "reporting"}
"""Folders of files whose tests share something long in the making."""


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Begin each of two workers' halves with the long files, whole.

    A worker that is done takes tests from the end of the other's half; of a file parted so, both make what it shares.
    """
    if not hasattr(config, "workerinput"):
        return
    halves: tuple[list[pytest.Item], list[pytest.Item]] = ([], [])
    for k, (_, tests) in enumerate(
        groupby((i for i in items if i.path.parent.name in LONG), lambda i: i.path)
    ):
        halves[k % 2].extend(tests)
    short = [item for item in items if item.path.parent.name not in LONG]
    room = max(len(items) // 2 - len(halves[0]), 0)
    items[:] = [*halves[0], *short[:room], *halves[1], *short[room:]]


RULES = ("refracmc.engine.cash_loop", "refracmc.engine.job_runs", "refracmc.production.likelihood")
"""Modules of what takes long to compile."""
MANY = 500
"""Tests: fewer may need nothing compiled."""


@pytest.fixture(scope="session", autouse=True)
def compiled_once(request: pytest.FixtureRequest, worker_id: str) -> None:
    """Workers compile different rules first, then load from the cache what the others compiled."""
    if DISABLED or worker_id == "master" or len(request.session.items) < MANY:
        return
    turn, folder = int(worker_id.removeprefix("gw")) % len(RULES), cache_folder()
    if folder is None:
        return
    for name in RULES[turn:] + RULES[:turn]:
        with FileLock(Path(folder) / f"{name}.lock"):
            import_module(name).warm()
