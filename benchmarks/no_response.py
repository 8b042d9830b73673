"""How many dated jobs did nothing, and what the others added: the numbers behind the shipped records.

    python -m benchmarks.no_response DATA_DIR [--draws N] [--simulate]

DATA_DIR holds jobs.csv (well_id, job_start) and production.parquet. Noise alone makes about half of all changes
negative, so a job below its decline has not failed by that, nor has one inside the noise. Every job is ranked among
dates without a job instead (its p-value: the share of placebo gains that are larger; dates of a well count alike,
wells by their jobs). Without a response p-values are uniform; with one they crowd near 0. The share above HALF, over
1 - HALF, is then the share without a response (Storey 2002, J. R. Statist. Soc. B 64, 479-498): an upper bound in the
mean, since a response too weak to be told from noise counts as none. The chance that a job responded, given its rank,
is 1 less that share over the density of the ranks, which is taken as falling (Grenander 1956). The best three months
of a year find something even at a date without a job: responders are scaled so that together with the share without
a response they keep what jobs added beyond those dates. What depletion takes of an uplift in the model it had taken of
what is measured, so the record is what it would have been without. Intervals: wells drawn again with their jobs and
their placebo dates.

--simulate puts known responses on placebo dates and prints bias and coverage of the estimator."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from refracmc.production.history import History, HistoryProblem, build_history
from refracmc.production.uplift import WINDOW, JobUplift, measure_uplift, placebo_jobs

Array = NDArray[np.float64]
HALF = 0.5
STEP = 3  # months between placebo dates of a well
SEED = 20261201
BAND = (0.1, 0.9)
LEFT_BY_DEPLETION = 0.87
"""Mean of (1 - depletion)^g at the jobs in the starter's terms, as `benchmarks.dated_jobs` prints it."""


@dataclass(frozen=True)
class WellJobs:
    """Measured jobs and placebo dates of one well: gains (ratio to the rate before) and uplifts (ratio to the peak)."""

    well_id: str
    gain: Array
    uplift: Array
    placebo_gain: Array
    placebo_uplift: Array


@dataclass(frozen=True)
class Finding:
    """share: of jobs without a response; uplift, weight (jobs,): of every job, weight the chance that it responded;
    mean: uplift of a job that responds (ratio to the peak rate)."""

    share: float
    uplift: Array
    weight: Array
    mean: float

    @property
    def responders(self) -> Array:
        """Uplifts (jobs,) scaled so that their weighted mean is `mean`; below the decline counts as 0."""
        kept = np.maximum(self.uplift, 0.0)
        return kept * self.mean / float(np.average(kept, weights=self.weight))


def read_jobs(folder: Path) -> tuple[dict[str, History], list[tuple[str, np.datetime64]]]:
    """Histories by well, and (well, month) of every job; what was pumped within a year of a job belongs to it."""
    frame = pd.read_parquet(folder / "production.parquet")
    histories: dict[str, History] = {}
    for well, rows in frame.groupby(frame["well_id"].astype(str), sort=True):
        try:
            histories[str(well)] = build_history(rows, str(well), "auto")
        except HistoryProblem:
            continue
    table = pd.read_csv(folder / "jobs.csv", dtype={"well_id": str})
    months = pd.to_datetime(table["job_start"]).to_numpy().astype("datetime64[M]")
    jobs: list[tuple[str, np.datetime64]] = []
    last: dict[str, np.datetime64] = {}
    for well, month in sorted(zip(table["well_id"], months, strict=True)):
        if well not in last or month - last[well] > np.timedelta64(WINDOW, "M"):
            jobs.append((well, month))
            last[well] = month
    return histories, jobs


def measured_wells(
    histories: dict[str, History], jobs: Sequence[tuple[str, np.datetime64]], step: int = STEP
) -> list[WellJobs]:
    """Jobs and placebo dates of every well with at least one of both that can be measured."""
    dates: dict[str, list[np.datetime64]] = {}
    for well, month in jobs:
        dates.setdefault(well, []).append(month)
    found = []
    for well, months in dates.items():
        history = histories.get(well)
        if history is None:
            continue
        own = [m for m in (measure_uplift(history, month) for month in months) if m is not None]
        placebo = placebo_jobs(history, months, step)
        if own and placebo:
            found.append(WellJobs(well, *_columns(own), *_columns(placebo)))
    return found


def _columns(measured: Sequence[JobUplift]) -> tuple[Array, Array]:
    return np.array([m.gain for m in measured]), np.array([m.uplift for m in measured])


def p_values(wells: Sequence[WellJobs]) -> Array:
    """Share of placebo gains above each job's gain (jobs,): wells weigh by their jobs, dates of a well alike."""
    gain = np.concatenate([w.gain for w in wells])
    placebo = np.concatenate([w.placebo_gain for w in wells])
    order = np.argsort(placebo)
    below = np.concatenate([[0.0], np.cumsum(_date_weights(wells)[order])])
    return 1.0 - below[np.searchsorted(placebo[order], gain, side="left")] / below[-1]


def _date_weights(wells: Sequence[WellJobs]) -> Array:
    return np.concatenate([np.full(len(w.placebo_gain), len(w.gain) / len(w.placebo_gain)) for w in wells])


def share_without_response(p: Array, cut: float = HALF) -> float:
    """Share of jobs without a response from p-values (jobs,), in 0..1 (Storey 2002)."""
    return float(min(np.mean(p > cut) / (1.0 - cut), 1.0))


def falling_density(p: Array) -> Array:
    """Density of p-values at each of them (jobs,), falling from 0 to 1: slopes of the least concave majorant of their
    distribution (Grenander 1956)."""
    x = np.concatenate([[0.0], np.sort(p), [1.0]])
    y = np.concatenate([np.arange(len(p) + 1) / len(p), [1.0]])
    hull = [0]
    for k in range(1, len(x)):
        while len(hull) > 1 and (y[k] - y[hull[-2]]) * (x[hull[-1]] - x[hull[-2]]) >= (
            y[hull[-1]] - y[hull[-2]]
        ) * (x[k] - x[hull[-2]]):
            hull.pop()
        hull.append(k)
    corners = x[hull]
    slope = np.diff(y[hull]) / np.maximum(np.diff(corners), 1e-12)
    return slope[np.clip(np.searchsorted(corners, p, side="left") - 1, 0, len(slope) - 1)]


def estimate(wells: Sequence[WellJobs]) -> Finding:
    """The share without a response and the responders of measured wells."""
    p = p_values(wells)
    share = share_without_response(p)
    weight = np.clip(1.0 - share / np.maximum(falling_density(p), 1e-12), 0.0, 1.0)
    uplift = np.concatenate([w.uplift for w in wells])
    nothing = np.average(np.concatenate([w.placebo_uplift for w in wells]), weights=_date_weights(wells))
    mean = (float(uplift.mean()) - float(nothing)) / LEFT_BY_DEPLETION / max(1.0 - share, 1e-3)
    return Finding(share, uplift, weight, mean)


def resampled(wells: Sequence[WellJobs], draws: int, seed: int = SEED) -> list[Finding]:
    """Estimates of `draws` sets of wells drawn with replacement."""
    generator = np.random.default_rng(seed)
    return [estimate([wells[k] for k in generator.integers(0, len(wells), len(wells))]) for _ in range(draws)]


def group_means(values: Array, weights: Array, groups: int) -> Array:
    """Means (groups,) of the sorted values in groups of equal weight, so that equal weights keep the mean."""
    order = np.argsort(values)
    edge = np.concatenate([[0.0], np.cumsum(weights[order])]) / weights.sum()
    sums = np.concatenate([[0.0], np.cumsum(values[order] * weights[order])]) / weights.sum()
    return np.diff(np.interp(np.linspace(0.0, 1.0, groups + 1), edge, sums)) * groups


def simulated(
    wells: Sequence[WellJobs], share: float, log_sd: float, middle: float, seed: int
) -> list[WellJobs]:
    """Wells with one invented job each: the gain of a placebo date and, but for `share` of them, a lognormal gain."""
    generator = np.random.default_rng(seed)
    out = []
    for w in wells:
        if len(w.placebo_gain) < 5:
            continue
        k = int(generator.integers(len(w.placebo_gain)))
        added = 0.0 if generator.random() < share else middle * np.exp(log_sd * generator.standard_normal())
        away = np.abs(np.arange(len(w.placebo_gain)) - k) > 6  # their windows touch
        away = away if away.sum() >= 2 else np.arange(len(w.placebo_gain)) != k
        ratio = w.placebo_uplift[k] / w.placebo_gain[k] if w.placebo_gain[k] else 0.0
        gain = w.placebo_gain[k : k + 1] + added
        out.append(
            WellJobs(
                w.well_id,
                gain,
                w.placebo_uplift[k : k + 1] + added * ratio,
                w.placebo_gain[away],
                w.placebo_uplift[away],
            )
        )
    return out


def check_on_invented(wells: Sequence[WellJobs], trials: int, draws: int) -> pd.DataFrame:
    """Bias and coverage (of the 80 % interval) of the share, on invented jobs of known share."""
    rows = []
    for middle, log_sd in ((2.5, 1.2), (1.0, 0.8), (0.4, 0.8)):
        for share in (0.0, 0.2, 0.4, 0.6, 1.0):
            found, inside = [], []
            for k in range(trials):
                made = simulated(wells, share, log_sd, middle, SEED + k)
                found.append(estimate(made).share)
                low, high = np.quantile([f.share for f in resampled(made, draws, k)], BAND)
                inside.append(low <= share <= high)
            rows.append(
                {
                    "median_gain": middle,
                    "true_share": share,
                    "mean_found": np.mean(found),
                    "sd_found": np.std(found),
                    "bias": np.mean(found) - share,
                    "covered_80": np.mean(inside),
                }
            )
    return pd.DataFrame(rows)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("data", type=Path)
    parser.add_argument("--draws", type=int, default=2000)
    parser.add_argument("--simulate", action="store_true")
    told = parser.parse_args()
    wells = measured_wells(*read_jobs(told.data))
    if told.simulate:
        print(check_on_invented(wells, 100, 100).round(3).to_string(index=False))
        return
    found, again = estimate(wells), resampled(wells, told.draws)
    p = p_values(wells)
    shares, means = np.array([f.share for f in again]), np.array([f.mean for f in again])
    print(f"{len(wells)} wells, {len(p)} jobs, {sum(len(w.placebo_gain) for w in wells)} placebo dates")
    print(f"share without a response {found.share:.3f}, 80 % interval {np.quantile(shares, BAND).round(3)}")
    print(f"mean and sd over draws {shares.mean():.3f} {shares.std():.3f}")
    for cut in (0.1, 0.25, 0.4, 0.5, 0.6, 0.75, 0.9):
        print(f"  cut {cut:.2f}: {share_without_response(p, cut):.3f}")
    print(f"mean uplift of responders {found.mean:.3f}, 80 % interval {np.quantile(means, BAND).round(3)}")
    print(
        f"jobs that responded for certain: {found.weight.sum():.1f}; weights {np.sort(found.weight).round(2)}"
    )
    print("record", group_means(found.responders, found.weight, 20).round(3).tolist())
    print("mean factor", (group_means(means / means.mean(), np.ones(len(means)), 20)).round(3).tolist())
    print("correlation of share and mean over draws", np.corrcoef(shares, means)[0, 1].round(2))


if __name__ == "__main__":
    main()
