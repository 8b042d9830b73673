"""`python -m benchmarks [--rounds N] [--json FILE]`: engines and scripts side by side on one case.

One process per engine, all alive at once; rounds go from one to the next in turn, so that a slow moment of the
machine meets all alike. Figures are processor time per trial of all 48 strategies on one core, medians of the
rounds. Scripts get price paths ready and make 5 measures. So does the engine in the lines "measures of the scripts";
in its other lines it makes the paths too, and 14 measures.
"""

from __future__ import annotations

import argparse
import json
import platform
import statistics
import subprocess
import sys
from pathlib import Path

import numpy as np

from .work import ENGINES, block_of, engine_values, plan_of_the_case

ROOT = Path(__file__).parents[1]
TOLERANCE = 1e-9


def agreement(trials: int = 12, block_size: int = 512) -> float:
    """Largest difference between the scripts and the engine, relative to a trial's values; RuntimeError above 1e-9."""
    plan = plan_of_the_case()
    block = block_of(plan, 0, block_size)
    few = {"small": block.told.rows(slice(0, trials)), "whole": block.told}
    from . import small_arrays, whole_arrays

    engine = engine_values(plan, block)
    worst = 0.0
    for name, value in (("small", small_arrays.value), ("whole", whole_arrays.value)):
        for measure, found in value(few[name]).items():
            own = engine[measure][:, : found.shape[1]]
            finite = np.isfinite(own)
            if (
                not np.array_equal(found[~finite], own[~finite], equal_nan=True)
                or np.isnan(found[finite]).any()
            ):
                raise RuntimeError(f"{name}, {measure}: defined in other trials than the engine's")
            scale = np.abs(engine["npv" if measure == "incremental_npv" else measure])[:, : found.shape[1]]
            size = np.maximum(np.where(np.isfinite(scale), scale, 0.0).max(axis=0), 1.0)
            apart = np.where(finite, found, 0.0) - np.where(finite, own, 0.0)
            worst = max(worst, float(np.max(np.abs(apart) / size)))
    if not worst < TOLERANCE:
        raise RuntimeError(f"scripts and engine differ by {worst:.1e} of a trial's value")
    return worst


def measured(names: list[str], rounds: int) -> dict[str, list[dict[str, float]]]:
    """Answers of each engine's process, round by round."""
    processes = {
        name: subprocess.Popen(
            [sys.executable, "-m", "benchmarks.one", name],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for name in names
    }
    answers: dict[str, list[dict[str, float]]] = {name: [] for name in names}
    try:
        for process in processes.values():
            assert process.stdout is not None
            if not process.stdout.readline():
                raise RuntimeError(f"the process of an engine ended: {process.args}")
        for _ in range(rounds):
            for name, process in processes.items():
                assert process.stdin is not None
                assert process.stdout is not None
                process.stdin.write("\n")
                process.stdin.flush()
                answers[name].append(json.loads(process.stdout.readline()))
    finally:
        for process in processes.values():
            process.communicate()
    return answers


def main(arguments: list[str] | None = None) -> int:
    """Measure, print the table, write the JSON."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("--rounds", type=int, default=15, metavar="N", help="default: 15")
    parser.add_argument("--json", type=Path, metavar="FILE")
    options = parser.parse_args(arguments)
    names = list(ENGINES)
    difference = agreement()
    answers = measured(names, max(options.rounds, 1))
    micro = {
        name: statistics.median(1e6 * a["cpu"] / a["trials"] for a in rounds)
        for name, rounds in answers.items()
    }
    plan = plan_of_the_case()
    work = {
        "strategies": len(plan.strategies),
        "months": plan.horizon,
        "sleeves": plan.well.tally.count,
        "rounds": max(options.rounds, 1),
        "largest_difference": difference,
        "python": platform.python_version(),
        "numpy": np.__version__,
        "machine": platform.machine(),
    }
    lines = {
        name: {
            "what": ENGINES[name].text,
            "us_per_trial": micro[name],
            "times_faster_than_whole_arrays": micro["whole"] / micro[name] if ENGINES[name].compare else None,
            "spread_us": [
                1e6 * min(a["cpu"] / a["trials"] for a in answers[name]),
                1e6 * max(a["cpu"] / a["trials"] for a in answers[name]),
            ],
            "peak_mb": max(a["peak_mb"] for a in answers[name]),
        }
        for name in names
    }
    print(
        f"one trial = {work['strategies']} strategies x {work['months']} months, {work['sleeves']} sleeves; "
        f"scripts and engine agree to {difference:.0e} of a trial's value\n"
        "scripts, and the engine with the measures of the scripts: 5 measures from price paths made before, not timed; "
        "other lines: 14 measures, price paths timed"
    )
    print(f"{'':<42}{'us/trial':>10}{'least':>10}{'most':>10}{'ratio':>8}{'peak MB':>9}")
    for line in lines.values():
        ratio = line["times_faster_than_whole_arrays"]
        least, most = line["spread_us"]
        print(
            f"{line['what']:<42}{line['us_per_trial']:>10.1f}{least:>10.1f}{most:>10.1f}"
            f"{'' if ratio is None else format(ratio, '.1f'):>8}{line['peak_mb']:>9.0f}"
        )
    if options.json is not None:
        options.json.write_text(json.dumps({"work": work, "engines": lines}, indent=2) + "\n", "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
