"""Prices and terms of a block: what a volume is worth net of taxes, royalty and volume costs, month by month."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refracmc.economics.fiscal import FiscalTerms, depreciation_weights, gas_netback, oil_netback
from refracmc.economics.measures import discount_factors
from refracmc.economics.prices import (
    PROCESSES,
    Deck,
    PricePaths,
    expected_mean_ahead,
    price_paths,
    service_cost_index,
)

from .cash import Money
from .plan import WellPlan

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class BlockMoney:
    """Money of a block, benchmark prices (n, T) and the service-cost index by refrac month, each (n,)."""

    money: Money
    oil_price: Array
    gas_price: Array
    service_index: dict[int, Array]


def block_money(plan: WellPlan, draws: Mapping[str, Array]) -> BlockMoney:
    """Price paths, netbacks, costs and discount factors of the drawn trials."""
    case, settings = plan.case, plan.well.settings
    valuation, fiscal = case.valuation, settings.fiscal
    n, months = draws["luck.z_well"].size, np.arange(plan.horizon)
    paths, expected = _paths(plan, draws, n)
    terms = FiscalTerms(
        working_interest=settings.interests.working,
        net_revenue_interest=settings.interests.net_revenue,
        severance_oil=fiscal.severance_oil_fraction,
        severance_gas=fiscal.severance_gas_fraction,
        ad_valorem=fiscal.ad_valorem_fraction,
    )
    escalation = (1.0 + valuation.annual_cost_escalation) ** ((months + 0.5) / 12.0)
    cost = settings.interests.working * escalation

    def per_month(name: str) -> Array:
        return draws[name][:, None] * cost

    def net(oil: Array, gas: Array) -> tuple[Array, Array, Array]:
        oil_net = oil_netback(oil, draws["prices.oil_differential_usd_per_bbl"], terms)
        gas_net = gas_netback(
            gas,
            draws["prices.gas_differential_usd_per_mcf"],
            terms,
            oil,
            draws["prices.ngl_yield_bbl_per_mcf"],
            draws["prices.ngl_price_fraction_of_oil"],
        )
        oil_net -= per_month("opex.oil_usd_per_bbl")
        gas_net -= per_month("opex.gas_usd_per_mcf")
        return oil_net, gas_net, -per_month("opex.water_usd_per_bbl")

    oil_price, gas_price, water_price = net(paths.oil, paths.gas)
    ahead = None
    if expected is not None:
        ahead = net(*expected)
    factor = terms.oil_factor if plan.well.main_phase == "oil" else terms.gas_factor
    tax = fiscal.income_tax
    year, month = (int(part) for part in valuation.date.split("-"))
    job_months = _job_months(plan)
    weights = {}
    if tax is not None:
        weights = {m: depreciation_weights(tax.schedule, m, year, month, plan.horizon) for m in job_months}
    money = Money(
        price_oil=oil_price,
        price_gas=gas_price,
        price_water=water_price,
        fixed=per_month("opex.fixed_usd_per_month"),
        holding=per_month("opex.holding_usd_per_month"),
        abandonment=per_month("opex.abandonment_usd"),
        main_price=paths.oil if plan.well.main_phase == "oil" else paths.gas,
        main_factor=np.full((n, 1), factor),
        discount=discount_factors(plan.horizon, valuation.annual_discount_rate),
        working=settings.interests.working,
        ahead=ahead,
        tax_rate=0.0 if tax is None else tax.rate,
        expensed=0.0 if tax is None else tax.intangible_fraction,
        depreciation=weights,
    )
    return BlockMoney(money, paths.oil, paths.gas, service_index(plan, draws))


_PATHS_KEPT = 4
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
    return {
        month: service_cost_index(
            paths.oil_multiplier,
            draws["job.cost.service_index_beta"],
            cost.service_index_lag_months,
            cost.service_index_sd,
            draws["costs.service_luck"],
            month,
        )
        for month in _job_months(plan)
    }
