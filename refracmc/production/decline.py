"""Decline forms of the forecast: rate, volume and nominal decline at producing times, whole blocks at once.

A form is a row of `FORMS` (its index is the form code) with four parameter slots per trial: `slots` is (4,
n). Time is PRODUCING time in days since the anchor (the end of history, or first production for a type
curve); a nominal decline is per year of 365.25 days, `DAYS_PER_YEAR`. Rates are per producing day, volumes
bbl or Mcf.

    modified_hyperbolic    rate_per_d, nominal decline per year, b, terminal nominal decline per year
    stretched_exponential  rate0_per_d, tau_days, n, offset_days
    duong                  rate1_per_d, a, m, offset_days

Modified hyperbolic (Arps 1945 [1]; terminal decline Robertson 1988 [2]): D(t) = D0/(1 + b D0 t) until it has
fallen to Dmin, constant after, so the rate is exponential from there. D0 <= Dmin: exponential with D0
throughout. Dmin = 0: no terminal phase. b = 0, b = 1, b > 1 and D0 = 0 (constant rate) are exact.

Stretched exponential (Valko 2009 [3]): q = rate0 exp(-((t + offset)/tau)^n), n > 0.
Duong (2011 [4]): q = rate1 x^-m exp(a (x^(1-m) - 1)/(1-m)), x = t + offset in days, rate1 the rate at x = 1
day; the volume of the form from x = 0 is q x^m / a for m >= 1 (m = 1: rate1 x^a / a); a, m > 0.
Both are transient-flow forms WITHOUT a terminal decline. `offset_days` is the producing time of the anchor on
the form's own clock; volumes count from the anchor.

The transient hyperbolic (Fulford & Blasingame 2013, SPE-167242) is not offered: with its terminal decline and
a clock that starts at first production it needs six parameters, not four, and its volume is a double integral
without closed form, so a monthly volume would cost a quadrature per trial.

References: [1] Trans. AIME 160, 228-247. [2] SPE-18731. [3] SPE-119369. [4] SPE REE 14(3), 377-387.
"""

from __future__ import annotations

from collections.abc import Callable

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
from refracmc.production.hyperbolic import (
    DAYS_PER_YEAR,
    TINY_DECLINE,
    hyperbolic_constants,
    hyperbolic_cumulative,
    hyperbolic_rate,
    hyperbolic_ultimate,
)
from refracmc.production.transient import (
    duong_cumulative,
    duong_rate,
    duong_ultimate,
    stretched_cumulative,
    stretched_rate,
    stretched_ultimate,
)

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
    "rate_mixture",
    "secant_from_nominal",
    "tangent_from_nominal",
    "terminal_switch_days",
    "time_to_rate",
    "ultimate",
]

Array = NDArray[np.float64]

FORMS: tuple[str, ...] = ("modified_hyperbolic", "stretched_exponential", "duong")
_SLOT_NAMES = (
    ("rate_per_d", "nominal decline per year", "b", "terminal decline per year"),
    ("rate0_per_d", "tau_days", "n", "offset_days"),
    ("rate1_per_d", "a", "m", "offset_days"),
)
_POSITIVE = ((False, False, False, False), (False, True, True, False), (False, True, True, False))
_NEVER = 1e300


def form_code(form: str | int) -> int:
    """Index of a form in `FORMS` (dimensionless) from its name or code; ValueError names the forms."""
    if isinstance(form, str):
        if form in FORMS:
            return FORMS.index(form)
    elif 0 <= int(form) < len(FORMS):
        return int(form)
    raise ValueError(f"unknown decline form {form!r}; known: {', '.join(FORMS)}")


def _check_slots(code: int, slots: ArrayLike) -> Array:
    values = np.asarray(slots, dtype=np.float64)
    if values.ndim != 2 or values.shape[0] != 4:
        raise ValueError(f"slots must have shape (4, n), found {values.shape}")
    for row, name, strict in zip(values, _SLOT_NAMES[code], _POSITIVE[code], strict=True):
        good = np.isfinite(row) & (row > 0.0 if strict else row >= 0.0)
        if not good.all():
            k = int(np.argmin(good))
            sign = "> 0" if strict else ">= 0"
            raise ValueError(f"{FORMS[code]}: {name} must be finite and {sign}, found {row[k]!r} in row {k}")
    if code == 0 and (values[3] < TINY_DECLINE).any():
        # Below what double precision can divide by: no terminal phase.
        values = np.vstack([values[:3], np.where(values[3] < TINY_DECLINE, 0.0, values[3])[None]])
    return values


def _check_time(t_days: ArrayLike, n: int) -> Array:
    t = np.asarray(t_days, dtype=np.float64)
    if t.ndim not in (1, 2) or (t.ndim == 2 and t.shape[0] not in (1, n)):
        raise ValueError(f"t_days must have shape (K,) or ({n}, K), found {t.shape}")
    if t.size and not t.min() >= 0.0:
        raise ValueError(f"t_days counts forward from the anchor and must be >= 0, found {t.min()!r}")
    return t


_CUMULATIVE = (hyperbolic_cumulative, stretched_cumulative, duong_cumulative)
_RATE = (hyperbolic_rate, stretched_rate, duong_rate)
_ULTIMATE = (hyperbolic_ultimate, stretched_ultimate, duong_ultimate)


def cumulative(form: str | int, slots: ArrayLike, t_days: ArrayLike) -> Array:
    """Volume from the anchor to producing time `t_days` (K,) or (n, K) [d], shape (n, K) [bbl or Mcf].

    `slots` (4, n) as in the module text. The modified hyperbolic costs one log and one exp per element,
    with a relative error below 1e-12 for every b >= 0. Raises ValueError on a wrong shape, a slot out of
    range (row named) or negative time.
    """
    code = form_code(form)
    values = _check_slots(code, slots)
    return _CUMULATIVE[code](values, _check_time(t_days, values.shape[1]))


def constants(slots: ArrayLike) -> Array:
    """Constants (8, n) of modified hyperbolics with slots (4, n), volumes in bbl or Mcf: `hyperbolic_constants`.

    Raises ValueError as `cumulative` does.
    """
    return hyperbolic_constants(_check_slots(0, slots))


def rate(form: str | int, slots: ArrayLike, t_days: ArrayLike) -> Array:
    """Rate at producing time `t_days` [bbl/d or Mcf/d per producing day], shape (n, K); as `cumulative`."""
    code = form_code(form)
    values = _check_slots(code, slots)
    return _RATE[code](values, _check_time(t_days, values.shape[1]))


def _mixture(
    functions: tuple[Callable[[Array, Array], Array], ...],
    codes: ArrayLike,
    slots: ArrayLike,
    t_days: ArrayLike,
) -> Array:
    which = np.asarray(codes)
    values = np.asarray(slots, dtype=np.float64)
    if values.ndim != 2 or values.shape[0] != 4 or which.shape != values.shape[1:]:
        raise ValueError(f"form codes (n,) and slots (4, n) do not fit: {which.shape}, {values.shape}")
    n = which.size
    present = np.unique(which)
    t = _check_time(t_days, n)
    if present.size == 1:
        code = form_code(int(present[0]))
        return functions[code](_check_slots(code, values), t)
    out = np.empty((n, t.shape[-1]))
    for item in present:
        code, rows = form_code(int(item)), np.flatnonzero(which == item)
        own = t[rows] if t.ndim == 2 and t.shape[0] == n else t
        out[rows] = functions[code](_check_slots(code, values[:, rows]), own)
    return out


def cumulative_mixture(form_codes: ArrayLike, slots: ArrayLike, t_days: ArrayLike) -> Array:
    """`cumulative` with a form per trial: codes (n,), slots (4, n), times (K,) or (n, K) -> (n, K).

    A row named in an error counts within the trials of that form.
    """
    return _mixture(_CUMULATIVE, form_codes, slots, t_days)


def rate_mixture(form_codes: ArrayLike, slots: ArrayLike, t_days: ArrayLike) -> Array:
    """`rate` [bbl/d or Mcf/d] where each trial has its own form; as `cumulative_mixture`."""
    return _mixture(_RATE, form_codes, slots, t_days)


def decline_per_year(form: str | int, slots: ArrayLike, t_days: ArrayLike) -> Array:
    """Nominal decline -(dq/dt)/q per producing year at `t_days`, shape (n, K).

    Never below the terminal decline for a modified hyperbolic that starts above it. Duong's is negative while
    its rate still rises (x^(1-m) > m/a).
    """
    code = form_code(form)
    values = _check_slots(code, slots)
    t = _check_time(t_days, values.shape[1])
    _, second, third, fourth = (row[:, None] for row in values)
    if code == 0:
        falling = second / (1.0 + third * second / DAYS_PER_YEAR * t)
        return np.asarray(np.where(second > fourth, np.maximum(falling, fourth), second + 0.0 * t))
    x = t + fourth
    with np.errstate(divide="ignore", invalid="ignore"):
        if code == 1:
            return np.asarray(DAYS_PER_YEAR * third / second * np.power(x / second, third - 1.0))
        return np.asarray(DAYS_PER_YEAR * (third / x - second * np.power(x, -third)))


def terminal_switch_days(slots: ArrayLike) -> Array:
    """Producing days (n,) at which a modified hyperbolic reaches its terminal decline.

    0 if it starts at or below it, inf if it never gets there (b = 0 above it, or no terminal decline).
    """
    values = _check_slots(0, slots)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        days = DAYS_PER_YEAR * (values[1] / values[3] - 1.0) / (values[2] * values[1])
    return np.asarray(np.where(values[1] > values[3], days, 0.0))


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
    """Volume from the anchor to infinite time (n,) [bbl or Mcf]; inf where it has no bound.

    Stretched exponential from its own start: rate0 tau/n Gamma(1/n) (Valko 2009). Duong: bounded for m > 1.
    """
    code = form_code(form)
    values = _check_slots(code, slots)
    return _ULTIMATE[code](values)
