"""What moved between two runs, well by well, and how much of it is noise.

Where both runs have the same trials a difference is taken trial by trial, and its error is that of the paired
difference: what both have in common falls out. Otherwise the errors of the two add as those of independent samples.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.decisions.compare import ErrorOf
from refracmc.decisions.verdict_rule import VERDICTS
from refracmc.measures import USD_WI
from refracmc.sampling.estimators import PERCENTILES, quantile_contributions

Array = NDArray[np.float64]
Row = dict[str, Any]
NOISE = 2.0
"""A difference of less than so many of its standard errors is within noise."""


@dataclass(frozen=True, eq=False)
class BestRefrac:
    """Trials (n,) of a well, or summed over wells [US$ WI]: NPV left alone; incremental NPV and capital of the best
    refrac."""

    alone: Array
    incremental: Array
    capital: Array

    def __add__(self, other: BestRefrac) -> BestRefrac:
        return BestRefrac(
            self.alone + other.alone, self.incremental + other.incremental, self.capital + other.capital
        )


@dataclass(frozen=True)
class Errors:
    """Errors of the two runs by their designs; paired: whether both have the same trials."""

    before: ErrorOf
    after: ErrorOf
    paired: bool

    def of_difference(self, before: Array, after: Array) -> float:
        """Standard error of the difference of two means, of contributions (n,) of the trials of each run."""
        if self.paired:
            return self.after(after - before)[1]
        return math.hypot(self.before(before)[1], self.after(after)[1])


def _mean(values: Array) -> tuple[float, Array]:
    return float(values.mean()), values


def _percentile(name: str) -> Callable[[BestRefrac], tuple[float, Array]]:
    return lambda of: quantile_contributions(of.incremental, PERCENTILES[name])


MEASURES: Mapping[str, tuple[str, str, Callable[[BestRefrac], tuple[float, Array]]]] = {
    "mean": ("mean of the best refrac", USD_WI, lambda of: _mean(of.incremental)),
    "p90": ("P90 (low)", USD_WI, _percentile("p90")),
    "p50": ("P50", USD_WI, _percentile("p50")),
    "p10": ("P10 (high)", USD_WI, _percentile("p10")),
    "p_loss": ("chance of loss", "1", lambda of: _mean((of.incremental < 0.0).astype(float))),
    "nothing": ("NPV of doing nothing", USD_WI, lambda of: _mean(of.alone)),
    "capital": ("capital", USD_WI, lambda of: _mean(of.capital)),
}
"""Measure -> what it is, its unit, and its value with the contributions of the trials to it."""


def difference_rows(well: str | None, before: BestRefrac, after: BestRefrac, errors: Errors) -> list[Row]:
    """One row a measure; well: None for the sum over wells."""
    rows = []
    for name, (_, unit, value_of) in MEASURES.items():
        (old, old_parts), (new, new_parts) = value_of(before), value_of(after)
        se = errors.of_difference(old_parts, new_parts)
        rows.append(
            {
                "well": well,
                "measure": name,
                "unit": unit,
                "before": old,
                "after": new,
                "difference": new - old,
                "se": se,
                "within_noise": within_noise(new - old, se),
            }
        )
    return rows


def within_noise(difference: float, se: float) -> bool | None:
    """Whether a difference is less than `NOISE` standard errors; None where its error is not known."""
    if difference == 0.0:
        return True
    return None if math.isnan(se) else abs(difference) < NOISE * se


def has_turned(before: str, after: str) -> bool | None:
    """Whether a verdict turned; None where one of the two is none that is known."""
    return before != after if {before, after} <= set(VERDICTS) else None
