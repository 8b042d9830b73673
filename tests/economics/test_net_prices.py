"""Net prices by hand. Oracle: the order of deductions written out."""

import numpy as np

from refracmc.economics.fiscal import Costs, FiscalTerms
from refracmc.economics.net_prices import net_prices
from tests.compiled_rule import callable_rule

fill = callable_rule(net_prices)


def test_by_hand():
    """Royalty, then severance and ad valorem of the owner's share; costs at the working interest, escalated; income tax
    of all of it. Negative control: without the tax every number differs."""
    terms = FiscalTerms(0.9, 0.7, severance_oil=0.046, severance_gas=0.075, ad_valorem=0.02)
    oil, gas = np.array([70.0, -5.0]), np.array([3.0, 1.0])
    costs = Costs(-4.0, -0.5, 0.08 * 0.3, 2.0, 0.2, 1.5, 0.0, 0.0, 0.0)
    factors, escalation = np.array([terms.oil_factor, terms.gas_factor]), 0.9 * np.array([1.0, 1.1])
    out, untaxed = np.empty((3, 2)), np.empty((3, 2))
    fill(oil, gas, costs, factors, escalation, 0.79, out)
    expected = [
        0.79 * (0.7 * 0.934 * (oil - 4.0) - 2.0 * escalation),
        0.79 * (0.7 * 0.905 * (gas - 0.5 + 0.08 * 0.3 * oil) - 0.2 * escalation),
        0.79 * -1.5 * escalation,
    ]
    np.testing.assert_allclose(out, expected, rtol=1e-14)
    fill(oil, gas, costs, factors, escalation, 1.0, untaxed)
    assert not np.isclose(out, untaxed).any()
