"""From a well's trials to the tidy summary: every measure with its error and its share of undefined trials."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from refracmc.sampling import estimators

from .trials import HELD_BYTES, StoredMeasure

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]

SUMMARY_MEASURES = (
    "npv",
    "incremental_npv",
    "irr",
    "payout_months",
    "eur",
    "incremental_eur",
    "capital_efficiency",
    "p_loss",
    "cvar",
    "breakeven_price",
    "job_days",
    "job_cost",
    "capex",
    "effective_share",
    "executed_share",
    "capped_share",
)
STATISTICS = ("mean", "se", "p90", "p50", "p10", "undefined_share")


def units(main_phase: str) -> dict[str, str]:
    """Unit of every summary measure for a well of this main phase."""
    volume = "bbl" if main_phase == "oil" else "Mcf"
    return {
        "npv": "US$",
        "incremental_npv": "US$",
        "irr": "1/year",
        "payout_months": "months",
        "eur": volume,
        "incremental_eur": volume,
        "capital_efficiency": "US$/US$",
        "p_loss": "fraction",
        "cvar": "US$",
        "breakeven_price": f"US$/{volume}",
        "job_days": "days",
        "job_cost": "US$",
        "capex": "US$",
        "effective_share": "fraction",
        "executed_share": "fraction",
        "capped_share": "fraction",
    }


def statistics(
    measures: Mapping[str, StoredMeasure],
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
    made = np.full((stop - start, len(SUMMARY_MEASURES), len(STATISTICS)), np.nan)
    of_all = {"capital_efficiency", "p_loss", "cvar"}
    step = max(1, HELD_BYTES // (8 * sum(sizes)))
    for at in range(start, stop, step):
        rows = slice(at - start, min(at + step, stop) - start)
        inc = measures["incremental_npv"].rows(at, min(at + step, stop))
        for k, name in enumerate(SUMMARY_MEASURES):
            if name not in of_all:
                source = {"executed_share": "executed", "capped_share": "capped"}.get(name, name)
                values = inc if name == "incremental_npv" else measures[source].rows(at, min(at + step, stop))
                found = estimators.summarise(values, sizes, design)
                made[rows, k] = np.stack([found[key] for key in STATISTICS], axis=-1)
                continue
            if name == "p_loss":
                got = estimators.chance_below(inc, 0.0, sizes, design)
            elif name == "cvar":
                got = estimators.cvar_with_error(inc, tail_fraction, sizes, design)
            else:
                spent = measures["discounted_capex"].rows(at, min(at + step, stop))
                got = estimators.ratio_with_error(inc, spent, sizes, design)
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
