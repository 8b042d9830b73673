"""Secondary phases: volumes that follow the main phase through a ratio (gas-oil, yield, water) of its
cumulative.

The ratio moves linearly with the main-phase cumulative x since the anchor, then stays:

    r(x) = r_now + (r_final - r_now) min(1, x / x_change)        G(x) = integral of r from 0 to x
         so G(x) = r_now x + (r_final - r_now) (y^2 / (2 x_change) + x - y),  y = min(x, x_change)

A monthly secondary volume is the difference of G at the main phase's month edges, so it adds up exactly and
never depends on the month length. x_change = 0 is a step (r_final from the start), inf leaves r_now for good.
Source: the linear ratio is common practice, no source; the ratio as a function of cumulative, not of time,
makes a shut-in month move nothing. Units: x in main-phase volume, r in secondary per main volume (Mcf/bbl,
bbl/Mcf, bbl/bbl).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
_TINY = 1e-200


def _column(name: str, value: ArrayLike, *, infinite: bool = False) -> Array:
    column = np.asarray(value, dtype=np.float64)
    if column.ndim > 1:
        raise ValueError(f"{name} must be a number or (n,), found shape {column.shape}")
    if not np.all((column >= 0.0) & (np.isfinite(column) | infinite)):
        raise ValueError(f"{name} must be >= 0{'' if infinite else ' and finite'}")
    return column[..., None]


def _change(x_change: ArrayLike) -> Array:
    change = _column("x_change", x_change, infinite=True)
    return np.where(change > _TINY, change, 0.0)


def _volume(x: ArrayLike) -> Array:
    volume = np.asarray(x, dtype=np.float64)
    if volume.ndim not in (1, 2):
        raise ValueError(f"the cumulative must have shape (K,) or (n, K), found {volume.shape}")
    if volume.size and not volume.min() >= 0.0:
        raise ValueError("the cumulative counts from the anchor and must be >= 0")
    return volume


def ratio(x: ArrayLike, r_now: ArrayLike, r_final: ArrayLike, x_change: ArrayLike) -> Array:
    """Ratio r at main-phase cumulative `x` (n, K) or (K,) >= 0; the others are numbers or (n,) -> (n, K).

    Raises ValueError on negative or misshapen input (x_change may be inf).
    """
    volume = _volume(x)
    now, final = _column("r_now", r_now), _column("r_final", r_final)
    change = _change(x_change)
    share = np.minimum(volume / np.where(change > 0.0, change, 1.0), 1.0)
    return np.asarray(now + (final - now) * np.where(change > 0.0, share, 1.0))


def ratio_cumulative(x: ArrayLike, r_now: ArrayLike, r_final: ArrayLike, x_change: ArrayLike) -> Array:
    """Secondary cumulative G(x), shape (n, K), with shapes, units and errors as in `ratio`; G(0) = 0."""
    volume = _volume(x)
    now, final = _column("r_now", r_now), _column("r_final", r_final)
    change = _change(x_change)
    shape = np.broadcast_shapes(volume.shape, now.shape, final.shape, change.shape)
    moved = final - now
    if not moved.any():
        return np.multiply(np.broadcast_to(volume, shape), now)
    y = np.minimum(np.broadcast_to(volume, shape), change)
    half = moved / (2.0 * np.where(change > 0.0, change, 1.0))
    out = np.multiply(y, half)
    np.subtract(out, moved, out=out)
    np.multiply(out, y, out=out)
    np.multiply(volume, final, out=y)
    return np.add(out, y, out=out)


def refrac_ratio_cumulative(
    shape_cumulative: ArrayLike,
    shape_total: ArrayLike,
    r_now: ArrayLike,
    start_factor: ArrayLike,
    final_factor: ArrayLike,
    change_fraction: ArrayLike,
) -> Array:
    """Secondary cumulative of a refrac stream per unit rate, (n, K): multiply by q2 for volumes.

    The stream's ratio starts at r_now*start_factor and moves linearly with the stream's OWN cumulative F to
    r_now*final_factor, reached at F = change_fraction * shape_total, constant after. `shape_cumulative` (n,
    K) is F of the unit-rate stream at its month edges, `shape_total` (n,) its cumulative at the horizon
    counted from the job's start without shift; the ratio depends on F/total alone, so the stream's rate q2
    (and any cap) cancels.
    """
    now = np.asarray(r_now, dtype=np.float64)
    change = np.asarray(change_fraction, dtype=np.float64) * np.asarray(shape_total, dtype=np.float64)
    return ratio_cumulative(
        shape_cumulative,
        now * np.asarray(start_factor, dtype=np.float64),
        now * np.asarray(final_factor, dtype=np.float64),
        change,
    )
