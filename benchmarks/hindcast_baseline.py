"""Scores of the fit against least squares on log rate, for the usual cut-offs.

    python benchmarks/hindcast_baseline.py HISTORY... [--wells WELLS] [--no-pool] [--out DIR]

Prints the table of scores by phase and cut-off (and area with --areas): coverage of the P90 to P10 band
with its error, tails of the randomised probability integral, pinball loss over the sum of actuals, bias of
the sum; first for the fit, then for the least-squares yardstick on the wells both could forecast."""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import pandas as pd

from refracmc.decisions.hindcast_tables import run_hindcast

CUTS = ((12, 24), (24, 36), (36, 36))
SHOWN = ["wells", "coverage", "coverage_se", "tail_low", "tail_high", "pinball", "crps", "bias_of_sum"]


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("histories", nargs="+")
    parser.add_argument("--wells", help="table with well_id and area: priors are then learned across areas")
    parser.add_argument("--no-pool", action="store_true", help="the shipped prior alone")
    parser.add_argument("--areas", action="store_true", help="one row per area as well")
    parser.add_argument("--undeclared", default="list", choices=("list", "zero"))
    parser.add_argument("--out", help="keep the tables here")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        parts = []
        for months_in, months_out in CUTS:
            folder = Path(options.out or scratch) / f"{months_in}_{months_out}"
            begun = time.perf_counter()
            report = run_hindcast(
                options.histories,
                months_in,
                months_out,
                wells_file=options.wells,
                undeclared=options.undeclared,
                out_dir=folder,
                teach="nobody" if options.no_pool else "areas",
            )
            taken = time.perf_counter() - begun
            scores = report.scores.assign(cut=f"{months_in}/{months_out}")
            parts.append(scores if options.areas else scores[scores["area"] == ""])
            print(
                f"{months_in}/{months_out}: {int(report.table['used'].sum())} wells scored, {taken:.0f} s",
                flush=True,
            )
    table = pd.concat(parts, ignore_index=True)
    keys = ["phase", "cut", "area", "method", "set"]
    shown = table[[*keys, *SHOWN, "pinball_below_baseline"]].sort_values(keys[:3], kind="stable")
    print(shown.to_string(index=False, float_format=lambda x: f"{x:.3f}"))


if __name__ == "__main__":
    main()
