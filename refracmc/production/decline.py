"""Rate, volume and nominal decline of any decline form at producing times, whole blocks at once.

A form is named, or given by its number: see `refracmc.production.forms`, where each has a file with its formula and its
source. It has four slots per trial: `slots` is (4, n). Time is PRODUCING time in days since the anchor (the end of
history, or first production for a type curve); a nominal decline is per year of 365.25 days. Rates are per producing
day, volumes bbl or Mcf. All functions raise ValueError on a wrong shape, a slot out of range (row named) or negative
time.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from refracmc.production.arps import (
    ArpsFit,
    arps_cumulative,
    arps_rate,
    arps_time_to_rate,
    fit_arps,
    nominal_from_secant,
    nominal_from_tangent,
    secant_from_nominal,
    tangent_from_nominal,
)
from refracmc.production.forms import FORMS, form_code, form_of
from refracmc.production.forms.decline_form import DAYS_PER_YEAR
from refracmc.production.forms.modified_hyperbolic import FORM as HYPERBOLIC

__all__ = [
    "DAYS_PER_YEAR",
    "FORMS",
    "ArpsFit",
    "arps_cumulative",
    "arps_rate",
    "arps_time_to_rate",
    "cumulative",
    "cumulative_mixture",
    "decline_per_year",
    "fit_arps",
    "form_code",
    "nominal_from_secant",
    "nominal_from_tangent",
    "rate",
    "secant_from_nominal",
    "tangent_from_nominal",
    "technical_volume",
    "terminal_switch_days",
    "time_to_rate",
    "ultimate",
]

Array = NDArray[np.float64]

TECHNICAL_YEARS = 50.0
"""Producing years from the anchor on after which no volume is counted, however high the rate (common practice, no
source)."""


def _check_slots(form: str | int, slots: ArrayLike) -> Array:
    values = np.asarray(slots, dtype=np.float64)
    if values.ndim != 2 or values.shape[0] != 4:
        raise ValueError(f"slots must have shape (4, n), found {values.shape}")
    chosen = form_of(form)
    for row, slot in zip(values, chosen.slots, strict=True):
        good = np.isfinite(row) & (row > 0.0 if slot.above_zero else row >= 0.0)
        if not good.all():
            k = int(np.argmin(good))
            sign = "> 0" if slot.above_zero else ">= 0"
            raise ValueError(
                f"{chosen.name}: {slot.name} must be finite and {sign}, found {row[k]!r} in row {k}"
            )
    least = np.array([[slot.negligible] for slot in chosen.slots])
    return np.where(values < least, 0.0, values) if (values < least).any() else values


def _check_time(t_days: ArrayLike, n: int) -> Array:
    t = np.asarray(t_days, dtype=np.float64)
    if t.ndim not in (1, 2) or (t.ndim == 2 and t.shape[0] not in (1, n)):
        raise ValueError(f"t_days must have shape (K,) or ({n}, K), found {t.shape}")
    if t.size and not t.min() >= 0.0:
        raise ValueError(f"t_days counts forward from the anchor and must be >= 0, found {t.min()!r}")
    return t


def cumulative(form: str | int, slots: ArrayLike, t_days: ArrayLike) -> Array:
    """Volume from the anchor to producing time `t_days` (K,) or (n, K) [d], shape (n, K) [bbl or Mcf]."""
    return _cumulative(form, slots, t_days, None)


def _cumulative(form: str | int, slots: ArrayLike, t_days: ArrayLike, uptime: Array | None) -> Array:
    values = _check_slots(form, slots)
    return form_of(form).cumulative(values, _check_time(t_days, values.shape[1]), uptime)


def rate(form: str | int, slots: ArrayLike, t_days: ArrayLike) -> Array:
    """Rate at producing time `t_days` [bbl/d or Mcf/d per producing day], shape (n, K)."""
    values = _check_slots(form, slots)
    return form_of(form).rate(values, _check_time(t_days, values.shape[1]))


def cumulative_mixture(
    form_codes: ArrayLike, slots: ArrayLike, t_days: ArrayLike, uptime: Array | None = None
) -> Array:
    """`cumulative` [bbl or Mcf] with a form per trial: codes (n,), slots (4, n) -> (n, K).

    With uptime (n,), the share of calendar time a trial produces, `t_days` is calendar time. A row named in an error
    counts within the trials of that form.
    """
    which = np.asarray(form_codes)
    values = np.asarray(slots, dtype=np.float64)
    if values.ndim != 2 or values.shape[0] != 4 or which.shape != values.shape[1:]:
        raise ValueError(f"form codes (n,) and slots (4, n) do not fit: {which.shape}, {values.shape}")
    n = which.size
    present = np.unique(which)
    if present.size == 1:
        return _cumulative(int(present[0]), values, t_days, uptime)
    t = _check_time(t_days, n)
    out = np.empty((n, t.shape[-1]))
    for item in present:
        rows = np.flatnonzero(which == item)
        own = t[rows] if t.ndim == 2 and t.shape[0] == n else t
        out[rows] = _cumulative(int(item), values[:, rows], own, None if uptime is None else uptime[rows])
    return out


def decline_per_year(form: str | int, slots: ArrayLike, t_days: ArrayLike) -> Array:
    """Nominal decline -(dq/dt)/q per producing year at `t_days`, shape (n, K).

    Never below the terminal decline for a modified hyperbolic that starts above it. Duong's is negative while
    its rate still rises.
    """
    values = _check_slots(form, slots)
    return form_of(form).decline_per_year(values, _check_time(t_days, values.shape[1]))


def terminal_switch_days(slots: ArrayLike) -> Array:
    """Producing days (n,) at which a modified hyperbolic reaches its terminal decline.

    0 if it starts at or below it, inf if it never gets there (b = 0 above it, or no terminal decline).
    """
    return HYPERBOLIC.switch_days(_check_slots(0, slots))


def time_to_rate(form: str | int, slots: ArrayLike, rate_per_d: ArrayLike) -> Array:
    """Producing days (n,) until the rate has fallen to `rate_per_d` > 0, scalar or (n,), for good.

    0 if it is never above it, inf if it never falls so far.
    """
    values = _check_slots(form, slots)
    limit = np.asarray(rate_per_d, dtype=np.float64)
    if not np.all(limit > 0.0):
        raise ValueError(f"rate_per_d must be > 0, found {np.min(limit)!r}")
    return form_of(form).days_to_rate(values, np.broadcast_to(limit, values.shape[1:]))


def technical_volume(form_codes: ArrayLike, slots: ArrayLike, rate_per_d: ArrayLike) -> Array:
    """Volume (n,) [bbl or Mcf] from the anchor until the rate has fallen to a technical limit `rate_per_d`, scalar or
    (n,), or for TECHNICAL_YEARS of producing time where it takes longer.

    It does not depend on uptime, nor on how long the well is valued. A form per trial, as `cumulative_mixture`.
    """
    which, values = np.asarray(form_codes), np.asarray(slots, dtype=np.float64)
    limit = np.broadcast_to(np.asarray(rate_per_d, dtype=np.float64), which.shape)
    days = np.empty(which.shape)
    for item in np.unique(which):
        rows = np.flatnonzero(which == item)
        days[rows] = time_to_rate(int(item), values[:, rows], limit[rows])
    days = np.minimum(days, TECHNICAL_YEARS * DAYS_PER_YEAR)
    return cumulative_mixture(which, values, days[:, None])[:, 0]


def ultimate(form: str | int, slots: ArrayLike) -> Array:
    """Volume from the anchor to infinite time (n,) [bbl or Mcf]; inf where it has no bound."""
    return form_of(form).ultimate(_check_slots(form, slots))
