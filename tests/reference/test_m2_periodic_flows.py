"""M2. Oracle: published. Worked examples of NPV and IRR in general spreadsheet help (OASIS OpenFormula).

Flows at the ends of equal periods, the first one period after the date of the value."""

import pytest

from refracmc.economics.present_value import irr_periodic, npv_end_of_period


def test_present_value_one_period_out():
    assert npv_end_of_period(0.10, [-10000, 3000, 4200, 6800]) == pytest.approx(1188.443412, abs=5e-7)


def test_internal_rate_after_five_years():
    assert irr_periodic([-70000, 12000, 15000, 18000, 21000, 26000]) == pytest.approx(0.086630948, abs=5e-10)


def test_internal_rate_after_two_years_is_negative():
    assert irr_periodic([-70000, 12000, 15000]) == pytest.approx(-0.443506941, abs=5e-10)
