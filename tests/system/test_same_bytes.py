"""Same case and seed, same bytes: for 1 and 2 workers, any order of blocks, and a run killed again and again.

Oracle: the rule itself. Every file of the run's folder is compared byte by byte (blocks, summary, inputs,
results, tables, charts, page); of manifest.json all but `host`. The negative control is another seed.
"""

import errno
import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from refracmc.case.load import load_case
from refracmc.commands.run import run_case
from refracmc.decisions.well_tables import sum_up
from refracmc.engine import fitted_wells, run_folder, store
from refracmc.engine.blocks import block_task
from refracmc.engine.draws import draw
from refracmc.engine.fitted_wells import prepare_wells
from refracmc.engine.progress import Silent
from refracmc.engine.stored_plans import PASSING
from refracmc.errors import InputError, RunFailure
from refracmc.production.fit import FitRefused
from refracmc.sampling.streams import blocks_of
from tests.system.small_case import BLOCKS, refracmc, refracmc_process, run_bytes, write_case

WELLS = 2
pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals and process trees of POSIX")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("bytes")


@pytest.fixture(scope="module")
def case(folder: Path) -> Path:
    return write_case(folder / "case")


def run_part(manifest: Path) -> dict:
    content = json.loads(manifest.read_text("utf-8"))
    assert set(content) == {"run", "host"}
    return content["run"]


@pytest.fixture(scope="module")
def reference(case: Path, folder: Path) -> Path:
    """The folder of a run by one worker, never interrupted."""
    done = refracmc_process("run", case, "--out", folder / "one", "--keep-trials", "--workers", 1, "--quiet")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return folder / "one" / "small"


def assert_same(made: Path, reference: Path) -> None:
    mine, its = run_bytes(made), run_bytes(reference)
    assert sorted(mine) == sorted(its)
    assert [name for name in mine if mine[name] != its[name]] == []
    assert run_part(made / "manifest.json") == run_part(reference / "manifest.json")


def test_a_run_is_complete(reference: Path) -> None:
    names = set(run_bytes(reference))
    files = {f"blocks/well{w:04d}-block{b:05d}.values.npy" for w in range(WELLS) for b in range(BLOCKS)}
    assert {name for name in names if name.startswith("blocks/")} == files
    expected = {"summary.csv", "summary.parquet", "inputs.parquet", "results.parquet", "report.html"}
    assert expected <= names
    for suffix in (".png", ".svg"):
        assert sum(name.startswith("charts/") and name.endswith(suffix) for name in names) >= 2 * 8
    assert not [name for name in names if "/." in f"/{name}" or name.endswith(".part")]
    assert [entry.name for entry in reference.parent.iterdir()] == ["small"]
    assert {entry.name for entry in reference.iterdir()} <= run_folder.RUN_ENTRIES


def test_fits_left_behind_are_not_trusted(
    case: Path, tmp_path: Path, reference: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A run stops before its page; what it left beside its blocks is altered; resumed, it has the same bytes."""
    real = os.replace

    def full(source, target):
        if Path(target).name == "report.html":
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(source))
        real(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", full)
        with pytest.raises(RunFailure, match="--resume"):
            run_case(case, tmp_path, workers=1, keep_trials=True)
    work = tmp_path / ".small.partial"
    left = list((work / PASSING).iterdir())
    assert len(left) == 1  # the other well has no fit
    for path in left:
        data = bytearray(path.read_bytes())
        data[len(data) // 2] ^= 1
        path.write_bytes(data)
    made = run_case(case, tmp_path, workers=1, keep_trials=True, resume=True)
    assert_same(made.folder, reference)
    assert len(made.summary) == (reference / "summary.csv").read_text("utf-8").count("\n") - 1


def test_a_run_of_which_every_well_is_refused_leaves_nothing(
    case: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise FitRefused("made up")

    monkeypatch.setattr(fitted_wells, "fit_well", refuse)
    with pytest.raises(InputError, match="made up") as caught:
        run_case(case, tmp_path, workers=1)
    rows = case.read_text("utf-8").split("\n")
    lines = {fault.where: fault.line for fault in caught.value.faults}
    assert lines["case.toml: wells.A.history"] == 1 + rows.index('history = "history.csv"')
    assert lines["case.toml: wells.B.history"] == rows.index('id = "B"')  # the head of its table
    assert list(tmp_path.iterdir()) == []


def test_two_workers(case: Path, folder: Path, reference: Path) -> None:
    done = refracmc("run", case, "--out", folder / "two", "--keep-trials", "--workers", 2, "--quiet")
    assert done.returncode == 0, done.stderr
    assert_same(folder / "two" / "small", reference)


def children_of(pid: int) -> list[int]:
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
        if int(fields[1]) == pid:
            found.append(int(stat.parent.name))
    return found


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] not in "ZX"
    except OSError:
        return False


def started(case: Path, out: Path, *more: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "refracmc", "run", str(case), "--out", str(out), "--keep-trials"]
    return subprocess.Popen(
        [*command, "--workers", "2", *more], stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )


def wait_until(process: subprocess.Popen[str], said: str) -> None:
    """Read its progress until a line holds the text."""
    assert process.stderr is not None
    for line in process.stderr:
        if said in line:
            return
    raise AssertionError(f"the run ended without saying {said!r}")


STAGES = ("blocks: 1 of 6", "decisions: 1 of 2", "charts and page")


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="reads the process tree in /proc")
def test_killed_again_and_again(case: Path, folder: Path, reference: Path) -> None:
    """kill -9 of the run in each of its stages a random moment after it began, once of a worker; then resumed."""
    out, moments = folder / "killed", random.Random()
    work = out / ".small.partial"
    for stage in STAGES:
        process = started(case, out, "--resume")
        try:
            wait_until(process, stage)
            time.sleep(moments.uniform(0.0, 0.2))
            workers = children_of(process.pid)
        finally:
            process.kill()
            process.communicate()
        assert process.returncode == -signal.SIGKILL
        assert not (out / "small").exists()
        until = time.monotonic() + 10
        while any(map(alive, workers)) and time.monotonic() < until:
            time.sleep(0.02)
        assert not any(map(alive, workers)), "workers outlive the run"
    done_blocks = sorted(work.glob("blocks/well*.npy"))
    assert len(done_blocks) >= 3
    whole = done_blocks[0].read_bytes()
    done_blocks[0].write_bytes(whole[: len(whole) // 2])
    done_blocks[1].write_bytes(done_blocks[1].read_bytes()[:-1] + b"\0")
    done_blocks[-1].unlink()
    last = started(case, out, "--resume")
    _, errors = last.communicate(timeout=120)
    assert last.returncode == 0, errors
    assert_same(out / "small", reference)
    assert [entry.name for entry in out.iterdir()] == ["small"]


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="reads the process tree in /proc")
def test_a_worker_killed(case: Path, folder: Path) -> None:
    out = folder / "worker"
    process = started(case, out, "--trials", "20000")
    try:
        wait_until(process, "blocks: 1")
        workers = children_of(process.pid)
        assert workers
        os.kill(workers[0], signal.SIGKILL)
        _, errors = process.communicate(timeout=60)
    finally:
        process.kill()
    assert process.returncode == 1
    assert "a worker process ended" in errors
    assert "--resume" in errors
    assert "Traceback" not in errors
    assert list((out / ".small.partial" / "blocks").glob("*.values.npy"))


def test_finished_already(case: Path, folder: Path, reference: Path) -> None:
    """The same words, and no file touched."""

    def stamps() -> dict[str, int]:
        return {str(path): path.stat().st_mtime_ns for path in sorted(reference.rglob("*"))}

    before = stamps()
    done = refracmc("run", case, "--out", reference.parent, "--keep-trials", "--resume")
    assert done.returncode == 0, done.stderr
    assert done.stderr.strip() == "small: complete already"
    assert done.stdout.rstrip().endswith(str(reference))
    assert done.stdout.startswith(("Refracture A", "Leave A"))
    assert stamps() == before


def test_the_old_run_outlives_a_killed_new_one(case: Path, reference: Path) -> None:
    before, manifest = run_bytes(reference), (reference / "manifest.json").read_bytes()
    process = started(case, reference.parent, "--seed", "6")
    try:
        wait_until(process, "blocks: 1 of 6")
        process.send_signal(signal.SIGSTOP)  # or it may be done before the other one starts
        second = refracmc("run", case, "--out", reference.parent, "--quiet")
    finally:
        process.kill()
        process.communicate()
    assert second.returncode == 1  # one run at a time
    (line,) = second.stderr.splitlines()
    assert "another run" in line
    assert run_bytes(reference) == before
    assert (reference / "manifest.json").read_bytes() == manifest
    other = refracmc("run", case, "--out", reference.parent, "--resume", "--quiet", "--keep-trials")
    assert other.returncode == 0, other.stderr  # the finished one counts, not what was killed
    assert [entry.name for entry in reference.parent.iterdir()] == ["small"]
    assert run_bytes(reference) == before


def test_a_changed_case_is_not_resumed(case: Path, folder: Path, reference: Path) -> None:
    changed = write_case(folder / "changed", case.read_text("utf-8").replace("p10 = 1.0", "p10 = 1.1"))
    for arguments, key in (((case, "--seed", 8), "seed"), ((changed,), "case_file_sha256")):
        done = refracmc("run", *arguments, "--out", reference.parent, "--resume", "--quiet")
        assert done.returncode == 2
        (line,) = done.stderr.splitlines()
        assert "differs" in line
        assert key in line
        assert "without --resume" in line


def test_any_order_of_blocks(case: Path, tmp_path: Path) -> None:
    """Blocks one by one, backwards, wells together or apart: same files, same summary; another seed: others."""
    loaded = load_case(case)
    plans, _ = prepare_wells(loaded, 1, Silent())
    sizes = blocks_of(loaded.sampling.trials)
    together = [(block, (0, 1)) for block in range(BLOCKS)]
    alone = [(block, (well,)) for well in (1, 0) for block in reversed(range(BLOCKS))]
    mixed = [(2, (1,)), (0, (1, 0)), (1, (0,)), (2, (0,)), (1, (1,))]
    found = []
    for name, tasks in (("together", together), ("alone", alone), ("mixed", mixed)):
        state = (plans, tmp_path / name, sizes)
        (tmp_path / name / "blocks").mkdir(parents=True)
        for task in tasks:
            block_task(state, task)
        summaries = [sum_up(plan, tmp_path / name, sizes).summary.statistics.tobytes() for plan in plans]
        found.append((run_bytes(tmp_path / name), summaries))
    assert found[0] == found[1] == found[2]
    assert len(found[0][0]) == 4 * WELLS * BLOCKS
    other, _ = prepare_wells(loaded.with_sampling(seed=6), 1, Silent())
    (tmp_path / "seed" / "blocks").mkdir(parents=True)
    block_task((other, tmp_path / "seed", sizes), (0, (0, 1)))
    for name, data in run_bytes(tmp_path / "seed").items():
        assert data != found[0][0][name]


def test_more_trials_begin_with_the_same(case: Path, tmp_path: Path) -> None:
    """The trials of a shorter run are the first ones of a longer one: a part block is drawn whole, then cut.

    Draws to the bit; values to 1e-12, as sums over a chunk's months may be grouped otherwise.
    """
    values = {}
    for trials in (700, 1100):
        loaded = load_case(case).with_sampling(trials=trials)
        plans, _ = prepare_wells(loaded, 1, Silent())
        folder = tmp_path / str(trials)
        (folder / "blocks").mkdir(parents=True)
        sizes = blocks_of(trials)
        for block in range(len(sizes)):
            block_task((plans, folder, sizes), (block, (0, 1)))
        drawn = [draw(plan, 1, sizes[1]) for plan in plans]
        values[trials] = [(store.read_values(folder, well, len(sizes)), drawn[well]) for well in range(WELLS)]
    for (few, few_drawn), (many, many_drawn) in zip(values[700], values[1100], strict=True):
        scale = np.abs(many).max(axis=(1, 2), keepdims=True)
        assert (np.abs(few - many[:, :, :700]) <= 1e-12 * scale).all()
        for name, value in few_drawn.items():
            assert value.tobytes() == many_drawn[name][:188].tobytes()
