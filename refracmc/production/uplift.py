"""The uplift of dated jobs, measured on records: what a restimulation added, per unit of the well's own
peak rate.

uplift = (best mean rate over three consecutive producing months within a year of the job - the decline
before the job continued to then) / the peak rate before the job (the same averaging). Taking the best three
months finds something even where nothing happened; how much is measured on placebo dates of the same wells,
far from any job, and a job that does not exceed the placebo's 90th percentile counts as no response (uplift
0). Depletion is not divided out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refracmc.production.history import SHORT_MONTH_DAYS, History
from refracmc.production.prior import SOURCE
from refracmc.production.stepups import falling_trend

Array = NDArray[np.float64]

BEFORE = 12
LEAST_BEFORE = 6
WINDOW = 12
BEST = 3
FAR = 18  # months between a placebo date and any job

# Sorted uplifts of the 115 measurable jobs of the source in 23 groups of five, group means, no-response mass included
# (47 % of the jobs): vertical wells with few stages, not multistage horizontal refracs; the last group is wells whose
# job opened more than they had produced from. Made by `uplift_of_jobs`; equal weights keep the mean.
DATED_JOBS: tuple[float, ...] = (
    0,
    0,
    0,
    0,
    0,
    0,
    0,
    0,
    0,
    0,
    0.01,
    0.09,
    0.24,
    0.34,
    0.4,
    0.42,
    0.48,
    0.57,
    0.65,
    0.85,
    1.24,
    1.74,
    8.05,
)
# Those of the jobs that responded, reports of one job taken together (105 jobs), in 20 groups of equal weight: each job
# by its chance of having responded, scaled so that chance and record together keep what jobs added beyond dates
# without a job; over what depletion left of it (0.87). Made by `benchmarks/no_response.py`, as the numbers below are.
RESPONDERS: tuple[float, ...] = (
    0.06,
    0.08,
    0.13,
    0.17,
    0.20,
    0.24,
    0.31,
    0.37,
    0.41,
    0.45,
    0.50,
    0.54,
    0.61,
    0.66,
    0.75,
    0.87,
    1.17,
    1.54,
    1.99,
    7.13,
)
# Mean uplift of responders in wells drawn again with replacement over its mean (bootstrap, 20 groups of equal weight).
RECORD_MEAN_FACTOR: tuple[float, ...] = (
    0.54,
    0.62,
    0.67,
    0.71,
    0.75,
    0.79,
    0.83,
    0.87,
    0.91,
    0.94,
    0.98,
    1.01,
    1.06,
    1.10,
    1.15,
    1.21,
    1.28,
    1.36,
    1.47,
    1.74,
)
# Share of the jobs without a response: twice the share whose gain lies below the middle of dates without a job; with
# its 80 % interval (wells drawn again), and the beta distribution that has that interval.
NO_RESPONSE_SHARE = 0.34
NO_RESPONSE_INTERVAL = (0.25, 0.44)
NO_RESPONSE_BETA = (13.8, 26.6)
_JOBS = f"{SOURCE} Fracture jobs a year or more after first production on vertical wells with few stages."
RECORDS = {
    "dated_jobs_vertical": (DATED_JOBS, _JOBS),
    "dated_jobs_responders": (RESPONDERS, f"{_JOBS} Those that responded."),
    "record_mean_factor": (RECORD_MEAN_FACTOR, f"{_JOBS} Spread of their mean with the wells drawn again."),
}


@dataclass(frozen=True)
class JobUplift:
    """One dated job: well, month, uplift (ratio to the peak rate before; negative where the well fell below
    its decline), peak rate before the job, best rate after, base (decline continued), all main phase per
    producing day; gain: best less base over the median rate of the last three months before (ratio)."""

    well_id: str
    month: np.datetime64
    uplift: float
    peak_before: float
    best_after: float
    base: float
    gain: float


def measure_uplift(history: History, month: np.datetime64) -> JobUplift | None:
    """Uplift (ratio to the peak rate) of a job in `month`; None where the months around it do not suffice."""
    volume = np.nan_to_num(history.volume())
    days = np.nan_to_num(history.uptime * history.days_in_month)
    good = (volume > 0) & (days >= SHORT_MONTH_DAYS)
    at = int((month.astype("datetime64[M]") - history.dates[0]).astype(int))
    index = np.arange(len(volume))
    before = np.flatnonzero(good & (index < at))
    after = np.flatnonzero(good & (index > at) & (index <= at + WINDOW))
    if len(before) < LEAST_BEFORE or len(after) < BEST:
        return None
    rate = np.where(good, volume / np.maximum(days, 1.0), np.nan)
    peak = _best(rate[before])[0]
    t, y = before[-BEFORE:].astype(np.float64), np.log(rate[before[-BEFORE:]])
    slope, level = falling_trend(t, y)
    best, start = _best(rate[after])
    recent = float(np.median(rate[before[-BEST:]]))
    middle = float(after[start : start + BEST].mean())
    base = float(np.exp(level + slope * middle))
    return JobUplift(
        history.well_id,
        month.astype("datetime64[M]"),
        (best - base) / peak,
        peak,
        best,
        base,
        (best - base) / recent,
    )


def _best(rates: Array) -> tuple[float, int]:
    """Best mean of three consecutive rates, and where it starts."""
    width = min(BEST, len(rates))
    means = np.convolve(rates, np.ones(width) / width, "valid")
    start = int(np.argmax(means))
    return float(means[start]), start


def placebo_jobs(history: History, jobs: Sequence[np.datetime64], step: int = 12) -> list[JobUplift]:
    """What is measured at dates with no job within FAR months, one every `step` months."""
    found = []
    for k in range(BEFORE, len(history) - WINDOW, step):
        month = history.dates[k]
        if all(abs(int((month - job.astype("datetime64[M]")).astype(int))) > FAR for job in jobs):
            measured = measure_uplift(history, month)
            if measured is not None:
                found.append(measured)
    return found


def uplift_of_jobs(
    histories: Mapping[str, History], jobs: Sequence[tuple[str, np.datetime64]]
) -> tuple[Array, Array, float]:
    """Uplifts (ratio) of dated jobs with the no-response mass at 0, the raw ones, and the placebo threshold
    (ratio).

    jobs: (well_id, month). Jobs that cannot be measured are left out. Raises ValueError where none can be.
    """
    dates: dict[str, list[np.datetime64]] = {}
    for well, month in jobs:
        dates.setdefault(well, []).append(month)
    measured = [measure_uplift(histories[well], month) for well, month in jobs if well in histories]
    kept = [m for m in measured if m is not None]
    raw = np.array([m.uplift for m in kept])
    gain = np.array([m.gain for m in kept])
    placebo = [
        m.gain
        for well, months in dates.items()
        if well in histories
        for m in placebo_jobs(histories[well], months)
    ]
    if not len(raw) or not placebo:
        raise ValueError("no job with six producing months before and three after, or no placebo date")
    threshold = float(np.quantile(placebo, 0.9))
    return np.where(gain > threshold, raw, 0.0), raw, threshold


def named_uplift(name: str) -> tuple[tuple[float, ...], str]:
    """Quantiles (ratio to the peak rate, equally spaced in probability from 0 to 1) of a shipped record,
    and source."""
    if name not in RECORDS:
        raise ValueError(f"uplift record is {name!r}; allowed: {sorted(RECORDS)}")
    return RECORDS[name]
