"""The limits of a choice among wells: capital by year and in all, crews by month, pads that share a mobilisation."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from refracmc.case import units
from refracmc.case.portfolio_section import Portfolio
from refracmc.portfolio.choice_problem import Array, Choice, Limit, Whole
from refracmc.portfolio.finished_run import FinishedRun
from refracmc.portfolio.offered_jobs import OfferedJobs, spread_over_months

CT, FRAC = "CT crews", "frac crews"


def choice_of(run: FinishedRun, jobs: OfferedJobs, settings: Portfolio) -> Choice:
    """The choice among the offered jobs under the settings; value is the mean."""
    groups = _pad_months(jobs)
    saved = np.array([jobs.saving_usd[np.unique(jobs.owner[group])].mean() for group in groups])
    at = np.array([jobs.month[group[0]] for group in groups], dtype=np.float64)
    worth = saved * (1.0 + run.annual_discount_rate) ** -((at + 0.5) / 12.0)
    number_of = {name: number for number, name in enumerate(jobs.owners)}
    return Choice(
        jobs.owner,
        jobs.value,
        (*_capital(run, jobs, settings, groups, saved), *_crews(jobs, settings, run)),
        frozenset(number_of[name] for name in settings.must_do if name in number_of),
        tuple(groups),
        worth.reshape(len(groups)),
        jobs.owners,
    )


def _pad_months(jobs: OfferedJobs) -> list[Whole]:
    """Jobs of one pad in one month, where two wells or more have some."""
    by_place: dict[tuple[str, int], list[int]] = {}
    for job in range(jobs.count):
        pad = jobs.pads[jobs.owner[job]]
        if pad:
            by_place.setdefault((pad, int(jobs.month[job])), []).append(job)
    made = [np.array(members, dtype=np.intp) for members in by_place.values()]
    return [group for group in made if len(np.unique(jobs.owner[group])) > 1]


def _capital(
    run: FinishedRun, jobs: OfferedJobs, settings: Portfolio, groups: list[Whole], saved: Array
) -> list[Limit]:
    years = (units.month_number(run.valuation_month) + jobs.month) // 12
    of_group = np.array([years[group[0]] for group in groups])
    limits = []
    if settings.capital_usd is not None:
        limits.append(Limit("capital", jobs.capital, settings.capital_usd, saved.reshape(len(groups))))
    for year, most in sorted(settings.capital_by_year.items()):
        inside, there = years == int(year), of_group == int(year)
        limits.append(
            Limit(f"capital {year}", jobs.capital * inside, float(most), (saved * there).reshape(len(groups)))
        )
    return limits


def _crews(jobs: OfferedJobs, settings: Portfolio, run: FinishedRun) -> list[Limit]:
    limits = []
    for name, crews, days in (
        (CT, settings.ct_crews, jobs.ct_days),
        (FRAC, settings.frac_crews, jobs.frac_days),
    ):
        if crews is None or not jobs.count:
            continue
        working = settings.working_days_per_month
        last = int(jobs.month.max() + np.ceil(days.max() / working))
        use = np.array(
            [spread_over_months(d, m, last + 1, working) for d, m in zip(days, jobs.month, strict=True)]
        )
        for month in np.flatnonzero(use.any(axis=0)):
            limits.append(Limit(f"{name} {month_text(run, int(month))}", use[:, month], crews * working))
    return limits


def month_text(run: FinishedRun, month: int) -> str:
    """A month counted from the valuation month as YYYY-MM."""
    return units.month_text(units.month_number(run.valuation_month) + month)


def with_more(choice: Choice, more: dict[str, float]) -> Choice:
    """The same choice with some limits raised, by name."""
    limits = tuple(replace(x, most=x.most + more.get(x.name, 0.0)) for x in choice.limits)
    return replace(choice, limits=limits)
