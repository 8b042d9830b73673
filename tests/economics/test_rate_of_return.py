"""Internal rates of rows of monthly flows. Oracles: plain bisection and the plain count of sign changes; the roots of
the polynomial; cases solved by hand."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refracmc.economics.rate_of_return import (
    IRR_CEILING,
    IRR_FLOOR,
    TOTAL_LOSS,
    crosses_once,
    rates_of_return,
)
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
    rates = rates_of_return(flows)
    expected = np.array([plain_rate(row) for row in flows])
    known = np.isfinite(expected)
    assert known.any()
    np.testing.assert_allclose(rates[known], np.minimum(expected[known], IRR_CEILING), rtol=1e-10)
    lost = np.cumsum(flows, axis=1).max(axis=1) <= 0.0
    assert (rates[lost] < 0.0).all()


def test_bits_do_not_depend_on_the_batch():
    flows = refrac_like(512, 360, 5)
    whole = rates_of_return(flows)
    sevens = np.concatenate([rates_of_return(flows[i : i + 7]) for i in range(0, 512, 7)])
    alone = np.concatenate([rates_of_return(flows[i : i + 1]) for i in range(512)])
    shuffled = np.random.default_rng(1).permutation(512)
    back = np.empty(512)
    back[shuffled] = rates_of_return(flows[shuffled])
    for other in (sevens, alone, back):
        np.testing.assert_array_equal(whole, other)


@given(st.lists(st.integers(-6, 6), min_size=2, max_size=14))
def test_small_rows(row):
    flows = np.array([row], dtype=float)
    if sum(row) > 0:
        first = next(i for i, x in enumerate(row) if x)
        assert crosses(flows[0], first, float(sum(row))) == plain_crossing(row)
    rate, expected = rates_of_return(flows)[0], plain_rate(row)
    if not math.isnan(expected):
        assert rate == pytest.approx(min(expected, IRR_CEILING), rel=1e-10)


def months(*at, length=61):
    row = np.zeros(length)
    for month, usd in at:
        row[month] = usd
    return row


BY_HAND = {
    "no month holds anything": (months(), math.nan),
    "nothing comes back": (months((0, -100.0), (12, -5.0)), TOTAL_LOSS),
    "nine tenths come back after a year": (months((0, -100.0), (12, 90.0)), -0.1),
    "a tenth comes back after two years": (months((0, -100.0), (24, 10.0)), math.sqrt(0.1) - 1.0),
    "less than the floor comes back": (months((0, -100.0), (12, 100.0 * (1 + IRR_FLOOR) - 1.0)), TOTAL_LOSS),
    "what was spent comes back": (months((0, -100.0), (36, 100.0)), 0.0),
    "no outlay": (months((0, 1.0), (12, 1.0)), IRR_CEILING),
    "an outlay paid back within its month": (months((0, 2.0), (12, -1.0)), IRR_CEILING),
    # -100 (1.1 x - 1) (1.22 x - 1) with x = 1/(1 + rate)
    "two rates, 10 and 22 %": (months((0, -100.0), (12, 232.0), (24, -134.2)), math.nan),
    # -100 + 230 x - 133 x^2 is below zero everywhere: 230^2 < 4 x 100 x 133
    "no rate at all": (months((0, -100.0), (12, 230.0), (24, -133.0)), TOTAL_LOSS),
    # -100 + 205 x - 105.06 x^2 = -(1.02 x - 1)(103 x - 100): roots at 2 % and 3 %
    "two rates between two rungs": (months((0, -100.0), (12, 205.0), (24, -105.06)), TOTAL_LOSS),
    # -100 (0.9 x - 1) (0.5 x - 1): the first below zero
    "a loss with two rates, -10 and -50 %": (months((0, -100.0), (12, 140.0), (24, -45.0)), -0.1),
    # +10 early, then an outlay that pays: 10 - 100 x + 300 x^2, roots 1/x = 10 (5 +- sqrt(25 - 30)) / 10: none
    "a gain at every rate": (months((0, 10.0), (12, -50.0), (24, 300.0)), IRR_CEILING),
    # 1 - 20 x + 30 x^2: roots x = (20 +- sqrt(280)) / 60, rates 0.6334 and 17.37, the second above the ceiling
    "one rate below the ceiling": (
        months((0, 1.0), (12, -20.0), (24, 30.0)),
        60.0 / (20.0 + math.sqrt(280.0)) - 1.0,
    ),
    "a loan": (months((0, 100.0), (12, -120.0)), math.nan),
    "no number": (months((0, -1.0), (3, math.nan)), math.nan),
}


@pytest.mark.parametrize("name", BY_HAND)
def test_rates_by_hand(name):
    row, expected = BY_HAND[name]
    rate = rates_of_return(row[None])[0]
    if math.isnan(expected):
        assert math.isnan(rate)
    else:
        assert rate == pytest.approx(expected, abs=1e-9)


@given(st.lists(st.integers(-6, 6), min_size=2, max_size=6))
def test_yearly_rows_have_the_roots_of_their_polynomial(row):
    """Sum_k row_k x^k with x = 1/(1 + rate): its real roots between the floor and the ceiling, well apart."""
    flows = np.zeros((1, 12 * len(row)))
    flows[0, ::12] = row
    rate = rates_of_return(flows)[0]
    if not any(row):
        assert math.isnan(rate)
        return
    found = np.roots(row[::-1])
    real = found.real[(np.abs(found.imag) < 1e-6) & (found.real > 0.0)]
    force = np.sort(-np.log(real))  # ln(1 + rate)
    if not math.isnan(rate) and IRR_FLOOR < rate < IRR_CEILING:
        assert np.abs(np.expm1(force) - rate).min() < 1e-5
    apart = (
        np.diff(force).min(initial=1.0) > 0.06
        and not (np.abs(found.imag) < 0.05).sum() > len(real) + (found.real <= 0.0).sum()
    )
    above = force[(force > 1e-6) & (force < math.log1p(IRR_CEILING) - 1e-6)]
    if apart and above.size == 1 and rate < IRR_CEILING and np.abs(force).min() > 1e-6:
        assert rate == pytest.approx(math.expm1(above[0]), abs=1e-5)
    if above.size == 0 and rate < IRR_CEILING:
        assert rate <= 1e-6


def test_a_loss_at_every_rate_ranks_below_zero():
    """A present value is a sum of running totals with weights above zero (summation by parts)."""
    rng = np.random.default_rng(20)
    flows = np.diff(-rng.exponential(1.0, (200, 37)), axis=1, prepend=0.0)
    assert (np.cumsum(flows, axis=1) < 0.0).all()
    rates = rates_of_return(flows)
    assert ((rates < 0.0) & (rates >= TOTAL_LOSS)).all()
    assert (rates > TOTAL_LOSS).any()


def test_leading_zero_months_and_offset_do_not_matter():
    row = refrac_like(40, 120, 9)
    row = row[np.isfinite(rates_of_return(row))]
    late = np.concatenate((np.zeros((len(row), 30)), row), axis=1)
    np.testing.assert_allclose(rates_of_return(late), rates_of_return(row), rtol=1e-10)


def test_extreme_rates():
    tiny = np.array([[-1e6] + [0.0] * 358 + [1e6 * (1 + 1e-6)]])
    assert rates_of_return(tiny)[0] == pytest.approx((1 + 1e-6) ** (12 / 359) - 1, rel=1e-9)
    for months, last in ((360, 50.0), (720, 1e6), (12, 11.0 ** (1 / 12) + 1e-9)):
        huge = np.zeros((1, months))
        huge[0, months // 2 : months // 2 + 2] = [-1.0, last]
        assert rates_of_return(huge)[0] == IRR_CEILING
    below = np.zeros((1, 12))
    below[0, 3:5] = [-1.0, 10.9 ** (1 / 12)]
    assert rates_of_return(below)[0] == pytest.approx(9.9, rel=1e-9)


def test_one_annual_payment_is_exact():
    flows = np.zeros((1, 13))
    flows[0, 0], flows[0, 12] = -100.0, 125.0
    assert rates_of_return(flows)[0] == pytest.approx(0.25, rel=1e-12)


def test_empty_and_wrong_shapes():
    assert rates_of_return(np.zeros((0, 10))).shape == (0,)
    assert rates_of_return(np.array([[5.0]])) == IRR_CEILING
    with pytest.raises(ValueError, match="dimension"):
        rates_of_return(np.zeros(4))
