"""What a choice among wells may spend and which crews there are: section [portfolio]. It changes no well's value."""

from __future__ import annotations

import re
from typing import Any, Literal

from pydantic import StrictFloat, StrictInt, StrictStr, field_validator

from refracmc.case.faults import nearest, path_text
from refracmc.case.key_rules import Problem, Section, Uncertain, choice, doubled, integer, number, uncertain
from refracmc.case.key_values import read_months, refuse
from refracmc.errors import Fault

MOST_USD = 1e12


class OtherProject(Section):
    """A project that is no refrac (a new well, a workover) and competes for the same money and crews."""

    name: StrictStr = choice(..., "name, not that of a well")
    capital_usd: float = number(..., "US$ WI", "capital, spent in the month it is done", 0.0, MOST_USD)
    value_usd: Uncertain = uncertain(
        ..., "US$ WI", "present value at the valuation month, capital off, the same in every month"
    )
    months: tuple[str, ...] = choice(..., "months in which it may be done")
    ct_days: float = number(0.0, "days", "days of a CT crew", 0.0, 3650.0)
    frac_days: float = number(0.0, "days", "days of a frac crew", 0.0, 3650.0)

    @field_validator("months", mode="plain")
    @classmethod
    def _months(cls, value: Any) -> Any:
        return read_months(value)


class Portfolio(Section):
    """Which wells, with which job, in which month: what limits the choice, and what it is judged by."""

    capital_usd: float | None = number(
        None, "US$ WI", "capital for all jobs together, whenever; absent: no limit", 0.0, MOST_USD
    )
    capital_by_year: dict[str, StrictFloat | StrictInt] = choice(
        {},
        'table of capital by calendar year, "2027" = 8e6 [US$ WI]; a year not named has no limit of its own',
    )
    ct_crews: int | None = integer(None, "crews", "coiled-tubing crews; absent: no limit", 0, 1000)
    frac_crews: int | None = integer(None, "crews", "frac crews; absent: no limit", 0, 1000)
    working_days_per_month: float = number(26.0, "days", "days a crew works in a month", 1.0, 31.0)
    crew_share_of_days: float = number(
        1.0,
        "fraction",
        "share of a job's days on which a CT crew and a frac crew are held",
        0.0,
        1.0,
        above=True,
    )
    days: Literal["mean", "p90", "p50", "p10"] = choice(
        "mean",
        "days of a job in the limits of crews: mean, or percentile by exceedance (p10 is the long one)",
    )
    months: Literal["valued", "every"] = choice(
        "valued", "months offered: those valued, or every month between them, interpolated trial by trial"
    )
    pad_saving_usd: float | None = number(
        None,
        "US$ gross",
        "saved by each further job of a pad in one month; absent: the mean mobilisation of its wells",
        0.0,
        MOST_USD,
    )
    must_do: tuple[StrictStr, ...] = choice((), "wells and other projects that must be done")
    must_not: tuple[StrictStr, ...] = choice((), "wells and other projects that must not be done")
    risk_weight: float = number(
        0.0, "", "multiple of the CVaR of the loss taken off the mean; 0: the mean alone", 0.0, 100.0
    )
    target_usd: float | None = number(
        None, "US$ WI", "value to reach; its chance is told along the front", -MOST_USD, MOST_USD
    )
    scenarios: int = integer(
        80, "scenarios", "groups of trials in which the tail is reckoned while choosing", 4, 1000
    )
    resamples: int = integer(
        100, "resamples", "resampled trials for which the choice is made again", 0, 10_000
    )
    gap: float = number(0.001, "fraction", "how far from the best a choice may be", 0.0, 0.5)
    time_limit_s: float = number(
        30.0, "seconds", "time for the choice; so much again for each further table", 0.1, 1e5
    )
    other: tuple[OtherProject, ...] = choice((), "tables [[portfolio.other]] of projects that are no refrac")

    @field_validator("capital_by_year", mode="after")
    @classmethod
    def _by_year(cls, value: dict[str, float]) -> dict[str, float]:
        for year, usd in value.items():
            if not re.fullmatch(r"[12]\d{3}", year):
                raise refuse(repr(year), "calendar years such as 2027", "correct the year")
            if not 0.0 <= usd <= MOST_USD:
                raise refuse(f"{usd:g} US$ in {year}", f"0 to {MOST_USD:g} US$ WI", "correct the number")
        return value

    def problems(self) -> list[Problem]:
        found = doubled(("other",), [item.name for item in self.other], "project", "rename one")
        for number_of, item in enumerate(self.other):
            if not item.months:
                where = ("other", number_of, "months")
                found.append((where, "an empty list", "one month or more", "name a month"))
        both = sorted(set(self.must_do) & set(self.must_not))
        if both:
            found.append(
                (("must_not",), f"{', '.join(both)} in must_do too", "one of the two lists", "remove it")
            )
        return found


def portfolio_faults(section: Portfolio, wells: set[str], file: str) -> list[Fault]:
    """Names that are no well or project, and projects named as a well is."""
    faults = []
    known = wells | {item.name for item in section.other}
    for key in ("must_do", "must_not"):
        for place, name in enumerate(getattr(section, key)):
            if name not in known:
                where = f"{file}: {path_text(('portfolio', key, place))}"
                remedy = nearest(name, known) or "correct the name"
                faults.append(Fault(where, repr(name), "a well or a project of [[portfolio.other]]", remedy))
    for place, item in enumerate(section.other):
        if item.name in wells:
            where = f"{file}: {path_text(('portfolio', 'other', place, 'name'))}"
            faults.append(Fault(where, f"{item.name!r}, a well", "a name of its own", "rename the project"))
    return faults
