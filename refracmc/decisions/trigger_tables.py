"""Strategies whose date a trigger sets, for the tables of a report: months and values."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.decisions import compare
from refracmc.engine.block_model import model_block
from refracmc.engine.draws import draw
from refracmc.engine.plan import WellPlan
from refracmc.engine.trials import Rows
from refracmc.engine.triggers import trigger_months

Array = NDArray[np.float64]
Months = NDArray[np.intp]


def months_of(plan: WellPlan, sizes: list[int], executed: Rows) -> dict[str, Months]:
    """Month (n,) of the job of each triggered strategy, from the valuation month; -1 where none is carried out.

    executed, S rows (n,): 1 where the job is carried out, row 0 `nothing`. Empty without triggers.
    """
    chosen = [(1 + k, s) for k, s in enumerate(plan.strategies) if s.trigger is not None]
    if not chosen:
        return {}
    by_trigger: dict[str, list[Months]] = {}
    for block, size in enumerate(sizes):
        model = model_block(plan, draw(plan, block, size))
        for trigger in {s.trigger.name: s.trigger for _, s in chosen if s.trigger is not None}.values():
            by_trigger.setdefault(trigger.name, []).append(trigger_months(model, trigger))
    whole = {name: np.concatenate(parts) for name, parts in by_trigger.items()}
    return {
        s.name: np.where(executed[k] > 0.0, whole[s.trigger.name], -1)
        for k, s in chosen
        if s.trigger is not None
    }


def value_rows(results: compare.Results, error_of: compare.ErrorOf) -> list[dict[str, Any]]:
    """One row per triggered strategy: value, paired gap to the best fixed date of the same order, and when."""
    inc = results.measures["incremental_npv"]
    worths = results.worths
    rows = []
    for s in results.triggered:
        same = [k for k in results.fixed if results.orders[k] == results.orders[s]]
        other = max(same, key=lambda k: worths[k])
        row: dict[str, Any] = {
            "well": results.well,
            "strategy": results.names[s],
            "order": results.orders[s],
            "trigger": results.trigger(s),
        }
        row["mean_usd"], row["se_usd"] = error_of(inc[s])
        row |= results.exceedance(s)
        row["p_loss"], row["p_loss_se"] = error_of((inc[s] < 0.0).astype(float))
        row["against"] = results.names[other]
        row["gap_usd"], row["gap_se_usd"] = error_of(inc[s] - inc[other])
        row["executed_share"] = float(results.measures["executed"][s].mean())
        rows.append(row | results.when(s))
    return rows


def month_rows(results: compare.Results) -> list[dict[str, Any]]:
    """Share of all trials whose job is carried out in each month, by triggered strategy."""
    rows = []
    for s in results.triggered:
        months = results.months[results.names[s]]
        found, counts = np.unique(months[months >= 0], return_counts=True)
        rows += [
            {
                "well": results.well,
                "strategy": results.names[s],
                "month": units.month_text(results.start + int(month)),
                "share": float(count) / months.size,
            }
            for month, count in zip(found, counts, strict=True)
        ]
    return rows
