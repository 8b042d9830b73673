"""Modified rates of return. Oracles: cases solved by hand; algebra; a plain sum."""

import math

import numpy as np
import pytest

from refracmc.economics.modified_rate import modified_rates
from refracmc.economics.present_value import discount_factors
from refracmc.economics.rate_of_return import IRR_CEILING, rates_of_return


def yearly(*flows):
    row = np.zeros(12 * (len(flows) - 1) + 1)
    row[::12] = flows
    return row[None]


BY_HAND = {
    # the income of 121 in year 2: no reinvestment, sqrt(1.21) - 1
    "one outlay, one income": ((-100.0, 0.0, 121.0), 0.3, 0.2, 0.1),
    # 60 1.12 + 55 = 122.2 in year 2
    "income reinvested": ((-100.0, 60.0, 55.0), 0.3, 0.12, math.sqrt(1.222) - 1.0),
    # outlays 50 + 66 / 1.1 = 110 in year 0
    "outlay financed": ((-50.0, -66.0, 133.1), 0.1, 0.5, math.sqrt(1.21) - 1.0),
    # leading and trailing months without cash do not count: 100 becomes 110 in a year
    "a year in the middle": ((0.0, -100.0, 110.0, 0.0), 0.2, 0.2, 0.1),
    "less than what was spent": ((-100.0, 81.0), 0.1, 0.1, -0.19),
    "nothing comes in": ((-100.0, -5.0), 0.1, 0.1, -1.0),
    "nothing comes in, in one month": ((-100.0,), 0.1, 0.1, -1.0),
    "nothing goes out": ((0.0, 5.0), 0.1, 0.1, math.inf),
    "nothing at all": ((0.0, 0.0), 0.1, 0.1, math.nan),
    # 10 % and 22 % both make its present value zero; 232 1.1 in year 2, 100 + 134.2 / 1.21 in year 0
    "several internal rates": (
        (-100.0, 232.0, -134.2),
        0.1,
        0.1,
        math.sqrt(232.0 * 1.1 / (100.0 + 134.2 / 1.21)) - 1.0,
    ),
}


@pytest.mark.parametrize("name", BY_HAND)
def test_rates_by_hand(name):
    flows, finance, reinvestment, expected = BY_HAND[name]
    rate = modified_rates(yearly(*flows), finance, reinvestment)[0]
    assert rate == pytest.approx(expected, rel=1e-12, abs=1e-13, nan_ok=True)


def random_flows():
    rng = np.random.default_rng(5)
    flows = rng.normal(0.0, 1.0, (400, 61))
    flows[:, 0] -= 5.0
    return 1e6 * flows


def test_above_the_discount_rate_where_the_present_value_is_above_zero():
    """With both rates the discount rate: the worth of what comes in over that of what goes out is then above 1."""
    flows, rate = random_flows(), 0.09
    worth = flows @ discount_factors(61, rate)
    assert min((worth > 0.0).sum(), (worth < 0.0).sum()) > 20
    np.testing.assert_array_equal(modified_rates(flows, rate, rate) > rate, worth > 0.0)
    # negative control: at another rate the two part
    assert ((modified_rates(flows, rate, 0.5) > rate) != (worth > 0.0)).any()


def test_at_its_own_rate_it_is_the_internal_rate():
    """Algebra: with both rates the internal rate, the present value at it is zero, and so is the difference."""
    flows = random_flows()
    rates = rates_of_return(flows)
    inside = np.flatnonzero((rates > 0.0) & (rates < IRR_CEILING))
    assert inside.size > 20
    for t in inside:
        assert modified_rates(flows[t : t + 1], rates[t], rates[t])[0] == pytest.approx(rates[t], rel=1e-9)


def test_higher_reinvestment_and_higher_finance_rates_raise_it():
    flows = random_flows()
    low = modified_rates(flows, 0.05, 0.05)
    assert (modified_rates(flows, 0.05, 0.10) > low).all()
    assert (modified_rates(flows, 0.10, 0.05) > low).all()


def test_wrong_shape():
    with pytest.raises(ValueError, match="dimension"):
        modified_rates(np.zeros(4), 0.1, 0.1)
