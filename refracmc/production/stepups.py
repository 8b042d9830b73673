"""Step-ups: months from which a well produces on a higher level than its own decline explains.

For every month the rate on producing days of the next three producing months is held against the decline of
the twelve before it (Theil-Sen slope of log rate, never rising; Theil 1950, Sen 1968), and judged by the
scatter of that window. A restimulation, a new lift or an opened choke all show as a step; a history cannot
tell them apart, so a step is a proposal: the engineer decides what segment is fitted (segment start in the
case)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refracmc.production.history import SHORT_MONTH_DAYS, History

Array = NDArray[np.float64]

BEFORE = 12  # producing months the decline before is judged on
LEAST_BEFORE = 6
AFTER = 3
APART = 6  # months between two steps
LEAST_RATIO = 2.0  # assumption, chosen on dated jobs: smaller steps are mostly choke and lift changes
LEAST_SCORE = 3.0
SCATTER_FLOOR = 0.08  # log rate; a quieter window is quiet by luck
FLUSH_MONTHS = 2  # a well comes back from a shut-in above its decline; the step must outlast it


@dataclass(frozen=True)
class StepUp:
    """One step: index and month of the history it begins in; ratio: rate after over the decline continued;
    score: log ratio in units of its scatter."""

    index: int
    month: np.datetime64
    ratio: float
    score: float


def find_step_ups(
    history: History, least_ratio: float = LEAST_RATIO, least_score: float = LEAST_SCORE
) -> tuple[StepUp, ...]:
    """Step-ups of a history, oldest first. least_ratio: rate after over expected (ratio); least_score: in
    scatters."""
    volume = history.volume()
    days = history.uptime * history.days_in_month
    good = np.flatnonzero((np.nan_to_num(volume) > 0) & (np.nan_to_num(days) >= SHORT_MONTH_DAYS))
    if len(good) < LEAST_BEFORE + AFTER:
        return ()
    y = np.log(volume[good] / days[good])
    peak = int(np.argmax(np.convolve(y[: LEAST_BEFORE + AFTER], np.ones(AFTER) / AFTER, "valid")))
    found: list[StepUp] = []
    level = np.median(np.lib.stride_tricks.sliding_window_view(y, AFTER), axis=1)
    rise = (
        level[AFTER:] - level[:-AFTER]
    )  # of the three months from k on over the three before: no step is larger
    for k in range(peak + LEAST_BEFORE, len(good) - AFTER + 1):
        if not rise[k - AFTER] >= np.log(least_ratio) - 1e-9:
            continue
        first = max(peak, k - BEFORE)
        ratio, score = _step(good[first:k].astype(np.float64), y[first:k], good[k : k + AFTER], y, k)
        if ratio >= least_ratio and score >= least_score:
            found.append(StepUp(int(good[k]), history.dates[good[k]], ratio, score))
    return _strongest(found)


def falling_trend(t: Array, y: Array) -> tuple[float, float]:
    """Slope per month and level at month 0 of log rates y at months t (K,): medians, never rising."""
    i, j = np.triu_indices(len(t), 1)
    slope = min(float(np.median((y[j] - y[i]) / (t[j] - t[i]))), 0.0)
    return slope, float(np.median(y - slope * t))


def _step(t: Array, y: Array, after: NDArray[np.int64], whole: Array, k: int) -> tuple[float, float]:
    """Ratio and score of the step at observation k against the window (t, y) before it."""
    slope, level = falling_trend(t, y)
    left = y - level - slope * t
    scatter = max(1.4826 * float(np.median(np.abs(left - np.median(left)))), SCATTER_FLOOR)
    recent = max(level + slope * float(after[0] - 1), float(np.median(y[-AFTER:])))
    gain = whole[k : k + AFTER] - recent
    settled = float(np.median(gain))
    lasting = float(min(settled, np.median(whole[k + 1 : k + 1 + AFTER + FLUSH_MONTHS]) - recent))
    return float(np.exp(lasting)), lasting / (scatter * float(np.sqrt(1.0 / AFTER + 1.0 / len(t)) + 0.5))


def _strongest(found: list[StepUp]) -> tuple[StepUp, ...]:
    """Of steps within APART months of each other the one of the largest ratio."""
    kept: list[StepUp] = []
    for step in sorted(found, key=lambda s: (-s.ratio, s.index)):
        if all(abs(step.index - other.index) >= APART for other in kept):
            kept.append(step)
    return tuple(sorted(kept, key=lambda s: s.index))


def propose_segment(history: History) -> np.datetime64 | None:
    """Month the fit should start at: that of the last step-up, or None (the peak) where there is none."""
    steps = find_step_ups(history)
    return steps[-1].month if steps else None
