"""Stress change between stages: pressurised cracks and pairs of them.

Crack. A propped fracture is a pressurised crack normal to the lateral: plane strain with half-height c,
infinitely long (Sneddon 1946; Sneddon & Elliott 1946), residual pressure p (that of a propped fracture, not
the treating net pressure). On its axis, at distance x along the lateral, xi = x/c, compressive change per
unit p:

    normal        n = 1 - xi^3 / (xi^2 + 1)^1.5             along the lateral, onto the least stress
    in plane      v = 1 - xi (xi^2 + 2) / (xi^2 + 1)^1.5    vertical
    out of plane  nu (n + v)                                along the fracture, onto the larger stress
    contrast      k = n - nu (n + v)                        by which larger - least horizontal stress falls

`penny_*` are the same for a circular crack of radius c (Sneddon 1946), a bound for short fractures.

Pairs. With N stages at measured depths z, `pair_normal` is M[s, j] = n(|z_s - z_j|/c) and `pair_contrast`
K[s, j] = k(...), zero on the diagonal, of either crack. What a stage feels of those before it, and what that does to
it, stands in `stress_effect`.

References: Sneddon (1946), Proc. R. Soc. A 187, 229-260. Sneddon & Elliott (1946), Q. Appl. Math. 4, 262-267.
Soliman, East & Adams (2008), SPE-86992. Roussel & Sharma (2011), SPE-127986.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
CRACKS = ("plane_strain", "penny")


def _distance(x_over_c: ArrayLike) -> Array:
    xi = np.abs(np.asarray(x_over_c, dtype=np.float64))
    if not np.isfinite(xi).all():
        raise ValueError("x_over_c must be finite")
    return xi


def _poisson(nu: ArrayLike) -> Array:
    value = np.asarray(nu, dtype=np.float64)
    if not np.all((value >= 0.0) & (value <= 0.5)):
        raise ValueError("poisson_ratio must be in 0..0.5")
    return value


def normal(x_over_c: ArrayLike) -> Array:
    """Change of the stress along the crack's axis in psi per psi of pressure, compression +, at |x|/c."""
    xi = _distance(x_over_c)
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(-np.expm1(-1.5 * np.log1p(xi**-2.0)))


def in_plane(x_over_c: ArrayLike) -> Array:
    """Change of the stress along the crack's height in psi per psi of pressure at |x|/c; < 0 further out."""
    xi = _distance(x_over_c)
    return np.asarray(normal(xi) - 2.0 * xi / np.power(xi * xi + 1.0, 1.5))


def out_of_plane(x_over_c: ArrayLike, poisson_ratio: ArrayLike) -> Array:
    """Change of the stress along the crack's length in psi per psi of pressure: nu (normal + in plane)."""
    return np.asarray(_poisson(poisson_ratio) * (normal(x_over_c) + in_plane(x_over_c)))


def contrast(x_over_c: ArrayLike, poisson_ratio: ArrayLike) -> Array:
    """Fall of the horizontal contrast in psi per psi of pressure at |x|/c: normal - out of plane."""
    return np.asarray(normal(x_over_c) - out_of_plane(x_over_c, poisson_ratio))


def penny_normal(x_over_c: ArrayLike) -> Array:
    """`normal` (psi per psi) of a circular crack: (2/pi) [acot(xi) - xi (xi^2 - 1)/(xi^2 + 1)^2]."""
    xi = _distance(x_over_c)
    square = xi * xi + 1.0
    return np.asarray(2.0 / np.pi * (np.arctan2(1.0, xi) - xi * (xi * xi - 1.0) / square**2))


def penny_transverse(x_over_c: ArrayLike, poisson_ratio: ArrayLike) -> Array:
    """Change of either stress in the plane of a circular crack, on its axis, in psi per psi of pressure.

    (1/pi) [(1 + 2 nu) (acot(xi) - xi/(xi^2 + 1)) - 2 xi/(xi^2 + 1)^2]; Sneddon (1946).
    """
    xi, nu = _distance(x_over_c), _poisson(poisson_ratio)
    square = xi * xi + 1.0
    return np.asarray(((1.0 + 2.0 * nu) * (np.arctan2(1.0, xi) - xi / square) - 2.0 * xi / square**2) / np.pi)


def penny_contrast(x_over_c: ArrayLike, poisson_ratio: ArrayLike) -> Array:
    """Fall of the horizontal contrast in psi per psi of pressure, circular crack: normal - transverse."""
    return np.asarray(penny_normal(x_over_c) - penny_transverse(x_over_c, poisson_ratio))


def depletion_stress_drop(
    pressure_drop_psi: ArrayLike, poisson_ratio: ArrayLike, biot: ArrayLike = 1.0
) -> Array:
    """Fall of a horizontal stress by depletion at no lateral strain [psi]: biot (1 - 2 nu)/(1 - nu) dp.

    Poroelastic, uniaxial strain. Where it acts on one horizontal stress more than on the other (drained
    more along the old fractures), the difference belongs into C0.
    """
    nu = _poisson(poisson_ratio)
    drop, coefficient = np.asarray(pressure_drop_psi, dtype=np.float64), np.asarray(biot, dtype=np.float64)
    return np.asarray(coefficient * (1.0 - 2.0 * nu) / (1.0 - nu) * drop)


def _pair_distance(depth_ft: ArrayLike, half_height_ft: float) -> Array:
    depth = np.asarray(depth_ft, dtype=np.float64)
    if depth.ndim != 1 or not np.all(np.isfinite(depth)):
        raise ValueError(f"depth_ft must be a list of finite depths, found shape {depth.shape}")
    if not (np.isfinite(half_height_ft) and half_height_ft > 0.0):
        raise ValueError(f"half_height_ft must be > 0, found {half_height_ft!r}")
    return np.abs(depth[:, None] - depth[None, :]) / half_height_ft


def _off_diagonal(matrix: Array) -> Array:
    np.fill_diagonal(matrix, 0.0)
    return matrix


def pair_normal(depth_ft: ArrayLike, half_height_ft: float, crack: str = "plane_strain") -> Array:
    """M[s, j], normal stress change at stage s in psi per psi in stage j, (N, N), zero diagonal.

    crack: plane_strain (long, of half height half_height_ft) or penny (circular, of that radius); else ValueError.
    """
    distance = _pair_distance(depth_ft, half_height_ft)
    return _off_diagonal(penny_normal(distance) if _is_penny(crack) else normal(distance))


def pair_contrast(
    depth_ft: ArrayLike, half_height_ft: float, poisson_ratio: float, crack: str = "plane_strain"
) -> Array:
    """K[s, j], fall of the horizontal contrast at s in psi per psi in j, (N, N), zero diagonal; as `pair_normal`."""
    distance = _pair_distance(depth_ft, half_height_ft)
    change = penny_contrast if _is_penny(crack) else contrast
    return _off_diagonal(change(distance, poisson_ratio))


def _is_penny(crack: str) -> bool:
    if crack not in CRACKS:
        raise ValueError(f"crack is {crack!r}; allowed: {', '.join(CRACKS)}")
    return crack == "penny"


def treated_before(order: ArrayLike, n_sleeves: int) -> Array:
    """before[s, j] = 1.0 where sleeve j+1 is treated before sleeve s+1, (N, N); untreated rows and columns
    are 0.

    `order` lists sleeve numbers (1 = deepest) as treated, each at most once. ValueError on a number out of
    range or listed twice.
    """
    sequence = np.asarray(order, dtype=np.int64)
    if sequence.ndim != 1 or (sequence.size and not (1 <= sequence.min() <= sequence.max() <= n_sleeves)):
        raise ValueError(f"order must list sleeve numbers in 1..{n_sleeves}")
    if np.unique(sequence).size != sequence.size:
        raise ValueError("order lists a sleeve twice")
    place = np.full(n_sleeves, -1, dtype=np.int64)
    place[sequence - 1] = np.arange(sequence.size)
    there = place >= 0
    mask = (place[None, :] < place[:, None]) & there[:, None] & there[None, :]
    return mask.astype(np.float64)
