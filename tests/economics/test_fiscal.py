"""Fiscal terms. Oracle: plain loops and sums by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refracmc.economics.fiscal import (
    SCHEDULES,
    STRAIGHT_LINE_7,
    FiscalTerms,
    IncomeTax,
    depreciation_weights,
    oil_netback,
)


@given(st.sampled_from(SCHEDULES), st.integers(0, 59), st.integers(1, 12))
def test_weights_sum_to_one_and_start_at_the_job(schedule, job, month):
    weights = depreciation_weights(schedule, job, 2026, month, 60)
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert (weights >= 0.0).all()
    assert (weights[:job] == 0.0).all()
    assert weights[job] > 0.0


def test_first_year_runs_from_the_job_month():
    """Valued October 2026 (month 0), job in November: two months of 2026, then calendar years."""
    weights = depreciation_weights("macrs_7", 1, 2026, 10, 360)
    np.testing.assert_allclose(weights[1:3], 0.1429 / 2)
    np.testing.assert_allclose(weights[3:15], 0.2449 / 12)
    np.testing.assert_allclose(weights[75:87], 0.0446 / 12)
    assert weights[87:].sum() == 0.0


def test_what_passes_the_horizon_is_taken_in_the_last_month():
    weights = depreciation_weights("macrs_5", 0, 2026, 1, 24)
    assert weights[23] == pytest.approx(0.32 / 12 + 1 - 0.52)
    assert depreciation_weights("macrs_5", 23, 2026, 1, 24)[23] == pytest.approx(1.0)


def test_expensed_and_straight_line():
    assert depreciation_weights("expensed", 4, 2026, 5, 12)[4] == 1.0
    assert sum(STRAIGHT_LINE_7) == pytest.approx(1.0)


def test_write_off_adds_the_expensed_share():
    tax = IncomeTax(0.21, "macrs_7", 0.8)
    write_off = tax.write_off(3, 2026, 1, 240)
    assert write_off.sum() == pytest.approx(1.0)
    assert write_off[3] == pytest.approx(0.8 + 0.2 * 0.1429 / 9)


def test_netback_by_hand():
    terms = FiscalTerms(0.9, 0.7, severance_oil=0.046, severance_gas=0.075, ad_valorem=0.02)
    oil = np.array([[70.0, -5.0]])
    np.testing.assert_allclose(oil_netback(oil, np.array([-4.0]), terms), 0.7 * 0.934 * (oil - 4.0))
    assert oil[0, 0] == 70.0  # the input is left as it was


def test_wrong_terms_are_refused():
    with pytest.raises(ValueError, match="net_revenue_interest"):
        FiscalTerms(0.7, 0.8)
    with pytest.raises(ValueError, match="severance_gas"):
        FiscalTerms(1.0, 0.8, severance_gas=-0.1)
    with pytest.raises(ValueError, match="exceed 1"):
        FiscalTerms(1.0, 0.8, severance_oil=0.6, ad_valorem=0.6)
    with pytest.raises(ValueError, match="schedule"):
        IncomeTax(0.2, "double")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="rate"):
        IncomeTax(1.2)
    with pytest.raises(ValueError, match="job_month"):
        depreciation_weights("macrs_7", 12, 2026, 1, 12)
