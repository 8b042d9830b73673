"""The wells beside one: table [wells.offset_wells], absent where the job is taken to leave them as they are."""

from __future__ import annotations

from refracmc.case.key_rules import Problem, Section, Uncertain, fraction, month, number, uncertain


class OffsetWells(Section):
    """What the job does to its neighbours and to child wells, at the owner's interests; only where it is carried out
    and places something."""

    rate_per_d: Uncertain = uncertain(
        0.0,
        "bbl/d or Mcf/d",
        "main-phase rate of all neighbours together at the valuation date, calendar day",
        0.0,
    )
    decline_per_year: Uncertain = uncertain(0.15, "1/year", "nominal decline of that rate", 0.0, 20.0)
    hit_chance: Uncertain = fraction(0.3, "chance that the job hits the neighbours; struck once a trial")
    lost_fraction: Uncertain = uncertain(
        0.3, "fraction", "share of their rate lost in the month of the hit; below 0: gained", -2.0, 1.0
    )
    recovery_months: Uncertain = uncertain(
        12.0, "months", "months over which the loss or gain fades, evenly, to nothing", 0.0, 1_200.0
    )
    working: float | None = number(
        None, "fraction", "working interest in the neighbours; absent: as in the well", 0.0, 1.0
    )
    net_revenue: float | None = number(
        None, "fraction", "net revenue interest in them; absent: as in the well", 0.0, 1.0
    )
    child_value_usd: Uncertain = uncertain(
        0.0,
        "US$ WI",
        "owner's value, after income tax, that a job up to child_month protects in child wells; below 0: gives up; "
        "falls in child_month",
    )
    child_month: str | None = month(None, "month of the child wells; absent: none are planned")

    def problems(self) -> list[Problem]:
        found: list[Problem] = []
        low, high = self.child_value_usd.support()
        if (low != 0.0 or high != 0.0) and self.child_month is None:
            text = "child_value_usd without it"
            found.append((("child_month",), text, "a month YYYY-MM", "state when the child wells come"))
        if (self.working is None) != (self.net_revenue is None):
            missing = "working" if self.working is None else "net_revenue"
            found.append(((missing,), "one interest without the other", "both, or none", "state both"))
        elif self.working is not None and self.net_revenue is not None and self.net_revenue > self.working:
            text = f"{self.net_revenue:g} above the working interest {self.working:g}"
            found.append((("net_revenue",), text, "at most the working interest", "correct one of the two"))
        return found
