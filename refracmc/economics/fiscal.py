"""Fiscal terms: what a barrel nets after royalty and production taxes, and how capital is written off.

Order of deductions: royalty first, then severance and ad valorem taxes on the owner's own share of revenue.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Schedule = Literal[
    "macrs_3", "macrs_5", "macrs_7", "macrs_10", "macrs_15", "macrs_20", "straight_line_7y", "expensed"
]
SCHEDULES: tuple[Schedule, ...] = get_args(Schedule)
RECOVERY_YEARS: dict[str, int] = {f"macrs_{years}": years for years in (3, 5, 7, 10, 15, 20)}
"""Recovery period of the schedules of the general depreciation system."""
STRAIGHT_LINE_7 = (1 / 14, 1 / 7, 1 / 7, 1 / 7, 1 / 7, 1 / 7, 1 / 7, 1 / 14)
"""Seven years in equal parts, half a part in the first and in the eighth tax year (half-year convention)."""


def declining_balance(years: int) -> tuple[float, ...]:
    """Fractions of the cost written off in each tax year, (years + 1,), half-year convention; they sum to 1.

    IRS Publication 946, table A-1: 200 % declining balance (150 % from 15 years on) until the straight line over what
    is left of the period is larger; half a year in the first and in the last. As there, each year is rounded to a
    hundredth of a percent (20 years: a thousandth) and the next follows from what that leaves.
    """
    share = Decimal(2 if years < 15 else "1.5") / years
    place = Decimal("0.00001" if years == 20 else "0.0001")
    left, made = Decimal(1), []
    for year in range(years + 1):
        held = years - year + Decimal("0.5") if year else Decimal(years)
        rate = max(share, 1 / held) / (1 if year else 2)
        made.append(left if year == years else (left * rate).quantize(place, ROUND_HALF_UP))
        left -= made[-1]
    return tuple(float(fraction) for fraction in made)


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
    years = RECOVERY_YEARS.get(schedule)
    fractions = STRAIGHT_LINE_7 if years is None else declining_balance(years)
    start = job_month
    year_end = job_month + 12 - (valuation_month - 1 + job_month) % 12
    for fraction in fractions:
        each = fraction / (year_end - start)
        for month in range(start, year_end):
            weights[min(month, months - 1)] += each
        start, year_end = year_end, year_end + 12
    return weights
