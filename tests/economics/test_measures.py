"""Measures. Oracle: plain loops, algebra and limiting cases."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refracmc.economics.measures import (
    capital_efficiency,
    cvar,
    discount_factors,
    escalation_factors,
    irr_periodic,
    npv,
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


def test_npv_two_routes():
    rng = np.random.default_rng(4)
    flows, factors = rng.standard_normal((6, 36)), discount_factors(36, 0.12)
    plain = [math.fsum(x / 1.12 ** ((i + 0.5) / 12) for i, x in enumerate(row)) for row in flows]
    np.testing.assert_allclose(npv(flows, factors), plain, rtol=1e-12)
    np.testing.assert_array_equal(npv(flows, np.ones(36))[:1], npv(flows[:1], np.ones(36)))


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


@settings(max_examples=200, deadline=None)
@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=30), st.floats(0.01, 1.0))
def test_cvar_is_the_maximum_of_the_rockafellar_uryasev_form(values, tail):
    """max over c of c - mean(max(c - x, 0)) / tail, reached at one of the values."""
    x = np.array(values)
    best = max(c - np.maximum(c - x, 0.0).mean() / tail for c in x)
    assert cvar(x, tail) == pytest.approx(best, abs=1e-8)


def test_cvar_takes_part_of_the_value_at_the_edge():
    x = np.arange(10.0)
    assert cvar(x, 0.1) == 0.0
    assert cvar(x, 0.25) == pytest.approx((0 + 1 + 0.5 * 2) / 2.5)
    assert cvar(x, 1.0) == pytest.approx(4.5)
    assert cvar(np.arange(30.0), 0.1) == pytest.approx(1.0)
    np.testing.assert_array_equal(cvar(np.stack((x, x[::-1])), 0.25), [cvar(x, 0.25)] * 2)
    assert np.isnan(cvar(np.array([1.0, np.nan]), 0.5))
    with pytest.raises(ValueError, match="tail_fraction"):
        cvar(x, 0.0)
    with pytest.raises(ValueError, match="at least one"):
        cvar(np.zeros(0), 0.5)


def test_capital_efficiency():
    np.testing.assert_allclose(capital_efficiency([1.0, 2.0], [4.0, 0.0]), [0.25, np.nan])
