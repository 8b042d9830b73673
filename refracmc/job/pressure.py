"""Casing burst: the minimum internal yield pressure of old casing, as a screen. Not a design.

Treating pressures, well control and the fitness of old casing are for local codes, the operator's procedures
and licensed engineers.
"""

from __future__ import annotations

import re
from typing import Final

import numpy as np
import numpy.typing as npt

from refracmc.job.sleeves import FloatArray

WALL_TOLERANCE: Final = 0.875
"""Least wall thickness allowed by the casing specification, as a share of the nominal one [-] (API 5C3)."""


def grade_yield_psi(grade: str) -> float:
    """Minimum yield strength [psi] of a casing grade such as "J-55", "L80" or "P-110": its number in ksi.

    Raises ValueError where the grade holds no such number (between 25 and 200 ksi).
    """
    found = re.fullmatch(r"[A-Za-z]{1,4}[\s-]?(\d{2,3})", grade.strip())
    if not found or not 25 <= int(found.group(1)) <= 200:
        raise ValueError(
            f"casing grade '{grade}' is not understood; write letters and yield in ksi, such as P-110"
        )
    return 1000.0 * int(found.group(1))


def internal_yield_psi(
    yield_psi: npt.ArrayLike, wall_in: npt.ArrayLike, od_in: npt.ArrayLike, worn_fraction: npt.ArrayLike = 0.0
) -> FloatArray:
    """Internal yield pressure 0.875 * 2 * Yp * t / D [psi] (API 5C3), of broadcast shape.

    Parameters
    ----------
    yield_psi : minimum yield strength Yp [psi]; wall_in, od_in : nominal wall t and outer diameter D [in]
    worn_fraction : share of the nominal wall lost to wear or corrosion [-] in [0, 1), on top of the tolerance

    Raises ValueError for values that are not positive, a wall of half the diameter or more, or wear outside
    [0, 1).
    """
    y, t, d, w = (np.asarray(a, dtype=float) for a in (yield_psi, wall_in, od_in, worn_fraction))
    if not ((y > 0.0).all() and (t > 0.0).all() and (d > 0.0).all()):
        raise ValueError("yield strength, wall and diameter must be above 0")
    if not (2.0 * t < d).all():
        raise ValueError("the wall must be less than half the outer diameter")
    if not ((w >= 0.0) & (w < 1.0)).all():
        raise ValueError("worn_fraction must be from 0 to below 1")
    return np.asarray(WALL_TOLERANCE * 2.0 * y * t * (1.0 - w) / d)


def to_nearest_10_psi(pressure_psi: npt.ArrayLike) -> FloatArray:
    """Pressure [psi] to the nearest 10, halves up, as casing tables print it."""
    return np.asarray(10.0 * np.floor(np.asarray(pressure_psi, dtype=float) / 10.0 + 0.5))


GRAVITY_PSI: Final = 0.051948
"""Hydrostatic gradient of a fluid of 1 lb/gal [psi/ft] (7.48052 gal/ft3 / 144 in2/ft2)."""
YOUNG_PSI: Final = 30.0e6
POISSON_STEEL: Final = 0.3


def hydrostatic_psi(density_lb_per_gal: npt.ArrayLike, depth_ft: npt.ArrayLike) -> FloatArray:
    """Weight of a column of fluid [psi] at a true vertical depth [ft]."""
    return np.asarray(
        GRAVITY_PSI * np.asarray(density_lb_per_gal, dtype=float) * np.asarray(depth_ft, dtype=float)
    )


def friction_factor(reynolds: npt.ArrayLike, relative_roughness: npt.ArrayLike = 0.0) -> FloatArray:
    """Darcy friction factor of a Newtonian fluid at a Reynolds number; all without unit, as ratios [-].

    Turbulent (from 4000): Haaland (1983), J. Fluids Eng. 105(1), doi:10.1115/1.3240948, within 2 % of the
    Colebrook-White equation. Laminar (up to 2100): 96/Re, a narrow annulus on its hydraulic diameter. Between
    them the two meet linearly in Re (assumption).
    """
    re = np.maximum(np.asarray(reynolds, dtype=float), 1e-9)
    rough = np.asarray(relative_roughness, dtype=float)

    def haaland(value: FloatArray) -> FloatArray:
        return np.asarray((-1.8 * np.log10((rough / 3.7) ** 1.11 + 6.9 / value)) ** -2.0)

    turbulent = haaland(np.maximum(re, 4000.0))
    share = np.clip((re - 2100.0) / 1900.0, 0.0, 1.0)
    return np.asarray(96.0 / np.minimum(re, 2100.0) * (1.0 - share) + turbulent * share)


def annular_friction_psi(
    rate_bbl_per_min: npt.ArrayLike,
    length_ft: npt.ArrayLike,
    inner_in: npt.ArrayLike,
    outer_in: npt.ArrayLike,
    density_lb_per_gal: npt.ArrayLike,
    viscosity_cp: npt.ArrayLike,
    roughness_in: npt.ArrayLike = 0.0,
    reduction_fraction: npt.ArrayLike = 0.0,
) -> FloatArray:
    """Friction [psi] of a fluid pumped down an annulus between an inner and an outer diameter [in].

    Darcy-Weisbach on the hydraulic diameter outer - inner, concentric, with `friction_factor`;
    reduction_fraction [-] is what a friction reducer takes off (a stated share; its own correlations need the
    polymer's data). Rate in bbl/min, density lb/gal, viscosity cp, length ft.
    """
    q, length, d1, d2, rho, mu, eps, less = (
        np.asarray(a, dtype=float)
        for a in (
            rate_bbl_per_min,
            length_ft,
            inner_in,
            outer_in,
            density_lb_per_gal,
            viscosity_cp,
            roughness_in,
            reduction_fraction,
        )
    )
    gap_ft = (d2 - d1) / 12.0
    area_ft2 = np.pi / 4.0 * (d2**2 - d1**2) / 144.0
    speed = q * 5.614583 / 60.0 / area_ft2  # ft/s
    density = rho * 7.480519  # lb/ft3
    reynolds = density * speed * gap_ft / (mu * 6.719689e-4)
    factor = friction_factor(reynolds, eps / (d2 - d1))
    loss = factor * length / gap_ft * density * speed**2 / (2.0 * 32.17405) / 144.0
    return np.asarray(loss * (1.0 - less))


def port_friction_psi(
    rate_bbl_per_min: npt.ArrayLike,
    density_lb_per_gal: npt.ArrayLike,
    ports: npt.ArrayLike,
    diameter_in: npt.ArrayLike,
    discharge: npt.ArrayLike = 0.8,
) -> FloatArray:
    """Pressure lost through round ports or perforations [psi]: 0.2369 rho q^2 / (n^2 d^4 C^2), the orifice
    equation in field units (as in Crump & Conway 1988, SPE-15474; constant checked from SI in the tests)."""
    q, rho, n, d, c = (
        np.asarray(a, dtype=float)
        for a in (rate_bbl_per_min, density_lb_per_gal, ports, diameter_in, discharge)
    )
    return np.asarray(0.2369 * rho * q**2 / (n**2 * d**4 * c**2))


def depleted_stress_psi(
    closure_psi: npt.ArrayLike, depletion_psi: npt.ArrayLike, biot: npt.ArrayLike, poisson: npt.ArrayLike
) -> FloatArray:
    """Closure stress [psi] after the pore pressure fell by `depletion_psi`: uniaxial strain, the stress falls by
    biot (1 - 2 nu)/(1 - nu) of it (poroelasticity; e.g. Engelder & Fischer 1994, Geology 22)."""
    nu = np.asarray(poisson, dtype=float)
    path = np.asarray(biot, dtype=float) * (1.0 - 2.0 * nu) / (1.0 - nu)
    return np.asarray(np.asarray(closure_psi, dtype=float) - path * np.asarray(depletion_psi, dtype=float))


def tubing_collapse_psi(
    yield_psi: npt.ArrayLike, wall_in: npt.ArrayLike, od_in: npt.ArrayLike, ovality: npt.ArrayLike = 0.0
) -> FloatArray:
    """External pressure that collapses coiled tubing [psi], without pull.

    Oval tube under external pressure (Timoshenko & Gere 1961, *Theory of Elastic Stability*, section 7.5), the
    form in use for coiled tubing; formula from memory, its limits tested: a round tube gives the lesser of the
    elastic and the yield collapse. ovality = (largest - smallest diameter)/nominal [-].
    """
    y, t, d, oval = (np.asarray(a, dtype=float) for a in (yield_psi, wall_in, od_in, ovality))
    ratio = d / t
    elastic = 2.0 * YOUNG_PSI / ((1.0 - POISSON_STEEL**2) * ratio * (ratio - 1.0) ** 2)
    squash = y / (ratio - 1.0)
    g = squash + elastic / 4.0 * (2.0 + 3.0 * oval * ratio)
    return np.asarray(g - np.sqrt(np.maximum(g**2 - 2.0 * squash * elastic, 0.0)))
