"""The base of wells with dated jobs at the jobs and at dates without one, forecast by what was known at the date.

The other wells teach each fit by their months before that date and before their own first job; all count as one field.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.no_response import SEED
from refracmc.production.decline import technical_volume
from refracmc.production.fit import FitRefused, FitSettings, fit_decline, pooled_decline
from refracmc.production.history import History
from refracmc.production.pooling import choose_wells, learn_field
from refracmc.production.posterior import DAYS_PER_MONTH, Posterior
from refracmc.production.prior import PooledPrior, default_prior
from refracmc.production.teachers import Teacher
from refracmc.production.uplift import FAR, LEAST_BEFORE

Array = NDArray[np.float64]
AHEAD = (12, 24)
TECHNICAL_LIMIT = {"oil": 1.0, "gas": 6.0}  # per day, as the keys of the case


@dataclass(frozen=True)
class Ahead:
    """One date of one well, K draws of the base.

    actual (2,): main-phase volume of the months AHEAD after the month of the date; base (2, K): the forecast of it;
    produced: volume before; technical (K,): recovery of the base to the technical limit (limit, per day); uptime (K,):
    of a stream the job brings; peak: best rate before per day; ran: share of calendar time it ran in the year after;
    on: whether it produced in the three months before. Volumes in bbl or Mcf.
    """

    well_id: str
    month: np.datetime64
    actual: Array
    base: Array
    produced: float
    technical: Array
    limit: float
    uptime: Array
    peak: float
    ran: float
    on: bool

    @property
    def year_at_peak(self) -> float:
        """Volume of a year at the peak rate."""
        return self.peak * 12.0 * DAYS_PER_MONTH


def field_prior(teachers: Mapping[str, Teacher], known: History) -> PooledPrior:
    """The shipped prior moved by the other wells, by their months before the end of a history."""
    date = known.dates[-1] + 1
    mine = [n for n, t in teachers.items() if n != known.well_id and t.phase(date) == known.main_phase]
    told = [teachers[name].evidence(date) for name in choose_wells(mine)]
    return learn_field([e for e in told if e is not None], default_prior(known.main_phase))


def teachers_of(
    histories: Mapping[str, History], jobs: Sequence[tuple[str, np.datetime64]]
) -> dict[str, Teacher]:
    """The wells by their months before their first job."""
    first: dict[str, np.datetime64] = {}
    for well, month in jobs:
        first[well] = min(first.get(well, month), month)
    heads = {
        n: h.head(int((first[n].astype("datetime64[M]") - h.dates[0]).astype(int)))
        for n, h in histories.items()
        if n in first
    }
    return {name: Teacher(head, "auto", SEED) for name, head in heads.items() if len(head)}


def look_ahead(
    history: History, month: np.datetime64, draws: int, teachers: Mapping[str, Teacher]
) -> Ahead | None:
    """The date with its base forecast; None where a month is not declared, or fewer than six produced before."""
    at = int((month.astype("datetime64[M]") - history.dates[0]).astype(int))
    if at < LEAST_BEFORE or at + max(AHEAD) >= len(history):
        return None
    after = history.volume()[at + 1 : at + 1 + max(AHEAD)]
    known = history.head(at)
    if not np.isfinite(after).all() or int((np.nan_to_num(known.volume()) > 0).sum()) < LEAST_BEFORE:
        return None
    settings = FitSettings(draws=draws, particles=512, prior=field_prior(teachers, known))
    posterior: Posterior
    try:
        posterior = fit_decline(known, settings, SEED)
    except FitRefused:
        posterior = pooled_decline(known, settings, SEED)
    volumes = posterior.cumulative(np.array([1.0, *(1.0 + m for m in AHEAD)]))
    produced, limit = float(np.nansum(known.volume())), TECHNICAL_LIMIT[known.main_phase]
    ahead = technical_volume(posterior.form, posterior.slots, limit)
    running = posterior.uptime if posterior.running_uptime is None else posterior.running_uptime
    return Ahead(
        history.well_id,
        month,
        np.array([after[:m].sum() for m in AHEAD]),
        (volumes[:, 1:] - volumes[:, :1]).T,
        produced,
        produced + np.where(posterior.uptime > 0.0, ahead, 0.0),
        limit,
        running,
        known.peak_rate_per_d,
        float(np.nanmean(history.uptime[at + 1 : at + 13])),
        bool((np.nan_to_num(known.volume())[-3:] > 0.0).any()),
    )


def at_jobs_and_placebo(
    histories: Mapping[str, History],
    jobs: Sequence[tuple[str, np.datetime64]],
    draws: int,
    placebo: int,
    teachers: Mapping[str, Teacher],
) -> tuple[list[Ahead], list[Ahead], list[Ahead]]:
    """Forecasts at the jobs, and at up to `placebo` dates of each well without a job: before the first, at any time.

    teachers: wells that teach the fits, empty where none does."""
    dates: dict[str, list[np.datetime64]] = {}
    for well, month in jobs:
        if well in histories:
            dates.setdefault(well, []).append(month.astype("datetime64[M]"))
    at_jobs: list[Ahead] = []
    before: list[Ahead] = []
    anytime: list[Ahead] = []
    for well, months in dates.items():
        history = histories[well]
        at_jobs += [found for m in months if (found := look_ahead(history, m, draws, teachers)) is not None]
        free = [m for m in history.dates if all(_apart(m, job) for job in months)]
        for target, allowed in ((before, [m for m in free if m < min(months)]), (anytime, free)):
            generator = np.random.default_rng([SEED, zlib.crc32(well.encode())])
            left = placebo
            for m in generator.permutation(np.array(allowed, dtype="datetime64[M]")):
                if left and (found := look_ahead(history, m, draws, teachers)) is not None:
                    target.append(found)
                    left -= 1
    return at_jobs, before, anytime


def _apart(month: np.datetime64, job: np.datetime64) -> bool:
    """FAR from the job, and none of the months ahead touched by it."""
    gap = int((month - job).astype(int))
    return gap > FAR or gap < -(max(AHEAD) + 1)
