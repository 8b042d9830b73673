"""What a history shows that a fit passes over: old data, a well idle at its end, a water slug, step-ups in the segment.

Nothing here changes a number. A sign is shown to the engineer, who knows what happened.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from refracmc.production.history import History, clean
from refracmc.production.stepups import StepUp, find_step_ups
from refracmc.production.uptime import months_shut

STALE_MONTHS = 3
"""Months without data before the valuation that are nothing unusual: reports come late (assumption)."""
SLUG_MONTHS = 3
YEAR_MONTHS = 12
SLUG_FACTOR = 2.0
"""Rise of the water ratio that is told (assumption)."""


@dataclass(frozen=True)
class HistorySigns:
    """first, last, segment: first and last month, and the first one fitted; gap: months from the last one to the
    valuation; idle: declared zero months at the end; silent: months at the end that were not declared; water_factor:
    water per main phase of the last 3 producing months over that of the 9 before, None where it is not known; steps:
    step-ups after the first month fitted."""

    first: np.datetime64
    last: np.datetime64
    segment: np.datetime64
    gap: int
    idle: int
    silent: int
    water_factor: float | None
    steps: tuple[StepUp, ...]


def history_signs(history: History, valuation: np.datetime64) -> HistorySigns:
    """Signs of a history; valuation: month (datetime64[M]) of the valuation. Counts are of months."""
    volume = history.volume()
    known = np.flatnonzero(np.isfinite(volume))
    segment = clean(history).segment
    producing = bool((np.nan_to_num(volume) > 0).any())
    return HistorySigns(
        first=history.dates[0],
        last=history.dates[-1],
        segment=history.dates[segment],
        gap=int((valuation - history.dates[-1]).astype(int)) - 1,
        idle=months_shut(volume) if producing else len(known),
        silent=len(volume) - 1 - int(known[-1]) if len(known) else len(volume),
        water_factor=_water_factor(history),
        steps=tuple(step for step in find_step_ups(history) if step.index > segment),
    )


def _water_factor(history: History) -> float | None:
    """Rise of the water ratio over the last months of the year that the forecast starts from."""
    main, water = history.volume(), history.water
    year = np.flatnonzero(np.isfinite(water) & (np.nan_to_num(main) > 0))[-YEAR_MONTHS:]
    if len(year) < YEAR_MONTHS:
        return None
    before, last = year[:-SLUG_MONTHS], year[-SLUG_MONTHS:]
    usual = water[before].sum() / main[before].sum()
    return float(water[last].sum() / main[last].sum() / usual) if usual > 0 else None
