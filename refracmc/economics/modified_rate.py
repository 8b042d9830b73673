"""Modified internal rate of return: one for every cash flow that spends.

What comes in is reinvested at one rate until the last month, what goes out is financed from the first month on at
another: (worth of the first in the last month / worth of the second in the first month)^(1 / years between) - 1. With
both at the discount rate it lies above that rate exactly where the present value is above zero. Lin, S. A. Y. (1976),
"The modified internal rate of return and investment criterion", The Engineering Economist 21(4), 237-247 (from memory).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from refracmc.compiler import compiled, rule, summed

from .rate_of_return import TOTAL_LOSS

Array = NDArray[np.float64]
CENT = 0.01
"""Less than this [US$] is no cash: what rounding leaves of two equal months is neither income nor a longer flow."""


@summed
def both_sides(flows: Array, reinvested: Array, financed: Array) -> tuple[float, float]:
    """What comes in and what goes out [US$], each at its own factors (T,), in months of a CENT or more."""
    gained, spent = 0.0, 0.0
    for i in range(flows.size):
        gained += (flows[i] if flows[i] >= CENT else 0.0) * reinvested[i]
        spent -= (flows[i] if flows[i] <= -CENT else 0.0) * financed[i]
    return gained, spent


@rule
def modified_rate(flows: Array, reinvested: Array, financed: Array) -> float:
    """Annual rate (fraction) of monthly flows [US$]; reinvested, financed (T,): factors (1 + rate)^-(i / 12).

    TOTAL_LOSS where nothing comes in, infinite where nothing goes out, NaN where neither does.
    """
    gained, spent = both_sides(flows, reinvested, financed)
    if not spent > 0.0:
        return np.inf if gained > 0.0 else np.nan
    if not gained > 0.0:
        return TOTAL_LOSS
    first, last = 0, flows.size - 1
    while abs(flows[first]) < CENT:
        first += 1
    while abs(flows[last]) < CENT:
        last -= 1
    ratio = gained / reinvested[last] * financed[first] / spent
    return math.expm1(math.log(ratio) * 12.0 / (last - first))


def yearly_factors(months: int, annual_rate: float) -> Array:
    """(1 + rate)^-(i / 12) for i = 0..months-1, (months,)."""
    return np.asarray(np.power(1.0 + annual_rate, -np.arange(months) / 12.0))


@compiled
def _of_rows(flows: Array, reinvested: Array, financed: Array, out: Array) -> None:
    for t in range(out.size):
        out[t] = modified_rate(flows[t], reinvested, financed)


def modified_rates(flows: Array, finance_rate: float, reinvestment_rate: float) -> Array:
    """Modified rates of return (n,), fractions a year, of rows of flows (n, T), US$ a month; rates: a year.

    As `modified_rate`. Raises ValueError unless flows is 2-D.
    """
    if flows.ndim != 2:
        raise ValueError(f"flows must be (trials, months), got {flows.ndim} dimension(s)")
    out, months = np.empty(flows.shape[0]), flows.shape[1]
    reinvested, financed = yearly_factors(months, reinvestment_rate), yearly_factors(months, finance_rate)
    _of_rows(np.ascontiguousarray(flows, dtype=np.float64), reinvested, financed, out)
    return out
