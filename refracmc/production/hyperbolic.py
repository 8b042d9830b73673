"""Kernels of the modified hyperbolic decline, the hot path of the forecast; `decline` is the way in.

Rows are worked in pieces that stay in the cache, with the scratch arrays used again: fresh pages for three
whole arrays cost as much as the arithmetic. Definitions and references stand in
`refracmc.production.decline`.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from refracmc.production.arps import smooth_b

Array = NDArray[np.float64]

DAYS_PER_YEAR = 365.25
TINY_DECLINE = 1e-30
_SMALL = 0.02
_NEVER = 1e300
_PIECE = 32_768


def _log1p_into(u: Array, out: Array, where: NDArray[np.bool_] | bool = True) -> None:
    """ln(1+u) into `out` (C order) where asked, u >= 0; log takes 40 % of log1p, needed for small u."""
    small = np.flatnonzero(u < _SMALL)
    fixed = np.log1p(u.ravel()[small])
    np.add(u, 1.0, out=out)
    np.log(out, out=out, where=where)
    out.ravel()[small] = fixed


def _expm1_in_place(e: Array) -> None:
    """exp(e)-1 in place (C order): exp is twice as fast as expm1, which only small e need."""
    small = np.flatnonzero((e < _SMALL) & (e > -_SMALL))
    fixed = np.expm1(e.ravel()[small])
    np.exp(e, out=e)
    np.subtract(e, 1.0, out=e)
    e.ravel()[small] = fixed


class _Hyperbolic:
    """Per-trial constants of the modified hyperbolic, each (n, 1); D per day, u = b D t."""

    def __init__(self, slots: Array) -> None:
        self.q = slots[0][:, None]
        start = np.maximum(slots[1], TINY_DECLINE) / DAYS_PER_YEAR
        floor = slots[3] / DAYS_PER_YEAR
        switches = floor < start
        b = np.where(switches, smooth_b(slots[2]), smooth_b(0.0))
        self.exponential = bool((b == smooth_b(0.0)).all())
        self.b, self.d = b[:, None], start[:, None]
        with np.errstate(over="ignore"):
            ratio = np.where(switches & (floor > 0.0), start / np.where(floor > 0.0, floor, 1.0), _NEVER)
            u = np.where(ratio < _NEVER, ratio - 1.0, _NEVER)
            days = np.minimum(u / (b * start), _NEVER)
        self.floor, self.u_switch, self.t_switch = floor[:, None], u[:, None], days[:, None]
        fall = np.where(u < _NEVER, np.log1p(np.where(u < _NEVER, u, 0.0)), 0.0) / b
        self.fall = fall[:, None]
        one_less = 1.0 - self.b
        self.gain = -one_less / self.b
        self.scale = -self.q / (self.d * one_less)
        self.at_switch = self.scale * np.expm1(-one_less * self.fall)
        self.scale_after = -self.q * np.exp(-self.fall) / np.where(self.floor > 0.0, self.floor, 1.0)

    def rows(self, part: slice) -> _Hyperbolic:
        """The constants of some trials."""
        piece = object.__new__(_Hyperbolic)
        piece.exponential = self.exponential
        for name, value in vars(self).items():
            if name != "exponential":
                setattr(piece, name, value[part])
        return piece


def hyperbolic_constants(slots: Array) -> Array:
    """What the cumulative [bbl or Mcf] of each trial is made of, (8, n), D per day, t in days:

    b D, u at the terminal switch, gain and scale before it, t at the switch, D after it, scale after it, volume added
    after it. With u = b D t it is scale expm1(gain log1p(u)) until the switch, and after it scale_after
    expm1(D (t_switch - t)) + volume.
    """
    h = _Hyperbolic(slots)
    made = (h.b * h.d, h.u_switch, h.gain, h.scale, h.t_switch, h.floor, h.scale_after, h.at_switch)
    return np.stack([row.ravel() for row in made])


def _pieces(h: _Hyperbolic, t: Array) -> Iterator[tuple[slice, _Hyperbolic, Array, Array]]:
    """(rows, their constants, their times, scratch of their shape)."""
    n, columns = h.q.shape[0], t.shape[-1]
    step = max(1, min(n, _PIECE // max(columns, 1)))
    scratch = np.empty((step, columns))
    own = t.ndim == 2 and t.shape[0] == n
    for first in range(0, n, step):
        part = slice(first, min(first + step, n))
        yield part, h.rows(part), t[part] if own else t, scratch[: part.stop - first]


def hyperbolic_cumulative(slots: Array, t: Array) -> Array:
    """Volume [bbl or Mcf] from the anchor: one log before the terminal switch, one exp everywhere."""
    whole = _Hyperbolic(slots)
    out: Array = np.empty((slots.shape[1], t.shape[-1]))
    for part, h, own, u in _pieces(whole, t):
        e = out[part]
        if h.exponential:
            np.multiply(own, -h.d, out=e)
            _expm1_in_place(e)
            np.multiply(e, -h.q / h.d, out=e)
            continue
        np.multiply(own, h.b * h.d, out=u)
        after = u > h.u_switch
        if not after.any():
            _log1p_into(u, e)
            np.multiply(e, h.gain, out=e)
            _expm1_in_place(e)
            np.multiply(e, h.scale, out=e)
            continue
        _log1p_into(u, e, ~after)
        np.multiply(e, h.gain, out=e)
        np.subtract(h.t_switch, own, out=u)
        np.multiply(u, h.floor, out=e, where=after)
        _expm1_in_place(e)
        np.multiply(e, np.where(after, h.scale_after, h.scale), out=e)
        np.add(e, h.at_switch, out=e, where=after)
    return out


def hyperbolic_rate(slots: Array, t: Array) -> Array:
    """Rate [bbl/d or Mcf/d per producing day]."""
    whole = _Hyperbolic(slots)
    out: Array = np.empty((slots.shape[1], t.shape[-1]))
    for part, h, own, u in _pieces(whole, t):
        e = out[part]
        np.multiply(own, h.b * h.d, out=u)
        after = u > h.u_switch
        _log1p_into(u, e, ~after)
        np.divide(e, -h.b, out=e)
        if after.any():
            np.subtract(h.t_switch, own, out=u)
            np.multiply(u, h.floor, out=u)
            np.subtract(u, h.fall, out=e, where=after)
        np.exp(e, out=e)
        np.multiply(e, h.q, out=e)
    return out


def hyperbolic_ultimate(slots: Array) -> Array:
    """Volume [bbl or Mcf] from the anchor to infinite time, (n,); inf where it has no bound."""
    q, yearly, b, floor = slots
    h = _Hyperbolic(slots)
    b = np.where(yearly > floor, b, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        total = q * DAYS_PER_YEAR / yearly / np.where(b < 1.0, 1.0 - b, 0.0)
    switches = (yearly > floor) & (floor > 0.0) & (b > 0.0)
    total = np.where(switches, (h.at_switch - h.scale_after).ravel(), total)
    return np.asarray(np.where(q > 0.0, total, 0.0))
