"""Duong's decline (2011, SPE REE 14(3), 377-387): q = rate1 x^-m exp(a (x^(1-m) - 1)/(1-m)), x = t + offset in days.

A form of transient flow, without a terminal decline. The first slot is the rate at x = 1 day; a, m > 0. The volume from
x = 0 is q x^m / a for m >= 1 (m = 1: rate1 x^a / a). `t_offset_days` is the producing time of the anchor on the form's
own clock; volumes count from the anchor.
"""

from __future__ import annotations

import numpy as np
from scipy.special import lambertw

from .decline_form import DAYS_PER_YEAR, Array, DeclineForm, ShapePrior, Slot, producing_times

_LAST_REAL = -np.exp(-1.0)
"""Where Lambert's function turns complex: the rate is at its peak."""
_LARGEST = 700.0
"""Of an exponent."""


def _power_integral(log_x: Array, one_less_m: Array) -> Array:
    """(x^(1-m) - 1)/(1-m) from ln x; m = 1 gives ln x."""
    safe = np.where(one_less_m == 0.0, 1e-17, one_less_m)
    return np.asarray(np.expm1(safe * log_x) / safe)


class Duong(DeclineForm):
    """Shape in the fit: log a, m, on the segment's clock from day 1 on."""

    name = "duong"
    slots = (
        Slot("q1_per_d", "bbl/d or Mcf/d", "rate at day 1 of its own clock"),
        Slot("a", "", "intercept", above_zero=True),
        Slot("m", "", "slope", above_zero=True),
        Slot("t_offset_days", "days", "producing time of the anchor on its own clock"),
    )
    # All of it assumptions.
    priors = dict.fromkeys(
        ("oil", "gas"),
        ShapePrior(names=("log a", "m"), mean=(0.2, 1.15), sd=(0.4, 0.08), low=(-3.0, 1.01), high=(2.5, 2.0)),
    )
    weight = 0.3
    optional = True

    def rate(self, slots: Array, t: Array) -> Array:
        """Its limit at x = 0 is 0 for m > 1, and unbounded for m < 1."""
        q1, a, m, offset = (row[:, None] for row in slots)
        x = t + offset
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            log_x = np.log(x)
            value = q1 * np.exp(a * _power_integral(log_x, 1.0 - m) - m * log_x)
            # At m = 1 the rate is q1 x^(a-1).
            at_zero = np.where(m > 1.0, 0.0, np.where(m < 1.0, np.inf, q1 * np.power(0.0, a - 1.0)))
        return np.asarray(np.where(x > 0.0, value, at_zero))

    def cumulative(self, slots: Array, t: Array, uptime: Array | None = None) -> Array:
        """With an offset above zero no difference of two totals is taken."""
        q1, a, m, offset = (row[:, None] for row in slots)
        days, one_less = producing_times(t, uptime), 1.0 - m
        with np.errstate(divide="ignore", over="ignore"):
            log_start = np.log(offset)
            start = q1 / a * np.exp(a * _power_integral(log_start, one_less))
            if (offset > 0.0).all():
                step = _power_integral(np.log1p(days / offset), one_less)
                return np.asarray(start * np.expm1(a * np.exp(one_less * log_start) * step))
            total = q1 / a * np.exp(a * _power_integral(np.log(days + offset), one_less))
        return np.asarray(total - start)

    def ultimate(self, slots: Array) -> Array:
        """Bounded for m > 1."""
        q1, a, m, offset = slots
        with np.errstate(divide="ignore", over="ignore"):
            start = q1 / a * np.exp(a * _power_integral(np.log(offset), 1.0 - m))
            bounded = q1 / a * np.exp(a / np.where(m > 1.0, m - 1.0, 1.0))
        return np.asarray(np.where(m > 1.0, bounded - start, np.inf))

    def days_to_rate(self, slots: Array, rate: Array) -> Array:
        """With w = (1 - m) ln x the rate is reached where w = A + (a/m) e^w, A = -((1 - m) ln(rate/q1) + a)/m: by
        Lambert's function, on its principal branch after the peak. The rate never falls for good where m <= 1, but for
        m = 1 and a < 1, where it is a power of time; 0 where its peak, or all after the anchor, is below."""
        q1, a, m, offset = slots
        falls = m > 1.0
        one_less = np.where(falls, 1.0 - m, -1.0)
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            log_ratio = np.log(rate / q1)
            level = -(one_less * log_ratio + a) / m
            argument = -a / m * np.exp(level)
            w = level - lambertw(np.maximum(argument, _LAST_REAL)).real
            x = np.where(argument < _LAST_REAL, 0.0, np.exp(np.minimum(w / one_less, _LARGEST)))
            power = np.where(a < 1.0, np.exp(np.minimum(log_ratio / (a - 1.0), _LARGEST)), np.inf)
        x = np.where(falls, x, np.where(m == 1.0, power, np.inf))
        return np.asarray(np.where(q1 > 0.0, np.maximum(x - offset, 0.0), 0.0))

    def decline_per_year(self, slots: Array, t: Array) -> Array:
        """Negative while the rate still rises: x^(1-m) > m/a."""
        _, a, m, offset = (row[:, None] for row in slots)
        x = t + offset
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(DAYS_PER_YEAR * (m / x - a * np.power(x, -m)))

    def log_shape(self, shape: Array, t: Array) -> Array:
        a, m = np.exp(shape[0]), shape[1]
        log_t = np.log(np.maximum(t, 1.0))[:, None]
        return np.asarray(a * _power_integral(log_t, 1.0 - m) - m * log_t)

    def slots_at_end(self, shape: Array, log_rate: Array, end: float) -> Array:
        offset = max(end, 1.0)
        rate1 = np.exp(log_rate) / np.exp(self.log_shape(shape, np.array([offset]))[0])
        return np.stack([rate1, np.exp(shape[0]), shape[1], np.full(rate1.size, offset)])


FORM = Duong()
