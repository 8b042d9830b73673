"""`python -m benchmarks.portfolio [--wells N] [--trials N] [--workers N]`: a portfolio run as the product runs it.

The demo's three invented wells are repeated with their volumes scaled, so that every well has a fit and a posterior of
its own. The run is a process of its own, sampling, fits, jobs, prices, cash flow, summaries and decisions included,
charts left out. Printed: wall and processor seconds, the peak memory of the process tree (proportional set size, so
that pages shared between workers count once; Linux only), bytes on disk, and the same per well.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import pandas as pd

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "configs" / "demo"
DATA_COLUMNS = ["oil_bbl", "gas_mcf", "water_bbl"]


def write_portfolio(folder: Path, wells: int, trials: int) -> Path:
    """A case of so many wells in a folder: the demo's, volumes times 0.7 to 1.3 from well to well."""
    text = (DEMO / "case.toml").read_text("utf-8")
    head, *tables = text.split("[[wells]]")
    head = head.replace('name = "demo"', 'name = "portfolio"').replace("trials = 10000", f"trials = {trials}")
    head = head.replace("charts = true", "charts = false")
    frames = {name: pd.read_csv(DEMO / f"{name}.csv", comment="#") for name in ("history", "sleeves")}
    made: dict[str, list[pd.DataFrame]] = {name: [] for name in frames}
    ids = [table.split('id = "')[1].split('"')[0] for table in tables]
    parts = [head]
    for k in range(wells):
        source, name = ids[k % len(ids)], f"P-{k + 1:04d}"
        parts.append(tables[k % len(ids)].replace(f'id = "{source}"', f'id = "{name}"'))
        factor = 0.7 + 0.6 * ((k * 0.618034) % 1.0)
        for kind, frame in frames.items():
            rows = frame[frame["well_id"] == source].assign(well_id=name)
            if kind == "history":
                rows[DATA_COLUMNS] = (rows[DATA_COLUMNS] * factor).round(1)
            made[kind].append(rows)
    for kind, rows in made.items():
        pd.concat(rows).to_csv(folder / f"{kind}.csv", index=False)
    (folder / "prices.csv").write_bytes((DEMO / "prices.csv").read_bytes())
    path = folder / "case.toml"
    path.write_text("[[wells]]".join(parts), "utf-8")
    return path


def _tree(root: int) -> list[int]:
    found, queue = [], [root]
    while queue:
        pid = queue.pop()
        found.append(pid)
        for task in Path(f"/proc/{pid}/task").glob("*/children"):
            try:
                queue += [int(child) for child in task.read_text().split()]
            except OSError:
                continue
    return found


def tree_bytes(root: int) -> int:
    """Proportional set size of a process and all below it [bytes]; 0 where the system does not tell it."""
    total = 0
    for pid in _tree(root):
        try:
            text = Path(f"/proc/{pid}/smaps_rollup").read_text()
        except OSError:
            continue
        total += sum(int(line.split()[1]) * 1024 for line in text.splitlines() if line.startswith("Pss:"))
    return total


def measured_run(arguments: list[str]) -> dict[str, float]:
    """Wall and processor seconds and peak bytes of `refracmc` with these arguments. RuntimeError if it fails."""
    before, begin, peak = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter(), [0]
    process = subprocess.Popen(
        [sys.executable, "-m", "refracmc", *arguments], cwd=ROOT, stdout=subprocess.DEVNULL
    )
    ended = threading.Event()

    def watch() -> None:
        while not ended.wait(0.25):
            peak[0] = max(peak[0], tree_bytes(process.pid))

    watcher = threading.Thread(target=watch, daemon=True)
    watcher.start()
    code = process.wait()
    ended.set()
    watcher.join()
    if code:
        raise RuntimeError(f"the run ended with exit code {code}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return {"wall_s": time.perf_counter() - begin, "cpu_s": cpu, "peak_mb": peak[0] / 1e6}


def main(arguments: list[str] | None = None) -> int:
    """Write the portfolio, run it, print what it took."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.portfolio", description=__doc__)
    parser.add_argument("--wells", type=int, default=200, metavar="N", help="default: 200")
    parser.add_argument("--trials", type=int, default=10_000, metavar="N", help="default: 10000")
    parser.add_argument("--workers", type=int, default=2, metavar="N", help="default: 2")
    parser.add_argument("--json", type=Path, metavar="FILE")
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        case = write_portfolio(folder, options.wells, options.trials)
        said = ["run", str(case), "--out", str(folder / "out"), "--workers", str(options.workers), "--quiet"]
        found = measured_run(said)
        disk = sum(file.stat().st_size for file in (folder / "out").rglob("*") if file.is_file())
    per_trial = 1e6 * found["cpu_s"] / (options.wells * options.trials)
    found |= {
        "disk_mb": disk / 1e6,
        "wells": options.wells,
        "trials": options.trials,
        "us_per_trial": per_trial,
    }
    print(
        f"{options.wells} wells x {options.trials} trials x 48 strategies, {options.workers} workers, no charts: "
        f"{found['wall_s']:.1f} s wall, {found['cpu_s']:.1f} s processor ({per_trial:.1f} us per trial and well), "
        f"peak {found['peak_mb']:.0f} MB, {found['disk_mb']:.0f} MB on disk "
        f"({found['disk_mb'] / options.wells:.2f} a well)"
    )
    if options.json is not None:
        options.json.write_text(json.dumps(found, indent=2) + "\n", "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
