"""The crew calendar and what delays cost.

Oracle: calendars worked out by hand, one trial at a time with plain numbers; straight lines by algebra.
"""

import numpy as np
import pytest

from refracmc.portfolio.crew_calendar import crew_calendar, value_when
from refracmc.portfolio.offered_jobs import spread_over_months


def test_late_job_pushes_the_next_of_its_crew() -> None:
    """One crew, 20 days a month: two jobs of 12 and 6 planned days in month 0, one in month 1."""
    days = np.array([[12.0, 25.0, 8.0], [6.0, 6.0, 6.0], [5.0, 5.0, 5.0]])
    both = np.array([days, days])
    planned = np.array([[12.0, 6.0, 5.0]] * 2)
    found = crew_calendar(np.array([0, 0, 1]), np.arange(3), planned, both, (1, 1), 20.0)
    assert found.planned_start.tolist() == [0.0, 12.0, 20.0]
    assert found.start.tolist() == [[0.0, 0.0, 0.0], [12.0, 25.0, 8.0], [20.0, 31.0, 20.0]]
    assert found.end[:, 1].tolist() == [25.0, 31.0, 36.0]


def test_two_crews_share_the_jobs_and_none_waits() -> None:
    planned = np.array([[10.0, 10.0, 4.0]] * 2)
    days = np.repeat(planned[:, :, None], 2, axis=2)
    found = crew_calendar(np.zeros(3, dtype=int), np.arange(3), planned, days, (2, 2), 20.0)
    assert found.ct_crew.tolist() == [1, 2, 1]
    assert found.planned_start.tolist() == [0.0, 0.0, 10.0]


def test_a_job_waits_for_both_of_its_crews() -> None:
    """A project holds the only frac crew for 7 days; the CT crew is free and waits."""
    planned = np.array([[0.0, 5.0], [7.0, 5.0]])
    found = crew_calendar(np.zeros(2, dtype=int), np.arange(2), planned, planned[:, :, None], (1, 1), 20.0)
    assert found.start[:, 0].tolist() == [0.0, 7.0]
    assert found.ct_crew.tolist() == [0, 1]


def test_without_limits_every_job_begins_with_its_month() -> None:
    planned = np.full((2, 4), 50.0)
    found = crew_calendar(
        np.array([0, 0, 1, 1]), np.arange(4), planned, planned[:, :, None], (None, None), 20.0
    )
    assert found.start[:, 0].tolist() == [0.0, 0.0, 20.0, 20.0]


def test_value_lies_on_straight_lines_and_ends_at_the_last_date() -> None:
    dates, values = np.array([2, 4, 8]), np.array([[10.0, 0.0], [6.0, 1.0], [2.0, 9.0]])
    for month, first, second in (
        (2.0, 10.0, 0.0),
        (3.0, 8.0, 0.5),
        (5.0, 5.0, 3.0),
        (8.0, 2.0, 9.0),
        (99.0, 2.0, 9.0),
    ):
        assert value_when(np.full(2, month), dates, values).tolist() == pytest.approx([first, second])
    assert value_when(np.array([3.0]), np.array([3]), np.array([[7.0]])).tolist() == [7.0]


def test_days_spread_over_months_as_one_crew_works_them() -> None:
    assert spread_over_months(45.0, 1, 5, 20.0).tolist() == [0.0, 20.0, 20.0, 5.0, 0.0]
    assert spread_over_months(45.0, 4, 5, 20.0).sum() == 20.0  # the rest lies beyond
