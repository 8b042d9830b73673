"""Force at the tool of coiled tubing in a horizontal well: a soft-string drag model, as a screen. Not a design.

Reach, set-down and pick-up forces and the use of friction reducers or tractors defer to the operator's
procedures and to the coiled tubing contractor's own modelling and records.

Well: straight and vertical to the kick-off, a build of constant curvature to horizontal, a straight lateral.
True vertical depth H of the lateral and measured depth M of its start fix radius R and kick-off K: H = K + R, M
= K + R pi/2.

Soft string (Johancsik, Friesen & Dawson 1984, J. Pet. Technol. 36(6), doi:10.2118/11380-PA): no bending
stiffness but in buckling, friction mu times contact force, constant along the well. w is the buoyed weight per
foot, F compression, T tension, s measured depth downwards, x inclination.

Pushing (run in, F at the tool from F at the surface, the injector's push):
    vertical  dF/ds = w - mu N        N = r F^2/(4EI) where F is above its helical load, 0 below
    build     dF/ds = w cos x - mu (w sin x + F/R)      compression lies on the outer, lower side
    lateral   dF/ds = -mu (w + N)     N = r F^2/(4EI) where F is above its helical load, 0 below
Pulling (T at the tool from T at the surface, the derated yield):
    vertical dT/ds = -w;   build dT/ds = -(w cos x + mu |w sin x - T/R|);   lateral dT/ds = -mu w

Buckling, with r the radial clearance: lateral, sinusoidal from 2 sqrt(EI w/r) (Dawson & Paslay 1984, J. Pet.
Technol. 36(10), doi:10.2118/11167-PA), helical from 2 sqrt(2) times sqrt(EI w/r) (Chen, Lin & Cheatham 1990, J.
Energy Resour. Technol. 112(2)); vertical, helical from 5.55 (EI w^2)^(1/3) (Wu & Juvkam-Wold). Wall contact of
the helix r F^2/(4EI) per length (Wu & Juvkam-Wold 1993). Formulas and constants are from memory. With it
friction grows as F^2: however hard the push at the start of the lateral, what arrives s feet on stays below 2
sqrt(EI w/r) / tan(mu s sqrt(w r/(4EI))): lock-up.

Left out: stiffness off buckling, buckling in the build (curvature holds the string), the change from sinusoidal
to helical (no added contact before the helix), dog-legs and tortuosity, residual bend, stripper and wellhead
pressure, reel back tension, fluid drag, axial load of pressure on the tool, wear and ovality in the yield, tool
drag, debris. Sleeves above the start of the lateral count as at it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from refracmc.job.sleeves import FloatArray

YOUNG_PSI: Final = 30.0e6
STEEL_LB_PER_IN3: Final = 0.2836
"""Weight of steel: 490 lb/ft3."""
STEEL_LB_PER_GAL: Final = 65.5
_STEPS: Final = 64


@dataclass(frozen=True)
class Profile:
    """Three straight or circular parts: kick-off K [ft], radius of the build R [ft], start of the lateral M [ft]."""

    kickoff_ft: float
    radius_ft: float
    lateral_start_ft: float


def profile(true_vertical_depth_ft: float, lateral_start_ft: float) -> Profile:
    """The profile of a lateral at a true vertical depth that starts at a measured depth [ft].

    Raises ValueError where no such well exists: it needs H < M <= H pi/2 (a kick-off at or below the surface).
    """
    h, m = float(true_vertical_depth_ft), float(lateral_start_ft)
    if not 0.0 < h < m <= h * np.pi / 2.0:
        raise ValueError(
            f"a lateral that starts at {m:,.0f} ft cannot lie at a true vertical depth of {h:,.0f} ft: by a kick-off, "
            f"one build and a horizontal lateral it starts between {h:,.0f} and {h * np.pi / 2:,.0f} ft"
        )
    radius = (m - h) / (np.pi / 2.0 - 1.0)
    return Profile(h - radius, radius, m)


@dataclass(frozen=True, eq=False)
class String:
    """Coiled tubing in casing; (n,) or numbers. weight_lb_per_ft : buoyed weight w [lb/ft]; stiffness_lb_ft2 : EI
    [lb ft2]; clearance_ft : radial clearance r [ft]; yield_lbf : load at which the wall yields in tension [lbf]."""

    weight_lb_per_ft: FloatArray
    stiffness_lb_ft2: float
    clearance_ft: float
    yield_lbf: float


def string(
    ct_od_in: float,
    ct_wall_in: float,
    casing_id_in: float,
    ct_yield_psi: float,
    fluid_lb_per_gal: npt.ArrayLike,
    air_weight_lb_per_ft: float | None = None,
) -> String:
    """Coiled tubing from its sizes [in], yield strength [psi] and the fluid inside and outside [lb/gal].

    air_weight_lb_per_ft: in place of that of plain steel. Raises ValueError for sizes that do not fit.
    """
    inner = ct_od_in - 2.0 * ct_wall_in
    if not 0.0 < inner < ct_od_in < casing_id_in:
        raise ValueError(
            f"coiled tubing of {ct_od_in:g} in with a wall of {ct_wall_in:g} in does not fit a bore of "
            f"{casing_id_in:g} in"
        )
    area = np.pi / 4.0 * (ct_od_in**2 - inner**2)
    weight = 12.0 * STEEL_LB_PER_IN3 * area if air_weight_lb_per_ft is None else air_weight_lb_per_ft
    buoyed = weight * (1.0 - np.asarray(fluid_lb_per_gal, dtype=float) / STEEL_LB_PER_GAL)
    inertia = np.pi / 64.0 * (ct_od_in**4 - inner**4)
    return String(
        buoyed, YOUNG_PSI * inertia / 144.0, (casing_id_in - ct_od_in) / 24.0, ct_yield_psi * float(area)
    )


def sinusoidal_load_lbf(made: String) -> FloatArray:
    """Load (n,) [lbf; lb/ft, ft2 lb, ft] of sinusoidal buckling in the lateral (Dawson & Paslay 1984)."""
    return np.asarray(2.0 * np.sqrt(made.stiffness_lb_ft2 * made.weight_lb_per_ft / made.clearance_ft))


def helical_load_lbf(made: String) -> FloatArray:
    """Load (n,) [lbf; lb/ft, ft2 lb, ft] at which it buckles helically in the lateral (Chen, Lin & Cheatham 1990)."""
    return np.asarray(np.sqrt(2.0) * sinusoidal_load_lbf(made))


def vertical_helical_load_lbf(made: String) -> FloatArray:
    """Load (n,) [lbf; lb/ft, ft2 lb, ft] at which it buckles helically in the vertical part (Wu & Juvkam-Wold)."""
    return np.asarray(5.55 * np.cbrt(made.stiffness_lb_ft2 * made.weight_lb_per_ft**2))


def push_lbf(
    made: String,
    well: Profile,
    friction: npt.ArrayLike,
    depth_ft: npt.ArrayLike,
    injector_lbf: npt.ArrayLike = 0.0,
    tool_pull_lbf: npt.ArrayLike = 0.0,
) -> FloatArray:
    """Set-down force at the tool [lbf], (N, n): measured depths (N,) [ft], trials (n,); below 0 the tubing does not
    get there by its own push.

    friction : coefficient (n,) [-]; injector_lbf : push of the injector at the surface; tool_pull_lbf : pull of a
    tractor at the tool, which adds to what arrives. The compression is capped at the yield of the wall.
    """
    mu, w, start, pull = np.broadcast_arrays(
        *(np.asarray(a, dtype=float) for a in (friction, made.weight_lb_per_ft, injector_lbf, tool_pull_lbf))
    )
    mu = np.maximum(mu, 1e-12)
    a = mu * made.clearance_ft / (4.0 * made.stiffness_lb_ft2)
    # vertical: w s until the helix, then F = L tanh with L = sqrt(w/a), the most that can be pushed through
    helical = np.broadcast_to(vertical_helical_load_lbf(made), mu.shape)
    free = np.clip((helical - start) / w, 0.0, well.kickoff_ft)
    force = start + w * free
    left = well.kickoff_ft - free
    most = np.sqrt(w / a)
    force = np.where(left > 0.0, _through_helix(force, most, np.sqrt(w * a) * left), force)
    force = np.minimum(force, made.yield_lbf)
    # build: dF/dx = w R cos x - mu (w R sin x + F), its closed form at x = pi/2
    wr = w * well.radius_ft
    at_sine, at_cosine = wr * (1.0 - mu**2) / (1.0 + mu**2), 2.0 * mu * wr / (1.0 + mu**2)
    force = at_sine + (force - at_cosine) * np.exp(-mu * np.pi / 2.0)
    force = np.minimum(force, made.yield_lbf)
    # lateral: helix until F has fallen to its load, then friction of the weight alone
    run = np.maximum(np.asarray(depth_ft, dtype=float)[:, None] - well.lateral_start_ft, 0.0)
    load = np.broadcast_to(helical_load_lbf(made), mu.shape)
    scale = np.sqrt(w * mu / a)
    rate = np.sqrt(mu * w * a)
    helix = np.where(
        force > load, (np.arctan(force / scale) - np.arctan(load / scale)) / rate, 0.0
    )  # ft of helix
    within = scale * np.tan(np.arctan(force / scale) - rate * np.minimum(run, helix))
    return np.asarray(within - mu * w * np.maximum(run - helix, 0.0) + pull)


def _through_helix(force: FloatArray, most: FloatArray, steps: FloatArray) -> FloatArray:
    """dF/ds = w (1 - (F/most)^2) from `force` [lbf] over `steps` lengths [-]; above `most` it falls towards it."""
    ratio = force / most
    rise = np.tanh(steps)
    return np.asarray(most * (ratio + rise) / (1.0 + ratio * rise))


def pull_lbf(
    made: String,
    well: Profile,
    friction: npt.ArrayLike,
    depth_ft: npt.ArrayLike,
    surface_lbf: npt.ArrayLike,
) -> FloatArray:
    """Pick-up force at the tool [lbf], (N, n), when the surface pulls with `surface_lbf` (n,): of the measured depths
    (N,) [ft]; below 0 that pull does not move the string there. friction : coefficient (n,) [-].

    The build is integrated by Runge-Kutta in 64 steps (error below 1e-4 of the weight of the string).
    """
    mu, w, top = np.broadcast_arrays(
        *(np.asarray(a, dtype=float) for a in (friction, made.weight_lb_per_ft, surface_lbf))
    )
    tension = top - w * well.kickoff_ft
    wr = w * well.radius_ft
    step = np.pi / 2.0 / _STEPS

    def slope(x: float, t: FloatArray) -> FloatArray:
        return np.asarray(-(wr * np.cos(x) + mu * np.abs(wr * np.sin(x) - t)))

    for k in range(_STEPS):
        x = k * step
        a = slope(x, tension)
        b = slope(x + step / 2.0, tension + a * step / 2.0)
        c = slope(x + step / 2.0, tension + b * step / 2.0)
        d = slope(x + step, tension + c * step)
        tension = tension + step / 6.0 * (a + 2.0 * b + 2.0 * c + d)
    run = np.maximum(np.asarray(depth_ft, dtype=float)[:, None] - well.lateral_start_ft, 0.0)
    return np.asarray(tension - mu * w * run)


def reached(enough: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Sleeves (N, ...) within reach by sleeve number, the deepest first: enough [no unit] there and at all above."""
    return np.flip(np.logical_and.accumulate(np.flip(enough, axis=0), axis=0), axis=0)
