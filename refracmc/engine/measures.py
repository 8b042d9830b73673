"""From a well's trials to the tidy summary: every measure with its error and its share of undefined trials."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from refracmc.sampling import estimators

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
COLUMNS = ("well", "strategy", "measure", "unit", "mean", "se", "p90", "p50", "p10", "undefined_share")


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


def summarise_well(
    well: str,
    main_phase: str,
    strategies: Sequence[str],
    measures: Mapping[str, Array],
    sizes: Sequence[int],
    design: str,
    tail_fraction: float,
) -> pd.DataFrame:
    """Tidy summary of one well; measures maps a name to (S, n) trials, row 0 being `nothing`.

    Percentiles are exceedance percentiles (P90 low, P10 high) over the trials where the measure is defined.
    sizes: trials of each block. `p_loss`, `cvar` and `capital_efficiency` are statistics of all trials and
    have no percentiles.
    """
    unit = units(main_phase)
    frames = []
    inc = measures["incremental_npv"]
    for name in SUMMARY_MEASURES:
        count = inc.shape[0]
        none = (np.full(count, np.nan),) * 3
        if name in ("p_loss", "cvar", "capital_efficiency"):
            if name == "p_loss":
                got = estimators.chance_below(inc, 0.0, sizes, design)
            elif name == "cvar":
                got = estimators.cvar_with_error(inc, tail_fraction, sizes, design)
            else:
                got = estimators.ratio_with_error(inc, measures["discounted_capex"], sizes, design)
            undefined = np.isnan(got.value).astype(float)
            columns: tuple[NDArray[Any], ...] = (got.value, got.se, *none, undefined)
        else:
            source = {"executed_share": "executed", "capped_share": "capped"}.get(name, name)
            stats = estimators.summarise(measures[source], sizes, design)
            columns = tuple(stats[key] for key in ("mean", "se", "p90", "p50", "p10", "undefined_share"))
        mean, se, p90, p50, p10, undefined = columns
        frames.append(
            pd.DataFrame(
                {
                    "well": well,
                    "strategy": list(strategies),
                    "measure": name,
                    "unit": unit[name],
                    "mean": mean,
                    "se": se,
                    "p90": p90,
                    "p50": p50,
                    "p10": p10,
                    "undefined_share": undefined,
                }
            )
        )
    whole = pd.concat(frames, ignore_index=True)
    order = {name: k for k, name in enumerate(strategies)}
    position = whole["strategy"].map(order)
    return (
        whole.assign(_at=position)
        .sort_values("_at", kind="stable")
        .drop(columns="_at")
        .reset_index(drop=True)
    )
