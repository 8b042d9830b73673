"""The pressure screen in the case: [job.pressure]; where the table is absent nothing is screened."""

from __future__ import annotations

from refracmc.case.key_rules import Section, Uncertain, fraction, integer, number, uncertain

FRACTION = "fraction"


class PressureScreen(Section):
    """What treating through old casing and ports asks for, against what casing, wellhead and tubing bear.

    A screen, not a design: treating pressure and well control defer to local codes, the operator's procedures
    and licensed engineers.
    """

    true_vertical_depth_ft: float = number(..., "ft", "true vertical depth of the stages", 100.0, 40_000.0)
    closure_gradient_psi_per_ft: Uncertain = uncertain(
        0.72, "psi/ft", "closure stress before depletion, over true vertical depth", 0.0
    )
    depletion_psi: Uncertain = uncertain(2_000.0, "psi", "fall of the pore pressure around the stages", 0.0)
    biot_coefficient: float = number(0.8, FRACTION, "Biot coefficient", 0.0, 1.0)
    poisson_ratio: float = number(0.25, "", "Poisson's ratio of the rock", 0.0, 0.49)
    net_pressure_psi: Uncertain = uncertain(
        600.0, "psi", "treating pressure in the fracture over closure", 0.0
    )
    rate_bbl_per_min: Uncertain = uncertain(14.0, "bbl/min", "rate down the annulus", 0.0, above=True)
    density_lb_per_gal: Uncertain = uncertain(8.6, "lb/gal", "treating fluid", 0.0, 20.0, above=True)
    viscosity_cp: Uncertain = uncertain(2.0, "cp", "treating fluid", 0.0, above=True)
    friction_reduction_fraction: Uncertain = fraction(
        0.6, "share of the annular friction a reducer takes off"
    )
    roughness_in: float = number(0.002, "in", "roughness of old casing", 0.0, 0.1)
    ports: int = integer(6, "ports", "open ports of a sleeve", 1, 1000)
    port_diameter_in: Uncertain = uncertain(0.6, "in", "diameter of a port", 0.0, 6.0, above=True)
    port_discharge: float = number(0.8, FRACTION, "discharge coefficient of a port", 0.0, 1.0, above=True)
    casing_worn_fraction: Uncertain = fraction(
        0.1, "wall lost to wear and corrosion, beyond the tolerance", high=0.9
    )
    burst_safety_factor: float = number(1.25, "", "internal yield over the pressure allowed", 1.0, 5.0)
    wellhead_rating_psi: float = number(10_000.0, "psi", "rated pressure of the wellhead", 0.0, 30_000.0)
    ct_wall_in: float = number(0.175, "in", "wall of the coiled tubing", 0.01, 1.0)
    ct_yield_psi: float = number(80_000.0, "psi", "yield strength of the coiled tubing", 1_000.0, 200_000.0)
    ct_ovality_fraction: Uncertain = fraction(
        0.02, "(largest - smallest diameter)/nominal of used tubing", high=0.2
    )
    ct_internal_psi: Uncertain = uncertain(500.0, "psi", "pressure held inside the tubing at surface", 0.0)
    collapse_safety_factor: float = number(1.25, "", "collapse pressure over the one allowed", 1.0, 5.0)
