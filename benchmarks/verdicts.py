"""`python -m benchmarks.verdicts [--trials N ...] [--seeds N] [--seeds-of-most N] [--case FILE]`: verdicts by seed.

Do they hang on the number of trials, or on the seed?

A case, the demo by default, is run with its charts left out at each number of trials and with each seed (of the largest
number with fewer seeds), and the verdicts are told apart by well. Two runs contradict each other where both say a
verdict and the verdicts differ; `not told apart` contradicts nothing. Printed: how often each well was told what at
each number of trials, the contradictions, and the most wells of one run of the largest number that were not told apart.
Exit code 1 where there is a contradiction, or more than one such well.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
import time
from collections import Counter
from collections.abc import Iterable
from itertools import combinations
from pathlib import Path
from typing import NamedTuple

import pandas as pd

from refracmc import run_case
from refracmc.decisions.verdict_rule import NONE, NOT_TOLD_APART

DEMO = Path(__file__).parents[1] / "configs" / "demo" / "case.toml"
FIRST_SEED = 20261101


class Told(NamedTuple):
    """What a run said of a well."""

    well: str
    trials: int
    seed: int
    verdict: str


def told_by_run(case: Path, trials: int, seed: int, folder: Path) -> list[Told]:
    """Run a case and read its verdicts; what it wrote is removed."""
    result = run_case(case, folder, trials=trials, seed=seed)
    rows = pd.read_parquet(result.folder / "tables" / "verdicts.parquet", columns=["well", "verdict"])
    shutil.rmtree(result.folder)
    return [Told(str(well), trials, seed, str(word)) for well, word in rows.itertuples(index=False)]


def contradictions(told: Iterable[Told]) -> list[tuple[Told, Told]]:
    """Pairs of runs that say different verdicts of one well."""
    by_well: dict[str, list[Told]] = {}
    for one in told:
        if one.verdict not in (NOT_TOLD_APART, NONE):
            by_well.setdefault(one.well, []).append(one)
    return [
        pair
        for said in by_well.values()
        for pair in combinations(said, 2)
        if pair[0].verdict != pair[1].verdict
    ]


def most_open(told: Iterable[Told], trials: int) -> int:
    """Most wells of one run of so many trials that were not told apart."""
    counts = Counter(one.seed for one in told if one.trials == trials and one.verdict == NOT_TOLD_APART)
    return max(counts.values(), default=0)


def without_charts(case: Path, folder: Path) -> Path:
    """A copy of a case and the files beside it that draws no charts."""
    shutil.copytree(case.parent, folder)
    path = folder / case.name
    path.write_text(path.read_text("utf-8").replace("charts = true", "charts = false"), "utf-8")
    return path


def main(arguments: list[str] | None = None) -> int:
    """Run, tell, count."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.verdicts", description=__doc__)
    parser.add_argument("--trials", type=int, nargs="+", default=[1_024, 10_000, 100_000])
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--seeds-of-most", type=int, default=10, help="seeds of the largest number of trials")
    parser.add_argument("--case", type=Path, default=DEMO)
    given = parser.parse_args(arguments)
    most, told = max(given.trials), []
    with tempfile.TemporaryDirectory() as name:
        case = without_charts(given.case, Path(name) / "case")
        for trials in given.trials:
            for k in range(given.seeds_of_most if trials == most else given.seeds):
                began = time.perf_counter()
                found = told_by_run(case, trials, FIRST_SEED + k, Path(name) / "runs")
                told += found
                said = ", ".join(f"{one.well} {one.verdict}" for one in found)
                seconds = time.perf_counter() - began
                print(f"{trials:>7,} trials, seed {FIRST_SEED + k}: {said} ({seconds:.0f} s)", flush=True)
    for (well, trials), part in pd.DataFrame(told).groupby(["well", "trials"]):
        print(f"{well}, {trials:,} trials: {dict(Counter(part['verdict']))}")
    against, left = contradictions(told), most_open(told, most)
    print(
        f"contradictions: {len(against)}; wells of one run of {most:,} trials not told apart: {left} at most"
    )
    for one, other in against[:20]:
        print(f"  {one} against {other}")
    return int(bool(against) or left > 1)


if __name__ == "__main__":
    raise SystemExit(main())
