"""From a well's trials to the tidy summary: every measure with its error and its share of undefined trials."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from refracmc.measures import CHANCE_BELOW_ZERO, DISTRIBUTION, RATIO, SHARE, SUMMARY, SUMMARY_MEASURES, units
from refracmc.sampling import estimators

from .trials import HELD_BYTES, StoredRows

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]

STATISTICS = ("mean", "se", "p90", "p50", "p10", "undefined_share")
_SHARED = {name for name, uses in Counter(measure.column for measure in SUMMARY).items() if uses > 1}


def statistics(
    measures: Mapping[str, StoredRows],
    start: int,
    stop: int,
    sizes: Sequence[int],
    design: str,
    tail_fraction: float,
) -> Array:
    """(strategies, SUMMARY_MEASURES, STATISTICS) of the strategies start .. stop - 1 of a well; 0 is `nothing`.

    Percentiles are exceedance percentiles (P90 low, P10 high) over the trials where the measure is defined.
    sizes: trials of each block. `p_loss`, `cvar` and `capital_efficiency` are statistics of all trials and
    have no percentiles.
    """
    made = np.full((stop - start, len(SUMMARY), len(STATISTICS)), np.nan)
    step = max(1, HELD_BYTES // (8 * sum(sizes)))
    for at in range(start, stop, step):
        rows = slice(at - start, min(at + step, stop) - start)
        held: dict[str, Array] = {}
        for k, measure in enumerate(SUMMARY):
            values = held.get(measure.column)
            if values is None:
                values = measures[measure.column].rows(at, min(at + step, stop))
            if measure.column in _SHARED:
                held[measure.column] = values
            if measure.summed in (DISTRIBUTION, SHARE):
                found = estimators.summarise(values, sizes, design)
                made[rows, k] = np.stack([found[key] for key in STATISTICS], axis=-1)
                continue
            if measure.summed == CHANCE_BELOW_ZERO:
                got = estimators.chance_below(values, 0.0, sizes, design)
            elif measure.summed == RATIO:
                over = measures[measure.over].rows(at, min(at + step, stop))
                got = estimators.ratio_with_error(values, over, sizes, design)
            else:
                got = estimators.cvar_with_error(values, tail_fraction, sizes, design)
            made[rows, k, 0], made[rows, k, 1] = got.value, got.se
            made[rows, k, -1] = np.isnan(got.value)
    return made


def summary_table(well: str, main_phase: str, strategies: Sequence[str], found: Array) -> pd.DataFrame:
    """Tidy summary of one well from its `statistics`, strategy by strategy."""
    import pandas as pd

    count = len(SUMMARY_MEASURES)
    unit = units(main_phase)
    columns: dict[str, Any] = {
        "well": [well] * (len(strategies) * count),
        "strategy": np.repeat(np.array(strategies, dtype=object), count),
        "measure": np.tile(np.array(SUMMARY_MEASURES, dtype=object), len(strategies)),
        "unit": np.tile(np.array([unit[name] for name in SUMMARY_MEASURES], dtype=object), len(strategies)),
    }
    columns |= dict(zip(STATISTICS, found.reshape(-1, len(STATISTICS)).T, strict=True))
    return pd.DataFrame(columns)
