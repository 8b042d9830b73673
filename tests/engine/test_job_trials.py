"""The loop over the jobs of all strategies. Oracles: the same source run as plain Python, which compiles nothing and
checks its indices; each strategy and each trial worked alone.

The rules themselves are held to the second route in tests/second_route/test_job_agrees.py.
"""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from refracmc.engine.job_runs import RESULTS
from refracmc.job.array_checks import check_jobs
from tests.engine.job_wells import jobs_of, pairs_of, random_jobs

ROOT = Path(__file__).parents[2]
SEEDS = (1, 2, 5, 8, 13, 21)
PLAIN = """
import sys
import numpy as np
from refracmc import compiler
from refracmc.job import fluid
from tests.engine.job_wells import jobs_of, pairs_of, random_jobs
assert not hasattr(fluid.pump, "py_func")
found = {}
for seed in map(int, sys.argv[2:]):
    jobs = random_jobs(seed)
    found[str(seed)] = jobs_of(jobs, pairs_of(jobs)[::3], slice(0, 7))
np.savez(sys.argv[1], **found)
"""


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory):
    """Results of some trials with the compiler off."""
    path = tmp_path_factory.mktemp("plain") / "found.npz"
    command = [sys.executable, "-c", PLAIN, str(path), *map(str, SEEDS)]
    settings = {**os.environ, "NUMBA_DISABLE_JIT": "1"}
    subprocess.run(command, check=True, cwd=ROOT, env=settings, timeout=300)
    return np.load(path)


@pytest.mark.parametrize("seed", SEEDS)
def test_compiled_and_plain_python_agree(seed: int, plain) -> None:
    jobs = random_jobs(seed)
    found = jobs_of(jobs, pairs_of(jobs)[::3], slice(0, 7))
    np.testing.assert_allclose(found, plain[str(seed)], rtol=1e-12, atol=1e-13)
    assert np.ptp(found[0]) > 0.0  # control: the trials are not all one


@pytest.mark.parametrize("seed", [3, 4, 30])
def test_a_result_depends_on_its_trial_order_and_date_alone(seed: int) -> None:
    jobs = random_jobs(seed)
    pairs = pairs_of(jobs)
    whole = jobs_of(jobs, pairs)
    for k in (0, 3, len(pairs) - 1):
        np.testing.assert_array_equal(jobs_of(jobs, [pairs[k]])[:, 0], whole[:, k])
    np.testing.assert_array_equal(jobs_of(jobs, pairs[::-1], slice(9, 14)), whole[:, ::-1, 9:14])


@pytest.mark.parametrize(
    ("part", "name", "value", "said"),
    [
        ("orders", "sequence", 99, "sequence: found 0 to 99"),
        ("orders", "stages", 0, "stages: found 0"),
        ("shifts", "kind", 7, "kind: found"),
        ("chosen", "date", -1, "date: found -1"),
        ("chosen", "row", 500, "row: found"),
    ],
)
def test_an_index_out_of_bounds_is_refused(part, name, value, said, monkeypatch: pytest.MonkeyPatch) -> None:
    names = ("well", "orders", "shifts", "dates", "chosen", "trials", "out", "rows")

    def spoiled(*arguments) -> None:
        given = dict(zip(names, arguments, strict=True))
        array = getattr(given[part], name).copy()
        array.flat[0] = value
        if name == "stages":
            array[:] = value
        given[part] = given[part]._replace(**{name: array})
        check_jobs(**given)

    monkeypatch.setattr("refracmc.engine.job_runs.check_jobs", spoiled)
    jobs = random_jobs(6)
    with pytest.raises(ValueError, match=said):
        jobs_of(jobs, pairs_of(jobs))


def test_a_mis_sized_array_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    def spoiled(well, orders, shifts, dates, chosen, trials, out, rows) -> None:
        check_jobs(well, orders, shifts, dates, chosen, trials, out[: RESULTS - 1], rows)

    monkeypatch.setattr("refracmc.engine.job_runs.check_jobs", spoiled)
    jobs = random_jobs(6)
    with pytest.raises(ValueError, match="out: found shape"):
        jobs_of(jobs, pairs_of(jobs))
