"""M3. Oracle: published. IRS Publication 946, Table A-1, half-year convention, percent per tax year
(0.01 point)."""

import numpy as np
import pytest

from refracmc.economics.fiscal import MACRS_5, MACRS_7, depreciation_weights

TABLE = {
    "macrs_5": (MACRS_5, [20, 32, 19.2, 11.52, 11.52, 5.76]),
    "macrs_7": (MACRS_7, [14.29, 24.49, 17.49, 12.49, 8.93, 8.92, 8.93, 4.46]),
}


@pytest.mark.parametrize("name", TABLE)
def test_yearly_percentages(name):
    ours, published = TABLE[name]
    np.testing.assert_allclose(100 * np.array(ours), published, atol=1e-9)


@pytest.mark.parametrize("name", TABLE)
def test_monthly_weights_of_a_january_job_add_up_to_the_table(name):
    weights = depreciation_weights(name, 0, 2026, 1, 120)
    by_year = 100 * weights.reshape(-1, 12).sum(axis=1)
    published = TABLE[name][1]
    np.testing.assert_allclose(by_year[: len(published)], published, atol=1e-9)
    assert by_year[len(published) :].sum() == 0.0
