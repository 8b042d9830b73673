"""Ratios of the other phases to the main one: today's level, where they go, and over what further volume.

A log-log regression of ratio on cumulative gives the trend (gas-oil and water-oil ratios are functions of
cumulative production); its slope is shrunk towards no trend and its end point is bounded, because few
histories fix it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from refracmc.production.history import PHASES, History

Array = NDArray[np.float64]
Ratio = tuple[Array, Array, Array]

RECENT_MONTHS = 12
SLOPE_PRIOR_SD = 0.3  # assumption: a log-log slope beyond +-0.6 is rare
RATIO_CHANGE_LIMIT = 4.0  # assumption: a ratio does not move by more than this factor over the remaining life
MINIMUM_LOG_SD = 0.05


def secondary_ratios(history: History, further: Array, normals: dict[str, Array]) -> dict[str, Ratio]:
    """Per secondary phase (r_now, r_final, x_change), each (n,), in that phase's unit per unit of the main
    phase.

    further (n,): main-phase volume still to come; normals[phase] (2, n) standard normals. A phase never
    declared, or zero throughout its last year, has ratio zero."""
    main = history.volume()
    out: dict[str, Ratio] = {}
    for phase in PHASES:
        if phase == history.main_phase:
            continue
        other = history.volume(phase)
        n = len(further)
        ready = np.isfinite(other) & (np.nan_to_num(main) > 0)
        recent = np.flatnonzero(ready)[-RECENT_MONTHS:]
        x_change = np.maximum(further, 1e-9)
        if not len(recent) or other[recent].sum() <= 0:
            out[phase] = (np.zeros(n), np.zeros(n), x_change)
            continue
        now = float(other[recent].sum() / main[recent].sum())
        slope, slope_sd, level_sd = _trend(main, other, ready)
        total = max(history.cumulative[history.main_phase], 1e-9)
        r_now = now * np.exp(level_sd * normals[phase][0])
        drawn = slope + slope_sd * normals[phase][1]
        reach = drawn * np.log1p(further / total)
        limit = np.log(RATIO_CHANGE_LIMIT)
        out[phase] = (r_now, r_now * np.exp(np.clip(reach, -limit, limit)), x_change)
    return out


def _trend(main: Array, other: Array, ready: NDArray[np.bool_]) -> tuple[float, float, float]:
    """Shrunk log-log slope of ratio on cumulative, its sd, and the log sd of the recent level."""
    cumulative = np.cumsum(np.nan_to_num(main))
    use = ready & (np.nan_to_num(other) > 0)
    x, y = np.log(cumulative[use]), np.log(other[use] / main[use])
    if len(x) < 6 or np.ptp(x) < 0.2:
        return 0.0, SLOPE_PRIOR_SD, max(MINIMUM_LOG_SD, float(np.std(y)) if len(y) > 1 else 0.3)
    x, y = x[-36:], y[-36:]
    dx = x - x.mean()
    raw = float(dx @ (y - y.mean()) / (dx @ dx))
    left = y - y.mean() - raw * dx
    sd = max(float(np.sqrt(left @ left / max(len(x) - 2, 1))), MINIMUM_LOG_SD)
    precision = (
        float(dx @ dx) / (sd * sd) / 4.0
    )  # residuals are autocorrelated: a quarter of the months counts
    keep = precision / (precision + SLOPE_PRIOR_SD**-2)
    slope_sd = float((precision + SLOPE_PRIOR_SD**-2) ** -0.5)
    return keep * raw, slope_sd, max(MINIMUM_LOG_SD, sd / np.sqrt(min(len(x), RECENT_MONTHS) / 4.0))
