"""Fiscal terms: what a barrel nets after royalty and production taxes, and how capital is written off.

Order of deductions: royalty first, then severance and ad valorem taxes on the owner's own share of revenue.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Schedule = Literal["macrs_5", "macrs_7", "straight_line_7y", "expensed"]
SCHEDULES: tuple[Schedule, ...] = get_args(Schedule)

MACRS_5 = (0.20, 0.32, 0.192, 0.1152, 0.1152, 0.0576)
"""Five-year property, half-year convention; IRS Publication 946, Table A-1."""
MACRS_7 = (0.1429, 0.2449, 0.1749, 0.1249, 0.0893, 0.0892, 0.0893, 0.0446)
"""Seven-year property, half-year convention; IRS Publication 946, Table A-1."""
STRAIGHT_LINE_7 = (1 / 14, 1 / 7, 1 / 7, 1 / 7, 1 / 7, 1 / 7, 1 / 7, 1 / 14)
"""Seven years in equal parts, half a part in the first and in the eighth tax year (half-year convention)."""


@dataclass(frozen=True)
class IncomeTax:
    """Income tax, straight linear: losses are used elsewhere, so a negative base is a benefit.

    rate: of taxable income. intangible_fraction: share of the job cost expensed in the job month; the rest is
    written off by `schedule`.
    """

    rate: float
    schedule: Schedule = "macrs_7"
    intangible_fraction: float = 0.0

    def __post_init__(self) -> None:
        if self.schedule not in SCHEDULES:
            raise ValueError(f"unknown schedule {self.schedule!r}; one of {', '.join(SCHEDULES)}")
        if not 0.0 <= self.rate < 1.0 or not 0.0 <= self.intangible_fraction <= 1.0:
            raise ValueError(
                f"need 0 <= rate < 1 and 0 <= intangible_fraction <= 1, "
                f"got {self.rate}, {self.intangible_fraction}"
            )

    def write_off(self, job_month: int, valuation_year: int, valuation_month: int, months: int) -> Array:
        """Deductions per unit of job cost in each month, (T,), expensed share included; they sum to 1."""
        weights = depreciation_weights(self.schedule, job_month, valuation_year, valuation_month, months)
        deductions = (1.0 - self.intangible_fraction) * weights
        deductions[job_month] += self.intangible_fraction
        return deductions


class Costs(NamedTuple):
    """Costs and price differentials of a trial at 8/8, before escalation.

    oil_differential [US$/bbl], gas_differential [US$/Mcf]; liquids: yield of gas liquids times their share of the oil
    price [bbl/Mcf]; oil, gas, water [US$ per unit]; fixed, holding [US$/month]; abandonment [US$].
    """

    oil_differential: float
    gas_differential: float
    liquids: float
    oil: float
    gas: float
    water: float
    fixed: float
    holding: float
    abandonment: float


@dataclass(frozen=True)
class FiscalTerms:
    """Interests and taxes of one well, as fractions.

    working_interest: share of costs; net_revenue_interest: share of revenue (<= working_interest);
    severance per product and ad valorem: of the owner's revenue; income_tax: None = before income tax.
    """

    working_interest: float
    net_revenue_interest: float
    severance_oil: float = 0.0
    severance_gas: float = 0.0
    ad_valorem: float = 0.0
    income_tax: IncomeTax | None = None

    def __post_init__(self) -> None:
        if not 0.0 <= self.net_revenue_interest <= self.working_interest <= 1.0:
            raise ValueError(
                f"need 0 <= net_revenue_interest <= working_interest <= 1, "
                f"got {self.net_revenue_interest} and {self.working_interest}"
            )
        for name in ("severance_oil", "severance_gas", "ad_valorem"):
            if not 0.0 <= getattr(self, name) < 1.0:
                raise ValueError(f"{name} must be in [0, 1), got {getattr(self, name)}")
        if max(self.severance_oil, self.severance_gas) + self.ad_valorem > 1.0:
            raise ValueError("severance and ad valorem together must not exceed 1")

    @property
    def oil_factor(self) -> float:
        """Owner's revenue after production taxes per US$ of gross oil revenue."""
        return self.net_revenue_interest * (1.0 - self.severance_oil - self.ad_valorem)

    @property
    def gas_factor(self) -> float:
        """Owner's revenue after production taxes per US$ of gross gas (and NGL) revenue."""
        return self.net_revenue_interest * (1.0 - self.severance_gas - self.ad_valorem)

    @property
    def tax_rate(self) -> float:
        """Income-tax rate, 0 where there is none."""
        return 0.0 if self.income_tax is None else self.income_tax.rate


def oil_netback(price: Array, differential: ArrayLike, terms: FiscalTerms) -> Array:
    """Net revenue per bbl, (n, T): NRI (price + differential) (1 - severance - ad valorem).

    price (n, T) US$/bbl, differential (n,) or a number, US$/bbl. Linear: a month whose price plus
    differential is negative also has its production taxes negative.
    """
    net = price + np.asarray(differential, dtype=np.float64).reshape(-1, 1)
    net *= terms.oil_factor
    return net


def depreciation_weights(
    schedule: Schedule, job_month: int, valuation_year: int, valuation_month: int, months: int
) -> Array:
    """Share of the depreciable cost written off in each month, (T,); sums to 1.

    Month 0 is (valuation_year, valuation_month 1..12). The schedule's yearly fractions fall in the tax
    (calendar) years from that of the job month on; a year's amount is spread evenly over the months of the
    year, in the first year over those from the job month on. What falls past month T-1 is taken at T-1.
    "expensed": all in the job month. Raises ValueError for a job month outside 0..T-1.
    """
    if schedule not in SCHEDULES:
        raise ValueError(f"unknown schedule {schedule!r}; one of {', '.join(SCHEDULES)}")
    if not 0 <= job_month < months:
        raise ValueError(f"job_month must be in 0..{months - 1}, got {job_month}")
    if not 1 <= valuation_month <= 12:
        raise ValueError(f"valuation_month must be in 1..12, got {valuation_month}")
    weights = np.zeros(months)
    if schedule == "expensed":
        weights[job_month] = 1.0
        return weights
    fractions = {"macrs_5": MACRS_5, "macrs_7": MACRS_7, "straight_line_7y": STRAIGHT_LINE_7}[schedule]
    start = job_month
    year_end = job_month + 12 - (valuation_month - 1 + job_month) % 12
    for fraction in fractions:
        each = fraction / (year_end - start)
        for month in range(start, year_end):
            weights[min(month, months - 1)] += each
        start, year_end = year_end, year_end + 12
    return weights
