"""Disks that are full or read-only, for real: small file systems mounted in a name space of the test's own.

Oracle: the house rule: each recovers to the same bytes or says what is wrong in a line; nothing whole is lost.
Skipped where the machine does not allow such mounts; tests/engine/test_store.py simulates the same faults.
"""

import errno
import os
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from refracmc.commands.run import run_case
from refracmc.engine import store
from refracmc.errors import RunFailure
from tests.system.small_case import CASE, changed, run_bytes, write_case

PLAIN = changed(CASE, ("[strategies]", "[outputs]\ncharts = false\n[strategies]"))
COMMAND = f"{shlex.quote(sys.executable)} -m refracmc run"


def in_own_mounts(script: str) -> subprocess.CompletedProcess[str]:
    """Run a shell script that may mount; skip the test where no such name space can be had."""
    for how in (["unshare", "-m"], ["unshare", "--user", "--map-root-user", "-m"]):
        if shutil.which(how[0]) is None:
            break
        trial = subprocess.run(
            [*how, "sh", "-c", "mount -t tmpfs none /mnt"], capture_output=True, check=False
        )
        if trial.returncode == 0:
            command = [*how, "sh", "-ec", script]
            return subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    pytest.skip("no mounts allowed here")


@pytest.fixture
def case(tmp_path: Path) -> Path:
    return write_case(tmp_path / "case", PLAIN)


@pytest.mark.parametrize(
    ("size", "left"),
    [
        ("16k", 0),
        pytest.param("1200k", 2, marks=pytest.mark.slow),
        pytest.param("2600k", 5, marks=pytest.mark.slow),
    ],
)
def test_a_full_disk(case: Path, tmp_path: Path, size: str, left: int) -> None:
    """The run stops with a line and exit code 1; with room made, --resume goes on from what is there."""
    out = tmp_path / "out"
    out.mkdir()
    script = f"""
mount -t tmpfs -o size={size} none {out}
set +e
{COMMAND} {case} --out {out} --quiet --keep-trials --workers 2 >{tmp_path}/said 2>{tmp_path}/errors
echo $? >{tmp_path}/code
cd {out} && find . -type f >{tmp_path}/files
"""
    done = in_own_mounts(script)
    assert done.returncode == 0, done.stderr
    (line,) = (tmp_path / "errors").read_text().splitlines()
    assert (tmp_path / "code").read_text().strip() == "1", line
    assert os.strerror(errno.ENOSPC) in line
    assert "Free space" in line
    assert str(out) in line
    files = (tmp_path / "files").read_text()
    assert files.count(".values.npy") >= left
    assert "/blocks/." not in files  # no half-written block
    assert "/small/" not in files


def test_a_read_only_disk(case: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    (out / "small").mkdir(parents=True)
    (out / "small" / "notes.txt").write_text("mine")
    script = f"""
mount --bind {out} {out} && mount -o remount,ro,bind {out}
set +e
{COMMAND} {case} --out {out} --quiet 2>{tmp_path}/errors
echo $? >{tmp_path}/code
{COMMAND} {case} --out {out}/deeper --quiet 2>>{tmp_path}/errors
echo $? >>{tmp_path}/code
"""
    done = in_own_mounts(script)
    assert done.returncode == 0, done.stderr
    lines = (tmp_path / "errors").read_text().splitlines()
    assert (tmp_path / "code").read_text().split() == ["2", "2"], lines
    assert len(lines) == 2
    for line in lines:
        assert "cannot be written" in line
        assert str(out) in line
        assert "--out" in line
    assert (out / "small" / "notes.txt").read_text() == "mine"


def test_a_disk_that_fills_up_at_any_write(
    case: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Simulated: each kind of file in turn finds the disk full; the run stops, then resumes to the same bytes."""
    first = CASE.index('[[wells]]\nid = "A"'), CASE.index('[[wells]]\nid = "B"')
    one_well = changed(PLAIN, (CASE[slice(*first)], ""), ("trials = 1100", "trials = 600"))
    case = write_case(tmp_path / "short", one_well)
    whole = run_case(case, tmp_path / "whole", workers=1, keep_trials=True)
    real = os.replace
    for name in ("well0000-block00001.more.npy", "summary.parquet", "report.html", "manifest.json"):

        def full(source, target, name=name):
            if Path(target).name == name:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(source))
            real(source, target)

        with monkeypatch.context() as patch:
            patch.setattr(os, "replace", full)
            with pytest.raises(RunFailure, match=os.strerror(errno.ENOSPC)):
                run_case(case, tmp_path / "out", workers=1, keep_trials=True, resume=True)
        assert not (tmp_path / "out" / "small").exists()
    made = run_case(case, tmp_path / "out", workers=1, keep_trials=True, resume=True)
    assert run_bytes(made.folder) == run_bytes(whole.folder)
    assert store.read_values(made.folder, 0, 2).shape[2] == 600
