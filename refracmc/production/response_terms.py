"""What the response to a job follows from: how hard the first job was, the headroom above the forecast.

Plain arithmetic on (n,) arrays (they broadcast).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


class ResponseTerms(NamedTuple):
    """Inputs of a trial: uplift (>= 0, all factors of it), q_peak [per day], depletion_exponent (>= 0),
    kept_fraction and acceleration_fraction in 0..1, ultimate recovery (> 0; inf: no cap, no depletion)."""

    uplift: float
    q_peak: float
    depletion_exponent: float
    kept_fraction: float
    acceleration_fraction: float
    ultimate: float


def intensity_factor(
    reference_intensity: ArrayLike, intensity: ArrayLike | None, elasticity: ArrayLike
) -> Array:
    """(reference_intensity / intensity)^elasticity, 1 where no intensity is given (None).

    Intensities of the first job, both in lb/ft and > 0; elasticity >= 0 makes an under-stimulated well
    respond more. Direction: SPE Eastern Europe Subsurface 2019, D031S006R001; power form and elasticity:
    assumption.
    """
    power = np.asarray(elasticity, dtype=np.float64)
    if intensity is None:
        return np.ones_like(power)
    reference = np.asarray(reference_intensity, dtype=np.float64)
    own = np.asarray(intensity, dtype=np.float64)
    if not (np.all(reference > 0.0) and np.all(own > 0.0)):
        raise ValueError("reference_intensity and intensity must be > 0 lb/ft")
    return np.asarray(np.power(reference / own, power))


def headroom_ultimate(
    produced_before: ArrayLike, base_to_horizon: ArrayLike, headroom: ArrayLike, intensity: ArrayLike
) -> Array:
    """Ultimate the rock could give (n,) [bbl or Mcf], from the recovery without a refrac and a headroom.

    (produced_before + base_to_horizon) * (1 + (headroom - 1) * intensity): `produced_before` the main-phase
    volume at the valuation date, `base_to_horizon` the base forecast from there, `intensity` from
    `intensity_factor`, so that the headroom, like the uplift, is larger where the first job was less
    intense. Assumption.
    """
    before, base, room, factor = (
        np.asarray(x, dtype=np.float64) for x in (produced_before, base_to_horizon, headroom, intensity)
    )
    if not np.all(room >= 1.0):
        raise ValueError(f"headroom must be >= 1, found {np.min(room)!r}")
    return np.asarray((before + base) * (1.0 + (room - 1.0) * factor))
