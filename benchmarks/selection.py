"""`python -m benchmarks.selection [--wells N] [--dates N] [--orders N]`: how long the choice of jobs takes.

Invented wells, every one with all dates and orders: values fall with the date and differ by order, jobs last 12 to 30
days, wells stand on pads of four. Capital of two years and two crews of each kind are short. Printed: sizes, seconds,
the gap reached; with --risk also for the mean less a multiple of the tail mean over scenarios.
"""

from __future__ import annotations

import argparse
import sys
import time

import numpy as np

from refracmc.portfolio.choice_problem import Choice, Limit, needless
from refracmc.portfolio.selection import Scenarios, select


def invented_choice(wells: int, dates: int, orders: int, seed: int = 1) -> Choice:
    """A choice among wells x dates x orders jobs, money in US$ million: a third of the wells can be done."""
    rng = np.random.default_rng(seed)
    shape = (wells, dates, orders)
    owner, month, _ = (at.ravel() for at in np.indices(shape))
    scale = rng.lognormal(0.0, 0.5, (wells, 1, 1))
    factor = rng.uniform(0.93, 1.02, (wells, 1, orders)) - 0.012 * np.arange(dates)[None, :, None]
    value = (scale * rng.uniform(0.3, 1.6, (wells, 1, 1)) * factor).ravel()
    capital = (rng.uniform(0.8, 2.5, (wells, 1, 1)) * rng.uniform(0.95, 1.05, (wells, 1, orders))).repeat(
        dates, 1
    )
    days = (rng.uniform(12.0, 30.0, (wells, 1, 1)) * rng.uniform(0.95, 1.05, (wells, 1, orders))).repeat(
        dates, 1
    )
    capital, days = capital.ravel(), days.ravel()
    groups = [
        np.flatnonzero((owner // 4 == pad) & (month == at))
        for pad in range(wells // 4)
        for at in range(dates)
    ]
    saved = np.full(len(groups), 0.1)
    budget = capital.mean() * wells / 6
    limits = [
        Limit(f"capital of year {year + 1}", capital * (month * 2 // dates == year), budget, saved * 0.0)
        for year in range(2)
    ]
    crews = wells / 3 / dates * days.mean()
    limits += [Limit(f"crews in month {at}", days * (month == at), crews) for at in range(dates)]
    return Choice(owner, value, tuple(limits), groups=tuple(groups), group_saving=saved)


def main(arguments: list[str] | None = None) -> int:
    """Solve and print."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.selection", description=__doc__)
    parser.add_argument("--wells", type=int, default=200)
    parser.add_argument("--dates", type=int, default=12)
    parser.add_argument("--orders", type=int, default=4)
    parser.add_argument("--gap", type=float, default=1e-3)
    parser.add_argument("--time-limit", type=float, default=60.0)
    parser.add_argument("--risk", type=int, default=0, metavar="SCENARIOS", help="0: the mean alone")
    options = parser.parse_args(arguments)
    choice = invented_choice(options.wells, options.dates, options.orders)
    scenarios = None
    if options.risk:
        rng = np.random.default_rng(2)
        common = rng.normal(0.0, 0.5, options.risk)
        own = rng.normal(0.0, 0.6, (options.wells, options.risk))[choice.owner]
        values = choice.value[:, None] * (1.0 + common + own)
        scenarios = Scenarios(0.5, 0.1, values, np.full(options.risk, 1.0 / options.risk))
    began = time.perf_counter()
    values = choice.value[None] if scenarios is None else np.vstack([choice.value, scenarios.values.T])
    needed = int((~needless(choice, values)).sum())
    pruned = time.perf_counter() - began
    found = select(choice, scenarios, gap=options.gap, time_limit_s=options.time_limit)
    print(
        f"{options.wells} wells x {options.dates} dates x {options.orders} orders = {len(choice.owner)} jobs, {needed} "
        f"needed ({pruned:.1f} s), {len(choice.limits)} limits, {len(choice.groups)} pad months, {options.risk} "
        f"scenarios: {len(found.chosen)} chosen, gap {found.gap:.2%}, {found.seconds:.1f} s solver"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
