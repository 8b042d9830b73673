"""The review of a portfolio: the choice made, its calendar, its front, what more would be worth; as rows of tables."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from refracmc.case.portfolio_section import Portfolio
from refracmc.portfolio.choice_problem import Array, Choice, Whole
from refracmc.portfolio.crew_calendar import CrewCalendar, crew_calendar, value_when
from refracmc.portfolio.finished_run import FinishedRun
from refracmc.portfolio.front import Worth, efficient_front, worth_of_more
from refracmc.portfolio.limits import choice_of
from refracmc.portfolio.offered_jobs import OfferedJobs, offered_jobs, values_under
from refracmc.portfolio.rankings import RANKINGS, ranked_choice
from refracmc.portfolio.risk import Scored, best_choice
from refracmc.portfolio.robustness import Resampled, chosen_again, regrets, resampling_weights
from refracmc.portfolio.selection import Selection, select

Row = dict[str, Any]
RESAMPLE_GAP = 0.005
"""Gap of the choices made with resampled trials: their number tells more than their last digit."""


@dataclass(frozen=True, eq=False)
class Slips:
    """What delays do to the jobs of the calendar, in its order (J, n): days past the planned beginning [working days],
    whether it begins after its month, value lost [US$ WI]."""

    days: Array
    past_month: Array
    cost: Array


@dataclass(frozen=True, eq=False)
class Review:
    """All that was found. own: the choice; by_mean: that by mean value, which is the same without a risk weight."""

    run: FinishedRun
    settings: Portfolio
    jobs: OfferedJobs
    choice: Choice
    own: Scored
    by_mean: Selection
    calendar: CrewCalendar
    slips: Slips
    front: Sequence[tuple[float, Scored]]
    worth: Sequence[Worth]
    ranked: dict[str, Whole]
    resampled: Resampled
    regret: list[dict[str, float | str]] = field(default_factory=list)

    @cached_property
    def chosen_of(self) -> dict[int, int]:
        """The chosen job of each owner that has one."""
        return {int(self.jobs.owner[job]): int(job) for job in self.own.chosen}


def review(
    run: FinishedRun,
    settings: Portfolio,
    tell: Callable[[str], None] = lambda _: None,
) -> Review:
    """Choose, schedule and test; scenarios that were valued with the run are those of the regret.

    Raises NothingFitsError with what clashes, RunFailure where a block of the run is damaged.
    """
    tell("jobs")
    jobs = offered_jobs(run, settings, resampling_weights(run.sizes, run.seed, settings.resamples))
    choice = choice_of(run, jobs, settings)
    tell("choice")
    own = best_choice(jobs, choice, settings, run.tail_fraction)
    by_mean = (
        Selection(own.chosen, own.objective, own.bound, own.seconds, own.is_optimal)
        if settings.risk_weight == 0.0
        else select(choice, gap=settings.gap, time_limit_s=settings.time_limit_s)
    )
    calendar, slips = scheduled(jobs, choice, own.chosen, settings)
    tell("front")
    front = efficient_front(jobs, choice, settings, run.tail_fraction, own)
    tell("worth of more")
    worth = worth_of_more(choice, settings, by_mean.chosen)
    tell("resamples")
    resampled = chosen_again(
        choice, jobs.resampled, len(jobs.owners), max(settings.gap, RESAMPLE_GAP), settings.time_limit_s
    )
    ranked = {name: ranked_choice(jobs, choice, name) for name in RANKINGS}
    nothing = np.zeros((sum(run.sizes), 0))
    scenarios = [
        (name, values_under(jobs, offered_jobs(under, settings, nothing)))
        for name, under in run.under_scenarios()
    ]
    regret = regrets(choice, own.chosen, scenarios, settings.gap, settings.time_limit_s)
    return Review(
        run, settings, jobs, choice, own, by_mean, calendar, slips, front, worth, ranked, resampled, regret
    )


def scheduled(
    jobs: OfferedJobs, choice: Choice, chosen: Whole, settings: Portfolio
) -> tuple[CrewCalendar, Slips]:
    """The calendar of the chosen jobs, and what delays cost trial by trial."""
    pads = {name: k for k, name in enumerate(dict.fromkeys(jobs.pads))}
    place = np.array([pads[jobs.pads[jobs.owner[job]]] for job in chosen], dtype=np.intp)
    rank = np.argsort(np.lexsort((-jobs.value[chosen], place)))
    days = np.zeros((2, len(chosen), jobs.trials))
    for k, job in enumerate(chosen):
        if jobs.owner[job] < jobs.wells:
            days[:, k] = jobs.values(int(job), "job_days") * settings.crew_share_of_days
        else:
            days[:, k] = np.array([jobs.ct_days[job], jobs.frac_days[job]])[:, None]
    planned = np.array([jobs.ct_days[chosen], jobs.frac_days[chosen]])
    crews = (settings.ct_crews, settings.frac_crews)
    working = settings.working_days_per_month
    calendar = crew_calendar(jobs.month[chosen], rank, planned, days, crews, working)
    month = jobs.month[chosen][calendar.order].astype(np.float64)
    late = np.maximum(calendar.start - calendar.planned_start[:, None], 0.0)
    past = (calendar.start >= (month[:, None] + 1.0) * working).astype(np.float64)
    cost = np.zeros_like(late)
    for k, job in enumerate(chosen[calendar.order]):
        if late[k].any() and jobs.owner[job] < jobs.wells:
            dates, values = jobs.dates_of(int(job))
            then = value_when(month[k] + late[k] / working, dates, values)
            cost[k] = value_when(np.full(jobs.trials, month[k]), dates, values) - then
    return calendar, Slips(late, past, cost)
