"""Offset wells of a block: draws -> what the loop over the trials adds to the cash flow of a job."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.validated_case import WellCase
from refracmc.economics.fiscal import FiscalTerms
from refracmc.economics.offset_wells import Neighbours, none_there

from .base import MONTH_DAYS
from .plan import WellPlan

Array = NDArray[np.float64]
HIT = "luck.u_offset_hit"
"""Uniform by which the job of a trial hits the neighbours, or does not: the same for all dates, orders and sizes."""


@dataclass(frozen=True, eq=False)
class BlockNeighbours:
    """terms: what all trials share. volumes (n, T): main phase lost to a hit in a month before it fades, (n, 0) without
    neighbours; fade (n,) [months]; child (n,): value of a job in time to the child wells [US$]."""

    terms: Neighbours
    volumes: Array
    fade: Array
    child: Array


def may_hit(well: WellCase) -> bool:
    """Whether a trial needs the luck of a hit."""
    section = well.settings.offset_wells
    return section is not None and section.hit_chance.support()[1] > 0.0


def block_neighbours(
    plan: WellPlan, draws: Mapping[str, Array], fiscal: FiscalTerms, escalation: Array
) -> BlockNeighbours:
    """Neighbours of the drawn trials; fiscal, escalation (T,): terms and cost factor of a month of the well itself."""
    section, n = plan.well.settings.offset_wells, draws["luck.z_well"].size
    if section is None:
        return BlockNeighbours(none_there(plan.horizon), np.empty((n, 0)), np.zeros(n), np.zeros(n))
    if section.working is not None and section.net_revenue is not None:
        fiscal = replace(fiscal, working_interest=section.working, net_revenue_interest=section.net_revenue)
    child_month = -1
    if section.child_month is not None:
        child_month = units.months_between(plan.case.valuation.date, section.child_month)
    value = {
        name: draws[f"offset_wells.{name}"] for name in ("rate_per_d", "decline_per_year", "lost_fraction")
    }
    lost = value["lost_fraction"] * value["rate_per_d"] * MONTH_DAYS
    if HIT in draws:
        lost = lost * (draws[HIT] < draws["offset_wells.hit_chance"])
    else:
        lost = lost * 0.0
    years = (np.arange(plan.horizon) + 0.5) / 12.0
    return BlockNeighbours(
        Neighbours(
            True,
            np.array([fiscal.oil_factor, fiscal.gas_factor]),
            escalation * fiscal.working_interest,
            child_month if child_month < plan.horizon else -1,
        ),
        lost[:, None] * np.exp(-value["decline_per_year"][:, None] * years),
        draws["offset_wells.recovery_months"],
        draws["offset_wells.child_value_usd"],
    )
