"""Prices and terms of a block: what a volume is worth net of taxes, royalty and volume costs, month by month."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

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


COSTS = (
    "prices.oil_differential_usd_per_bbl",
    "prices.gas_differential_usd_per_mcf",
    "liquids",
    "opex.oil_usd_per_bbl",
    "opex.gas_usd_per_mcf",
    "opex.water_usd_per_bbl",
    "opex.fixed_usd_per_month",
    "opex.holding_usd_per_month",
    "opex.abandonment_usd",
)
"""Rows of BlockMoney.costs; liquids: yield of gas liquids times their share of the oil price, bbl/Mcf."""


@dataclass(frozen=True, eq=False)
class BlockMoney:
    """Prices and terms of a block before they are made monthly.

    costs (9, n): rows as in COSTS, 8/8; escalation (T,): cost factor of a month; oil_price, gas_price, ahead (n, T):
    benchmark prices, and their mean over the next twelve months expected (None where the path is known);
    service_index: by refrac month, each (n,).
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
    tax_rate: float = 0.0
    expensed: float = 0.0
    depreciation: dict[int, Array] = field(default_factory=dict)

    @property
    def main_price(self) -> Array:
        """Benchmark price (n, T) of the main phase."""
        return self.oil_price if self.main_phase == "oil" else self.gas_price

    def rows(self, part: slice | NDArray[np.intp]) -> BlockMoney:
        """The same for some of the trials; the service-cost index is left whole."""
        ahead = None
        if self.ahead is not None:
            ahead = (self.ahead[0][part], self.ahead[1][part])
        return replace(
            self,
            costs=self.costs[:, part],
            oil_price=self.oil_price[part],
            gas_price=self.gas_price[part],
            ahead=ahead,
        )

    @cached_property
    def money(self) -> Money:
        """Month by month, as the array kernel takes it."""
        cost = self.fiscal.working_interest * self.escalation
        held = dict(zip(COSTS, self.costs, strict=True))

        def per_month(name: str) -> Array:
            monthly: Array = held[name][:, None] * cost
            return monthly

        def net(oil: Array, gas: Array) -> tuple[Array, Array, Array]:
            oil_net = oil_netback(oil, held["prices.oil_differential_usd_per_bbl"], self.fiscal)
            gas_net = gas_netback(
                gas, held["prices.gas_differential_usd_per_mcf"], self.fiscal, oil, held["liquids"], 1.0
            )
            oil_net -= per_month("opex.oil_usd_per_bbl")
            gas_net -= per_month("opex.gas_usd_per_mcf")
            return oil_net, gas_net, -per_month("opex.water_usd_per_bbl")

        oil_price, gas_price, water_price = net(self.oil_price, self.gas_price)
        factor = self.fiscal.oil_factor if self.main_phase == "oil" else self.fiscal.gas_factor
        return Money(
            price_oil=oil_price,
            price_gas=gas_price,
            price_water=water_price,
            fixed=per_month("opex.fixed_usd_per_month"),
            holding=per_month("opex.holding_usd_per_month"),
            abandonment=per_month("opex.abandonment_usd"),
            main_price=self.main_price,
            main_factor=np.full((self.costs.shape[1], 1), factor),
            discount=self.discount,
            working=self.fiscal.working_interest,
            ahead=None if self.ahead is None else net(*self.ahead),
            tax_rate=self.tax_rate,
            expensed=self.expensed,
            depreciation=self.depreciation,
        )


def block_money(plan: WellPlan, draws: Mapping[str, Array]) -> BlockMoney:
    """Price paths, costs and discount factors of the drawn trials."""
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
    liquids = draws["prices.ngl_yield_bbl_per_mcf"] * draws["prices.ngl_price_fraction_of_oil"]
    tax = fiscal.income_tax
    year, month = (int(part) for part in valuation.date.split("-"))
    weights = {}
    if tax is not None:
        weights = {
            m: depreciation_weights(tax.schedule, m, year, month, plan.horizon) for m in _job_months(plan)
        }
    return BlockMoney(
        fiscal=terms,
        main_phase=plan.well.main_phase,
        costs=np.array([liquids if name == "liquids" else draws[name] for name in COSTS]),
        escalation=np.asarray(
            (1.0 + valuation.annual_cost_escalation) ** ((months + 0.5) / 12.0), dtype=float
        ),
        discount=discount_factors(plan.horizon, valuation.annual_discount_rate),
        oil_price=paths.oil,
        gas_price=paths.gas,
        ahead=expected,
        service_index=service_index(plan, draws),
        tax_rate=0.0 if tax is None else tax.rate,
        expensed=0.0 if tax is None else tax.intangible_fraction,
        depreciation=weights,
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
