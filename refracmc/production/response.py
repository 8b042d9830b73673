"""What a refrac makes of a well: rate of the new stream, share kept of the old one, and the recovery cap.

Plain arithmetic on (n,) arrays (they broadcast); streams are built by the caller from the unit-rate decline.

    d       = min(1, Np / Nult)                        depletion; Np: main-phase volume before the job
    q2_raw  = uplift_total q_peak E (1 - d)^g          E = sum_s w_s e_s (effective_share)
    R_old   = kept_fraction V remaining_old            V = sum_s v_s kept_s (kept_share)
    R_new   = q2_raw new_unit_total                    the new stream to the horizon, uncapped
    room    = Nult - Np - R_old
    S_max   = min(room / (1 - alpha), room + R_old)    0 if room < 0; largest new volume the rock allows
    scale   = min(1, S_max / R_new)                    1 if R_new = 0
    q2      = scale q2_raw
    accel   = min(1, alpha scale R_new / R_old)        0 if R_old = 0; taken evenly from the old remainder
    keep    = kept_fraction V (1 - accel)

uplift_total = uplift * play factor * intensity factor; remaining_old is the base stream from the month it
goes on at to the horizon, before anything is lost; alpha is the acceleration share.

Total recovery at the horizon, Np + R_old (1 - accel) + scale R_new, then never passes Nult unless the old
stream alone does (room < 0). The second member of S_max matters only where the acceleration would take more
than the whole old remainder (alpha S > R_old): without it the recovery would pass Nult there, and alpha = 1
had no bound.

q_peak is an observed peak rate (a stated averaging), never an extrapolated initial rate. g = 0 removes the
effect of depletion (published work finds no effect of age: SPE-173340-MS). Form of the response: assumption.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class RefracScale:
    """Per-trial factors of a refrac, each (n,).

    q2: initial rate of the new stream [bbl/d or Mcf/d per producing day], cap included. keep: fraction of
    the old stream that goes on, acceleration included. scale: factor by which the cap reduced q2 [0..1].
    acceleration: fraction of the kept old remainder that the new stream only brings forward. depletion: d
    [0..1]. capped: scale < 1.
    """

    q2: Array
    keep: Array
    scale: Array
    acceleration: Array
    depletion: Array
    capped: NDArray[np.bool_]


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


def _refuse(values: dict[str, Array]) -> None:
    fractions = ("kept_share", "kept_fraction", "acceleration_fraction")
    for name, value in values.items():
        top = 1.0 + 1e-9 if name in fractions else np.inf
        good = (value >= 0.0) & (value <= top) & np.isfinite(value)
        if name == "ultimate":
            good = (value > 0.0) & ~np.isnan(value)
        if not np.all(good):
            place = int(np.argmin(np.ravel(good)))
            trial = place % (value.shape[-1] if value.ndim else 1)
            allowed = "in 0..1" if name in fractions else "> 0" if name == "ultimate" else "finite and >= 0"
            raise ValueError(f"{name} must be {allowed}, found {np.ravel(value)[place]!r} in trial {trial}")


def refrac_scale(
    *,
    np_at_job: ArrayLike,
    ultimate: ArrayLike,
    remaining_old: ArrayLike,
    kept_share: ArrayLike,
    new_unit_total: ArrayLike,
    uplift_total: ArrayLike,
    q_peak: ArrayLike,
    effective_share: ArrayLike,
    depletion_exponent: ArrayLike,
    kept_fraction: ArrayLike,
    acceleration_fraction: ArrayLike,
) -> RefracScale:
    """Factors of a refrac by the formulas of the module text; every argument is a number or (n,).

    np_at_job, ultimate, remaining_old: main-phase volumes [bbl or Mcf] (ultimate may be inf: no cap, no
    depletion). new_unit_total: volume to the horizon of the new stream at 1 per day [d]. q_peak [per day].
    kept_share (sum of v_s kept_s), kept_fraction, acceleration_fraction in 0..1; effective_share (sum of
    w_s e_s) >= 0, above 1 where the stress effect lifts it. Raises ValueError naming input and trial.
    """
    values = {
        "np_at_job": np_at_job,
        "ultimate": ultimate,
        "remaining_old": remaining_old,
        "kept_share": kept_share,
        "new_unit_total": new_unit_total,
        "uplift_total": uplift_total,
        "q_peak": q_peak,
        "effective_share": effective_share,
        "depletion_exponent": depletion_exponent,
        "kept_fraction": kept_fraction,
        "acceleration_fraction": acceleration_fraction,
    }
    arrays = {name: np.asarray(value, dtype=np.float64) for name, value in values.items()}
    _refuse(arrays)
    produced, limit, alpha = arrays["np_at_job"], arrays["ultimate"], arrays["acceleration_fraction"]
    depletion = np.minimum(produced / limit, 1.0)
    kept = arrays["kept_fraction"] * arrays["kept_share"]
    raw = arrays["uplift_total"] * arrays["q_peak"] * arrays["effective_share"]
    raw = raw * np.power(1.0 - depletion, arrays["depletion_exponent"])
    old = kept * arrays["remaining_old"]
    new = raw * arrays["new_unit_total"]
    room = limit - produced - old
    one_less = 1.0 - alpha
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        net = np.where(one_less > 0.0, room / np.where(one_less > 0.0, one_less, 1.0), np.inf)
        allowed = np.where(room >= 0.0, np.minimum(net, room + old), 0.0)
        scale = np.where(allowed < new, allowed / np.where(new > 0.0, new, 1.0), 1.0)
        forward = alpha * scale * new / np.where(old > 0.0, old, 1.0)
    acceleration = np.where(old > 0.0, np.minimum(forward, 1.0), 0.0)
    q2, keep, scale, acceleration, depletion = np.broadcast_arrays(
        raw * scale, kept * (1.0 - acceleration), scale, acceleration, depletion
    )
    return RefracScale(q2, keep, scale, acceleration, depletion, scale < 1.0)
