"""Arps decline in any one consistent time unit, effective-decline conversions and a least-squares fit.

Everything here is scalar or broadcasts like a NumPy function: if `initial_rate` is per month, then
`nominal_decline` is per month and `time` is in months. The forecast itself uses
`refracmc.production.decline`.

Definitions, with q the rate, D = -(dq/dt)/q the nominal decline and b = d(1/D)/dt:

    q(t) = qi (1 + b Di t)^(-1/b)          qi exp(-Di t) at b = 0
    N(t) = qi [1 - (q/qi)^(1-b)] / ((1-b) Di)    qi ln(1 + Di t) / Di at b = 1

The curve itself is that of the modified hyperbolic without a terminal decline, which states it.

References: [1] Arps (1945), Trans. AIME 160, 228-247. Effective declines, tangent and secant, are industry
convention: tangent = 1 - exp(-D); secant = (q0 - q1)/q0 over one period of the curve itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from refracmc.production.forms.decline_form import DAYS_PER_YEAR
from refracmc.production.forms.modified_hyperbolic import FORM, TINY, log_fall

Array = NDArray[np.float64]


def _check(name: str, value: Array, low: float, *, strict: bool = False) -> None:
    good = value > low if strict else value >= low
    if not np.all(good & np.isfinite(value)):
        bad = value.ravel()[np.argmin((good & np.isfinite(value)).ravel())]
        raise ValueError(f"{name} must be a finite number {'>' if strict else '>='} {low:g}, found {bad!r}")


def _inputs(initial_rate: ArrayLike, nominal_decline: ArrayLike, b: ArrayLike) -> tuple[Array, Array, Array]:
    q, d, exponent = (np.asarray(x, dtype=np.float64) for x in (initial_rate, nominal_decline, b))
    _check("initial_rate", q, 0.0)
    _check("nominal_decline", d, 0.0)
    _check("b", exponent, 0.0)
    return q, d, exponent


def arps_rate(initial_rate: ArrayLike, nominal_decline: ArrayLike, b: ArrayLike, time: ArrayLike) -> Array:
    """Rate at `time` >= 0 [rate unit of `initial_rate`]; arguments broadcast. Arps (1945)."""
    q, d, exponent = _inputs(initial_rate, nominal_decline, b)
    t = np.asarray(time, dtype=np.float64)
    _check("time", t, 0.0)
    return np.asarray(q * np.exp(-log_fall(d, exponent, t)))


def arps_cumulative(
    initial_rate: ArrayLike, nominal_decline: ArrayLike, b: ArrayLike, time: ArrayLike
) -> Array:
    """Volume produced from 0 to `time` >= 0 [rate unit x time unit]. Arps (1945).

    Arguments broadcast, in the same units of time. Relative error about 1e-15 for any b >= 0, the
    neighbourhoods of 0 and 1 included; zero decline gives q t.
    """
    q, d, exponent = _inputs(initial_rate, nominal_decline, b)
    t = np.asarray(time, dtype=np.float64)
    _check("time", t, 0.0)
    q, d, exponent, t = np.broadcast_arrays(q, d, exponent, t)
    slots = np.stack([q.ravel(), d.ravel() * DAYS_PER_YEAR, exponent.ravel(), np.zeros(q.size)])
    return FORM.cumulative(slots, t.reshape(-1, 1)).reshape(q.shape)


def arps_time_to_rate(
    initial_rate: ArrayLike, nominal_decline: ArrayLike, b: ArrayLike, rate: ArrayLike
) -> Array:
    """Time to reach `rate` > 0 (same units of time as D); 0 if it starts below, inf if it never falls."""
    q, d, exponent = _inputs(initial_rate, nominal_decline, b)
    target = np.asarray(rate, dtype=np.float64)
    _check("rate", target, 0.0, strict=True)
    smooth = np.maximum(exponent, TINY)
    with np.errstate(divide="ignore", invalid="ignore"):
        fall = np.log(np.maximum(q / target, 1.0))
        time = np.expm1(smooth * fall) / (smooth * d)
    return np.asarray(np.where(fall > 0.0, time, 0.0))


def nominal_from_tangent(tangent_effective: ArrayLike) -> Array:
    """Nominal decline per period from the tangent effective decline per period (a fraction in [0, 1))."""
    effective = np.asarray(tangent_effective, dtype=np.float64)
    _check_fraction("tangent_effective", effective)
    return np.asarray(-np.log1p(-effective))


def tangent_from_nominal(nominal_decline: ArrayLike) -> Array:
    """Tangent effective decline, 1 - exp(-D), a fraction per the period in which D >= 0 is nominal."""
    d = np.asarray(nominal_decline, dtype=np.float64)
    _check("nominal_decline", d, 0.0)
    return np.asarray(-np.expm1(-d))


def secant_from_nominal(nominal_decline: ArrayLike, b: ArrayLike, periods: ArrayLike = 1.0) -> Array:
    """Secant effective decline over the first `periods` periods of the curve, 1 - q/qi, a fraction."""
    d, exponent, span = (np.asarray(x, dtype=np.float64) for x in (nominal_decline, b, periods))
    _check("nominal_decline", d, 0.0)
    _check("b", exponent, 0.0)
    _check("periods", span, 0.0, strict=True)
    return np.asarray(-np.expm1(-log_fall(d, exponent, span)))


def nominal_from_secant(secant_effective: ArrayLike, b: ArrayLike, periods: ArrayLike = 1.0) -> Array:
    """Nominal decline per period of the curve that loses this fraction in its first `periods` periods."""
    effective, exponent, span = (np.asarray(x, dtype=np.float64) for x in (secant_effective, b, periods))
    _check_fraction("secant_effective", effective)
    _check("b", exponent, 0.0)
    _check("periods", span, 0.0, strict=True)
    smooth = np.maximum(exponent, TINY)
    return np.asarray(np.expm1(-smooth * np.log1p(-effective)) / (smooth * span))


def _check_fraction(name: str, value: Array) -> None:
    if not np.all((value >= 0.0) & (value < 1.0)):
        raise ValueError(f"{name} must be a fraction with 0 <= {name} < 1 (0.25 for 25 %)")


@dataclass(frozen=True)
class ArpsFit:
    """Least-squares Arps curve through a rate-time list, in the list's own units.

    `b_free` and `b_standard_error` come from the fit with b free; `b` is exactly 0 or 1 where the F-test kept
    that simpler curve. `log_residual_sd` is the standard deviation of ln(rate) about the curve [fraction].
    """

    kind: str
    initial_rate: float
    nominal_decline: float
    b: float
    b_free: float
    b_standard_error: float
    log_residual_sd: float

    def rate(self, time: ArrayLike) -> Array:
        """Rate at `time`, in the list's units."""
        return arps_rate(self.initial_rate, self.nominal_decline, self.b, time)

    def cumulative(self, time: ArrayLike) -> Array:
        """Volume from time 0 to `time`, in the list's units."""
        return arps_cumulative(self.initial_rate, self.nominal_decline, self.b, time)

    def time_to_rate(self, rate: ArrayLike) -> Array:
        """Time at which the curve reaches `rate`, in the list's units."""
        return arps_time_to_rate(self.initial_rate, self.nominal_decline, self.b, rate)


def fit_arps(
    time: ArrayLike,
    rate: ArrayLike,
    weights: ArrayLike | None = None,
    *,
    b_max: float = 2.0,
    significance: float = 0.05,
) -> ArpsFit:
    """Fit q(t) to four or more (time >= 0, rate > 0) pairs by weighted least squares on ln(rate).

    The result has the same units of rate and time as the list. The curve is "exponential" (b = 0) or
    "harmonic" (b = 1) where an F-test at `significance` does not reject it against b free in [0, b_max] (the
    better of the two if neither is rejected), else "hyperbolic". `weights` multiply squared residuals. A
    quick look at a clean list: forecasts use the posterior of the fit module.

    Raises ValueError on unequal lengths, fewer than four points, rates <= 0, or a list that does not decline.
    """
    from scipy.optimize import least_squares
    from scipy.special import fdtri

    t, q = np.asarray(time, dtype=np.float64), np.asarray(rate, dtype=np.float64)
    w = np.ones_like(t) if weights is None else np.asarray(weights, dtype=np.float64)
    if t.ndim != 1 or t.shape != q.shape or w.shape != t.shape or t.size < 4:
        raise ValueError(
            f"time, rate (and weights) must be lists of one length >= 4, found {t.shape}, {q.shape}"
        )
    _check("time", t, 0.0)
    _check("rate", q, 0.0, strict=True)
    _check("weights", w, 0.0)
    if np.ptp(t[w > 0.0]) == 0.0 if np.any(w > 0.0) else True:
        raise ValueError("the points with positive weight must span more than one time")
    log_rate, root, share = np.log(q), np.sqrt(w), w / w.sum()
    centred = t - share @ t
    slope = -float((w * centred) @ log_rate / ((w * centred) @ centred))
    if not slope > 0.0:
        raise ValueError(f"the rates do not decline (exponential trend {-slope:+.3g} per unit time)")

    def residual(point: Array, b: float | None) -> Array:
        exponent = np.asarray(point[1] if b is None else b)
        level = log_rate + log_fall(np.asarray(np.exp(point[0])), exponent, t)
        return np.asarray(root * (level - share @ level))

    def solve(b: float | None, b_start: float) -> tuple[float, float, float, float]:
        """log D, b, sum of squares, standard error of b."""
        start = [float(np.log(slope * (1.0 + b_start)))] + ([min(b_start, b_max)] if b is None else [])
        low, high = [-np.inf, 0.0][: len(start)], [np.inf, b_max][: len(start)]
        got = least_squares(
            residual, start, bounds=(low, high), xtol=1e-12, ftol=1e-12, gtol=1e-12, kwargs={"b": b}
        )
        squares = 2.0 * float(got.cost)
        if b is not None:
            return float(got.x[0]), b, squares, 0.0
        jacobian = np.asarray(got.jac, dtype=np.float64)
        variance = float(np.linalg.pinv(jacobian.T @ jacobian)[1, 1]) * squares / freedom
        return float(got.x[0]), float(got.x[1]), squares, float(np.sqrt(variance))

    freedom = t.size - 3
    free = min((solve(None, 0.5), solve(None, 1.2)), key=lambda s: s[2])
    # b = 0 is a straight line in ln(rate): already solved by the trend.
    exponential = (
        float(np.log(slope)),
        0.0,
        float((residual(np.array([np.log(slope)]), 0.0) ** 2).sum()),
        0.0,
    )
    simpler = [exponential] + ([solve(1.0, 1.0)] if b_max >= 1.0 else [])
    chosen = min(simpler, key=lambda s: s[2])
    rounding = float(w.sum()) * 1e-20
    limit = float(fdtri(1.0, float(freedom), 1.0 - significance))
    if chosen[2] - free[2] > limit * free[2] / freedom + rounding:
        chosen = free
    b = chosen[1]
    kind = {0.0: "exponential", 1.0: "harmonic"}.get(b, "hyperbolic")
    decline = float(np.exp(chosen[0]))
    level = float(share @ (log_rate + log_fall(np.asarray(decline), np.asarray(b), t)))
    sd = float(np.sqrt(chosen[2] / w.sum() * t.size / max(t.size - (3 if chosen is free else 2), 1)))
    return ArpsFit(kind, float(np.exp(level)), decline, b, free[1], free[3], sd)
