"""From a well's trials to its summary: every measure of every strategy, summed up as its record says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from refracmc.measures import (
    CHANCE_BELOW_ZERO,
    RATIO,
    SHARE_OPEN,
    SHARE_REACHED,
    SUMMARY,
    SUMMARY_MEASURES,
    TAIL_MEAN,
    Measure,
    units,
)
from refracmc.sampling import estimators

from .plan import WellOutline
from .trials import HELD_BYTES, StoredRows

Array = NDArray[np.float64]
STATISTICS = ("mean", "se", "p90", "p90_se", "p50", "p50_se", "p10", "p10_se", "undefined_share")
PERCENTS = np.arange(1, 100)
"""Shares of trials above the values of the percentile table [%]."""
PERCENTS_OF = ("npv", "incremental_npv")
"""Measures that the percentile table has."""
_TOGETHER = 1 << 17
"""Values worked on together: a megabyte, for a processor's cache."""


class WellSummary(NamedTuple):
    """Strategies by number, 0 is `nothing`: statistics (S, SUMMARY_MEASURES, STATISTICS); of each of PERCENTS_OF the
    values (S, PERCENTS) exceeded by that share of the trials."""

    statistics: Array
    percentiles: dict[str, Array]

    def of(self, measure: str) -> Array:
        """Statistics (S, STATISTICS) of a measure."""
        found: Array = self.statistics[:, SUMMARY_MEASURES.index(measure)]
        return found


def summarise_well(
    measures: Mapping[str, StoredRows], sizes: Sequence[int], design: str, tail_fraction: float
) -> WellSummary:
    """Summary of the trials of a well, read a few strategies at a time; sizes: trials of each block.

    Percentiles are exceedance percentiles (P90 low, P10 high) over the trials that count. Chances, tail means and
    ratios are statistics of all trials and have no percentiles.
    """
    trials, count = sum(sizes), len(measures["npv"])
    made = np.full((count, len(SUMMARY), len(STATISTICS)), np.nan)
    percentiles = {name: np.empty((count, PERCENTS.size)) for name in PERCENTS_OF}
    step, few = max(1, HELD_BYTES // (8 * trials)), max(1, _TOGETHER // trials)
    for first in range(0, count, step):
        end = min(first + step, count)
        for column, its in _BY_COLUMN.items():
            values = measures[column].rows(first, end)
            for k, measure in its:
                over = measures[measure.over].rows(first, end) if measure.over else values
                counts = measures[measure.given].rows(first, end) > 0.0 if measure.given else None
                for at in range(0, end - first, few):
                    some, rows = slice(at, at + few), slice(first + at, min(first + at + few, end))
                    if measure.name in PERCENTS_OF:
                        found = estimators.summarise(values[some], sizes, design, 1.0 - PERCENTS / 100.0)
                        percentiles[measure.name][rows] = found["more"]
                        made[rows, k] = _in_order(found)
                    else:
                        its_own, its_base = values[some], over[some]
                        if counts is not None:
                            made[rows, k] = _of_those_that_count(
                                measure, its_own, counts[some], sizes, design
                            )
                        else:
                            made[rows, k] = _statistics(
                                measure, its_own, its_base, sizes, design, tail_fraction
                            )
    return WellSummary(made, percentiles)


_BY_COLUMN = {
    column: [(k, measure) for k, measure in enumerate(SUMMARY) if measure.column == column]
    for column in dict.fromkeys(measure.column for measure in SUMMARY)
}
"""Measures of the summary, with their places in it, by the column that they are made of."""


def _in_order(found: Mapping[str, Array]) -> Array:
    return np.stack([found[name] for name in STATISTICS], axis=-1)


def _statistics(
    measure: Measure, values: Array, over: Array, sizes: Sequence[int], design: str, tail_fraction: float
) -> Array:
    """STATISTICS (S, 9) of one measure from rows (S, n) of its column and of the one it is divided by."""
    if measure.summed == CHANCE_BELOW_ZERO:
        got = estimators.chance_below(values, 0.0, sizes, design)
    elif measure.summed == TAIL_MEAN:
        got = estimators.cvar_with_error(values, tail_fraction, sizes, design)
    elif measure.summed == RATIO:
        got = estimators.ratio_with_error(values, over, sizes, design)
    else:
        return _in_order(estimators.summarise(values, sizes, design))
    return _without_percentiles(got, np.isnan(got.value))


def _without_percentiles(got: estimators.Estimate, undefined: Array) -> Array:
    """STATISTICS (S, 9) of what has a value and an error, but no percentiles."""
    none = np.full_like(got.value, np.nan)
    return np.stack([got.value, got.se, *[none] * 6, undefined], axis=-1)


def _of_those_that_count(
    measure: Measure, values: Array, counts: NDArray[np.bool_], sizes: Sequence[int], design: str
) -> Array:
    """STATISTICS (S, 9) of a measure from rows (S, n) of its column and of the trials that count."""
    none = np.full(len(values), np.nan)
    if measure.summed in (SHARE_REACHED, SHARE_OPEN):
        found = np.isfinite(values) if measure.summed == SHARE_REACHED else np.isnan(values)
        got = estimators.mean_with_error(np.where(counts, found, np.nan), sizes, design)
        return _without_percentiles(got, got.undefined_share)
    given = np.where(counts, values, np.nan)
    if not measure.no_mean:
        return _in_order(estimators.summarise(given, sizes, design))
    percentiles = estimators.ranked_percentiles(given)
    open_ranks = counts & np.isnan(values)
    if open_ranks.any():  # at the bottom and at the top of the others
        bottom, top = (
            estimators.ranked_percentiles(np.where(open_ranks, end, given)) for end in (-np.inf, np.inf)
        )
        percentiles = {name: np.where(low == top[name], low, np.nan) for name, low in bottom.items()}
    errors = _errors_of_ranked(percentiles, given, sizes, design)
    undefined = np.isnan(given).mean(axis=-1)
    return _in_order({"mean": none, "se": none, **percentiles, **errors, "undefined_share": undefined})


_BEYOND = 1e100
"""Stands for infinity where errors are taken: a percentile whose neighbours lie there has none that is known."""


def _errors_of_ranked(
    percentiles: Mapping[str, Array], values: Array, sizes: Sequence[int], design: str
) -> dict[str, Array]:
    """Standard errors (S,) of percentiles of values (S, n), some of which are infinite; NaN where one is not known."""
    bounded = np.clip(values, -_BEYOND, _BEYOND)
    found = estimators.summarise(bounded, sizes, design)
    errors = {f"{name}_se": (at, found[f"{name}_se"]) for name, at in percentiles.items()}
    return {
        name: np.where(np.isfinite(at) & (se < 1e-3 * _BEYOND), se, np.nan)
        for name, (at, se) in errors.items()
    }


def summary_columns(plan: WellOutline, summary: WellSummary) -> dict[str, Any]:
    """The tidy summary of a well, strategy by strategy, as columns."""
    count, unit = len(SUMMARY), units(plan.well.main_phase)
    return {
        "well": [plan.id] * (len(plan.names) * count),
        "strategy": np.repeat(np.array(plan.names, dtype=object), count),
        "measure": np.tile(np.array(SUMMARY_MEASURES, dtype=object), len(plan.names)),
        "unit": np.tile(np.array([unit[name] for name in SUMMARY_MEASURES], dtype=object), len(plan.names)),
        **dict(zip(STATISTICS, summary.statistics.reshape(-1, len(STATISTICS)).T, strict=True)),
    }
