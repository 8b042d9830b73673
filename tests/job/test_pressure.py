"""Pressures of the screen. Oracles: Colebrook-White solved here, SI arithmetic from first principles, limits of the
formulas, and one annulus worked by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from refracmc.job.pressure import (
    annular_friction_psi,
    depleted_stress_psi,
    friction_factor,
    hydrostatic_psi,
    port_friction_psi,
    tubing_collapse_psi,
)

PSI, INCH, BARREL, FOOT, GALLON = 6894.757, 0.0254, 0.158987295, 0.3048, 0.003785412
POUND = 0.45359237


@pytest.mark.parametrize("reynolds", [4e3, 1e4, 1e5, 1e6, 1e7])
@pytest.mark.parametrize("rough", [0.0, 1e-5, 1e-3, 1e-2])
def test_haaland_is_within_two_percent_of_colebrook(reynolds: float, rough: float) -> None:
    def left(f: float) -> float:
        return f**-0.5 + 2.0 * np.log10(rough / 3.7 + 2.51 / (reynolds * f**0.5))

    assert friction_factor(reynolds, rough) == pytest.approx(brentq(left, 1e-4, 1.0), rel=0.022)


def test_laminar_and_the_bridge() -> None:
    assert friction_factor(1000.0) == pytest.approx(0.096)
    assert friction_factor(2100.0) == pytest.approx(96.0 / 2100.0)
    between = friction_factor(np.linspace(2100.0, 4000.0, 50))
    assert (between >= min(between[0], between[-1]) - 1e-12).all()
    assert (between <= max(between[0], between[-1]) + 1e-12).all()


def test_annular_friction_from_si() -> None:
    """14 bbl/min of water-like fluid through 2 in by 4.778 in over 10,000 ft, all in SI."""
    q, d1, d2 = 14 * BARREL / 60, 2 * INCH, 4.778 * INCH
    rho, mu = 8.34 * POUND / GALLON, 1e-3
    speed = q / (np.pi / 4 * (d2**2 - d1**2))
    factor = float(friction_factor(rho * speed * (d2 - d1) / mu, 0.0006 / 2.778))
    loss = factor * 10_000 * FOOT / (d2 - d1) * rho * speed**2 / 2 / PSI
    assert annular_friction_psi(14, 10_000, 2, 4.778, 8.34, 1.0, 0.0006) == pytest.approx(loss, rel=1e-5)
    half = annular_friction_psi(14, 10_000, 2, 4.778, 8.34, 1.0, 0.0006, 0.5)
    assert half == pytest.approx(loss / 2, rel=1e-5)


def test_port_friction_from_the_orifice_equation() -> None:
    q, rho = 14 * BARREL / 60, 8.6 * POUND / GALLON
    area = 6 * np.pi / 4 * (0.6 * INCH) ** 2
    assert port_friction_psi(14, 8.6, 6, 0.6, 0.8) == pytest.approx(
        rho / 2 * (q / (area * 0.8)) ** 2 / PSI, rel=4e-3
    )


def test_hydrostatic_from_si() -> None:
    expected = 8.33 * POUND / GALLON * 9.80665 * 1000 * FOOT / PSI
    assert hydrostatic_psi(8.33, 1000) == pytest.approx(expected, rel=1e-4)


def test_depletion_lowers_stress_by_the_uniaxial_path() -> None:
    assert depleted_stress_psi(7000, 0, 0.8, 0.25) == 7000
    assert depleted_stress_psi(7000, 3000, 1.0, 0.25) == pytest.approx(7000 - 2000)
    assert depleted_stress_psi(7000, 3000, 1.0, 0.5) == 7000


@given(st.floats(0.05, 0.4), st.floats(4e4, 1.2e5), st.floats(0.0, 0.05))
def test_collapse_of_round_tubing_is_the_lesser_limit_and_falls_with_ovality(wall, strength, oval) -> None:
    ratio = 2.0 / wall
    elastic = 2 * 30e6 / (0.91 * ratio * (ratio - 1) ** 2)
    squash = 2 * strength / (ratio - 1)
    assert tubing_collapse_psi(strength, wall, 2.0) == pytest.approx(min(elastic, squash), rel=1e-6)
    assert tubing_collapse_psi(strength, wall, 2.0, oval) <= tubing_collapse_psi(strength, wall, 2.0) * (
        1 + 1e-9
    )
