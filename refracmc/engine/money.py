"""Prices and terms of a block: what a volume is worth net of taxes, royalty and volume costs, month by month."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refracmc.economics.fiscal import Costs, FiscalTerms, IncomeTax
from refracmc.economics.modified_rate import yearly_factors
from refracmc.economics.present_value import discount_factors, escalation_factors
from refracmc.economics.prices import (
    PROCESSES,
    Deck,
    PricePaths,
    expected_mean_ahead,
    price_paths,
    service_cost_index,
)

from .plan import WellPlan

Array = NDArray[np.float64]


COSTS = {
    "oil_differential": "prices.oil_differential_usd_per_bbl",
    "gas_differential": "prices.gas_differential_usd_per_mcf",
    "oil": "opex.oil_usd_per_bbl",
    "gas": "opex.gas_usd_per_mcf",
    "water": "opex.water_usd_per_bbl",
    "fixed": "opex.fixed_usd_per_month",
    "holding": "opex.holding_usd_per_month",
    "abandonment": "opex.abandonment_usd",
}
"""Name of the draw of each of the Costs, but the liquids."""


@dataclass(frozen=True, eq=False)
class BlockMoney:
    """Prices and terms of a block.

    costs (9, n): in the order of Costs, 8/8; escalation (T,): cost factor of a month; oil_price, gas_price, ahead
    (n, T): benchmark prices, and their mean over the next twelve months expected (None where the path is known);
    service_index: by refrac month, each (n,); write_off: by refrac month, deductions (T,) per unit of job cost;
    modified: factors (T,) of income and of outlay in the modified rate of return.
    """

    fiscal: FiscalTerms
    main_phase: str
    costs: Array
    escalation: Array
    discount: Array
    oil_price: Array
    gas_price: Array
    ahead: tuple[Array, Array] | None
    service_index: dict[int, Array]
    write_off: dict[int, Array]
    modified: tuple[Array, Array]

    @property
    def main_price(self) -> Array:
        """Benchmark price (n, T) of the main phase."""
        return self.oil_price if self.main_phase == "oil" else self.gas_price


def block_money(plan: WellPlan, draws: Mapping[str, Array]) -> BlockMoney:
    """Price paths, costs and discount factors of the drawn trials."""
    case, settings = plan.case, plan.well.settings
    valuation, fiscal = case.valuation, settings.fiscal
    n = draws["luck.z_well"].size
    paths, expected = _paths(plan, draws, n)
    tax = fiscal.income_tax
    terms = FiscalTerms(
        working_interest=settings.interests.working,
        net_revenue_interest=settings.interests.net_revenue,
        severance_oil=fiscal.severance_oil_fraction,
        severance_gas=fiscal.severance_gas_fraction,
        ad_valorem=fiscal.ad_valorem_fraction,
        income_tax=None if tax is None else IncomeTax(tax.rate, tax.schedule, tax.intangible_fraction),
    )
    liquids = draws["prices.ngl_yield_bbl_per_mcf"] * draws["prices.ngl_price_fraction_of_oil"]
    year, month = (int(part) for part in valuation.date.split("-"))
    write_off = {}
    if terms.income_tax is not None:
        write_off = {m: terms.income_tax.write_off(m, year, month, plan.horizon) for m in _job_months(plan)}
    return BlockMoney(
        fiscal=terms,
        main_phase=plan.well.main_phase,
        costs=np.array([draws[COSTS[name]] if name in COSTS else liquids for name in Costs._fields]),
        escalation=escalation_factors(plan.horizon, valuation.annual_cost_escalation),
        discount=discount_factors(plan.horizon, valuation.annual_discount_rate),
        oil_price=paths.oil,
        gas_price=paths.gas,
        ahead=expected,
        service_index=service_index(plan, draws),
        write_off=write_off,
        modified=(
            yearly_factors(plan.horizon, valuation.reinvestment_rate),
            yearly_factors(plan.horizon, valuation.finance_rate),
        ),
    )


_PATHS_KEPT = 6
"""Blocks whose paths are kept: those that the tables of one well need, so that the next well finds them."""
_LAST: list[tuple[tuple[Array | None, ...], object, PricePaths, tuple[Array, Array] | None]] = []


def _paths(
    plan: WellPlan, draws: Mapping[str, Array], n: int
) -> tuple[PricePaths, tuple[Array, Array] | None]:
    """Price paths, and for a process the prices expected ahead; wells that share their draws share the paths."""
    prices = plan.case.prices
    names = ("prices.oil_level", "prices.gas_level", "prices.shock_oil", "prices.shock_gas")
    arrays = tuple(draws.get(name) for name in names)
    for known, case, paths, expected in _LAST:
        if case is plan.case and all(a is b for a, b in zip(known, arrays, strict=True)):
            return paths, expected
    oil_level, gas_level, shock_oil, shock_gas = arrays
    paths = price_paths(
        prices.model,
        Deck(plan.deck_oil, plan.deck_gas),
        oil_level,
        gas_level,
        shock_oil,
        shock_gas,
        (prices.oil_annual_volatility, prices.gas_annual_volatility),
        (prices.oil_reversion_per_year, prices.gas_reversion_per_year),
        prices.oil_gas_correlation,
        n,
    )
    expected = expected_mean_ahead(paths, 12) if prices.model in PROCESSES else None
    _LAST[:] = [(arrays, plan.case, paths, expected), *_LAST[: _PATHS_KEPT - 1]]
    return paths, expected


def _job_months(plan: WellPlan) -> list[int]:
    """Every month a job may start in: the fixed dates and the windows of triggers."""
    months = {strategy.month for strategy in plan.dated}
    for strategy in plan.strategies:
        if strategy.trigger is not None:
            months.update(range(strategy.trigger.first, strategy.trigger.last + 1))
    return sorted(months)


def service_index(plan: WellPlan, draws: Mapping[str, Array]) -> dict[int, Array]:
    """Service-cost index (n,) of every refrac month: follows the lagged oil price, one draw of luck a trial."""
    cost = plan.well.settings.job.cost
    paths, _ = _paths(plan, draws, draws["luck.z_well"].size)
    months = _job_months(plan)
    index = service_cost_index(
        paths.oil_multiplier,
        draws["job.cost.service_index_beta"],
        cost.service_index_lag_months,
        cost.service_index_sd,
        draws["costs.service_luck"],
        months,
    )
    return dict(zip(months, index, strict=True))
