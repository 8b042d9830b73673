"""Internal rates of rows of monthly flows. Oracle: plain bisection and the plain count of sign changes."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refracmc.economics.rate_of_return import IRR_CEILING, crosses_once, irr_unique
from tests.compiled_rule import callable_rule

crosses = callable_rule(crosses_once)


def plain_crossing(row):
    running, signs = 0.0, []
    for x in row:
        running += x
        if running != 0.0:
            sign = 1 if running > 0.0 else -1
            if not signs or signs[-1] != sign:
                signs.append(sign)
    return signs == [-1, 1] and running > 0.0


def plain_rate(row):
    if not plain_crossing(row):
        return math.nan
    first = next(i for i, x in enumerate(row) if x)

    def value(force):
        return math.fsum(x * math.exp(-force * (i - first)) for i, x in enumerate(row))

    low, high = 0.0, 1.0
    while value(high) > 0.0:
        low, high = high, 2.0 * high
    while True:
        middle = 0.5 * (low + high)
        if middle in (low, high):
            return math.expm1(12.0 * middle)
        low, high = (middle, high) if value(middle) > 0.0 else (low, middle)


def refrac_like(n, months, seed):
    rng = np.random.default_rng(seed)
    flows = np.zeros((n, months))
    for row in flows:
        start = rng.integers(0, months // 4)
        k = np.arange(months - start)
        row[start:] = rng.lognormal(11.5, 0.9) * (1 + 1.2 * rng.uniform(0.02, 0.4) * k) ** (-1 / 1.2) - 9000.0
        row[start] = -rng.uniform(1.5e6, 3e6)
        end = rng.integers(months // 3, months)
        row[end:] = 0.0
        row[end] -= 1e5
        row[end // 2] += 9e4
    return flows


@pytest.mark.parametrize("months", [24, 144, 360, 361, 720])
def test_rates_agree_with_bisection(months):
    flows = refrac_like(60, months, months)
    rates = irr_unique(flows)
    expected = np.array([plain_rate(row) for row in flows])
    assert np.isfinite(expected).any()
    np.testing.assert_array_equal(np.isnan(rates), np.isnan(expected))
    np.testing.assert_allclose(rates, np.minimum(expected, IRR_CEILING), rtol=1e-10)


def test_bits_do_not_depend_on_the_batch():
    flows = refrac_like(512, 360, 5)
    whole = irr_unique(flows)
    sevens = np.concatenate([irr_unique(flows[i : i + 7]) for i in range(0, 512, 7)])
    alone = np.concatenate([irr_unique(flows[i : i + 1]) for i in range(512)])
    shuffled = np.random.default_rng(1).permutation(512)
    back = np.empty(512)
    back[shuffled] = irr_unique(flows[shuffled])
    for other in (sevens, alone, back):
        np.testing.assert_array_equal(whole, other)


@given(st.lists(st.integers(-6, 6), min_size=2, max_size=14))
def test_small_rows(row):
    flows = np.array([row], dtype=float)
    if sum(row) > 0:
        first = next(i for i, x in enumerate(row) if x)
        assert crosses(flows[0], first, float(sum(row))) == plain_crossing(row)
    rate, expected = irr_unique(flows)[0], plain_rate(row)
    assert math.isnan(rate) == math.isnan(expected)
    if not math.isnan(expected):
        assert rate == pytest.approx(min(expected, IRR_CEILING), rel=1e-10)


def test_undefined_rows():
    flows = np.zeros((6, 12))
    flows[1] = -1.0  # never pays
    flows[2] = 1.0  # no outlay
    flows[3, :4] = [-1.0, 3.0, -3.0, 2.0]  # three crossings
    flows[4, :2] = [-1.0, 1.0]  # ends at zero
    flows[5, 0], flows[5, 3] = -1.0, np.nan
    assert np.isnan(irr_unique(flows)).all()


def test_leading_zero_months_and_offset_do_not_matter():
    row = refrac_like(40, 120, 9)
    row = row[np.isfinite(irr_unique(row))]
    late = np.concatenate((np.zeros((len(row), 30)), row), axis=1)
    np.testing.assert_allclose(irr_unique(late), irr_unique(row), rtol=1e-10)


def test_extreme_rates():
    tiny = np.array([[-1e6] + [0.0] * 358 + [1e6 * (1 + 1e-6)]])
    assert irr_unique(tiny)[0] == pytest.approx((1 + 1e-6) ** (12 / 359) - 1, rel=1e-9)
    for months, last in ((360, 50.0), (720, 1e6), (12, 11.0 ** (1 / 12) + 1e-9)):
        huge = np.zeros((1, months))
        huge[0, months // 2 : months // 2 + 2] = [-1.0, last]
        assert irr_unique(huge)[0] == IRR_CEILING
    below = np.zeros((1, 12))
    below[0, 3:5] = [-1.0, 10.9 ** (1 / 12)]
    assert irr_unique(below)[0] == pytest.approx(9.9, rel=1e-9)


def test_one_annual_payment_is_exact():
    flows = np.zeros((1, 13))
    flows[0, 0], flows[0, 12] = -100.0, 125.0
    assert irr_unique(flows)[0] == pytest.approx(0.25, rel=1e-12)


def test_empty_and_wrong_shapes():
    assert irr_unique(np.zeros((0, 10))).shape == (0,)
    assert np.isnan(irr_unique(np.array([[5.0]]))).all()
    with pytest.raises(ValueError, match="dimension"):
        irr_unique(np.zeros(4))
