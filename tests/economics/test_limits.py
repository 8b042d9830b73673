"""Life limits. Oracle: plain loops over every possible limit, and algebra."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refracmc.economics.limits import exact_limit, look_ahead_limit


def plain_exact(row, lowest):
    best_month, best, total = lowest, None, 0.0
    if lowest == -1:
        best = 0.0
    for i, x in enumerate(row):
        total += x
        if i >= max(lowest, 0) and (best is None or total > best):
            best_month, best = i, total
    return best_month


@settings(max_examples=400, deadline=None)
@given(st.lists(st.integers(-3, 3), min_size=1, max_size=16), st.data())
def test_exact_limit_is_the_best_of_all(row, data):
    lowest = data.draw(st.integers(-1, len(row) - 1))
    assert exact_limit(np.array([row], dtype=float), lowest)[0] == plain_exact(row, lowest)


def test_edges():
    flows = np.array(
        [[-1.0, -1.0, -1.0], [1.0, 1.0, 1.0], [0.0, 0.0, 0.0], [-2.0, 1.0, 1.0], [-1.0, 3.0, -1.0]]
    )
    assert exact_limit(flows, -1).tolist() == [
        -1,
        2,
        -1,
        -1,
        1,
    ]  # no life, horizon, ties, tie at zero, one hump
    assert exact_limit(flows, 0).tolist() == [0, 2, 0, 2, 1]
    assert exact_limit(flows, 2).tolist() == [2] * 5


def test_rows_do_not_touch_each_other():
    flows = np.random.default_rng(2).standard_normal((300, 40)).cumsum(axis=1)
    whole = exact_limit(flows, 3)
    alone = [exact_limit(flows[i : i + 1], 3)[0] for i in range(300)]
    plain = [plain_exact(row, 3) for row in flows]
    assert whole.tolist() == alone == plain


@settings(max_examples=200, deadline=None)
@given(st.lists(st.integers(-2, 4), min_size=1, max_size=12), st.data())
def test_look_ahead(row, data):
    lowest = data.draw(st.integers(-1, len(row) - 1))
    expected = next((i - 1 for i in range(lowest + 1, len(row)) if row[i] < 0), len(row) - 1)
    assert look_ahead_limit(np.array([row], dtype=float), lowest)[0] == expected


@pytest.mark.parametrize("lowest", [-2, 3])
def test_first_allowed_outside_is_refused(lowest):
    for rule in (exact_limit, look_ahead_limit):
        with pytest.raises(ValueError, match="first_allowed"):
            rule(np.zeros((2, 3)), lowest)
