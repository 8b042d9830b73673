"""Base and response together against what dated jobs did: is the truth in the 80 % band of the months that followed?

    python -m benchmarks.dated_jobs DATA_DIR [--draws N] [--placebo N]

DATA_DIR holds jobs.csv and production.parquet. Every well is fitted by the months before the job with the product's own
fit; the volume of the 12 and 24 months after the month of the job is then forecast by the base and by the response:
terms as the starter states them (decline, depletion, headroom, what is kept, acceleration), every stage counted as
treated, the uplift by one of several rules. Records are made without the well that is forecast. Beside it stands
the same test of the base alone at dates without a job of the same wells, before the first job and at any time.

Prints coverage of P90 to P10 with its error, the shares below and above, and the increment: (volume - mean of the base)
over the volume of a year at the peak rate. The base errs without a job too; what jobs added is the mean increment
at jobs less that at dates without one. Errors: wells drawn again (1,000 sets); the jobs' mean is carried by few."""

from __future__ import annotations

import argparse
import inspect
import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchmarks.no_response import SEED, WellJobs, estimate, group_means, measured_wells, read_jobs
from refracmc.production.decline import cumulative
from refracmc.production.fit import FitRefused, FitSettings, fit_decline, pooled_decline
from refracmc.production.history import History
from refracmc.production.posterior import DAYS_PER_MONTH, Posterior
from refracmc.production.response import ResponseTerms, headroom_ultimate, respond
from refracmc.production.uplift import FAR, LEAST_BEFORE, RECORDS, uplift_of_jobs
from refracmc.sampling.distributions import from_spec

Array = NDArray[np.float64]
Generator = np.random.Generator
AHEAD = (12, 24)
HORIZON = 360
RESAMPLES = 1000
STARTER = {
    "decline": {"dist": "lognormal", "p90": 0.9, "p10": 2.6},
    "depletion_exponent": {"dist": "uniform", "low": 0.0, "high": 1.0},
    "headroom": {"dist": "lognormal", "p90": 1.4, "p10": 2.4, "min": 1.0},
    "kept": {"dist": "triangular", "low": 0.8, "mode": 0.95, "high": 1.0},
}
STARTER_UPLIFT = {"dist": "lognormal", "p90": 0.25, "p10": 1.0}
B, TERMINAL, ACCELERATION = 0.9, 0.08, 0.2
UpliftRule = Callable[[str, int, Generator], Array]


@dataclass(frozen=True)
class Ahead:
    """One date of one well, K draws of the base.

    actual (2,): main-phase volume of the months AHEAD after the month of the date; base (2, K): the forecast of it;
    produced: volume before; remaining (K,): base to the horizon; uptime (K,): of a stream the job brings; peak: best
    rate before per day. Volumes in bbl or Mcf.
    """

    well_id: str
    month: np.datetime64
    actual: Array
    base: Array
    produced: float
    remaining: Array
    uptime: Array
    peak: float

    @property
    def year_at_peak(self) -> float:
        """Volume of a year at the peak rate."""
        return self.peak * 12.0 * DAYS_PER_MONTH


def look_ahead(history: History, month: np.datetime64, draws: int) -> Ahead | None:
    """The date with its base forecast; None where a month is not declared, or fewer than six produced before."""
    at = int((month.astype("datetime64[M]") - history.dates[0]).astype(int))
    if at < LEAST_BEFORE or at + max(AHEAD) >= len(history):
        return None
    after = history.volume()[at + 1 : at + 1 + max(AHEAD)]
    known = history.head(at)
    if not np.isfinite(after).all() or int((np.nan_to_num(known.volume()) > 0).sum()) < LEAST_BEFORE:
        return None
    settings = FitSettings(draws=draws, particles=512)
    posterior: Posterior
    try:
        posterior = fit_decline(known, settings, SEED)
    except FitRefused:
        posterior = pooled_decline(known, settings, SEED)
    volumes = posterior.cumulative(np.array([1.0, *(1.0 + m for m in AHEAD), 1.0 + HORIZON]))
    running = posterior.uptime if posterior.running_uptime is None else posterior.running_uptime
    return Ahead(
        history.well_id,
        month,
        np.array([after[:m].sum() for m in AHEAD]),
        (volumes[:, 1:3] - volumes[:, :1]).T,
        float(np.nansum(known.volume())),
        volumes[:, 3] - volumes[:, 0],
        running,
        known.peak_rate_per_d,
    )


def at_jobs_and_placebo(
    histories: Mapping[str, History], jobs: Sequence[tuple[str, np.datetime64]], draws: int, placebo: int
) -> tuple[list[Ahead], list[Ahead], list[Ahead]]:
    """Forecasts at the jobs, and at up to `placebo` dates of each well without a job: before the first, at any time."""
    dates: dict[str, list[np.datetime64]] = {}
    for well, month in jobs:
        if well in histories:
            dates.setdefault(well, []).append(month.astype("datetime64[M]"))
    at_jobs, before, anytime = [], [], []
    for well, months in dates.items():
        history = histories[well]
        at_jobs += [found for m in months if (found := look_ahead(history, m, draws)) is not None]
        free = [m for m in history.dates if all(_apart(m, job) for job in months)]
        for target, allowed in ((before, [m for m in free if m < min(months)]), (anytime, free)):
            generator = np.random.default_rng([SEED, zlib.crc32(well.encode())])
            left = placebo
            for m in generator.permutation(np.array(allowed, dtype="datetime64[M]")):
                if left and (found := look_ahead(history, m, draws)) is not None:
                    target.append(found)
                    left -= 1
    return at_jobs, before, anytime


def _apart(month: np.datetime64, job: np.datetime64) -> bool:
    """FAR from the job, and none of the months ahead touched by it."""
    gap = int((month - job).astype(int))
    return gap > FAR or gap < -(max(AHEAD) + 1)


def with_response(date: Ahead, uplift: Array, generator: Generator) -> Array:
    """Volumes (2, K) of the base and a job of uplifts (K,) by the product's response."""
    n = len(uplift)
    drawn = {key: from_spec(spec, key).ppf(generator.random(n)) for key, spec in STARTER.items()}
    slots = np.stack([np.ones(n), drawn["decline"], np.full(n, B), np.full(n, TERMINAL)])
    days = DAYS_PER_MONTH * date.uptime[:, None] * np.array([*AHEAD, HORIZON], dtype=np.float64)
    unit = cumulative("modified_hyperbolic", slots, days)
    ultimate = headroom_ultimate(date.produced, date.remaining, drawn["headroom"], 1.0)
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
        made = plainly(date.produced, date.remaining[k], unit[k, -1], 1.0, 1.0, terms)
        out[:, k] = made.keep * date.base[:, k] + made.new_rate * unit[k, :-1]
    return out


def rules(
    histories: Mapping[str, History], jobs: Sequence[tuple[str, np.datetime64]], wells: Sequence[WellJobs]
) -> dict[str, UpliftRule]:
    """Rules that draw the uplift of a job on a well; those of records know the other wells alone."""
    made: dict[tuple[str, str], Array] = {}

    def record(kind: str, well: str) -> Array:
        if (kind, well) not in made:
            if kind == "zeros":
                kept = [j for j in jobs if j[0] != well]
                uplift = uplift_of_jobs(histories, kept)[0]
                made[kind, well] = group_means(np.maximum(uplift, 0.0), np.ones(len(uplift)), 23)
            else:
                found = estimate([w for w in wells if w.well_id != well])
                values = group_means(found.responders, found.weight, 20)
                made[kind, well] = np.concatenate([[found.share], values])
        return made[kind, well]

    def starter(well: str, n: int, generator: Generator) -> Array:
        return from_spec(STARTER_UPLIFT, "uplift").ppf(generator.random(n))

    def zeros(well: str, n: int, generator: Generator) -> Array:
        return generator.choice(record("zeros", well), n)

    def responders(well: str, n: int, generator: Generator) -> Array:
        share, *values = record("responders", well)
        return generator.choice(values, n) * (generator.random(n) >= share)

    def with_factor(well: str, n: int, generator: Generator) -> Array:
        return responders(well, n, generator) * generator.choice(RECORDS["record_mean_factor"][0], n)

    return {
        "starter, all respond": starter,
        "record with zeros": zeros,
        "chance and responders": responders,
        "the same, with record factor": with_factor,
    }


def scored(dates: Sequence[Ahead], rule: UpliftRule | None) -> pd.DataFrame:
    """One row a date and months ahead: band, increment seen and forecast (in years at the peak rate)."""
    rows = []
    for date in dates:
        generator = np.random.default_rng([SEED, zlib.crc32(f"{date.well_id} {date.month}".encode())])
        n = date.base.shape[1]
        sample = (
            date.base if rule is None else with_response(date, rule(date.well_id, n, generator), generator)
        )
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
        "less_placebo": inside - inside_off,
        "se_less": (spread - spread_off).std(),
        "added": seen[0] - off[2][0],
        "se_added": (seen[1] - off[2][1]).std(),
        "forecast": forecast[0],
        "se_gap": (seen[1] - off[2][1] - forecast[1]).std(),
    }


def print_tables(
    at_jobs: Sequence[Ahead], placebo: Mapping[str, Sequence[Ahead]], of: Mapping[str, UpliftRule]
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
                rows.append(table_row(name, kept, rest, again))
            print(f"\n{months} months after; {len(rest)} dates without a job {kind}")
            print(pd.DataFrame(rows).round(3).to_string(index=False))


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("data", type=Path)
    parser.add_argument("--draws", type=int, default=1024)
    parser.add_argument("--placebo", type=int, default=3, help="dates without a job, a well")
    told = parser.parse_args()
    histories, jobs = read_jobs(told.data)
    at_jobs, before, anytime = at_jobs_and_placebo(histories, jobs, told.draws, told.placebo)
    wells = measured_wells(histories, jobs)
    print_tables(
        at_jobs, {"before the first job": before, "at any time": anytime}, rules(histories, jobs, wells)
    )


if __name__ == "__main__":
    main()
