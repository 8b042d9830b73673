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
    "terminal_switch_days",
    "time_to_rate",
    "ultimate",
]

Array = NDArray[np.float64]

_NEVER = 1e300


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


def time_to_rate(slots: ArrayLike, rate_per_d: ArrayLike) -> Array:
    """Producing days (n,) until a modified hyperbolic has fallen to `rate_per_d` > 0, scalar or (n,).

    0 if it starts at or below it, inf if it never falls so far (D0 = 0).
    """
    values = _check_slots(0, slots)
    q, d, b, floor = values
    # D0 <= Dmin is exponential whatever b says.
    b = np.where(d > floor, b, 0.0)
    early = arps_time_to_rate(q, d / DAYS_PER_YEAR, b, rate_per_d)
    switch = np.where(d > floor, terminal_switch_days(values), np.inf)
    reached = np.minimum(switch, _NEVER)
    with np.errstate(divide="ignore", invalid="ignore"):
        q_switch = arps_rate(q, d / DAYS_PER_YEAR, b, reached)
        late = reached + np.log(q_switch / np.asarray(rate_per_d, dtype=np.float64)) * DAYS_PER_YEAR / floor
    return np.asarray(np.where(early <= switch, early, late))


def ultimate(form: str | int, slots: ArrayLike) -> Array:
    """Volume from the anchor to infinite time (n,) [bbl or Mcf]; inf where it has no bound."""
    return form_of(form).ultimate(_check_slots(form, slots))
