"""The monthly cash flow of a trial: of the well left alone, and of a strategy beyond it.

All money is the working-interest share, US$, after income tax unless said otherwise; months count from the valuation
date, and month i is discounted by (1 + r)^-((i + 0.5) / 12).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from refracmc.compiler import inlined, rule, summed

from .fiscal import Costs, FiscalTerms
from .life import first_below, last_by_hindsight
from .margins import AHEAD, EXPECTED, MARGIN, OWN, Shares, Streams, fill_row
from .net_prices import OIL, net_prices
from .offset_wells import Neighbours

Array = NDArray[np.float64]


class Conditions(NamedTuple):
    """What all trials and strategies of a well share."""

    main: int  # OIL or GAS, the phase of the forecast
    use_ahead: bool  # life by the margin expected of the months ahead, or by hindsight
    escalation: Array  # (T,) cost factor of a month times the working interest
    ahead_cost: Array  # (T,) its sum over the months looked ahead
    discount: Array  # (T,)
    monthly_discount: float  # rate
    factors: Array  # (2,) owner's revenue per US$ of gross oil and gas revenue
    tax_rate: float
    working: float  # working interest
    lease: int  # months without production after which the lease ends
    write_off: (
        Array  # (T, T) deductions per unit of job cost: month of the job, month; empty without income tax
    )
    neighbours: Neighbours
    reinvested: Array  # (T,) factors of income and of outlay in the modified rate of return
    financed: Array


class Months(NamedTuple):
    """Months of the trial at hand."""

    fixed: Array  # (T,) monthly cost, US$
    needed: Array  # (T,) margin that pays it over the months ahead, US$ before income tax
    main_worth: Array  # (T,) discounted price of the main phase
    alone: Array  # (T,) cash flow of the well left alone, US$
    base: Array  # (T,) margin of a strategy at which it does as well, US$
    alone_volume: Array  # (T + 1,) discounted volume of the main phase before a month
    alone_value: Array  # (T + 1,) its worth, US$
    margin: Array  # (T,) of a strategy, US$
    flow: Array  # (2 T + ROW_MONTHS,) of a strategy beyond the well left alone, from `resume` on, US$
    work: Array  # (SPAN,)
    row: Array  # (ROW_MONTHS,)
    next_door: Array  # (3, T) net prices in the wells beside it, US$ per unit


class Alone(NamedTuple):
    """The well left alone: last month alive (-1: none), NPV [US$], main-phase recovery."""

    limit: int
    npv: float
    eur: float


def conditions_of(
    main: int,
    use_ahead: bool,
    escalation: Array,
    discount: Array,
    fiscal: FiscalTerms,
    lease: int,
    write_off: Mapping[int, Array],
    neighbours: Neighbours,
    modified: tuple[Array, Array],
) -> Conditions:
    """Conditions of a well; escalation (T,): cost factor of a month; write_off: by month of the job, each (T,);
    modified: factors of income and of outlay (T,), see `modified_rate`."""
    horizon, cost = discount.size, escalation * fiscal.working_interest
    deductions = np.zeros((horizon, horizon) if write_off else (0, horizon))
    for month, line in write_off.items():
        deductions[month] = line
    return Conditions(
        main,
        use_ahead,
        cost,
        np.array([cost[i : i + AHEAD].sum() for i in range(horizon)]),
        discount,
        float(discount[0] / discount[1] - 1.0) if horizon > 1 else 0.0,
        np.array([fiscal.oil_factor, fiscal.gas_factor]),
        fiscal.tax_rate,
        fiscal.working_interest,
        lease,
        deductions,
        neighbours,
        *modified,
    )


@summed
def worth_and_total(flows: Array, discount: Array) -> tuple[float, float]:
    """Present value and sum of flows [US$]."""
    worth, total = 0.0, 0.0
    for i in range(flows.size):
        worth += flows[i] * discount[i]
        total += flows[i]
    return worth, total


@rule
def fill_prices(
    conditions: Conditions,
    prices: Array,
    months: Months,
    costs: Costs,
    paths: tuple[Array, Array, Array, Array],
) -> None:
    """Net prices (2, 3, T) and monthly costs [US$] of a trial; paths (T,): oil, gas, and both as expected ahead."""
    kept, escalation = 1.0 - conditions.tax_rate, conditions.escalation
    oil, gas, oil_ahead, gas_ahead = paths
    net_prices(oil, gas, costs, conditions.factors, escalation, kept, prices[MARGIN])
    if conditions.use_ahead:
        net_prices(oil_ahead, gas_ahead, costs, conditions.factors, escalation, 1.0, prices[EXPECTED])
    if conditions.neighbours.on:
        terms = conditions.neighbours
        net_prices(oil, gas, costs, terms.factors, terms.escalation, kept, months.next_door)
    main_price = oil if conditions.main == OIL else gas
    for i in range(main_price.size):
        months.main_worth[i] = main_price[i] * conditions.discount[i]
        months.fixed[i] = costs.fixed * escalation[i] * kept
        months.needed[i] = costs.fixed * conditions.ahead_cost[i]


@rule
def leave_alone(conditions: Conditions, streams: Streams, months: Months, costs: Costs, np0: float) -> Alone:
    """Cash flow [US$] of the well left alone, and running sums of what it gives up when it is shut in."""
    main, horizon = conditions.main, conditions.discount.size
    discount, escalation = conditions.discount, conditions.escalation
    fixed, alone, base = months.fixed, months.alone, months.base
    leaving = costs.abandonment * (1.0 - conditions.tax_rate)
    fill_row(streams, MARGIN, OWN, 0, horizon)
    margin = streams.worth[MARGIN, OWN, 0]
    if conditions.use_ahead:
        fill_row(streams, EXPECTED, OWN, 0, horizon)
        loses = first_below(streams.worth[EXPECTED, OWN, 0], months.needed)
        limit = loses - 1 if loses >= 0 else horizon - 1
    else:
        limit = last_by_hindsight(margin, fixed, discount, False)
    for i in range(horizon):
        alone[i] = margin[i] - fixed[i] if i <= limit else 0.0
        base[i] = margin[i] if i <= limit else fixed[i]
    end = min(limit + 1, horizon - 1)
    alone[end] -= leaving * escalation[end]
    base[end] -= leaving * escalation[end]
    volume, alone_volume, alone_value = streams.volumes[OWN, main], months.alone_volume, months.alone_value
    for i in range(horizon):
        alone_volume[i + 1] = alone_volume[i] + volume[i] * discount[i]
        alone_value[i + 1] = alone_value[i] + volume[i] * months.main_worth[i]
    npv, _ = worth_and_total(alone, discount)
    return Alone(limit, npv, np0 + streams.sums[OWN, main, limit + 1] - streams.sums[OWN, main, 0])


@inlined
def fill_flow(
    conditions: Conditions, months: Months, costs: Costs, shares: Shares, life: int, limit: int, capex: float
) -> int:
    """Cash flow [US$] of a strategy beyond the well left alone, in `months.flow` from `resume` on: how many months.

    life: last month after the job; limit: of the well left alone. Before the job an idle well is held at its cost.
    """
    month, resume, width = shares.month, shares.resume, shares.width
    idle, tax_rate = month - resume, conditions.tax_rate
    holding, leaving = costs.holding * (1.0 - tax_rate), costs.abandonment * (1.0 - tax_rate)
    whole = tax_rate > 0.0 or conditions.neighbours.on
    stop = idle + (width if whole else min(max(life, limit - month) + 2, width))
    before, flow, escalation = months.flow[:idle], months.flow[idle:stop], conditions.escalation
    for i in range(idle):
        before[i] = -holding * escalation[resume + i] - months.alone[resume + i]
    margin, base, alone = months.margin, months.base[month:], months.alone[month:]
    for k in range(life + 1):
        flow[k] = margin[k] - base[k]
    for k in range(life + 1, flow.size):
        flow[k] = -alone[k]
    last = min(life + 1, width - 1)
    flow[last] -= leaving * escalation[month + last]
    flow[0] -= capex
    if tax_rate > 0.0:
        saved, off = capex * tax_rate, conditions.write_off[month, month:]
        for k in range(width):
            flow[k] += off[k] * saved
    return stop
