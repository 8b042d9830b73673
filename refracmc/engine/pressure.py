"""The pressure screen of a well, trial by trial: what the deepest stage asks for against what may be put on it.

surface = closure after depletion + net + ports + annular friction to the stage - hydrostatic. Friction grows with
measured depth, so the deepest stage asks for most. Limits, at the surface, where the fluid inside and outside has
no depth yet: internal yield of the worn casing over its factor, the wellhead's rating, and collapse of the coiled
tubing over its factor plus what is held inside it. A screen, not a design.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refracmc.job import pressure

from .plan import WellPlan

Array = NDArray[np.float64]
LIMITS = ("casing burst", "wellhead rating", "coiled tubing collapse")


@dataclass(frozen=True, eq=False)
class Screened:
    """treating (n,): surface pressure the deepest stage asks for [psi]; parts: what it is made of [psi] (n,);
    allowed: limit -> pressure that may stand at the surface [psi] (n,)."""

    treating: Array
    parts: dict[str, Array]
    allowed: dict[str, Array]

    def inside(self, limit: str | None = None) -> NDArray[np.bool_]:
        """Trials (n,) within one limit, or within all."""
        names = LIMITS if limit is None else (limit,)
        within = np.ones(self.treating.size, dtype=bool)
        for name in names:
            within &= self.treating <= self.allowed[name]
        return within


def can_screen(plan: WellPlan) -> bool:
    """Whether the case asks for the screen and states the casing and the tubing it needs."""
    c = plan.well.settings.completion
    needed = (c.casing_od_in, c.casing_wall_in, c.casing_grade, c.ct_od_in)
    return plan.well.settings.job.pressure is not None and None not in needed


def screen(plan: WellPlan, draws: Mapping[str, Array]) -> Screened:
    """The screen of the drawn trials. Raises ValueError where `can_screen` is false, or for a strange grade."""
    s, c = plan.well.settings.job.pressure, plan.well.settings.completion
    if (
        s is None
        or c.casing_od_in is None
        or c.casing_wall_in is None
        or c.casing_grade is None
        or c.ct_od_in is None
    ):
        raise ValueError("the pressure screen needs [job.pressure] and casing and tubing sizes and grade")
    v = {
        key.removeprefix("job.pressure."): value
        for key, value in draws.items()
        if key.startswith("job.pressure.")
    }
    tvd, bore = s.true_vertical_depth_ft, c.casing_od_in - 2.0 * c.casing_wall_in
    deepest = max(float(plan.well.tally.depth_ft[min(made.job.order) - 1]) for made in plan.orders.values())
    closure = v["closure_gradient_psi_per_ft"] * tvd
    rate, density = v["rate_bbl_per_min"], v["density_lb_per_gal"]
    parts = {
        "closure stress after depletion": pressure.depleted_stress_psi(
            closure, v["depletion_psi"], s.biot_coefficient, s.poisson_ratio
        ),
        "net pressure": v["net_pressure_psi"],
        "ports": pressure.port_friction_psi(rate, density, s.ports, v["port_diameter_in"], s.port_discharge),
        "annular friction": pressure.annular_friction_psi(
            rate,
            deepest,
            c.ct_od_in,
            bore,
            density,
            v["viscosity_cp"],
            s.roughness_in,
            v["friction_reduction_fraction"],
        ),
        "hydrostatic": -pressure.hydrostatic_psi(density, tvd),
    }
    treating = np.maximum(sum(parts.values(), np.zeros(rate.size)), 0.0)
    burst = pressure.internal_yield_psi(
        pressure.grade_yield_psi(c.casing_grade), c.casing_wall_in, c.casing_od_in, v["casing_worn_fraction"]
    )
    collapse = pressure.tubing_collapse_psi(
        s.ct_yield_psi, s.ct_wall_in, c.ct_od_in, v["ct_ovality_fraction"]
    )
    allowed = {
        "casing burst": burst / s.burst_safety_factor,
        "wellhead rating": np.full(rate.size, s.wellhead_rating_psi),
        "coiled tubing collapse": collapse / s.collapse_safety_factor + v["ct_internal_psi"],
    }
    return Screened(treating, parts, allowed)
