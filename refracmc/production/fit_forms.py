"""Decline forms as the fit sees them: log rate over the segment, and the same curve anchored at the end of
history.

Every form is written as log rate relative to its own start, `log_shape(form, shape, t)`, with t in
producing days since the start of the segment. `slots_at_end` turns a fitted curve into the four slots of
`decline.py`, whose clock starts at the end of the history."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DAYS_PER_YEAR = 365.25
MIN_B = 1e-6


@dataclass(frozen=True)
class ShapePrior:
    """Independent normal priors on the shape coordinates of one form: names, means (d,), sds (d,), bounds
    (d,)."""

    names: tuple[str, ...]
    mean: tuple[float, ...]
    sd: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


def log_shape(form: str, shape: Array, t: Array) -> Array:
    """Log of rate(t)/rate(0) for `shape` (d, n) at producing days t (K,) or (n, K) since the segment start:
    (n, K).

    modified_hyperbolic: (log nominal decline per year, b, log terminal decline per year), Robertson 1988.
    stretched_exponential: (log tau in days, n), Valko 2009.  duong: (log a, m) on a clock in days, Duong
    2011, relative to day 1."""
    days = np.asarray(t, dtype=np.float64)
    columns = days[:, None] if days.ndim == 1 else days.T
    out = np.empty((columns.shape[0], shape.shape[1]))
    log_shape_into(form, shape, columns, out)
    return np.ascontiguousarray(out.T)


def log_shape_into(form: str, shape: Array, t: Array, out: Array) -> None:
    """`log_shape` with the curves in columns, worked in place: shape (d, n), producing days t (K, 1) or (K, n),
    result in `out` (K, n), logs (no unit)."""
    if form == "modified_hyperbolic":
        _hyperbolic_into(shape, t, out)
    elif form == "stretched_exponential":
        with np.errstate(divide="ignore"):
            np.subtract(np.log(t), shape[0], out=out)
        np.multiply(out, shape[1], out=out)
        np.exp(out, out=out)
        np.negative(out, out=out)
    elif form == "duong":
        a, one_less = np.exp(shape[0]), 1.0 - shape[1]
        log_t = np.log(np.maximum(t, 1.0))
        np.multiply(log_t, one_less, out=out)
        np.expm1(out, out=out)
        np.multiply(out, a / one_less, out=out)
        out -= shape[1] * log_t
    else:
        raise ValueError(f"form is {form!r}; allowed: modified_hyperbolic, stretched_exponential, duong")


def hyperbolic_constants(shape: Array) -> tuple[Array, Array, Array, Array]:
    """Nominal decline and terminal decline per day, b, and the day of the switch, each (n,), of shape (3, n)."""
    decline = np.exp(shape[0]) / DAYS_PER_YEAR
    b = np.maximum(shape[1], MIN_B)
    terminal = np.minimum(np.exp(shape[2]) / DAYS_PER_YEAR, decline)
    return decline, terminal, b, (decline / terminal - 1.0) / (b * decline)


def _hyperbolic_into(shape: Array, t: Array, out: Array) -> None:
    decline, terminal, b, switch = hyperbolic_constants(shape)
    np.multiply(t, b * decline, out=out)
    np.add(out, 1.0, out=out)
    np.log(out, out=out)  # half the work of log1p on many processors; b keeps the digits above 1e-10
    np.multiply(out, -1.0 / b, out=out)
    late = np.flatnonzero(switch < t.max(axis=0))
    if len(late):
        since = (t[:, late] if t.shape[1] > 1 else t) - switch[late]
        line = (-np.log(decline / terminal) / b)[late] - terminal[late] * since
        out[:, late] = np.where(since > 0.0, line, np.take(out, late, axis=1))


def slots_at_end(form: str, shape: Array, log_rate_end: Array, end: float) -> Array:
    """The four slots (4, n) of `decline.py` for curves of rate exp(log_rate_end) (n,) at `end` days of the
    segment."""
    n = shape.shape[1]
    slots = np.zeros((4, n))
    rate = np.exp(log_rate_end)
    if form == "modified_hyperbolic":
        start, b = np.exp(shape[0]), np.maximum(shape[1], MIN_B)
        terminal = np.minimum(np.exp(shape[2]), start)
        at_end = np.maximum(start / (1.0 + b * start * end / DAYS_PER_YEAR), terminal)
        slots[:] = rate, at_end, b, terminal
    elif form == "stretched_exponential":
        tau, power = np.exp(shape[0]), shape[1]
        slots[:] = rate * np.exp((end / tau) ** power), tau, power, np.full(n, end)
    elif form == "duong":
        # decline.py: q1 t^-m exp(a/(1-m) (t^(1-m) - 1)) at t = offset + days since the anchor
        a, m = np.exp(shape[0]), shape[1]
        offset = max(end, 1.0)
        slots[:] = rate / np.exp(log_shape(form, shape, np.array([offset]))[:, 0]), a, m, np.full(n, offset)
    else:
        raise ValueError(f"form is {form!r}; allowed: modified_hyperbolic, stretched_exponential, duong")
    return slots
