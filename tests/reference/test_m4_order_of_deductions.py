"""M4. Oracle: published. Federal Reserve Bank of Minneapolis (2013), how oil is taxed: of $100, a royalty of
18.75 % leaves 81.25; production taxes of 11.5 % are taken of that: 9.34."""

import numpy as np
import pytest

from refracmc.economics.fiscal import FiscalTerms, oil_netback

PRICE = np.full((1, 3), 100.0)


def test_royalty_before_tax():
    terms = FiscalTerms(working_interest=1.0, net_revenue_interest=0.8125)
    assert oil_netback(PRICE, 0.0, terms)[0, 0] == pytest.approx(81.25)


def test_tax_on_what_the_royalty_leaves():
    before = FiscalTerms(working_interest=1.0, net_revenue_interest=0.8125)
    after = FiscalTerms(working_interest=1.0, net_revenue_interest=0.8125, severance_oil=0.115)
    tax = oil_netback(PRICE, 0.0, before)[0, 0] - oil_netback(PRICE, 0.0, after)[0, 0]
    assert tax == pytest.approx(9.34, abs=0.005)


def test_severance_and_ad_valorem_share_one_base():
    split = FiscalTerms(1.0, 0.8125, severance_oil=0.05, ad_valorem=0.065)
    whole = FiscalTerms(1.0, 0.8125, severance_oil=0.115)
    assert oil_netback(PRICE, 0.0, split)[0, 0] == pytest.approx(oil_netback(PRICE, 0.0, whole)[0, 0])
