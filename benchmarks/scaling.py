"""`python -m benchmarks.scaling [--rounds N] [--json FILE]`: how the cost of a run grows with the size of the case.

One size at a time is changed in the benchmark's case, the others stand at 512 trials, 1 well, 48 strategies, 360 months
and 40 sleeves. What is timed is a block as the product runs it: draws, jobs, prices, streams, cash, all measures.
Processor time of one core, medians, all sizes in turn in one process. The last column is the growth: the power of the
size that the time rose with from the line above (1: in proportion).
"""

from __future__ import annotations

import argparse
import json
import math
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path

from threadpoolctl import threadpool_limits

from refracmc.case.load import load_case
from refracmc.engine.draws import draw
from refracmc.engine.plan import WellPlan, build_plan
from refracmc.engine.valuation import evaluate

from .work import CURVE, DEMO

STANDARD = {"trials": 512, "wells": 1, "strategies": 48, "months": 360, "sleeves": 40}
SIZES: Mapping[str, tuple[int, ...]] = {
    "trials": (64, 128, 256, 512),
    "wells": (1, 2, 4),
    "strategies": (12, 24, 48, 96),
    "months": (120, 240, 360, 480),
    "sleeves": (10, 20, 40, 80),
}
TOE_FT, LATERAL_FT = 17_950.0, 7_400.0


def plans_of(size: Mapping[str, int]) -> list[WellPlan]:
    """Plans of the benchmark's well, as many as there are wells, at the other sizes. Invented, as the demo is."""
    text = (DEMO / "case.toml").read_text("utf-8")
    head = text[: text.index("[[wells]]")].replace(
        "horizon_months = 360", f"horizon_months = {size['months']}"
    )
    dates = size["strategies"] // 4
    head = head.replace(
        "every_months = 3, count = 12", f"every_months = {max(1, 36 // dates)}, count = {dates}"
    )
    body = text[text.index("[[wells]]") :].split("[[wells]]")[1].split("# MH-2")[0]
    body = body.replace('history = "history.csv"', 'forecast = "type_curve"')
    ids = [f"S-{k}" for k in range(size["wells"])]
    wells = ["[[wells]]" + body.replace('id = "MH-1"', f'id = "{name}"') + CURVE for name in ids]
    rows = ["well_id,sleeve,depth_ft,isolation_above,state_date,state,shifts,installed"]
    step = LATERAL_FT / (size["sleeves"] + 1)
    for name in ids:
        for k in range(size["sleeves"]):
            above = "none" if k == size["sleeves"] - 1 else "cement"
            rows.append(f"{name},{k + 1},{TOE_FT - (k + 1) * step:.1f},{above},2019-04,open,1,2019-04")
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "case.toml"
        path.write_text(head + "".join(wells), "utf-8")
        (path.parent / "sleeves.csv").write_text("\n".join(rows) + "\n", "utf-8")
        (path.parent / "prices.csv").write_bytes((DEMO / "prices.csv").read_bytes())
        case = load_case(path)
    return [build_plan(case, well, number, None) for number, well in enumerate(case.wells)]


def runner(size: Mapping[str, int]) -> Callable[[int], float]:
    """A function of the block number that does a block of every well; returns the processor seconds."""
    plans = plans_of(size)

    def run(block: int) -> float:
        begin = time.process_time()
        for plan in plans:
            evaluate(plan, draw(plan, block, size["trials"]))
        return time.process_time() - begin

    run(0)
    return run


def measured(rounds: int) -> dict[str, list[dict[str, float]]]:
    """Milliseconds of every size by what is varied."""
    runs = {
        (what, value): runner({**STANDARD, what: value}) for what, values in SIZES.items() for value in values
    }
    spent: dict[tuple[str, int], list[float]] = {key: [] for key in runs}
    for block in range(1, rounds + 1):
        for key, run in runs.items():
            spent[key].append(run(block))
    found: dict[str, list[dict[str, float]]] = {}
    for what, values in SIZES.items():
        lines: list[dict[str, float]] = []
        for value in values:
            took = statistics.median(spent[what, value])
            growth = math.nan
            if lines:
                growth = math.log(took / (lines[-1]["ms"] / 1e3)) / math.log(value / lines[-1]["size"])
            lines.append({"size": value, "ms": 1e3 * took, "growth": growth})
        found[what] = lines
    return found


def main(arguments: list[str] | None = None) -> int:
    """Measure, print the tables, write the JSON."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.scaling", description=__doc__)
    parser.add_argument("--rounds", type=int, default=7, metavar="N", help="default: 7")
    parser.add_argument("--json", type=Path, metavar="FILE")
    options = parser.parse_args(arguments)
    with threadpool_limits(1):
        tables = measured(max(options.rounds, 1))
    print(f"with draws and jobs\n{'':<12}{'size':>8}{'ms':>10}{'growth':>8}")
    for what, lines in tables.items():
        for line in lines:
            growth = "" if math.isnan(line["growth"]) else format(line["growth"], ".2f")
            print(f"{what:<12}{line['size']:>8}{line['ms']:>10.1f}{growth:>8}")
    if options.json is not None:
        options.json.write_text(json.dumps(tables, indent=2) + "\n", "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
