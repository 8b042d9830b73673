"""The monthly cash flow of one trial, column by column, built up anew from volumes and prices.

This is a second way to the trial's NPV beside the margins of the cash loop; the two must agree.
All money is the working-interest share, US$; costs and taxes are negative, columns add up to the net.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.economics.fiscal import depreciation_weights

from .base import MONTH_DAYS
from .block_model import model_block
from .cash_flow import limit_alone
from .neighbours import HIT
from .one_trial import StrategyInFull
from .plan import WellPlan
from .volumes import alone_volumes, volumes_of

Array = NDArray[np.float64]
PHASES = ("oil", "gas", "water")
LEDGER_COLUMNS = (
    "oil_bbl",
    "gas_mcf",
    "water_bbl",
    "oil_price_usd_per_bbl",
    "gas_price_usd_per_mcf",
    "revenue_usd",
    "production_tax_usd",
    "opex_usd",
    "holding_usd",
    "capex_usd",
    "abandonment_usd",
    "income_tax_usd",
    "offset_wells_usd",
    "net_cash_usd",
    "discount_factor",
    "present_value_usd",
)


def _ledger(
    plan: WellPlan,
    draws: Mapping[str, Array],
    row: int,
    volumes: tuple[Array, Array, Array],
    prices: tuple[Array, Array],
    on: NDArray[np.bool_],
    held: NDArray[np.bool_],
    capex: Array,
    abandon_month: int,
    job_month: int | None,
    neighbours: Array,
) -> dict[str, Array]:
    settings, case, months = plan.well.settings, plan.case, np.arange(plan.horizon)
    value = {name: float(values[row]) for name, values in draws.items() if values.ndim == 1}
    working, nri = settings.interests.working, settings.interests.net_revenue
    escalation = (1.0 + case.valuation.annual_cost_escalation) ** ((months + 0.5) / 12.0)
    oil, gas, water = volumes
    oil_price, gas_price = prices
    gas_sold = (
        gas_price
        + value["prices.gas_differential_usd_per_mcf"]
        + (value["prices.ngl_yield_bbl_per_mcf"] * value["prices.ngl_price_fraction_of_oil"] * oil_price)
    )
    revenue_oil = nri * oil * (oil_price + value["prices.oil_differential_usd_per_bbl"])
    revenue_gas = nri * gas * gas_sold
    fiscal = settings.fiscal
    tax = revenue_oil * (fiscal.severance_oil_fraction + fiscal.ad_valorem_fraction)
    tax += revenue_gas * (fiscal.severance_gas_fraction + fiscal.ad_valorem_fraction)
    variable = (
        value["opex.oil_usd_per_bbl"] * oil
        + value["opex.gas_usd_per_mcf"] * gas
        + value["opex.water_usd_per_bbl"] * water
    )
    opex = -working * escalation * (variable + value["opex.fixed_usd_per_month"] * on)
    holding = -working * escalation * value["opex.holding_usd_per_month"] * held
    abandonment = np.zeros(plan.horizon)
    abandonment[abandon_month] = -working * escalation[abandon_month] * value["opex.abandonment_usd"]
    income = np.zeros(plan.horizon)
    before_tax = revenue_oil + revenue_gas - tax + opex + holding + abandonment
    if fiscal.income_tax is not None:
        shield = np.zeros(plan.horizon)
        if job_month is not None:
            year, month = (int(part) for part in case.valuation.date.split("-"))
            weights = depreciation_weights(fiscal.income_tax.schedule, job_month, year, month, plan.horizon)
            spent = -capex[job_month]
            shield = spent * (1.0 - fiscal.income_tax.intangible_fraction) * weights
            shield[job_month] += spent * fiscal.income_tax.intangible_fraction
        income = -fiscal.income_tax.rate * (before_tax - shield)
    net = before_tax + capex + income + neighbours
    discount = (1.0 + case.valuation.annual_discount_rate) ** (-(months + 0.5) / 12.0)
    columns = (
        oil,
        gas,
        water,
        oil_price,
        gas_price,
        revenue_oil + revenue_gas,
        -tax,
        opex,
        holding,
        capex,
        abandonment,
        income,
        neighbours,
        net,
        discount,
        net * discount,
    )
    return dict(zip(LEDGER_COLUMNS, columns, strict=True))


def nothing_ledger(plan: WellPlan, draws: Mapping[str, Array], row: int) -> dict[str, Array]:
    """Columns (T,) of the well left alone, for trial `row` of the block."""
    model = model_block(plan, {name: values[row : row + 1] for name, values in draws.items()})
    limit, sums = limit_alone(model), model.own.sums(slice(None))
    oil, gas, water = (alone_volumes(sums[phase], limit)[0] for phase in PHASES)
    return _ledger(
        plan,
        draws,
        row,
        (oil, gas, water),
        (model.economics.oil_price[0], model.economics.gas_price[0]),
        np.arange(plan.horizon) <= limit,
        np.zeros(plan.horizon, dtype=bool),
        np.zeros(plan.horizon),
        min(int(limit[0]) + 1, plan.horizon - 1),
        None,
        np.zeros(plan.horizon),
    )


def month_ledger(
    plan: WellPlan, draws: Mapping[str, Array], streams: StrategyInFull, row: int
) -> dict[str, Array]:
    """Columns (T,) of one strategy for trial `row` of the block."""
    if not streams.executed(row):
        return nothing_ledger(plan, draws, row)
    month, life, limit = streams.month, int(streams.detail("life", row)), int(streams.cash.limit[row])
    months = np.arange(plan.horizon)
    on = (months <= min(limit, month - 1)) | ((months >= month) & (months <= month + life))
    held = (months > limit) & (months < month)
    at = np.full(streams.model.trials, month)
    oil, gas, water = volumes_of(streams.model, np.array([row]), PHASES, at, streams.outcome, streams.cash)
    capex = np.zeros(plan.horizon)
    capex[month] = -plan.well.settings.interests.working * float(streams.outcome.cost[row])
    return _ledger(
        plan,
        draws,
        row,
        (oil[0], gas[0], water[0]),
        (streams.model.economics.oil_price[row], streams.model.economics.gas_price[row]),
        on,
        held,
        capex,
        min(month + life + 1, plan.horizon - 1),
        month,
        _neighbours(plan, draws, streams, row),
    )


def _neighbours(plan: WellPlan, draws: Mapping[str, Array], streams: StrategyInFull, row: int) -> Array:
    """What the job does to offset wells (T,), after income tax; nothing where it places nothing."""
    section, case, month = plan.well.settings.offset_wells, plan.case, streams.month
    line = np.zeros(plan.horizon)
    if section is None or not float(streams.outcome.effective_share[row]) > 0.0:
        return line
    value = {name: float(values[row]) for name, values in draws.items() if values.ndim == 1}
    fiscal, interests, money = (
        plan.well.settings.fiscal,
        plan.well.settings.interests,
        streams.model.economics,
    )
    working = interests.working if section.working is None else section.working
    nri = interests.net_revenue if section.net_revenue is None else section.net_revenue
    main, oil = plan.well.main_phase, money.oil_price[row]
    price = oil + value["prices.oil_differential_usd_per_bbl"]
    severance, unit_cost = fiscal.severance_oil_fraction, value["opex.oil_usd_per_bbl"]
    if main == "gas":
        price = money.gas_price[row] + value["prices.gas_differential_usd_per_mcf"]
        price = price + (
            value["prices.ngl_yield_bbl_per_mcf"] * value["prices.ngl_price_fraction_of_oil"] * oil
        )
        severance, unit_cost = fiscal.severance_gas_fraction, value["opex.gas_usd_per_mcf"]
    months = np.arange(plan.horizon)
    years = (months + 0.5) / 12.0
    dearer = (1.0 + case.valuation.annual_cost_escalation) ** years
    unit = nri * price * (1.0 - severance - fiscal.ad_valorem_fraction) - working * dearer * unit_cost
    kept = 1.0 if fiscal.income_tax is None else 1.0 - fiscal.income_tax.rate
    if HIT in value and value[HIT] < value["offset_wells.hit_chance"]:
        volume = (
            value["offset_wells.rate_per_d"]
            * MONTH_DAYS
            * np.exp(-value["offset_wells.decline_per_year"] * years)
        )
        fade = value["offset_wells.recovery_months"]
        left = (
            np.maximum(1.0 - (months - month + 0.5) / fade, 0.0) * (months >= month) if fade > 0.0 else line
        )
        line = line - value["offset_wells.lost_fraction"] * left * volume * unit * kept
    if section.child_month is not None:
        at = units.months_between(case.valuation.date, section.child_month)
        if month <= at < plan.horizon:
            line[at] += value["offset_wells.child_value_usd"]
    return line
