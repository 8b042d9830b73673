"""Section [strategies]: refrac dates x stage orders, and how the job is run."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from pydantic import StrictInt, StrictStr, ValidationInfo, field_validator

from refracmc.case import units
from refracmc.case.faults import nearest
from refracmc.case.key_rules import Problem, Section, choice, doubled, integer, month, number
from refracmc.case.key_values import read_months
from refracmc.case.methods_section import Methods
from refracmc.case.size_section import Size
from refracmc.job.fallbacks import FALLBACKS
from refracmc.job.orders import NAMED_ORDERS

MAX_DATES = 600
_NAME = re.compile(r"^[A-Za-z][A-Za-z0-9_-]{0,39}$")


if TYPE_CHECKING:
    _Closing: TypeAlias = str
    _Opening: TypeAlias = str
    _Reopening: TypeAlias = str
    _Restricts: TypeAlias = str
else:
    _Closing, _Opening, _Reopening, _Restricts = (Literal[fallback.names] for fallback in FALLBACKS.values())


def _fallback(key: str) -> Any:
    """The declaration of a fallback: its default and its meaning."""
    return choice(FALLBACKS[key].names[0], FALLBACKS[key].meaning)


class DateSeries(Section):
    """Evenly spaced refrac dates."""

    first: str = month(..., "first refrac month; a job starts on the first day of its month")
    every_months: int = integer(3, "months", "spacing", 1, 120)
    count: int = integer(..., "dates", "number of dates", 1, MAX_DATES)


class Trigger(Section):
    """A refrac date decided trial by trial on what is known that month."""

    when: Literal["rate_below", "economic_limit", "date"] = choice(
        ..., "the main phase's rate is below rate_per_d, the well is past its limit, or the window alone"
    )
    rate_per_d: float | None = number(
        None, "bbl/d or Mcf/d", "rate of the month before (rate_below)", 0.0, above=True
    )
    earliest: str = month(..., "first month in which the job may start")
    latest: str = month(..., "last month in which the job may start")
    orders: tuple[StrictStr, ...] | None = choice(
        None, "orders and methods it is tried with, all of the case if absent"
    )
    min_rate_per_d: float | None = number(
        None, "bbl/d or Mcf/d", "go only if the rate of the month before is at least this", 0.0
    )
    min_price_usd: float | None = number(
        None, "US$/bbl or US$/Mcf", "go only if the main phase's benchmark price is at least this", 0.0
    )
    max_service_index: float | None = number(
        None, "", "go only if service costs, 1 at the deck's price, are at most this", 0.0, above=True
    )

    def problems(self) -> list[Problem]:
        found: list[Problem] = []
        if (self.when == "rate_below") != (self.rate_per_d is not None):
            text = f"when = {self.when!r} {'without' if self.rate_per_d is None else 'with'} a rate"
            found.append((("rate_per_d",), text, "a rate with rate_below only", "add or remove the key"))
        if units.month_number(self.latest) < units.month_number(self.earliest):
            found.append(
                (("latest",), f"{self.latest}, before {self.earliest}", "a later month", "swap them")
            )
        if None not in (self.rate_per_d, self.min_rate_per_d) and self.min_rate_per_d >= self.rate_per_d:  # type: ignore[operator]
            text = f"{self.min_rate_per_d:g} with rate_per_d = {self.rate_per_d:g}: no rate is both"
            found.append((("min_rate_per_d",), text, "less than rate_per_d", "lower it, or remove it"))
        if self.orders is not None and not self.orders:
            remedy = "name an order, or remove the key for all of the case"
            found.append((("orders",), "an empty list", "one order or more", remedy))
        return found


class Strategies(Section):
    """What is compared, always against doing nothing on the same trials."""

    orders: tuple[StrictStr, ...] = choice(NAMED_ORDERS, "stage orders, named ones or those of custom_orders")
    dates: DateSeries | tuple[str, ...] = choice(..., "list of months, or {first, every_months, count}")
    close_policy: Literal["all", "needed"] = choice(
        "all",
        "close all sleeves first, or only what the uphole rule needs",
        source="common practice, no source",
    )
    reclose_habit: Literal["every", "needed", "never"] = choice(
        "needed", "reclose after every stage, only where a deeper stage follows, or never"
    )
    leaking_sleeve: Literal["reseat", "accept"] = choice(
        "reseat",
        "a sleeve that leaks on record is opened and closed again before a stage below it is pumped, or left as it is",
        source="common practice, no source",
    )
    when_not_closing: _Closing = _fallback("when_not_closing")
    when_not_opening: _Opening = _fallback("when_not_opening")
    when_not_reopening: _Reopening = _fallback("when_not_reopening")
    patched_restricts: _Restricts = _fallback("patched_restricts")
    stop_loss_failed_closes: int | None = integer(
        None,
        "sleeves",
        "call the job off if more sleeves fail to close before the first stage; absent: never",
        0,
        1000,
    )
    methods: Methods = choice(
        Methods(), "table [strategies.methods]: isolation methods beside reclosed sleeves"
    )
    triggers: dict[str, Trigger] = choice({}, "tables [strategies.triggers.NAME] of dates set by triggers")
    sizes: dict[str, Size] = choice(
        {}, "tables [strategies.sizes.NAME] of job sizes, compared beside dates and orders; with [job.size]"
    )
    custom_orders: dict[str, tuple[StrictInt, ...]] = choice({}, "table of orders as lists of sleeve numbers")

    @field_validator("dates", mode="plain")
    @classmethod
    def _dates(cls, value: Any, info: ValidationInfo) -> Any:
        if isinstance(value, DateSeries):
            return value
        if isinstance(value, dict):
            return DateSeries.model_validate(value, context=info.context)
        return read_months(value)

    @property
    def all_orders(self) -> tuple[str, ...]:
        """Stage orders, then the isolation methods beside reclosed sleeves: the parts of strategy names."""
        return (*self.orders, *self.methods.names)

    @property
    def months(self) -> tuple[str, ...]:
        """The refrac dates 'YYYY-MM'."""
        if isinstance(self.dates, tuple):
            return self.dates
        start = units.month_number(self.dates.first)
        return tuple(units.month_text(start + self.dates.every_months * k) for k in range(self.dates.count))

    def problems(self) -> list[Problem]:
        found: list[Problem] = []
        if not self.orders:
            found.append((("orders",), "an empty list", "one order or more", "name an order"))
        found += _names(("orders",), self.orders, (*NAMED_ORDERS, *self.custom_orders), "define it")
        for name, sleeves in self.custom_orders.items():
            path = ("custom_orders", name)
            found += _own_name(path, "order")
            if name in NAMED_ORDERS or name == "nothing" or name in Methods.model_fields:
                found.append((path, "a name already in use", "a new name", "rename the order"))
            if not sleeves:
                found.append((path, "an empty list", "sleeve numbers", "list the sleeves to treat"))
            found += doubled(path, sleeves, "sleeve", "remove the doubled numbers")
        for name in self.sizes:
            found += _own_name(("sizes", name), "size")
        for name, trigger in self.triggers.items():
            path = ("triggers", name)
            found += _own_name(path, "trigger")
            found += _names((*path, "orders"), trigger.orders or (), self.all_orders, "name one of them")
        months = self.months
        if not months:
            found.append((("dates",), "an empty list", "one month or more", "give a refrac date"))
        if len(months) > MAX_DATES:
            found.append((("dates",), f"{len(months)} dates", f"up to {MAX_DATES}", "take fewer dates"))
        return found + doubled(("dates",), months, "month", "remove the doubled dates")


def _own_name(path: tuple[str, str], what: str) -> list[Problem]:
    """The fault of a name given in the case that cannot be part of a strategy's name."""
    if _NAME.match(path[1]):
        return []
    allowed = "letters, digits, _ and -, first a letter, up to 40"
    return [(path, f"the name {path[1]!r}", allowed, f"rename the {what}")]


def _names(
    path: tuple[str, ...], names: Sequence[str], known: Sequence[str], otherwise: str
) -> list[Problem]:
    """Faults of a list of orders: one that is not known, one that stands twice."""
    found: list[Problem] = []
    for k, name in enumerate(names):
        if name not in known:
            remedy = nearest(name, known) or otherwise
            found.append(((*path, k), f"the order {name!r}", ", ".join(known), remedy))
        elif name in names[:k]:
            found.append(((*path, k), f"the order {name!r} twice", "each order once", "remove one"))
    return found
