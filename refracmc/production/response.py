"""What a refrac makes of a well: rate of the new stream, share kept of the old one, and the recovery cap.

    d       = min(1, Np / Nult)                        depletion; Np: main-phase volume before the job
    q2_raw  = uplift q_peak E (1 - d)^g                E = sum_s w_s e_s (effective_share)
    R_old   = kept_fraction V remaining_old            V = sum_s v_s kept_s (kept_share)
    R_new   = q2_raw new_unit_total                    the new stream to its technical limit, uncapped
    room    = Nult - Np - R_old
    S_max   = min(room / (1 - alpha), room + R_old)    0 if room < 0; largest new volume the rock allows
    scale   = min(1, S_max / R_new)                    1 if R_new = 0
    q2      = scale q2_raw
    accel   = min(1, alpha scale R_new / R_old)        0 if R_old = 0; taken evenly from the old remainder
    keep    = kept_fraction V (1 - accel)

uplift: own uplift * play factor * intensity factor; remaining_old is the base stream from the month it goes on at to
its technical limit, before anything is lost; alpha is the acceleration share. None of it depends on how long the well
is valued.

Total recovery at the technical limit, Np + R_old (1 - accel) + scale R_new, then never passes Nult unless the old
stream alone does (room < 0). The second member of S_max matters only where the acceleration would take more
than the whole old remainder (alpha S > R_old): without it the recovery would pass Nult there, and alpha = 1
had no bound.

q_peak is an observed peak rate (a stated averaging), never an extrapolated initial rate. g = 0 removes the
effect of depletion (published work finds no effect of age: SPE-173340-MS). Form of the response: assumption.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from refracmc.compiler import rule

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


class Response(NamedTuple):
    """What a job makes of the streams.

    keep: fraction of the old stream that goes on, acceleration included; new_rate: initial rate of the new stream
    [bbl/d or Mcf/d per producing day], cap included; scale: factor by which the cap reduced it [0..1]; acceleration:
    fraction of the kept old remainder that the new stream only brings forward; depletion: d [0..1].
    """

    keep: float
    new_rate: float
    scale: float
    acceleration: float
    depletion: float


@rule
def respond(
    produced: float,
    remaining: float,
    new_unit_total: float,
    kept_share: float,
    effective_share: float,
    terms: ResponseTerms,
) -> Response:
    """The formulas of the module text for one trial.

    produced, remaining: main-phase volumes before the job and left in the old stream [bbl or Mcf]; new_unit_total:
    volume to its technical limit of the new stream at 1 per day [d]; kept_share in 0..1; effective_share >= 0, above 1
    where the stress effect lifts it.
    """
    alpha = terms.acceleration_fraction
    depletion = min(produced / terms.ultimate, 1.0)
    kept = terms.kept_fraction * kept_share
    raw = terms.uplift * terms.q_peak * effective_share * (1.0 - depletion) ** terms.depletion_exponent
    old, new = kept * remaining, raw * new_unit_total
    room = terms.ultimate - produced - old
    allowed = 0.0
    if room >= 0.0:
        allowed = min(room + old, room / (1.0 - alpha)) if alpha < 1.0 else room + old
    scale = allowed / new if allowed < new else 1.0
    acceleration = min(alpha * scale * new / old, 1.0) if old > 0.0 else 0.0
    return Response(kept * (1.0 - acceleration), raw * scale, scale, acceleration, depletion)


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


def headroom_ultimate(recovery: ArrayLike, headroom: ArrayLike, intensity: ArrayLike) -> Array:
    """Ultimate the rock could give (n,) [bbl or Mcf], from the recovery without a refrac and a headroom.

    recovery * (1 + (headroom - 1) * intensity): `recovery` the main-phase volume from first production to the
    technical limit, and no less than what is produced; `intensity` from `intensity_factor`, so that the headroom, like
    the uplift, is larger where the first job was less intense. Assumption.
    """
    without, room, factor = (np.asarray(x, dtype=np.float64) for x in (recovery, headroom, intensity))
    if not np.all(room >= 1.0):
        raise ValueError(f"headroom must be >= 1, found {np.min(room)!r}")
    return np.asarray(without * (1.0 + (room - 1.0) * factor))
