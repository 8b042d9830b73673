"""Values of many distributions at once: those of a kind in one pass over a matrix.

Every value is that of the distribution's own `ppf`, to the bit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from scipy.special import ndtri

from .base import Distribution, FloatArray
from .beta_table import beta_ppf_rows
from .continuous import Beta, LogNormal, Normal, Pert, Triangular, Truncated, Uniform


def ppf_rows(distributions: Sequence[Distribution], u: FloatArray) -> FloatArray:
    """Values (k, n) of k distributions at non-exceedance probabilities u (k, n), row by row."""
    groups: dict[type[Distribution], list[int]] = {}
    for k, distribution in enumerate(distributions):
        groups.setdefault(type(distribution), []).append(k)
    values = np.empty(u.shape)
    for kind, rows in groups.items():
        members = [distributions[k] for k in rows]
        if kind in _KINDS and len(rows) > 1:
            values[rows] = _KINDS[kind](members, u[rows])
        else:
            for k, member in zip(rows, members, strict=True):
                values[k] = member.ppf(u[k])
    return values


def _columns(members: Sequence[Any], *names: str) -> list[FloatArray]:
    """Parameters (k, 1) by name."""
    return [np.array([getattr(member, name) for member in members])[:, None] for name in names]


def _normal(members: Sequence[Normal], u: FloatArray) -> FloatArray:
    mean, sd = _columns(members, "mean_value", "sd_value")
    return np.asarray(mean + sd * ndtri(u))


def _lognormal(members: Sequence[LogNormal], u: FloatArray) -> FloatArray:
    mean, sd = _columns(members, "log_mean", "log_sd")
    return np.exp(mean + sd * ndtri(u))


def _uniform(members: Sequence[Uniform], u: FloatArray) -> FloatArray:
    low, high = _columns(members, "low", "high")
    return np.asarray(low + (high - low) * u)


def _triangular(members: Sequence[Triangular], u: FloatArray) -> FloatArray:
    low, mode, high = _columns(members, "low", "mode", "high")
    width = high - low
    below = low + np.sqrt(np.maximum(u, 0.0) * (width * (mode - low)))
    above = high - np.sqrt(np.maximum(1.0 - u, 0.0) * (width * (high - mode)))
    return np.where(u * width < mode - low, below, above)


def _beta(members: Sequence[Beta | Pert], u: FloatArray) -> FloatArray:
    low, high = _columns(members, "low", "high")
    shapes = tuple((float(member.alpha), float(member.beta)) for member in members)
    return np.asarray(low + (high - low) * beta_ppf_rows(shapes, u))


def _truncated(members: Sequence[Truncated], u: FloatArray) -> FloatArray:
    low, high, start, kept = _columns(members, "low", "high", "_start", "_kept")
    return np.clip(ppf_rows([member.base for member in members], start + kept * u), low, high)


_KINDS: dict[type[Distribution], Callable[[Any, FloatArray], FloatArray]] = {
    Normal: _normal,
    LogNormal: _lognormal,
    Uniform: _uniform,
    Triangular: _triangular,
    Beta: _beta,
    Pert: _beta,
    Truncated: _truncated,
}
