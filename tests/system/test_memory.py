"""Memory of the whole process tree for one well, 10,000 trials, 48 strategies and 360 months: under 1 GB.

Oracle: the published bound; the kernel's count of pages, shared ones divided among their holders (PSS).
"""

import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import pytest

DEMO = Path(__file__).parents[2] / "configs" / "demo"
LIMIT_MB = 1000.0


def tree_mb(root: int) -> float:
    """Memory of a process and all below it [MB]."""
    below: dict[int, list[int]] = {}
    for entry in os.listdir("/proc"):
        if entry.isdigit():
            try:
                fields = Path(f"/proc/{entry}/stat").read_text().rsplit(")", 1)[1].split()
            except OSError:
                continue
            below.setdefault(int(fields[1]), []).append(int(entry))
    todo, total = [root], 0.0
    while todo:
        pid = todo.pop()
        todo += below.get(pid, [])
        try:
            lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
        except OSError:
            continue
        total += sum(float(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1e3
    return total


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/smaps_rollup").exists(), reason="reads /proc")
def test_one_well_of_the_demo(tmp_path: Path) -> None:
    text = (DEMO / "case.toml").read_text("utf-8")
    second = text.index("[[wells]]", text.index("[[wells]]") + 1)
    one = text[:second].replace("charts = true", "charts = false")
    assert "trials = 10000" in one
    assert "horizon_months = 360" in one
    (tmp_path / "case.toml").write_text(one, "utf-8")
    for name in ("history.csv", "sleeves.csv", "prices.csv"):
        (tmp_path / name).write_bytes((DEMO / name).read_bytes())
    command = [sys.executable, "-m", "refracmc", "run", str(tmp_path / "case.toml"), "--out", str(tmp_path)]
    peak, seen = 0.0, 0
    with subprocess.Popen([*command, "--workers", "2", "--quiet"], stdout=subprocess.PIPE, text=True) as run:
        while run.poll() is None:
            peak, seen = max(peak, tree_mb(run.pid)), seen + 1
            with suppress(subprocess.TimeoutExpired):
                run.wait(0.2)
    assert run.returncode == 0
    assert seen > 10
    assert 100.0 < peak < LIMIT_MB, f"{peak:.0f} MB"
    strategies = (tmp_path / "demo" / "summary.csv").read_text("utf-8").count(",npv,")
    assert strategies == 49
