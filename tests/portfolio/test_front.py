"""The efficient front. Oracle: each point has more of mean + weight x tail than any other found, and than nothing."""

import numpy as np
import pytest

from refracmc.case.portfolio_section import Portfolio
from refracmc.portfolio import front
from refracmc.portfolio.choice_problem import Choice
from refracmc.portfolio.risk import Scored

JOBS = Choice(np.arange(4), np.ones(4))


def scored(job: int, mean: float, tail: float) -> Scored:
    return Scored(np.array([job]), np.array([mean]), mean, tail, mean, mean, True, 0.0)


def test_a_choice_worse_at_its_own_weight_is_no_point(monkeypatch: pytest.MonkeyPatch) -> None:
    """At weight 0.5 time ran out on a choice with hardly less of a tail; from 1 on nothing is better than any job."""
    found = {0.25: scored(1, 9.0, -6.0), 0.5: scored(2, 5.0, -5.9)}
    monkeypatch.setattr(front, "best_choice", lambda *given: found.get(given[4], scored(3, 1.0, -5.0)))
    own = scored(0, 10.0, -12.0)
    points = front.efficient_front(None, JOBS, Portfolio(), 0.1, own)
    assert [(weight, int(point.chosen[0])) for weight, point in points] == [(0.0, 0), (0.25, 1)]
    # negative control: where a well must be done, doing nothing is no choice
    must = Choice(np.arange(4), np.ones(4), must=frozenset({3}))
    assert len(front.efficient_front(None, must, Portfolio(), 0.1, own)) == 3
