"""A job of another size: its draws, and what its response is over that of the reference."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from refracmc.case.size_section import ratios_of
from refracmc.production.size_effect import size_effect

from .plan import WellPlan

Array = NDArray[np.float64]
REFERENCE = ""
"""Size of the job that the keys of the case describe."""


def sized_draws(plan: WellPlan, draws: Mapping[str, Array], size: str) -> Mapping[str, Array]:
    """The draws as a job of that size has them; those of the reference are as they are, to the bit.

    Fluid changes water, pumping hours (over the pumping rate), flowback days and with the water the load recovered;
    proppant and fluid each their share of the materials. Chances are unchanged, that of a screenout among them. The
    hours that a liner's stage takes are as stated: they hold plugs and perforations.
    """
    if size == REFERENCE:
        return draws
    settings = plan.well.settings
    proppant, fluid, rate = ratios_of(settings.strategies.sizes[size], settings.job)
    share, flowback = (
        draws["job.size.proppant_share_of_materials"],
        draws["job.size.flowback_share_of_days_after"],
    )
    factors: dict[str, Array | float] = {
        "job.hours_per_stage": fluid / rate,
        "job.days_after_ct": 1.0 + flowback * (fluid - 1.0),
        "job.cost.water_bbl_per_stage": fluid,
        "job.cost.stage_materials_usd": fluid + share * (proppant - fluid),
    }
    return {**draws, **{name: draws[name] * factor for name, factor in factors.items()}}


def effect_of_size(plan: WellPlan, draws: Mapping[str, Array], size: str) -> Array:
    """Response of a job of that size over that of the reference (n,)."""
    if size == REFERENCE:
        return np.ones(draws["luck.z_well"].size)
    settings = plan.well.settings
    proppant, fluid, _ = ratios_of(settings.strategies.sizes[size], settings.job)
    elasticities = (draws["job.size.proppant_elasticity"], draws["job.size.fluid_elasticity"])
    return size_effect(proppant, fluid, *elasticities)
