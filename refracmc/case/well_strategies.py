"""What is compared in one well: strategies by date and by trigger, sleeves of each order, depth the tubing reaches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from refracmc.case import units
from refracmc.case.tubing_reach import stated_reach_ft
from refracmc.job.methods import METHODS, MethodPlan, plan_method
from refracmc.job.orders import NAMED_ORDERS, named_order, validate
from refracmc.job.sleeves import PlanRefused, Tally

if TYPE_CHECKING:
    from refracmc.case.strategies import Strategies
    from refracmc.case.validated_case import Case, WellCase

NOTHING = "nothing"


@dataclass(frozen=True)
class Trigger:
    """When a job may start: see `refracmc.engine.triggers`. first, last: months of the window from the valuation month
    0; rates in the main phase's unit a day, price in US$ per unit of it."""

    name: str
    when: str
    first: int
    last: int
    rate_per_d: float = 0.0
    min_rate_per_d: float | None = None
    min_price_usd: float | None = None
    max_service_index: float | None = None


@dataclass(frozen=True)
class Strategy:
    """One refrac strategy: `<order>@YYYY-MM`, its order and the month index counted from the valuation month; or
    `<order>@<trigger>` with month -1. size: of the job, where the case states sizes: `<order>+<size>@YYYY-MM`."""

    name: str
    order: str
    month: int
    date: str
    trigger: Trigger | None = None
    size: str = ""

    @property
    def order_and_size(self) -> str:
        """What is done, whenever it is: the order, and the size where there are sizes."""
        return f"{self.order}+{self.size}" if self.size else self.order


def dated_strategies(case: Case, well: WellCase) -> tuple[Strategy, ...]:
    """Strategies of the case's dates: by date, and within a date the stage orders, then the isolation methods, each in
    the sizes there are."""
    chosen = well.settings.strategies
    return tuple(
        Strategy(f"{job}@{date}", order, units.months_between(case.valuation.date, date), date, size=size)
        for date in chosen.months
        for job, order, size in _jobs(chosen, chosen.all_orders)
    )


def _jobs(chosen: Strategies, orders: Sequence[str]) -> list[tuple[str, str, str]]:
    """What may be done at a date, (name, order, size): every order in every size."""
    if not chosen.sizes:
        return [(order, order, "") for order in orders]
    return [(f"{order}+{size}", order, size) for order in orders for size in chosen.sizes]


def triggered_strategies(case: Case, well: WellCase) -> tuple[Strategy, ...]:
    """Strategies of the case's triggers; PlanRefused where a window has no month to decide in."""
    chosen, valuation = well.settings.strategies, case.valuation
    strategies: list[Strategy] = []
    for name, trigger in chosen.triggers.items():
        first = max(units.months_between(valuation.date, trigger.earliest), 1)
        last = min(units.months_between(valuation.date, trigger.latest), valuation.horizon_months - 1)
        if last < first:
            raise PlanRefused(
                f"trigger {name} has no month between the one after the valuation month {valuation.date} and the "
                "horizon"
            )
        rule = Trigger(
            name,
            trigger.when,
            first,
            last,
            trigger.rate_per_d or 0.0,
            trigger.min_rate_per_d,
            trigger.min_price_usd,
            trigger.max_service_index,
        )
        strategies += [
            Strategy(f"{job}@{name}", order, -1, name, rule, size)
            for job, order, size in _jobs(chosen, trigger.orders or chosen.all_orders)
        ]
    return tuple(strategies)


def job_reach_ft(strategies: Strategies, tally: Tally, ct_reach_ft: float | None) -> float | None:
    """Deepest measured depth the job works at [ft]: the reach of the tubing, and no deeper than a patch on
    record that stops the tools (patched_restricts = "lost"). None: no limit."""
    patched = tally.in_state("patched")
    if strategies.patched_restricts != "lost" or not patched.any():
        return ct_reach_ft
    patch = float(tally.depth_ft[patched].min())
    return patch if ct_reach_ft is None else min(ct_reach_ft, patch)


def well_reach_ft(well: WellCase) -> float | None:
    """Deepest measured depth a well's job works at [ft], by stated depth, force at the tool, and patches on record."""
    settings = well.settings
    stated = stated_reach_ft(settings.completion, settings.job, well.tally)
    return job_reach_ft(settings.strategies, well.tally, stated)


def order_sleeves(strategies: Strategies, tally: Tally, name: str, reach_ft: float | None) -> tuple[int, ...]:
    """The sleeves of an order, in the order treated; PlanRefused naming the sleeve that stands against it."""
    if name in NAMED_ORDERS:
        return named_order(name, tally, reach_ft)
    return validate(strategies.custom_orders[name], tally, reach_ft)


def method_plan(strategies: Strategies, tally: Tally, name: str, reach_ft: float | None) -> MethodPlan:
    """The plan of one of the case's isolation methods; PlanRefused naming the sleeve that stands against it."""
    section = getattr(strategies.methods, name)
    return plan_method(
        name, tally, reach_ft, **{key: getattr(section, key) for key in METHODS[name].settings({})}
    )
