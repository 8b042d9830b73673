"""The production fan of a well: monthly main-phase volumes of its history, left alone, and with the best refrac."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.well_strategies import NOTHING, Strategy
from refracmc.engine.trials import WellResults
from refracmc.sampling.order_statistics import quantiles

Array = NDArray[np.float64]
NUMBERS = ("mean", "se", "p90", "p50", "p10")


def spread(volumes: Array) -> Array:
    """Mean, its standard error, P90 (low), P50, P10 of each month (5, T) of volumes (n, T)."""
    n = len(volumes)
    mean = volumes.mean(axis=0)
    se = volumes.std(axis=0, ddof=1) / np.sqrt(n) if n > 1 else mean * np.nan
    return np.stack([mean, se, *quantiles(volumes.T, np.array([0.1, 0.5, 0.9])).T])


def year_starts(first_month: str, horizon: int) -> NDArray[np.intp]:
    """Months of the horizon in which a calendar year begins, the first month among them."""
    years = (units.month_number(first_month) + np.arange(horizon)) // 12
    return np.flatnonzero(np.diff(years, prepend=-1))


def production_columns(found: WellResults, volumes: Array, best: Strategy) -> dict[str, list[Any]]:
    """Columns of history, `nothing` and the best refrac; volumes (2, n, T): main phase of the well left alone and with
    the refrac."""
    plan = found.plan
    start, horizon = units.month_number(plan.case.valuation.date), plan.horizon
    dates: list[str] = []
    past: list[float] = []
    history = plan.well.history
    if history is not None:
        known = np.isfinite(history.volume())
        dates = [str(date) for date in history.dates.astype("datetime64[M]")[known]]
        past = history.volume()[known].tolist()
    fans = [spread(branch).tolist() for branch in volumes]
    months = [units.month_text(start + i) for i in range(horizon)]
    count = len(past) + 2 * horizon
    columns: dict[str, list[Any]] = {
        "well": [plan.id] * count,
        "branch": ["history"] * len(past) + ["nothing"] * horizon + ["refrac"] * horizon,
        "strategy": [None] * len(past) + [NOTHING] * horizon + [best.name] * horizon,
        "month": dates + months + months,
        "unit": ["bbl/month" if plan.well.main_phase == "oil" else "Mcf/month"] * count,
    }
    for k, name in enumerate(NUMBERS):
        before = past if name == "mean" else [np.nan] * len(past)
        columns[name] = before + fans[0][k] + fans[1][k]
    return columns
