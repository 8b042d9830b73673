"""M1. Oracle: published. The worked example of XNPV and XIRR in general spreadsheet help, as defined by OASIS
OpenFormula (OpenDocument 1.2, part 2): actual/365, first date = date of the value."""

import pytest

from refracmc.economics.present_value import xirr, xnpv

DATES = ["2008-01-01", "2008-03-01", "2008-10-30", "2009-02-15", "2009-04-01"]
AMOUNTS = [-10000.0, 2750.0, 4250.0, 3250.0, 2750.0]


def test_present_value_at_nine_percent():
    assert xnpv(0.09, AMOUNTS, DATES) == pytest.approx(2086.647602, abs=5e-7)


def test_internal_rate():
    assert xirr(AMOUNTS, DATES) == pytest.approx(0.3733625335, abs=5e-10)


def test_internal_rate_makes_the_present_value_zero():
    assert xnpv(xirr(AMOUNTS, DATES), AMOUNTS, DATES) == pytest.approx(0.0, abs=1e-8)
