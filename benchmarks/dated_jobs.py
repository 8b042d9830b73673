"""Base and response together against what dated jobs did: is the truth in the 80 % band of the months that followed?

    python -m benchmarks.dated_jobs DATA_DIR [--draws N] [--placebo N] [--alone]

DATA_DIR holds jobs.csv and production.parquet. Every well is fitted by the months before the job with the product's
own fit, which the other wells have taught by their months before that date and before their own first job (--alone: the
shipped prior); the volume of the 12 and 24 months after the month of the job is then forecast by the base and by the
response: terms as the starter states them (decline, depletion, headroom, what is kept, acceleration), every stage
counted as treated, the uplift by one of several rules. Records are made without the well that is forecast. Beside it
stands the same test of the base alone at dates without a job of the same wells, before the first job and at any time.

Prints coverage of P90 to P10 with its error, the shares below and above, and the increment: (volume - mean of the base)
over the volume of a year at the peak rate. The base errs without a job too; what jobs added is the mean increment
at jobs less that at dates without one. Errors: wells drawn again (1,000 sets); the jobs' mean is carried by few."""

from __future__ import annotations

import argparse
import inspect
import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchmarks.base_at_dates import AHEAD, Ahead, at_jobs_and_placebo, teachers_of
from benchmarks.no_response import SEED, WellJobs, estimate, group_means, measured_wells, read_jobs
from refracmc.production.decline import cumulative_mixture, technical_volume
from refracmc.production.history import History
from refracmc.production.posterior import DAYS_PER_MONTH
from refracmc.production.response import ResponseTerms, headroom_ultimate, respond
from refracmc.production.uplift import RECORDS, uplift_of_jobs
from refracmc.sampling.distributions import from_spec

Array = NDArray[np.float64]
Generator = np.random.Generator
RESAMPLES = 1000
STARTER: Mapping[str, Any] = {
    "decline": {"dist": "lognormal", "p90": 0.9, "p10": 2.6},
    "depletion_exponent": {"dist": "uniform", "low": 0.0, "high": 1.0},
    "headroom": {"dist": "lognormal", "p90": 1.6, "p10": 4.0, "min": 1.0},
    "kept": {"dist": "triangular", "low": 0.8, "mode": 0.95, "high": 1.0},
}
BEFORE_RECORDS: Mapping[str, Any] = {
    **STARTER,
    "headroom": {"dist": "lognormal", "p90": 1.4, "p10": 2.4, "min": 1.0},
}
"""What the starter stated before it stood on records."""
STARTER_UPLIFT = {"dist": "lognormal", "p90": 0.25, "p10": 1.0}
B, TERMINAL, ACCELERATION = 0.9, 0.08, 0.2
Draw = Callable[[str, int, Generator], Array]


@dataclass(frozen=True)
class Rule:
    """A response: how its uplift is drawn, its terms, and how the uptime after the job is (None: as the fit has it)."""

    uplift: Draw
    terms: Mapping[str, Any] = field(default_factory=lambda: STARTER)
    uptime: Draw | None = None


def with_response(date: Ahead, rule: Rule, generator: Generator) -> Array:
    """Volumes (2, K) of the base and a job by the product's response."""
    n = date.base.shape[1]
    uplift = rule.uplift(date.well_id, n, generator)
    uptime = date.uptime if rule.uptime is None else rule.uptime(date.well_id, n, generator)
    drawn = {key: from_spec(spec, key).ppf(generator.random(n)) for key, spec in rule.terms.items()}
    slots = np.stack([np.ones(n), drawn["decline"], np.full(n, B), np.full(n, TERMINAL)])
    form = np.zeros(n, dtype=np.int8)
    unit = cumulative_mixture(form, slots, DAYS_PER_MONTH * np.array(AHEAD, dtype=np.float64), uptime)
    whole = technical_volume(form, slots, date.limit / date.peak)
    ultimate = headroom_ultimate(date.technical, drawn["headroom"], 1.0)
    plainly = inspect.unwrap(respond)  # as plain Python
    out = np.empty((len(AHEAD), n))
    for k in range(n):
        terms = ResponseTerms(
            uplift[k],
            date.peak,
            drawn["depletion_exponent"][k],
            drawn["kept"][k],
            ACCELERATION,
            max(ultimate[k], 1e-9),
        )
        made = plainly(date.produced, date.technical[k] - date.produced, whole[k], 1.0, 1.0, terms)
        out[:, k] = made.keep * date.base[:, k] + made.new_rate * unit[k]
    return out


def left_by_depletion(dates: Sequence[Ahead], terms: Mapping[str, Any] = STARTER) -> float:
    """Mean of (1 - depletion)^g over dates and draws."""
    generator = np.random.default_rng(SEED)
    means = []
    for date in dates:
        u, v = generator.random((2, len(date.technical)))
        ultimate = date.technical * from_spec(terms["headroom"], "headroom").ppf(u)
        g = from_spec(terms["depletion_exponent"], "g").ppf(v)
        means.append(float(np.mean((1.0 - np.minimum(date.produced / ultimate, 1.0)) ** g)))
    return float(np.mean(means))


def rules(
    histories: Mapping[str, History],
    jobs: Sequence[tuple[str, np.datetime64]],
    wells: Sequence[WellJobs],
    at_jobs: Sequence[Ahead],
) -> dict[str, Rule]:
    """Responses by name; what they know of jobs is of the other wells alone."""

    @cache
    def with_zeros(well: str) -> Array:
        uplift = uplift_of_jobs(histories, [job for job in jobs if job[0] != well])[0]
        return group_means(np.maximum(uplift, 0.0), np.ones(len(uplift)), 23)

    @cache
    def of_responders(well: str) -> tuple[float, Array]:
        found = estimate([w for w in wells if w.well_id != well])
        return found.share, group_means(found.responders, found.weight, 20)

    def starter(well: str, n: int, generator: Generator) -> Array:
        return from_spec(STARTER_UPLIFT, "uplift").ppf(generator.random(n))

    def zeros(well: str, n: int, generator: Generator) -> Array:
        return generator.choice(with_zeros(well), n)

    def responders(well: str, n: int, generator: Generator) -> Array:
        share, values = of_responders(well)
        factor = generator.choice(RECORDS["record_mean_factor"][0], n)
        return generator.choice(values, n) * factor * (generator.random(n) >= share)

    def starter_by_chance(well: str, n: int, generator: Generator) -> Array:
        return starter(well, n, generator) * (generator.random(n) >= of_responders(well)[0])

    def ran(well: str, n: int, generator: Generator) -> Array:
        return generator.choice(np.array([date.ran for date in at_jobs if date.well_id != well]), n)

    return {
        "all respond (starter before)": Rule(starter, BEFORE_RECORDS),
        "record with zeros (before)": Rule(zeros, BEFORE_RECORDS),
        "chance and responders, headroom before": Rule(responders, BEFORE_RECORDS),
        "chance and starter's uplift, headroom before": Rule(starter_by_chance, BEFORE_RECORDS),
        "chance and starter's uplift": Rule(starter_by_chance),
        "chance and responders": Rule(responders),
        "the same, uptime of other jobs": Rule(responders, uptime=ran),
    }


def scored(dates: Sequence[Ahead], rule: Rule | None) -> pd.DataFrame:
    """One row a date and months ahead: band, increment seen and forecast (in years at the peak rate)."""
    rows = []
    for date in dates:
        generator = np.random.default_rng([SEED, zlib.crc32(f"{date.well_id} {date.month}".encode())])
        sample = date.base if rule is None else with_response(date, rule, generator)
        for k, months in enumerate(AHEAD):
            low, high = np.quantile(sample[k], [0.1, 0.9])
            rows.append(
                {
                    "well_id": date.well_id,
                    "months": months,
                    "below": float(date.actual[k] < low),
                    "above": float(date.actual[k] > high),
                    "seen": (date.actual[k] - date.base[k].mean()) / date.year_at_peak,
                    "forecast": (sample[k].mean() - date.base[k].mean()) / date.year_at_peak,
                }
            )
    return pd.DataFrame(rows)


def table_row(name: str, at_jobs: pd.DataFrame, placebo: pd.DataFrame, again: Array) -> dict[str, object]:
    """Coverage and increments of one rule beside dates without a job, with errors from wells drawn again.

    again: (sets, wells) how often each well of the two tables, sorted by name, is drawn.
    """
    names = np.array(sorted({*at_jobs["well_id"], *placebo["well_id"]}))

    def means(frame: pd.DataFrame, column: str) -> tuple[float, Array]:
        where = np.searchsorted(names, frame["well_id"])
        sums = np.bincount(where, frame[column], len(names))
        counts = np.bincount(where, minlength=len(names))
        return float(frame[column].mean()), (again @ sums) / (again @ counts)

    below, above = means(at_jobs, "below"), means(at_jobs, "above")
    off = [means(placebo, "below"), means(placebo, "above"), means(placebo, "seen")]
    seen, forecast = means(at_jobs, "seen"), means(at_jobs, "forecast")
    inside, inside_off = 1.0 - below[0] - above[0], 1.0 - off[0][0] - off[1][0]
    spread, spread_off = 1.0 - below[1] - above[1], 1.0 - off[0][1] - off[1][1]
    return {
        "rule": name,
        "dates": len(at_jobs),
        "coverage": inside,
        "se": spread.std(),
        "below": below[0],
        "above": above[0],
        "placebo": inside_off,
        "se_placebo": spread_off.std(),
        "less_placebo": inside - inside_off,
        "se_less": (spread - spread_off).std(),
        "added": seen[0] - off[2][0],
        "se_added": (seen[1] - off[2][1]).std(),
        "forecast": forecast[0],
        "se_gap": (seen[1] - off[2][1] - forecast[1]).std(),
    }


def print_tables(
    at_jobs: Sequence[Ahead], placebo: Mapping[str, Sequence[Ahead]], of: Mapping[str, Rule]
) -> None:
    """One table by months ahead and kind of dates without a job."""
    generator = np.random.default_rng(SEED)
    tables = {name: scored(at_jobs, rule) for name, rule in [("base alone", None), *of.items()]}
    for kind, dates in placebo.items():
        off = scored(dates, None)
        for months in AHEAD:
            rest = off[off["months"] == months]
            rows = []
            for name, table in tables.items():
                kept = table[table["months"] == months]
                wells = len({*kept["well_id"], *rest["well_id"]})
                again = generator.multinomial(wells, np.full(wells, 1.0 / wells), RESAMPLES)
                rows.append(table_row(name, kept, rest, again.astype(np.float64)))
            print(f"\n{months} months after; {len(rest)} dates without a job {kind}")
            print(pd.DataFrame(rows).round(3).to_string(index=False))


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("data", type=Path)
    parser.add_argument("--draws", type=int, default=1024)
    parser.add_argument("--placebo", type=int, default=3, help="dates without a job, a well")
    parser.add_argument("--alone", action="store_true", help="no well teaches another")
    told = parser.parse_args()
    histories, jobs = read_jobs(told.data)
    teachers = {} if told.alone else teachers_of(histories, jobs)
    at_jobs, before, anytime = at_jobs_and_placebo(histories, jobs, told.draws, told.placebo, teachers)
    wells = measured_wells(histories, jobs)
    print(
        f"depletion leaves {left_by_depletion(at_jobs):.3f} of an uplift; {len(at_jobs)} jobs, all on production:"
    )
    print(f"they ran {np.mean([d.ran for d in at_jobs]):.2f} of the year after, the fit says")
    print(f"{np.mean([d.uptime.mean() for d in at_jobs]):.2f}")
    placebo = {
        "at any time, on production": [date for date in anytime if date.on],
        "at any time, idle wells too": anytime,
        "before the first job": before,
    }
    print_tables(at_jobs, placebo, rules(histories, jobs, wells, at_jobs))


if __name__ == "__main__":
    main()
