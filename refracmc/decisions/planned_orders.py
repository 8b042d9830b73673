"""The plan of each order and isolation method as rows: shifts, travel, what is pumped below open sleeves, steps."""

from __future__ import annotations

from typing import Any

import numpy as np

from refracmc.engine.draws import draw
from refracmc.engine.one_trial import planned_log
from refracmc.engine.plan import WellPlan
from refracmc.job.machine import KINDS
from refracmc.sampling.streams import blocks_of

Rows = list[dict[str, Any]]


def order_rows(plan: WellPlan) -> Rows:
    """The plan of each order and isolation method: sleeves as treated, shifts, travel [ft], days, sleeves that stand
    open or leak above stages, and steps [h]."""
    first = draw(plan, 0, blocks_of(plan.case.sampling.trials)[0])
    rows = []
    for name in (*plan.orders, *plan.methods):
        log = planned_log(plan, first, name)
        if name in plan.methods:
            method = plan.methods[name].method
            sleeves, shifts, feet = method.sleeves, dict.fromkeys(KINDS, 0), 2.0 * method.bottom_ft
            stages = method.stages or len(sleeves)
            exposed: dict[str, int] = {}
        else:
            made = plan.orders[name].job
            sleeves, shifts, feet = made.order, made.shift_counts(), float(made.travel_ft)
            stages = len(sleeves)
            exposed = {str(k + 1): int(made.exposed[k]) for k in np.flatnonzero(made.exposed)}
        steps = [
            {
                "step": row.step,
                "action": row.action,
                "sleeve": row.sleeve,
                "depth_ft": row.depth_ft,
                "hours": row.hours,
                "start_hour": row.start_hour,
            }
            for row in log
        ]
        rows.append(
            {
                "order": name,
                "sleeves": list(sleeves),
                "stages": stages,
                "shifts": shifts,
                "travel_ft": feet,
                "exposed_stages": exposed,
                "planned_days": float(sum(row.hours for row in log)) / 24.0,
                "steps": steps,
            }
        )
    return rows


def step_rows(plan: WellPlan, orders: Rows) -> Rows:
    """Planned steps of every order for a table, hours and cumulative hours [h]."""
    return [
        {
            "well": plan.id,
            "order": order["order"],
            **{key: step[key] for key in ("step", "action", "sleeve", "depth_ft", "start_hour", "hours")},
            "cumulative_hours": step["start_hour"] + step["hours"],
        }
        for order in orders
        for step in order["steps"]
    ]
