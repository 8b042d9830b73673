"""How long a well lives. Oracle: plain loops over every possible last month, and algebra."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from refracmc.economics.life import first_below, last_by_hindsight
from tests.compiled_rule import callable_rule

by_hindsight, below = callable_rule(last_by_hindsight), callable_rule(first_below)


def plain_hindsight(row, forced):
    best_month, best, total = -1, (None if forced else 0.0), 0.0
    for i, x in enumerate(row):
        total += x
        if best is None or total > best:
            best_month, best = i, total
    return best_month


@given(st.lists(st.integers(-3, 3), min_size=1, max_size=16), st.booleans())
def test_the_month_of_the_largest_sum(row, forced):
    net, ones = np.array(row, dtype=float), np.ones(len(row))
    assert by_hindsight(net, 0.0 * net, ones, forced) == plain_hindsight(row, forced)
    assert by_hindsight(net + 2.0, 2.0 * ones, ones, forced) == plain_hindsight(row, forced)


def test_ties_and_discounting():
    ones = np.ones(3)
    for row, free, forced in (
        ([-1.0, -1.0, -1.0], -1, 0),
        ([1.0, 1.0, 1.0], 2, 2),
        ([0.0, 0.0, 0.0], -1, 0),  # ties go to the earliest
        ([-2.0, 1.0, 1.0], -1, 2),
        ([-1.0, 3.0, -1.0], 1, 1),
    ):
        assert by_hindsight(np.array(row), 0.0 * ones, ones, False) == free
        assert by_hindsight(np.array(row), 0.0 * ones, ones, True) == forced
    late = np.array([-1.0, 0.0, 1.5])
    assert by_hindsight(late, 0.0 * ones, ones, False) == 2
    assert by_hindsight(late, 0.0 * ones, np.array([1.0, 0.8, 0.64]), False) == -1


@given(st.lists(st.integers(-2, 4), min_size=1, max_size=80), st.integers(-3, 5))
def test_the_first_month_below(row, floor):
    values = np.array(row, dtype=float)
    expected = next((k for k, x in enumerate(row) if x < floor), -1)
    assert below(values, np.full(len(row) + 3, float(floor))) == expected
