"""Modified hyperbolic decline: Arps' hyperbola (1945 [1]) that ends in a terminal decline (Robertson 1988 [2]).

D(t) = D0/(1 + b D0 t) until it has fallen to Dmin, constant after, so that the rate is exponential from there.
D0 <= Dmin: exponential with D0 throughout. Dmin = 0: no terminal phase. b = 0, b = 1, b > 1 and D0 = 0 (constant rate)
are exact.

The transient hyperbolic (Fulford & Blasingame 2013, SPE-167242) is not offered: with its terminal decline and a clock
that starts at first production it needs six slots, not four, and its volume is a double integral without closed form.

References: [1] Trans. AIME 160, 228-247. [2] SPE-18731.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from refracmc.compiler import compiled
from refracmc.production.elementary import growth, log_past_one

from .decline_form import DAYS_PER_YEAR, Array, DeclineForm, ShapePrior, Slot

TINY = 1e-30
"""What double precision can divide by: a decline per year below it is none, and so is a b below it."""
B_HARMONIC = float(np.nextafter(1.0, 0.0))
"""Stands in for b = 1 exactly: -expm1(-(1-b) s)/(1-b) then equals s to about s * 1e-16."""
MIN_B = 1e-6
"""Of the fit: b below it is taken for it."""
_STILL = 2.0**-100
"""Decline per day of a constant rate: a power of two, by which nothing is rounded."""
_NEVER = 1e300
_LARGEST = 700.0
"""Of an exponent."""


@compiled
def _fill_log_falls(speed: Array, per_b: Array, switch: Array, terminal: Array, t: Array, out: Array) -> None:
    """ln(rate(0)/rate(t)) of n curves at days t (K,) in out (K, n): b D per day, 1/b, day of the switch, D after it."""
    for k in range(t.size):
        day, falls = t[k], out[k]
        for i in range(falls.size):
            before, after = min(day, switch[i]), max(day - switch[i], 0.0)
            falls[i] = per_b[i] * log_past_one(speed[i] * before) + terminal[i] * after


@compiled
def _fill_volumes(curves: Array, uptime: Array, t: Array, out: Array) -> None:
    """Volumes of n curves at producing times uptime (n,) x t, (1, K) or (n, K), in out (n, K); curves (8, n).

    With u = b D t it is scale (exp(gain ln(1 + u)) - 1) before the switch, and after it
    scale_after (exp(D (t_switch - t)) - 1) + volume at the switch.
    """
    for i in range(out.shape[0]):
        speed, u_switch, gain, scale = curves[0, i], curves[1, i], curves[2, i], curves[3, i]
        switch, terminal, scale_after, at_switch = curves[4, i], curves[5, i], curves[6, i], curves[7, i]
        share, days, volumes = uptime[i], t[i if t.shape[0] > 1 else 0], out[i]
        for k in range(volumes.size):
            day = share * days[k]
            u = day * speed
            x = gain * log_past_one(u) if u <= u_switch else (switch - day) * terminal
            grown = growth(max(min(x, _LARGEST), -_LARGEST))
            volumes[k] = grown * scale if u <= u_switch else grown * scale_after + at_switch


def log_fall(decline: ArrayLike, b: ArrayLike, t: ArrayLike) -> Array:
    """ln(rate(0)/rate(t)) = ln(1 + b D t)/b (no unit) of Arps' hyperbola, D t at b = 0; arguments broadcast, D and t in
    the same unit of time."""
    d, exponent, time = (np.asarray(x, dtype=np.float64) for x in np.broadcast_arrays(decline, b, t))
    exponent = np.maximum(exponent, TINY).ravel()
    fall, one = np.empty((1, exponent.size)), np.ones(exponent.size)
    _fill_log_falls(exponent * (d * time).ravel(), 1.0 / exponent, one, 0.0 * one, np.ones(1), fall)
    return fall.reshape(d.shape)


@dataclass(frozen=True)
class _Curves:
    """Constants of n curves, each (n,), per day. The exponential ones are past their switch from day 0 on."""

    q: Array
    b: Array
    start: Array
    terminal: Array
    u_switch: Array
    switch: Array
    fall: Array

    @classmethod
    def of(cls, slots: Array) -> _Curves:
        q, yearly, b, floor = slots
        start = np.where(yearly > TINY, yearly / DAYS_PER_YEAR, _STILL)
        floor = floor / DAYS_PER_YEAR
        bent = (floor < start) & (b > 0.0) & (yearly > TINY)
        b = np.where(bent, np.maximum(b, TINY), 0.5)
        b = np.where(b == 1.0, B_HARMONIC, b)
        with np.errstate(over="ignore"):
            u = np.where(floor > 0.0, start / np.where(floor > 0.0, floor, 1.0) - 1.0, _NEVER)
            switch = np.minimum(u / (b * start), _NEVER)
        fall = np.where(u < _NEVER, np.log1p(np.where(bent & (u < _NEVER), u, 0.0)) / b, 0.0)
        return cls(
            q,
            b,
            start,
            np.where(bent, floor, start),
            np.where(bent, u, -1.0),
            np.where(bent, switch, 0.0),
            np.where(bent, fall, 0.0),
        )

    def volumes(self) -> Array:
        """What the cumulatives are made of (8, n), as `_fill_volumes` takes it."""
        one_less = 1.0 - self.b
        scale = -self.q / (self.start * one_less)
        after = -self.q * np.exp(-self.fall) / np.where(self.terminal > 0.0, self.terminal, 1.0)
        gain = -one_less / self.b
        at_switch = scale * np.expm1(-one_less * self.fall)
        speed = self.b * self.start
        return np.stack([speed, self.u_switch, gain, scale, self.switch, self.terminal, after, at_switch])


class ModifiedHyperbolic(DeclineForm):
    """Shape in the fit: log nominal decline per year, b, log terminal decline per year, at the start of the segment."""

    name = "modified_hyperbolic"
    slots = (
        Slot("rate_per_d", "bbl/d or Mcf/d", "rate at the anchor"),
        Slot("decline_per_year", "1/year", "nominal decline at the anchor"),
        Slot("b", "", "hyperbolic exponent"),
        Slot("terminal_decline_per_year", "1/year", "terminal nominal decline", negligible=TINY),
    )
    # Moments over the wells named in prior.py; terminal decline 5 to 12 % per year (80 %) is common practice without a
    # source; bounds are assumptions.
    priors = {  # noqa: RUF012
        phase: ShapePrior(
            names=("log decline per year", "b", "log terminal decline per year"),
            mean=(decline, b, -2.55),
            sd=(decline_sd, b_sd, 0.34),
            low=(-4.0, 0.0, -5.0),
            high=(4.0, 2.0, 0.0),
        )
        for phase, decline, decline_sd, b, b_sd in (
            ("oil", 0.83, 0.32, 1.16, 0.12),
            ("gas", 0.21, 0.35, 0.87, 0.15),
        )
    }
    weight = 0.7

    def rate(self, slots: Array, t: Array) -> Array:
        c = _Curves.of(slots)
        switch = c.switch[:, None]
        fall = log_fall(c.start[:, None], c.b[:, None], np.minimum(t, switch))
        return np.asarray(c.q[:, None] * np.exp(-fall - c.terminal[:, None] * np.maximum(t - switch, 0.0)))

    def cumulative(self, slots: Array, t: Array, uptime: Array | None = None) -> Array:
        n, days = slots.shape[1], np.ascontiguousarray(np.atleast_2d(t))
        out = np.empty((n, days.shape[1]))
        _fill_volumes(_Curves.of(slots).volumes(), np.ones(n) if uptime is None else uptime, days, out)
        return out

    def ultimate(self, slots: Array) -> Array:
        c = _Curves.of(slots)
        _, _, _, _, _, _, after, at_switch = c.volumes()
        q, yearly, b, _ = slots
        with np.errstate(divide="ignore", invalid="ignore"):
            unending = q * DAYS_PER_YEAR / yearly / np.where(b < 1.0, 1.0 - b, 0.0)
        total = np.where((c.terminal > 0.0) & (yearly > 0.0), at_switch - after, unending)
        return np.asarray(np.where(q > 0.0, total, 0.0))

    def days_to_rate(self, slots: Array, rate: Array) -> Array:
        c = _Curves.of(slots)
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            fall = np.maximum(np.log(c.q / rate), 0.0)
            early = np.expm1(c.b * fall) / (c.b * c.start)
            late = c.switch + (fall - c.fall) / c.terminal
        days = np.where((fall <= c.fall) | (c.switch >= _NEVER), early, late)
        return np.asarray(np.where((slots[1] > TINY) | (fall == 0.0), days, np.inf))

    def decline_per_year(self, slots: Array, t: Array) -> Array:
        _, start, b, floor = (row[:, None] for row in slots)
        falling = start / (1.0 + b * start / DAYS_PER_YEAR * t)
        return np.asarray(np.where(start > floor, np.maximum(falling, floor), start + 0.0 * t))

    def switch_days(self, slots: Array) -> Array:
        """Producing days (n,) until the terminal decline: 0 where it starts so low, inf where it never does."""
        _, start, b, floor = slots
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            days = DAYS_PER_YEAR * (start / floor - 1.0) / (b * start)
        return np.asarray(np.where(start > floor, days, 0.0))

    def log_shape(self, shape: Array, t: Array) -> Array:
        decline, b = np.exp(shape[0]) / DAYS_PER_YEAR, np.maximum(shape[1], MIN_B)
        terminal = np.minimum(np.exp(shape[2]) / DAYS_PER_YEAR, decline)
        switch = (decline / terminal - 1.0) / (b * decline)
        falls = np.empty((t.size, decline.size))
        _fill_log_falls(b * decline, 1.0 / b, switch, terminal, t, falls)
        return np.negative(falls, out=falls)

    def slots_at_end(self, shape: Array, log_rate: Array, end: float) -> Array:
        start, b = np.exp(shape[0]), np.maximum(shape[1], MIN_B)
        terminal = np.minimum(np.exp(shape[2]), start)
        at_end = np.maximum(start / (1.0 + b * start * end / DAYS_PER_YEAR), terminal)
        return np.stack([np.exp(log_rate), at_end, b, terminal])

    def steeper(self, slots: Array, factor: Array) -> Array:
        return np.stack([slots[0], slots[1] * factor, slots[2], slots[3]])


FORM = ModifiedHyperbolic()


def warm() -> None:
    """Compile, or load from the cache, what a forecast uses (no unit)."""
    FORM.cumulative(np.ones((4, 1)), np.ones(1))
