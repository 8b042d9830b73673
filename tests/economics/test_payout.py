"""Payout. Oracle: a plain running total."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from refracmc.economics.payout import payout
from tests.compiled_rule import callable_rule

paid_in = callable_rule(payout)


@given(st.lists(st.integers(-3, 3), min_size=1, max_size=12), st.data())
def test_the_first_month_that_is_paid_back(row, data):
    job = data.draw(st.integers(0, len(row) - 1))
    total, expected = sum(row[:job]), -1
    for i in range(job, len(row)):
        total += row[i]
        if total >= 0:
            expected = i
            break
    assert paid_in(np.array(row, dtype=float), job) == expected
