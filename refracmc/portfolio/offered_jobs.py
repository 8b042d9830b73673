"""The jobs that may be chosen: every well with every strategy of a fixed date, and the projects that are no refrac.

Trials of one number have the same prices and shared costs in all wells, so a sum over jobs is taken trial by trial. In
a month between two that were valued a job has the values between theirs, trial by trial, by straight line.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from refracmc.case import units
from refracmc.case.portfolio_section import OtherProject, Portfolio
from refracmc.engine.trials import Rows
from refracmc.portfolio.choice_problem import Array, Whole
from refracmc.portfolio.finished_run import FinishedRun, ValuedWell
from refracmc.sampling.streams import generator, open_uniforms

_LONGEST_MONTHS = 240
"""Months over which one job's days may spread."""
PERCENTILE = {"p90": 0.1, "p50": 0.5, "p10": 0.9}


@dataclass(frozen=True, eq=False)
class Placed:
    """Where a job of a well stands among its strategies: rows on both sides of its month and the share of the later."""

    low: int
    high: int
    share: float


@dataclass(frozen=True, eq=False)
class OfferedJobs:
    """K jobs of O owners, wells first. All money is US$ WI.

    owner (K,); month (K,): from the valuation month 0; value, value_p50, p_loss, capital, ct_days, frac_days (K,): mean
    value, its P50, chance of a loss, mean capital, days of the crews as the limits count them; resampled (K, B): mean
    value over resampled trials; orders: what is done, by job; pads: by owner; saving_usd (O,): capital saved where the
    owner's pad is already manned in the month.
    """

    owners: tuple[str, ...]
    pads: tuple[str, ...]
    wells: int
    orders: tuple[str, ...]
    placed: tuple[Placed, ...]
    owner: Whole
    month: Whole
    value: Array
    value_p50: Array
    p_loss: Array
    capital: Array
    ct_days: Array
    frac_days: Array
    resampled: Array
    saving_usd: Array
    first_month: str
    """The valuation month."""
    triggered: int
    """Strategies left out since a trigger sets their date."""
    _trials: Mapping[int, ValuedWell] = field(repr=False)
    _others: Mapping[int, Array] = field(repr=False)

    @property
    def count(self) -> int:
        """Jobs offered."""
        return len(self.owner)

    def values(self, job: int, measure: str = "incremental_npv") -> Array:
        """Trials (n,) of a kept measure of one job; of a project that is no refrac its value, or its plain capital."""
        owner = int(self.owner[job])
        if owner in self._others:
            plain = {"capex": self.capital[job], "job_days": max(self.ct_days[job], self.frac_days[job])}
            values = self._others[owner]
            return values if measure == "incremental_npv" else np.full(len(values), plain[measure])
        return _mixed(self._trials[owner].measures[measure], self.placed[job])

    def summed(self, jobs: Whole | Sequence[int], measure: str = "incremental_npv") -> Array:
        """Trials (n,) of the sum over jobs."""
        total = np.zeros(self.trials)
        for job in jobs:
            total += self.values(int(job), measure)
        return total

    @property
    def trials(self) -> int:
        """Trials of every job."""
        for well in self._trials.values():
            return len(well.measures["incremental_npv"][0])
        return len(next(iter(self._others.values())))

    def grouped(self, parts: Array) -> Array:
        """Values of all jobs (K, S) in groups of trials; parts (n, S): weight of each trial in a group."""
        found = np.empty((self.count, parts.shape[1]))
        for owner in range(len(self.owners)):
            jobs = np.flatnonzero(self.owner == owner)
            if owner in self._others:
                found[jobs] = self._others[owner] @ parts
            elif len(jobs):
                rows = self._trials[owner].measures["incremental_npv"].whole() @ parts
                found[jobs] = [_mixed(rows, self.placed[job]) for job in jobs]
        return found

    def dates_of(self, job: int) -> tuple[Whole, Array]:
        """Months (D,) in which the same was valued, and its values (D, n) there; of a project that is no refrac its one
        value."""
        owner = int(self.owner[job])
        if owner in self._others:
            return self.month[[job]], self._others[owner][None]
        well, months, rows = self._trials[owner], [], []
        for row, name in enumerate(well.strategies):
            order, date = _order_and_month(name)
            if order == self.orders[job] and date is not None:
                months.append(date)
                rows.append(row)
        at = np.array([units.month_number(date) for date in months]) - units.month_number(self.first_month)
        by_month = np.argsort(at, kind="stable")
        values = well.measures["incremental_npv"]
        return at[by_month], np.array([values[rows[k]] for k in by_month])


def values_under(jobs: OfferedJobs, other: OfferedJobs) -> Array:
    """Mean values (K,) of jobs as another run has them, 0 for those it does not have."""
    there = {
        (other.owners[owner], order, int(month)): float(value)
        for owner, order, month, value in zip(
            other.owner, other.orders, other.month, other.value, strict=True
        )
    }
    keys = zip(jobs.owner, jobs.orders, jobs.month, strict=True)
    return np.array([there.get((jobs.owners[k], order, int(m)), 0.0) for k, order, m in keys])


def _mixed(rows: Rows | Array, placed: Placed) -> Array:
    """What a job has of the rows of its well's strategies."""
    low: Array = rows[placed.low]
    return low if placed.share == 0.0 else low + (rows[placed.high] - low) * placed.share


def _order_and_month(strategy: str) -> tuple[str, str | None]:
    """Order, and the month of a strategy of a fixed date."""
    order, at, date = strategy.rpartition("@")
    return (order, date) if at and date[:1].isdigit() else (strategy, None)


def _places(well: ValuedWell, first: int, every: bool) -> list[tuple[str, int, Placed]]:
    """Order, month and place of each job of a well."""
    by_order: dict[str, list[tuple[int, int]]] = {}
    for row, name in enumerate(well.strategies):
        order, date = _order_and_month(name)
        if date is not None:
            by_order.setdefault(order, []).append((units.month_number(date) - first, row))
    made = []
    for order, dated in by_order.items():
        dated.sort()
        for k, (month, row) in enumerate(dated):
            made.append((order, month, Placed(row, row, 0.0)))
            following = dated[k + 1] if every and k + 1 < len(dated) else None
            for between in range(month + 1, following[0]) if following else ():
                assert following is not None
                share = (between - month) / (following[0] - month)
                made.append((order, between, Placed(row, following[1], share)))
    return made


def _of_well(
    well: ValuedWell, places: Sequence[Placed], settings: Portfolio, resampling: Array
) -> tuple[Array, Array]:
    """Figures (5, K) of the jobs of a well - value, its P50, chance of loss, capital, days - and their values over
    resampled trials (K, B); resampling (n, B): weight of each trial."""
    value, capex, days = (well.measures[name].whole() for name in ("incremental_npv", "capex", "job_days"))
    values = np.array([_mixed(value, placed) for placed in places])
    counted = np.array([_mixed(days, placed) for placed in places])
    if settings.days == "mean":
        crew = counted.mean(axis=1)
    else:
        crew = np.quantile(counted, PERCENTILE[settings.days], axis=1)
    capital = np.array([_mixed(capex.mean(axis=1), placed) for placed in places])
    figures = [values.mean(axis=1), np.median(values, axis=1), (values < 0).mean(axis=1), capital, crew]
    return np.array(figures), values @ resampling


def _of_project(project: OtherProject, run: FinishedRun, resampling: Array) -> tuple[Array, Array, Array]:
    """Values (n,) of a project that is no refrac, its figures (5,), its values over resampled trials (B,)."""
    drawn = [
        project.value_usd.ppf(open_uniforms(generator(run.seed, "portfolio.other", project.name, k), size))
        for k, size in enumerate(run.sizes)
    ]
    values = np.concatenate([np.asarray(part, dtype=np.float64) for part in drawn])
    figures = np.array([values.mean(), np.median(values), (values < 0).mean(), project.capital_usd, 0.0])
    return values, figures, values @ resampling


def offered_jobs(run: FinishedRun, settings: Portfolio, resampling: Array) -> OfferedJobs:
    """All jobs that may be chosen; wells and projects of `must_not` have none. resampling (n, B): weight of each trial
    in each resample, sums of 1."""
    first = units.month_number(run.valuation_month)
    names: list[str] = []
    pads: list[str] = []
    savings: list[float] = []
    owner: list[int] = []
    month: list[int] = []
    orders: list[str] = []
    placed: list[Placed] = []
    figures: list[Array] = []
    resampled: list[Array] = []
    days: list[Array] = []
    trials: dict[int, ValuedWell] = {}
    others: dict[int, Array] = {}
    triggered = 0
    for well in run.wells():
        number = len(names)
        names.append(well.name)
        pads.append(well.pad)
        gross = well.mobilisation_usd if settings.pad_saving_usd is None else settings.pad_saving_usd
        savings.append(gross * well.working_interest)
        trials[number] = well
        triggered += sum(_order_and_month(name)[1] is None for name in well.strategies[1:])
        places = [] if well.name in settings.must_not else _places(well, first, settings.months == "every")
        if places:
            its, again = _of_well(well, [at for _, _, at in places], settings, resampling)
            figures.append(its)
            resampled.append(again)
            held = its[4] * settings.crew_share_of_days
            days.append(np.array([held, held]))
        owner += [number] * len(places)
        month += [at for _, at, _ in places]
        orders += [order for order, _, _ in places]
        placed += [at for _, _, at in places]
    wells = len(names)
    for project in settings.other:
        number = len(names)
        names.append(project.name)
        pads.append("")
        savings.append(0.0)
        others[number], its, again = _of_project(project, run, resampling)
        allowed = [] if project.name in settings.must_not else sorted(set(project.months))
        count = len(allowed)
        figures.append(np.tile(its[:, None], count))
        resampled.append(np.tile(again, (count, 1)))
        days.append(np.tile([[project.ct_days], [project.frac_days]], count))
        owner += [number] * count
        month += [units.month_number(date) - first for date in allowed]
        orders += ["as stated"] * count
        placed += [Placed(0, 0, 0.0)] * count
    table = np.concatenate(figures, axis=1) if figures else np.zeros((5, 0))
    crews = np.concatenate(days, axis=1) if days else np.zeros((2, 0))
    value, median, loss, capital, _ = table
    return OfferedJobs(
        tuple(names),
        tuple(pads),
        wells,
        tuple(orders),
        tuple(placed),
        np.array(owner, dtype=np.intp),
        np.array(month, dtype=np.intp),
        value,
        median,
        loss,
        capital,
        crews[0],
        crews[1],
        np.concatenate(resampled) if resampled else np.zeros((0, resampling.shape[1])),
        np.array(savings),
        run.valuation_month,
        triggered,
        trials,
        others,
    )


def spread_over_months(days: float, month: int, months: int, working_days: float) -> Array:
    """Crew-days (months,) of a job of so many days that starts in a month: one crew, so many days a month."""
    found, left = np.zeros(months), days
    for at in range(month, min(months, month + _LONGEST_MONTHS)):
        found[at] = min(left, working_days)
        left -= found[at]
        if left <= 0.0:
            break
    return found
