"""The production fan of a well: monthly main-phase volumes of its history, left alone, and with the best refrac."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.decisions import trigger_tables
from refracmc.engine.draws import draw
from refracmc.engine.fan import main_volumes
from refracmc.engine.plan import NOTHING, Strategy, WellPlan
from refracmc.engine.trials import WellResults

Array = NDArray[np.float64]
FAN_BLOCKS = 2
"""Blocks whose trials draw the monthly production fan."""


def _row(plan: WellPlan, branch: str, strategy: str | None, month: str, values: Array) -> dict[str, Any]:
    names = ("mean", "se", "p90", "p50", "p10")
    return {
        "well": plan.id,
        "branch": branch,
        "strategy": strategy,
        "month": month,
        **dict(zip(names, values.tolist(), strict=True)),
        "unit": "bbl/month" if plan.well.main_phase == "oil" else "Mcf/month",
    }


def spread(volumes: Array) -> Array:
    """Mean, its standard error, P90 (low), P50, P10 of each month (T, 5) of volumes (n, T)."""
    months = np.ascontiguousarray(volumes.T)
    low, mid, high = np.quantile(months, [0.1, 0.5, 0.9], axis=1)
    mean = volumes.mean(axis=0)
    n = len(volumes)
    se = volumes.std(axis=0, ddof=1) / np.sqrt(n) if n > 1 else mean * np.nan
    return np.stack([mean, se, low, mid, high], axis=1)


def production_rows(found: WellResults, best: Strategy, index: int) -> list[dict[str, Any]]:
    """Rows of history, `nothing` and the best refrac. index: row of the refrac in the results of the well."""
    plan, measures = found.plan, found.measures
    alone: list[Array] = []
    treated: list[Array] = []
    for block, size in enumerate(found.sizes[:FAN_BLOCKS]):
        draws = draw(plan, block, size)
        at = range(block, block + 1)
        eur = np.stack([measures["eur"].rows(row, row + 1, at)[0] for row in (0, index)])
        executed = measures["executed"].rows(index, index + 1, at)[0]
        volumes = main_volumes if best.trigger is None else trigger_tables.volumes
        left, made = volumes(plan, draws, best, eur, executed)
        alone.append(left)
        treated.append(made)
    start = units.month_number(plan.case.valuation.date)
    rows: list[dict[str, Any]] = []
    history = plan.well.history
    if history is not None:
        for date, volume in zip(history.dates.astype("datetime64[M]"), history.volume(), strict=True):
            if np.isfinite(volume):
                rows.append(
                    _row(plan, "history", None, str(date), np.array([volume, *[np.nan] * 4], dtype=float))
                )
    months = [units.month_text(start + i) for i in range(plan.horizon)]
    for branch, name, parts in (("nothing", NOTHING, alone), ("refrac", best.name, treated)):
        values = spread(np.concatenate(parts))
        rows += [_row(plan, branch, name, month, row) for month, row in zip(months, values, strict=True)]
    return rows
