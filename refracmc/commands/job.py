"""The coiled-tubing job per strategy: planned steps, days and cost, without valuing it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from refracmc.case.load import load_case
from refracmc.commands.trace import plan_of, well_of
from refracmc.engine.draws import draw
from refracmc.engine.evaluate import planned_log, service_index, simulate_jobs
from refracmc.engine.plan import WellPlan, blocks_of
from refracmc.errors import Fault, InputError
from refracmc.job.machine import KINDS
from refracmc.sampling.estimators import summarise

CAUTION = (
    "Screening, not a job design: pressure, coiled-tubing work and well control defer to local codes, the "
    "operator's procedures and licensed engineers."
)
COUNTS = (
    "close_failed",
    "open_failed",
    "reclose_failed",
    "reopen_failed",
    "tries",
    "trips",
    "screenouts",
    "treated",
)


@dataclass(frozen=True)
class JobReport:
    """Jobs of a case as plain data (`content` has the keys the README tabulates) and the wells refused."""

    content: dict[str, Any]
    refused: dict[str, tuple[Fault, ...]]

    def json(self) -> str:
        """The report as JSON."""
        return json.dumps(self.content, indent=2, allow_nan=False)

    def text(self) -> str:
        """The report for a reader: plan of each order, then days and cost of each strategy."""
        lines: list[str] = []
        for well in self.content["wells"]:
            lines += [f"{well['well']}: {well['sleeves']} sleeves"]
            for order in well["orders"]:
                counts = ", ".join(f"{order['shifts'][kind]} {kind}" for kind in order["shifts"])
                lines += [
                    "",
                    f"  {order['order']}: {order['stages']} stages, {counts} shifts, "
                    f"{order['travel_ft']:,.0f} ft of travel, {order['planned_days']:.1f} days if all works",
                    f"    {'step':>4} {'action':<12}{'sleeve':>7}{'depth ft':>10}{'hours':>8}",
                ]
                for row in order["steps"]:
                    sleeve = "" if row["sleeve"] is None else row["sleeve"]
                    lines.append(
                        f"    {row['step']:>4} {row['action']:<12}{sleeve:>7}{row['depth_ft']:>10,.0f}"
                        f"{row['hours']:>8.2f}"
                    )
            head = ("days P90/P50/P10", "cost US$ million P90/P50/P10", "stages effective")
            lines += ["", f"  {'strategy':<34}{head[0]:>22}{head[1]:>32}{head[2]:>18}"]
            for row in well["strategies"]:
                days, cost = row["days"], row["cost_usd"]
                lines.append(
                    f"  {row['strategy']:<34}"
                    + f"{days['p90']:.1f} / {days['p50']:.1f} / {days['p10']:.1f}".rjust(22)
                    + f"{cost['p90'] / 1e6:.2f} / {cost['p50'] / 1e6:.2f} / {cost['p10'] / 1e6:.2f}".rjust(32)
                    + f"{row['stages_effective_fraction']['mean']:.1%}".rjust(18)
                )
            lines.append("")
        lines += ["P90 is the low and P10 the high percentile (exceedance). " + CAUTION]
        return "\n".join(lines)


def _statistics(values: Any, sizes: list[int], design: str) -> dict[str, float | None]:
    found = summarise(np.asarray(values, dtype=float)[None, :], sizes, design)
    keys = ("mean", "se", "p90", "p50", "p10")
    got = {key: float(found[key][0]) for key in keys}
    return {key: (None if np.isnan(value) else value) for key, value in got.items()}


def _well_jobs(plan: WellPlan) -> dict[str, Any]:
    sizes, design = blocks_of(plan.case.sampling.trials), plan.case.sampling.design
    columns: dict[str, dict[str, list[Any]]] = {s.name: {} for s in plan.dated}
    parts: dict[str, dict[str, list[Any]]] = {s.name: {} for s in plan.dated}
    for block, size in enumerate(sizes):
        draws = draw(plan, block, size)
        index = service_index(plan, draws)
        for strategy, job, cost, by_part in simulate_jobs(plan, draws, plan.dated):
            factor = index[strategy.month]
            column = columns[strategy.name]
            made = {
                "days": job.days,
                "cost_usd": cost * factor,
                "stages_effective_fraction": job.stages_effective_share,
                "called_off": job.called_off,
                "well_lost": job.lost,
                **{name: job.counts[name] for name in COUNTS},
            }
            for name, values in made.items():
                column.setdefault(name, []).append(values)
            for name, values in by_part.items():
                parts[strategy.name].setdefault(name, []).append(values * factor)
    strategies = []
    for strategy in plan.dated:
        joined = {name: np.concatenate(values) for name, values in columns[strategy.name].items()}
        stated = ("days", "cost_usd", "stages_effective_fraction")
        strategies.append(
            {
                "strategy": strategy.name,
                "order": strategy.order,
                "date": strategy.date,
                **{name: _statistics(joined[name], sizes, design) for name in stated},
                "called_off_fraction": float(joined["called_off"].mean()),
                "well_lost_fraction": float(joined["well_lost"].mean()),
                "mean_counts": {name: float(joined[name].mean()) for name in COUNTS},
                "mean_cost_parts_usd": {
                    name: float(np.concatenate(values).mean())
                    for name, values in parts[strategy.name].items()
                },
            }
        )
    first = draw(plan, 0, sizes[0])
    orders = []
    for name in (*plan.orders, *plan.methods):
        rows = planned_log(plan, first, name)
        if name in plan.methods:
            method = plan.methods[name].method
            sleeves, shifts, feet = method.sleeves, dict.fromkeys(KINDS, 0), 2.0 * method.bottom_ft
            stages = method.stages or len(sleeves)
        else:
            job_plan = plan.orders[name].job
            sleeves, shifts, feet = job_plan.order, job_plan.shift_counts(), float(job_plan.travel_ft)
            stages = len(sleeves)
        steps = [
            {
                "step": row.step,
                "action": row.action,
                "sleeve": row.sleeve,
                "depth_ft": row.depth_ft,
                "hours": row.hours,
                "start_hour": row.start_hour,
            }
            for row in rows
        ]
        orders.append(
            {
                "order": name,
                "sleeves": list(sleeves),
                "stages": stages,
                "shifts": shifts,
                "travel_ft": feet,
                "planned_days": float(sum(row.hours for row in rows)) / 24.0,
                "steps": steps,
            }
        )
    return {
        "well": plan.id,
        "sleeves": plan.well.tally.count,
        "close_policy": plan.well.settings.strategies.close_policy,
        "reclose_habit": plan.well.settings.strategies.reclose_habit,
        "orders": orders,
        "strategies": strategies,
    }


def plan_job(
    path: str | Path, *, trials: int | None = None, seed: int | None = None, well: str | None = None
) -> JobReport:
    """Plan and simulate the job of every strategy, without its value.

    well: one well only. Raises InputError where the case, or every well asked for, is refused.
    """
    case = load_case(path).with_sampling(trials, seed)
    refused = dict(case.refused) if well is None else {}
    wells = []
    names = [w.id for w in case.wells] if well is None else [well]
    for name in names:
        if well is not None:
            well_of(case, name)
        try:
            wells.append(_well_jobs(plan_of(case, name)))
        except InputError as error:
            if len(names) == 1:
                raise
            refused[name] = error.faults
    if not wells:
        raise InputError([fault for faults in refused.values() for fault in faults])
    content = {
        "case": case.name,
        "trials": case.sampling.trials,
        "seed": case.sampling.seed,
        "percentiles": "exceedance: P90 low, P10 high",
        "caution": CAUTION,
        "wells": wells,
    }
    return JobReport(content, refused)
