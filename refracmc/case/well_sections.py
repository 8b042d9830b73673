"""Sections of one well alone: interests, completion, type curve, and what the engineer fixes of the decline fit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

from pydantic import StrictStr, field_validator

from refracmc.case.key_rules import (
    Problem,
    Section,
    Uncertain,
    choice,
    fraction,
    month,
    number,
    uncertain,
)
from refracmc.case.key_values import read_months
from refracmc.production.forms import FORMS

if TYPE_CHECKING:
    DeclineFormName = str
else:
    DeclineFormName = Literal[FORMS]


class Interests(Section):
    """Interests of the owner in the well."""

    working: float = number(1.0, "fraction", "working interest", 0.0, 1.0, above=True)
    net_revenue: float = number(0.8125, "fraction", "net revenue interest", 0.0, 1.0, above=True)

    def problems(self) -> list[Problem]:
        if self.net_revenue > self.working:
            found = f"{self.net_revenue:g} above the working interest {self.working:g}"
            return [
                (("net_revenue",), found, "at most the working interest", "correct one of the two interests")
            ]
        return []


class Completion(Section):
    """Facts of the completion and of the coiled tubing; None where not stated."""

    casing_od_in: float | None = number(None, "in", "outer diameter of the casing", 2.0, 20.0)
    casing_weight_lb_per_ft: float | None = number(None, "lb/ft", "nominal weight of the casing", 1.0, 200.0)
    casing_wall_in: float | None = number(None, "in", "wall of the casing", 0.05, 2.0)
    casing_grade: StrictStr | None = choice(None, "grade of the casing, as L-80 or P-110")
    ct_od_in: float | None = number(None, "in", "outer diameter of the coiled tubing", 0.75, 5.0)
    ct_reach_ft: float | None = number(
        None, "ft", "measured depth the coiled tubing reaches", 100.0, 60_000.0
    )
    toe_md_ft: float | None = number(None, "ft", "measured depth of the toe", 100.0, 60_000.0)
    lateral_ft: float | None = number(None, "ft", "completed lateral length", 10.0, 40_000.0)
    proppant_lb_per_ft: float | None = number(
        None, "lb/ft", "proppant of the first job per foot", 0.0, 20_000.0
    )

    def problems(self) -> list[Problem]:
        found: list[Problem] = []
        if self.casing_wall_in and self.casing_od_in and self.casing_wall_in >= self.casing_od_in / 2:
            text = f"{self.casing_wall_in:g} in with an outer diameter of {self.casing_od_in:g} in"
            found.append(
                (("casing_wall_in",), text, "less than half the outer diameter", "correct the casing")
            )
        if self.ct_od_in and self.casing_od_in and self.ct_od_in >= self.casing_od_in:
            text = f"{self.ct_od_in:g} in in a casing of {self.casing_od_in:g} in"
            found.append((("ct_od_in",), text, "less than the casing", "correct the diameters"))
        if self.lateral_ft and self.toe_md_ft and self.lateral_ft >= self.toe_md_ft:
            text = f"{self.lateral_ft:g} ft with the toe at {self.toe_md_ft:g} ft"
            found.append(
                (("lateral_ft",), text, "less than the measured depth of the toe", "correct the depths")
            )
        return found


class TypeCurve(Section):
    """Modified hyperbolic decline stated in place of a history; rates per producing day of the main phase."""

    initial_rate_per_d: Uncertain = uncertain(
        ..., "bbl/d or Mcf/d", "rate at first production", 0.0, above=True
    )
    initial_decline_per_year: Uncertain = uncertain(
        ..., "1/year", "nominal decline at first production", 0.0, above=True
    )
    b: Uncertain = uncertain(..., "", "hyperbolic exponent", 0.0, 3.0)
    terminal_decline_per_year: Uncertain = uncertain(
        0.08, "1/year", "nominal decline at which the decline turns exponential", 0.0, 5.0, above=True
    )
    first_production: str = month(..., "month of first production")
    uptime: Uncertain = fraction(0.95, "share of calendar time on production", above=True)
    peak_rate_per_d: Uncertain = uncertain(
        ...,
        "bbl/d or Mcf/d",
        "peak rate the uplift refers to: volume of the best three months in a row over their producing days",
        0.0,
        above=True,
    )
    oil_ratio: float = number(0.0, "bbl per Mcf of gas", "oil per gas, where gas is the main phase", 0.0)
    gas_ratio: float = number(0.0, "Mcf per bbl of oil", "gas per oil, where oil is the main phase", 0.0)
    water_ratio: float = number(0.0, "bbl per unit of the main phase", "water per main phase", 0.0)


class Fit(Section):
    """What the engineer fixes of the decline fit; every key may be left out."""

    segment_start: str | None = month(
        None, "first month of the segment fitted; absent: found from the history"
    )
    exclude: tuple[str, ...] = choice((), "months 'YYYY-MM' set aside in the fit")
    terminal_decline_per_year: Uncertain | None = uncertain(
        None, "1/year", "terminal nominal decline of the hyperbolic forms", 0.0, 5.0, above=True
    )
    b_max: float | None = number(None, "", "largest hyperbolic exponent allowed", 0.0, 3.0, above=True)
    forms: tuple[DeclineFormName, ...] | None = choice(
        None, "decline forms averaged; absent: all the fit has a prior for"
    )

    def settings(self) -> dict[str, Any]:
        """Keywords for production.fit.FitSettings; the terminal decline as its 80 % range (P90, P10)."""
        given: dict[str, Any] = {}
        if self.terminal_decline_per_year is not None:
            low, high = self.terminal_decline_per_year.ppf([0.1, 0.9])
            given["terminal_decline_per_year"] = (float(low), float(high))
        if self.b_max is not None:
            given["b_max"] = self.b_max
        if self.forms is not None:
            given["forms"] = self.forms
        return given

    @field_validator("exclude", mode="before")
    @classmethod
    def _exclude(cls, value: Any) -> tuple[str, ...]:
        return read_months(value)
