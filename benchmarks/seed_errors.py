"""`python -m benchmarks.seed_errors [--seeds N] [--trials N ...] [--workers N] [--design NAME]`: are errors true?

A well with a history is run with many seeds, the fit made anew with each. Of every cell of the summary that has a
standard error (means and percentiles of each measure of a few strategies) the root mean square of the stated errors is
divided by the spread of the values over the seeds. Right is 1. Printed for each number of trials: the median over the
cells, the share of them outside 0.8 to 1.3, and the share that chance alone gives: values and errors of the same cells
drawn again by seed with every ratio set to 1. As a negative control the same with one fit for all blocks, the first set
of its draws, whose errors cannot know what another fit would change.

Exit code 1 where a median is outside 0.9 to 1.15 or more cells than chance gives lie outside.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from refracmc.case.load import load_case
from refracmc.case.starter import write_starter
from refracmc.case.validated_case import Case
from refracmc.engine.draws import draw
from refracmc.engine.plan import WellPlan, build_plan
from refracmc.engine.summary import STATISTICS, summarise_well
from refracmc.engine.valuation import evaluate
from refracmc.engine.well_fit import fit_well
from refracmc.measures import SUMMARY_MEASURES
from refracmc.sampling.streams import blocks_of

Array = NDArray[np.float64]
VALUES = ("mean", "p90", "p50", "p10")
ERRORS = ("se", "p90_se", "p50_se", "p10_se")
LOW, HIGH = 0.8, 1.3
MEDIAN_LOW, MEDIAN_HIGH = 0.9, 1.15
AGAIN = 400
"""Times that the seeds are drawn again for what chance gives."""
PICKED = (0, 7)
"""Strategies beside doing nothing, by their place in the case."""


class _Rows:
    """Rows (S, n) in memory, read as those of a run on disk."""

    def __init__(self, values: Array) -> None:
        self._values = values

    def __len__(self) -> int:
        return len(self._values)

    def rows(self, start: int, stop: int) -> Array:
        """Rows start .. stop - 1."""
        return self._values[start:stop]


def seeded(case: Case, trials: int, seed: int, design: str) -> Case:
    """The case at a number of trials, a seed and a design."""
    return replace(
        case, sampling=case.sampling.model_copy(update={"trials": trials, "seed": seed, "design": design})
    )


def one_fit(plan: WellPlan) -> WellPlan:
    """The plan with the first set of its fit's draws for all blocks."""
    fit = plan.posterior
    assert fit is not None
    some = slice(0, fit.set_rows)
    only = replace(
        fit,
        form=fit.form[some],
        slots=fit.slots[:, some],
        uptime=fit.uptime[some],
        secondary={phase: tuple(part[some] for part in parts) for phase, parts in fit.secondary.items()},
        technical_eur=fit.technical_eur[some],
        running_uptime=None if fit.running_uptime is None else fit.running_uptime[some],
        sets=1,
    )
    return replace(plan, posterior=only)


class Stated(NamedTuple):
    """What a run says: values and standard errors, each (S, measures, VALUES)."""

    values: Array
    errors: Array


def stated_by_run(case: Case, control: bool) -> Stated:
    """Fit, evaluate and sum up the first well of a case."""
    well = case.wells[0]
    plan = build_plan(case, well, 0, fit_well(case, well, {}))
    plan = one_fit(plan) if control else plan
    chosen = [plan.strategies[k] for k in PICKED]
    sizes, design = blocks_of(case.sampling.trials), case.sampling.design
    blocks = [evaluate(plan, draw(plan, k, size), chosen).measures for k, size in enumerate(sizes)]
    rows: Mapping[str, Any] = {
        name: _Rows(np.concatenate([block[name] for block in blocks], axis=1)) for name in blocks[0]
    }
    found = summarise_well(rows, sizes, design, case.valuation.cvar_tail_fraction).statistics
    at = [[STATISTICS.index(name) for name in names] for names in (VALUES, ERRORS)]
    return Stated(found[..., at[0]], found[..., at[1]])


def _told(case: Case, trials: int, design: str, control: bool, seed: int) -> Stated:
    return stated_by_run(seeded(case, trials, seed, design), control)


def ratios_of(values: Array, errors: Array) -> Array:
    """Root mean square of stated errors over the spread of values (cells,), from those of the seeds (seeds, cells)."""
    with np.errstate(divide="ignore", invalid="ignore"):  # seeds drawn again may all have one value
        found: Array = np.sqrt(np.square(errors).mean(axis=0)) / values.std(axis=0, ddof=1)
    return found


def cells_of(told: Sequence[Stated]) -> tuple[Array, Array, list[str]]:
    """Values and errors (seeds, cells) of the cells in which every seed has an error, and their names.

    Left out: a value that is the same in half of the seeds or more, as a percentile that stands on a clump of equal
    trials is. Its spread is that of the rare seeds beyond the clump.
    """
    values, errors = (np.stack([getattr(one, name) for one in told]) for name in Stated._fields)
    known = np.isfinite(values).all(axis=0) & np.isfinite(errors).all(axis=0)
    ordered = np.sort(np.where(known, values, 0.0), axis=0)
    known &= (np.diff(ordered, axis=0) > 1e-9 * np.abs(ordered[1:])).sum(axis=0) >= len(values) / 2
    names = [
        f"{('nothing', 'first', 'later')[s]} {SUMMARY_MEASURES[m]} {VALUES[v]}"
        for s, m, v in np.argwhere(known)
    ]
    return values[:, known], errors[:, known], names


def outside_by_chance(values: Array, errors: Array, ratios: Array, draws: int = AGAIN) -> Array:
    """Share of cells outside LOW to HIGH in each of `draws` samples of the seeds, every ratio being 1 in truth."""
    generator = np.random.default_rng(7)
    true = errors / ratios
    made = np.empty(draws)
    for k in range(draws):
        some = generator.integers(0, len(values), len(values))
        found = ratios_of(values[some], true[some])
        made[k] = np.mean((found < LOW) | (found > HIGH))
    return made


def main() -> int:
    """Run from the command line; 1 where an error is not true."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=200)
    parser.add_argument("--trials", type=int, nargs="+", default=[5120, 20480])
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--design", default="latin_hypercube")
    parser.add_argument("--worst", type=int, default=0, help="print so many cells furthest from 1")
    given = parser.parse_args()
    broken = 0
    with tempfile.TemporaryDirectory() as place, ProcessPoolExecutor(given.workers) as pool:
        path = Path(place) / "case" / "case.toml"
        write_starter(str(path.parent))
        case = load_case(path)
        stated_by_run(seeded(case, 512, 1, given.design), False)  # compiled before it is timed
        for trials in given.trials:
            for control in (False, True):
                began = time.perf_counter()
                work = partial(_told, case, trials, given.design, control)
                told = list(pool.map(work, range(1, given.seeds + 1), chunksize=2))
                broken += _report(told, trials, control, time.perf_counter() - began, given.worst)
    return int(broken > 0)


def _report(told: Sequence[Stated], trials: int, control: bool, seconds: float, worst: int) -> int:
    """Print the ratios of one number of trials; 1 where they are not as asked. A control is not asked anything."""
    values, errors, names = cells_of(told)
    ratios = ratios_of(values, errors)
    outside = np.mean((ratios < LOW) | (ratios > HIGH))
    chance = outside_by_chance(values, errors, ratios)
    kind = "one fit for all blocks" if control else "as it is"
    print(
        f"{trials:,} trials, {len(told)} seeds, {kind}: {len(names)} cells, ratio median {np.median(ratios):.3f} "
        f"(10 to 90 % {np.quantile(ratios, 0.1):.2f} to {np.quantile(ratios, 0.9):.2f}), outside {LOW} to {HIGH}: "
        f"{outside:.3f}, by chance {chance.mean():.3f}, at most {np.quantile(chance, 0.95):.3f}; {seconds:.0f} s"
    )
    for cell in _worst(ratios, worst):
        print(f"  {names[cell]}: {ratios[cell]:.2f}, spread {values[:, cell].std(ddof=1):.4g}")
    bad = not MEDIAN_LOW <= np.median(ratios) <= MEDIAN_HIGH or outside > np.quantile(chance, 0.95)
    return int(bad and not control)


def _worst(ratios: Array, count: int) -> Iterable[int]:
    """Cells furthest from 1."""
    return [int(k) for k in np.argsort(-np.abs(np.log(ratios)))[:count]]


if __name__ == "__main__":
    raise SystemExit(main())
