"""Discount factors; present values and rates of return by the conventions of tables and spreadsheets.

Months: i after the valuation date is at time i + 1/2 months. Rates are annual and effective unless a name says
otherwise. The rate of return of a trial is in `rate_of_return`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
DAYS_PER_YEAR = 365.0


def discount_factors(months: int, annual_discount_rate: float) -> Array:
    """(1 + r)^-((i + 0.5) / 12) for i = 0..months-1, (months,). Raises ValueError for a rate <= -1."""
    if annual_discount_rate <= -1.0:
        raise ValueError(f"annual_discount_rate must be above -1, got {annual_discount_rate}")
    return np.power(1.0 + annual_discount_rate, -(np.arange(months, dtype=np.float64) + 0.5) / 12.0)


def escalation_factors(months: int, annual_cost_escalation: float) -> Array:
    """(1 + e)^((i + 0.5) / 12) for i = 0..months-1, (months,); all 1 in real terms (e = 0)."""
    if annual_cost_escalation <= -1.0:
        raise ValueError(f"annual_cost_escalation must be above -1, got {annual_cost_escalation}")
    return np.power(1.0 + annual_cost_escalation, (np.arange(months, dtype=np.float64) + 0.5) / 12.0)


def npv_end_of_period(rate: float, flows: ArrayLike) -> float:
    """Present value (US$) of equally spaced flows (US$), the first ONE PERIOD after its date.

    sum_k flows_k / (1 + rate)^(k + 1), rate per period. This is the convention of the spreadsheet function
    NPV in OASIS OpenFormula (OpenDocument 1.2, part 2).
    """
    values = np.asarray(flows, dtype=np.float64)
    powers = (1.0 + rate) ** -(np.arange(values.size) + 1.0)
    return math.fsum((values * powers).tolist())


def xnpv(rate: float, amounts: ArrayLike, dates: Sequence[str] | ArrayLike) -> float:
    """Present value at the first date of dated amounts: sum_k a_k / (1 + rate)^((d_k - d_0) / 365).

    OASIS OpenFormula XNPV (actual/365). dates: ISO days or datetime64. Raises ValueError for unequal lengths.
    """
    values, years = _dated(amounts, dates)
    return math.fsum((values * (1.0 + rate) ** -years).tolist())


def xirr(amounts: ArrayLike, dates: Sequence[str] | ArrayLike) -> float:
    """Annual effective rate (fraction per year) that makes `xnpv` zero (OASIS OpenFormula XIRR, actual/365).

    Raises ValueError where no rate above -1 or more than one does so (the scan runs from -0.9999 to 1e6).
    """
    values, years = _dated(amounts, dates)
    return _only_root(lambda log: math.fsum((values * np.exp(-log * years)).tolist()))


def irr_periodic(flows: ArrayLike) -> float:
    """Rate (fraction per period) of equally spaced flows (US$); may be negative. ValueError as `xirr`."""
    values = np.asarray(flows, dtype=np.float64)
    index = np.arange(values.size, dtype=np.float64)
    return _only_root(lambda log: math.fsum((values * np.exp(-log * index)).tolist()))


def _dated(amounts: ArrayLike, dates: Sequence[str] | ArrayLike) -> tuple[Array, Array]:
    values = np.asarray(amounts, dtype=np.float64)
    days = np.asarray(dates, dtype="datetime64[D]")
    if values.ndim != 1 or values.shape != days.shape or values.size == 0:
        raise ValueError(f"need one date per amount, got {values.shape} amounts and {days.shape} dates")
    years = (days - days[0]).astype(np.float64) / DAYS_PER_YEAR
    if years.min() < 0.0:
        raise ValueError("no date may lie before the first one")
    return values, years


def _only_root(value: Callable[[float], float]) -> float:
    """The one rate for which value(log(1 + rate)) is zero, by scan and bisection."""
    grid = np.log1p(np.concatenate((-np.geomspace(0.9999, 1e-4, 150), [0.0], np.geomspace(1e-4, 1e6, 250))))
    signs = [float(np.sign(value(float(g)))) for g in grid]
    brackets = [k for k in range(len(grid) - 1) if signs[k] * signs[k + 1] < 0.0]
    zeros = [k for k in range(len(grid)) if signs[k] == 0.0]
    if len(brackets) + len(zeros) != 1:
        found = "no rate" if not brackets and not zeros else f"{len(brackets) + len(zeros)} rates"
        raise ValueError(f"{found} between -0.9999 and 1e6 make the present value zero; one is needed")
    if zeros:
        return math.expm1(float(grid[zeros[0]]))
    low, high = float(grid[brackets[0]]), float(grid[brackets[0] + 1])
    sign_low = signs[brackets[0]]
    while True:
        middle = 0.5 * (low + high)
        if middle in (low, high):
            return math.expm1(middle)
        if value(middle) * sign_low > 0.0:
            low = middle
        else:
            high = middle
