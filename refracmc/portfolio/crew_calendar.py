"""Which crew does which job when, and how jobs that run late push the next, trial by trial.

Time is counted in working days from the valuation month, as many a month as the case says. Jobs are taken by month,
those of a pad together; each takes the crews that are free first, waits for both, and begins no earlier than its month.
The crews stay as planned in every trial; only the days of the jobs differ.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from refracmc.portfolio.choice_problem import Array, Whole


@dataclass(frozen=True, eq=False)
class CrewCalendar:
    """J jobs in the order in which they are done. order (J,): place among the jobs handed in; ct_crew, frac_crew (J,):
    from 1, 0 for none; planned_start, planned_end (J,): with the days as planned; start, end (J, n): trial by trial
    [working days]."""

    order: Whole
    ct_crew: Whole
    frac_crew: Whole
    planned_start: Array
    planned_end: Array
    start: Array
    end: Array


def crew_calendar(
    month: Whole,
    rank: Whole,
    planned: Array,
    days: Array,
    crews: tuple[int | None, int | None],
    working_days: float,
) -> CrewCalendar:
    """The calendar of J jobs.

    month (J,): planned month from 0; rank (J,): place within a month, lowest first; planned (2, J) and days (2, J, n):
    days of the CT crew and of the frac crew as planned and by trial, 0 for none; crews: how many CT and frac crews,
    None for one a job.
    """
    count, n = len(month), days.shape[2]
    order = np.lexsort((rank, month))
    number = [count if have is None else have for have in crews]
    free = [np.zeros((max(k, 1), n)) for k in number]
    plan = [np.zeros(max(k, 1)) for k in number]
    crew = np.zeros((2, count), dtype=np.intp)
    planned_start, planned_end = np.zeros(count), np.zeros(count)
    start, end = np.zeros((count, n)), np.zeros((count, n))
    for place, job in enumerate(order):
        used = [kind for kind in (0, 1) if planned[kind, job] > 0.0]
        taken = {kind: int(np.argmin(plan[kind])) for kind in used}
        opens = month[job] * working_days
        planned_start[place] = max([opens, *(plan[kind][taken[kind]] for kind in used)])
        begun = np.full(n, opens)
        for kind in used:
            begun = np.maximum(begun, free[kind][taken[kind]])
        start[place] = begun
        for kind in used:
            crew[kind, place] = taken[kind] + 1
            plan[kind][taken[kind]] = planned_start[place] + planned[kind, job]
            free[kind][taken[kind]] = begun + days[kind, job]
        planned_end[place] = planned_start[place] + planned[:, job].max()
        end[place] = begun + days[:, job].max(axis=0)
    return CrewCalendar(order, crew[0], crew[1], planned_start, planned_end, start, end)


def value_when(months: Array, dates: Whole, values: Array) -> Array:
    """Values (n,) of a job that begins at months (n,), broken ones allowed, between those valued at dates (D,), (D, n),
    by straight line in each trial; before the first and after the last date those of it."""
    at = np.clip(months, dates[0], dates[-1])
    if len(dates) == 1:
        only: Array = values[0]
        return only
    above = np.clip(np.searchsorted(dates, at, side="right"), 1, len(dates) - 1)
    low, high = dates[above - 1], dates[above]
    share = (at - low) / (high - low)
    trial = np.arange(values.shape[1])
    made: Array = values[above - 1, trial] * (1.0 - share) + values[above, trial] * share
    return made
