"""Secondary phases: volumes that follow the main phase through a ratio (gas-oil, yield, water) of its cumulative.

The ratio moves linearly with the main-phase cumulative x since the anchor, then stays:

    r(x) = r_now + (r_final - r_now) min(1, x / x_change)        G(x) = integral of r from 0 to x
         so G(x) = r_final x + (r_now - r_final) (y - y^2 / (2 x_change)),  y = min(x, x_change)

A monthly secondary volume is the difference of G at the main phase's month edges, so it adds up exactly and
never depends on the month length. x_change = 0 is a step (r_final from the start), inf leaves r_now for good.
Source: the linear ratio is common practice, no source; the ratio as a function of cumulative, not of time,
makes a shut-in month move nothing. Units: x in main-phase volume, r in secondary per main volume (Mcf/bbl,
bbl/Mcf, bbl/bbl).

From a history: the ratio of the last year gives the level, and a log-log regression of ratio on cumulative the trend
(gas-oil and water-oil ratios are functions of cumulative production). Its slope is shrunk towards no trend and its end
point is bounded, because few histories fix it. Water of the first months is that of the frac flowing back: it tells
nothing of later months, but that they bring no more. A lasting factor of mean one on the ratio ahead covers what the
months do not show.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from refracmc.compiler import compiled, rule
from refracmc.production.history import PHASES, History

Array = NDArray[np.float64]
Ratio = tuple[Array, Array, Array]
"""r_now, r_final and x_change, each (n,)."""

RECENT_MONTHS = 12
SLOPE_PRIOR_SD = 0.3  # assumption: a log-log slope beyond +-0.6 is rare
RATIO_CHANGE_LIMIT = 4.0  # assumption: a ratio does not move by more than this factor over the remaining life
MINIMUM_LOG_SD = 0.05
FLOWBACK_MONTHS, LEAST_AFTER = 6, 3
LASTING_LOG_SD = {
    "oil": {"water": 0.6, "gas": 0.15},
    "gas": {"water": 0.5, "oil": 0.2},
}
"""Log sd of the lasting factor by main phase, and the months of flowback: chosen on hindcasts of 1,097 horizontal wells
(benchmarks/ratio_scores.py)."""


@rule
def sum_by_ratio(main: Array, now: float, final: float, change: float, out: Array) -> None:
    """Fill out (K,) with G [bbl or Mcf] at the sums main (K,) of the main phase; ratios as in the text above."""
    turn = now - final
    half = turn / (2.0 * change) if change > 1e-200 else 0.0
    for i in range(main.size):
        y = min(main[i], change)
        out[i] = y * (turn - y * half) + main[i] * final


@compiled
def _fill_sums(x: Array, ratios: Array, out: Array) -> None:
    """Fill out (n, K) from x, (1, K) or (n, K), and r_now, r_final, x_change (3, n)."""
    for i in range(out.shape[0]):
        sum_by_ratio(x[i if x.shape[0] > 1 else 0], ratios[0, i], ratios[1, i], ratios[2, i], out[i])


def ratio_cumulative(x: ArrayLike, r_now: ArrayLike, r_final: ArrayLike, x_change: ArrayLike) -> Array:
    """Secondary cumulative G(x) [bbl or Mcf], (n, K), at main-phase cumulative `x` (n, K) or (K,) >= 0.

    The others are numbers or (n,). Raises ValueError on negative or misshapen input (x_change may be inf).
    """
    volume = np.asarray(x, dtype=np.float64)
    if volume.ndim not in (1, 2):
        raise ValueError(f"the cumulative must have shape (K,) or (n, K), found {volume.shape}")
    if volume.size and not volume.min() >= 0.0:
        raise ValueError("the cumulative counts from the anchor and must be >= 0")
    given = {"r_now": r_now, "r_final": r_final, "x_change": x_change}
    columns = {name: np.asarray(value, dtype=np.float64) for name, value in given.items()}
    for name, column in columns.items():
        infinite = name == "x_change"
        if column.ndim > 1:
            raise ValueError(f"{name} must be a number or (n,), found shape {column.shape}")
        if not np.all((column >= 0.0) & (np.isfinite(column) | infinite)):
            raise ValueError(f"{name} must be >= 0{'' if infinite else ' and finite'}")
    rows = volume.shape[:-1]
    n = np.broadcast_shapes(rows, *(column.shape for column in columns.values()))
    count = n[0] if n else 1
    ratios = np.stack([np.broadcast_to(column, count) for column in columns.values()])
    out = np.empty((count, volume.shape[-1]))
    _fill_sums(np.ascontiguousarray(np.atleast_2d(volume)), ratios, out)
    return out if n else out[0]


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
        if phase == "water":
            ready = _after_flowback(ready)
            late = np.flatnonzero(ready)[-RECENT_MONTHS:]
            after = float(other[late].sum() / main[late].sum())
            now = min(now, after) if after > 0.0 else now
        slope, slope_sd, level_sd = _trend(main, other, ready)
        total = max(history.cumulative[history.main_phase], 1e-9)
        lasting = LASTING_LOG_SD[history.main_phase][phase]
        r_now = now * np.exp(np.hypot(level_sd, lasting) * normals[phase][0] - 0.5 * lasting**2)
        drawn = slope + slope_sd * normals[phase][1]
        reach = drawn * np.log1p(further / total)
        limit = np.log(RATIO_CHANGE_LIMIT)
        out[phase] = (r_now, r_now * np.exp(np.clip(reach, -limit, limit)), x_change)
    return out


def _after_flowback(ready: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The months (M,) without the first FLOWBACK_MONTHS of them, the last LEAST_AFTER kept."""
    places = np.flatnonzero(ready)
    kept = np.zeros_like(ready)
    kept[places[min(FLOWBACK_MONTHS, max(len(places) - LEAST_AFTER, 0)) :]] = True
    return kept


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
