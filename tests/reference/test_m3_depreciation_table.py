"""M3. Oracle: published. IRS Publication 946, table A-1, half-year convention, percent per tax year (0.01 point).

The columns of 5 and 7 years are as printed there; those of 3, 10, 15 and 20 years are from memory.
"""

from itertools import cycle, islice

import numpy as np
import pytest

from refracmc.economics.fiscal import RECOVERY_YEARS, declining_balance, depreciation_weights
from tests.second_route.inputs import yearly_fractions

TABLE = {
    "macrs_3": [33.33, 44.45, 14.81, 7.41],
    "macrs_5": [20, 32, 19.2, 11.52, 11.52, 5.76],
    "macrs_7": [14.29, 24.49, 17.49, 12.49, 8.93, 8.92, 8.93, 4.46],
    "macrs_10": [10, 18, 14.4, 11.52, 9.22, 7.37, 6.55, 6.55, 6.56, 6.55, 3.28],
    "macrs_15": [5, 9.5, 8.55, 7.7, 6.93, 6.23, 5.9, *islice(cycle([5.9, 5.91]), 8), 2.95],
    "macrs_20": [
        3.75,
        7.219,
        6.677,
        6.177,
        5.713,
        5.285,
        4.888,
        4.522,
        *islice(cycle([4.462, 4.461]), 12),
        2.231,
    ],
}


def test_every_recovery_period_has_its_column():
    assert set(TABLE) == set(RECOVERY_YEARS)


@pytest.mark.parametrize("name", TABLE)
def test_yearly_percentages(name):
    """The column adds up to 100, and is ours and the second route's."""
    published = TABLE[name]
    assert sum(published) == pytest.approx(100.0, abs=1e-9)
    ours = declining_balance(RECOVERY_YEARS[name])
    np.testing.assert_allclose(100 * np.array(ours), published, atol=1e-9)
    np.testing.assert_allclose(100 * np.array(yearly_fractions(name)), published, atol=1e-9)


@pytest.mark.parametrize("name", TABLE)
def test_the_rule_without_rounding_is_within_the_rounding(name):
    """Oracle: the rule in plain floats, declining balance or straight line over what is left, the larger."""
    years = RECOVERY_YEARS[name]
    left, rate = 1.0, (2.0 if years < 15 else 1.5) / years
    exact = []
    for year in range(years + 1):
        held = years + 0.5 - year
        part = left * rate / 2 if year == 0 else left * min(max(rate, 1 / held), 1.0)
        exact.append(part)
        left -= part
    assert left == pytest.approx(0.0, abs=1e-12)
    np.testing.assert_allclose(100 * np.array(exact), TABLE[name], atol=0.011)


@pytest.mark.parametrize("name", TABLE)
def test_monthly_weights_of_a_january_job_add_up_to_the_table(name):
    weights = depreciation_weights(name, 0, 2026, 1, 300)
    by_year = 100 * weights.reshape(-1, 12).sum(axis=1)
    published = TABLE[name]
    np.testing.assert_allclose(by_year[: len(published)], published, atol=1e-9)
    assert by_year[len(published) :].sum() == 0.0
