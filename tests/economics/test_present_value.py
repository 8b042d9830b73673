"""Present values and rates by convention. Oracle: plain loops, algebra and limiting cases."""

import numpy as np
import pytest

from refracmc.economics.present_value import (
    discount_factors,
    escalation_factors,
    irr_periodic,
    npv_end_of_period,
    xirr,
    xnpv,
)


def test_discounting_is_mid_month_at_an_effective_rate():
    factors = discount_factors(25, 0.1)
    assert factors[0] == pytest.approx(1.1 ** (-1 / 24))
    assert factors[12] / factors[0] == pytest.approx(1 / 1.1)
    assert (discount_factors(12, 0.0) == 1.0).all()
    assert (escalation_factors(12, 0.0) == 1.0).all()
    np.testing.assert_allclose(escalation_factors(25, 0.1) * factors, 1.0)
    with pytest.raises(ValueError, match="annual_discount_rate"):
        discount_factors(3, -1.0)
    with pytest.raises(ValueError, match="annual_cost_escalation"):
        escalation_factors(3, -1.5)


def test_dated_and_periodic_agree_on_years_of_365_days():
    flows = [-100.0, 30.0, 40.0, 50.0]
    dates = ["2025-01-01", "2026-01-01", "2027-01-01", "2028-01-01"]
    assert xnpv(0.07, flows, dates) == pytest.approx(npv_end_of_period(0.07, flows) * 1.07)
    assert xirr(flows, dates) == pytest.approx(irr_periodic(flows), rel=1e-10)


def test_zero_rate_is_the_sum():
    assert npv_end_of_period(0.0, [1, 2, 3]) == 6.0
    assert irr_periodic([-100, 50, 50]) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("flows", [[-1.0, -2.0], [1.0, 2.0], [-1.0, 2.5, -1.5]])
def test_no_rate_or_two_is_an_error(flows):
    with pytest.raises(ValueError, match="rate"):
        irr_periodic(flows)


def test_dates_must_fit():
    with pytest.raises(ValueError, match="one date per amount"):
        xnpv(0.1, [1.0, 2.0], ["2020-01-01"])
    with pytest.raises(ValueError, match="first one"):
        xirr([-1.0, 2.0], ["2020-01-02", "2020-01-01"])
