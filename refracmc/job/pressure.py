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
