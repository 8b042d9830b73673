"""Commands killed, interrupted and out of disk, the short form of benchmarks/kills.py: the same bytes in the end.

Oracle: the rules of the house for results on disk: the bytes of a command that nothing disturbed.
"""

import random
import sys

import pytest

from benchmarks.disturb import LINE, Command, Ended, difference, half_written
from benchmarks.kills import Bench, one_line, try_one

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="finds processes in /proc")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    return Bench(tmp_path_factory.mktemp("bench"), trials=600, charts=False, rounds=1)


@pytest.mark.parametrize("how", ["worker", "full", "interrupt check"])
def test_a_disturbed_command(bench: Bench, how: str) -> None:
    outcome, broken = try_one(bench, random.Random(f"{how}-3"), how)
    assert broken is None
    assert outcome == "hit" or how != "full"  # the moment of a signal is the machine's


@pytest.mark.slow
@pytest.mark.parametrize(
    "how", ["group", "parent", "writing", "resumed", "pair", "other", "interrupt forecast"]
)
def test_a_command_disturbed_otherwise(bench: Bench, how: str) -> None:
    assert try_one(bench, random.Random(f"{how}-3"), how)[1] is None


def test_what_breaks_a_rule() -> None:
    """Negative control."""
    assert one_line(Ended(1, f"case: blocks\n{LINE}\n"), 0, 1) is None
    assert one_line(Ended(1, f"{LINE}\n{LINE}\n"), 0, 1) is not None
    assert one_line(Ended(1, "Traceback (most recent call last):\n"), 0, 1) is not None
    assert one_line(Ended(-9, ""), 0, 1) is not None
    whole = {"a.csv": b"whole", "b.csv": b"whole"}
    assert difference(dict(whole), whole) is None
    assert difference({"a.csv": b"whole"}, whole) is not None
    assert half_written({"a.csv": b"whole", ".b.csv.part": b"wh"}, whole) is None
    assert half_written({"b.csv": b"wh"}, whole) is not None


def test_who_stays_behind() -> None:
    """A command's workers are seen while they live, and that they are gone."""
    with Command("-c", "pass", module="timeit") as ended:
        ended.end()
        assert ended.leaves_nobody()
    program = "import subprocess, sys; subprocess.run([sys.executable, '-c', 'import time; time.sleep(30)'])"
    with Command("-n", "1", "-r", "1", program, module="timeit") as alone:
        assert alone.wait_until(lambda: len(alone.workers()) == 1)
        alone.process.kill()
        alone.process.wait()
        assert not alone.leaves_nobody(0.2)
