"""Stretched exponential decline (Valko 2009, SPE-119369): q = rate0 exp(-((t + offset)/tau)^n), n > 0.

A form of transient flow, without a terminal decline. `t_offset_days` is the producing time of the anchor on the form's
own clock; volumes count from the anchor. From its own start it produces rate0 tau/n Gamma(1/n) in all.
"""

from __future__ import annotations

import numpy as np
from scipy.special import gamma, gammainc, gammaincc

from .decline_form import DAYS_PER_YEAR, Array, DeclineForm, ShapePrior, Slot, producing_times


class StretchedExponential(DeclineForm):
    """Shape in the fit: log tau in days, n, on the segment's clock."""

    name = "stretched_exponential"
    slots = (
        Slot("rate0_per_d", "bbl/d or Mcf/d", "rate at its own time 0"),
        Slot("tau_days", "days", "characteristic time", above_zero=True),
        Slot("n", "", "exponent", above_zero=True),
        Slot("t_offset_days", "days", "producing time of the anchor on its own clock"),
    )
    # Moments over the wells named in prior.py; bounds are assumptions.
    priors = {  # noqa: RUF012
        phase: ShapePrior(
            names=("log tau in days", "n"),
            mean=(tau, n),
            sd=(tau_sd, n_sd),
            low=(0.0, 0.15),
            high=(12.0, 1.0),
        )
        for phase, tau, tau_sd, n, n_sd in (("oil", 5.55, 0.45, 0.49, 0.10), ("gas", 6.00, 0.50, 0.58, 0.14))
    }
    weight = 0.3

    def rate(self, slots: Array, t: Array) -> Array:
        q0, tau, n, offset = (row[:, None] for row in slots)
        return np.asarray(q0 * np.exp(-np.power((t + offset) / tau, n)))

    def cumulative(self, slots: Array, t: Array, uptime: Array | None = None) -> Array:
        """By incomplete gamma functions, so that nothing cancels late in life."""
        q0, tau, n, offset = (row[:, None] for row in slots)
        a = 1.0 / n
        x0, x = np.power(offset / tau, n), np.power((producing_times(t, uptime) + offset) / tau, n)
        # The upper function keeps digits late in life, the lower one early.
        late = (x0 > a).ravel()
        part = np.empty(np.broadcast_shapes(x.shape, x0.shape))
        for rows, function, sign in ((late, gammaincc, -1.0), (~late, gammainc, 1.0)):
            if rows.any():
                part[rows] = sign * (function(a[rows], x[rows]) - function(a[rows], x0[rows]))
        # x at t = 0 may differ from x0 in its last bit, where the functions work several numbers at once
        return np.asarray(np.maximum(part, 0.0) * (q0 * tau * a * gamma(a)))

    def ultimate(self, slots: Array) -> Array:
        q0, tau, n, offset = slots
        return np.asarray(q0 * tau / n * gamma(1.0 / n) * gammaincc(1.0 / n, np.power(offset / tau, n)))

    def days_to_rate(self, slots: Array, rate: Array) -> Array:
        q0, tau, n, offset = slots
        with np.errstate(divide="ignore", over="ignore"):
            fall = np.maximum(np.log(q0 / rate), 0.0)
            return np.asarray(np.maximum(tau * np.power(fall, 1.0 / n) - offset, 0.0))

    def decline_per_year(self, slots: Array, t: Array) -> Array:
        _, tau, n, offset = (row[:, None] for row in slots)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(DAYS_PER_YEAR * n / tau * np.power((t + offset) / tau, n - 1.0))

    def log_shape(self, shape: Array, t: Array) -> Array:
        with np.errstate(divide="ignore"):
            out = np.subtract(np.log(t)[:, None], shape[0])
        np.multiply(out, shape[1], out=out)
        np.exp(out, out=out)
        return np.asarray(np.negative(out, out=out))

    def slots_at_end(self, shape: Array, log_rate: Array, end: float) -> Array:
        tau, n = np.exp(shape[0]), shape[1]
        return np.stack([np.exp(log_rate) * np.exp((end / tau) ** n), tau, n, np.full(n.size, end)])

    def steeper(self, slots: Array, factor: Array) -> Array:
        """The decline at the anchor is n/t (t/tau)^n: another tau multiplies it, another rate0 keeps the rate there."""
        q0, tau, n, offset = slots
        fall = (offset / tau) ** n
        return np.stack([q0 * np.exp(fall * (factor - 1.0)), tau * factor ** (-1.0 / n), n, offset])


FORM = StretchedExponential()
