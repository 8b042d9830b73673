"""The tables of a report for one well: from the trials on disk, and the few model runs that need more.

Everything is built well by well so that wells may be done side by side.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.fixed_inputs import PlainInput, plain_inputs
from refracmc.case.uncertain_inputs import inputs_of
from refracmc.case.validated_case import Case
from refracmc.decisions import compare, drivers, trigger_tables
from refracmc.decisions.job_report import dated, timeline_rows, typical_row
from refracmc.decisions.job_tables import job_tables
from refracmc.decisions.production import production_columns
from refracmc.engine.blocks import read_results
from refracmc.engine.draws import GROUPS, draw, group_names
from refracmc.engine.driver_samples import evaluate_samples
from refracmc.engine.plan import NOTHING, Strategy, WellOutline, WellPlan
from refracmc.engine.trials import RECOVERY, WellResults, input_names
from refracmc.job.cost import COST_PARTS
from refracmc.production.history import clean
from refracmc.sampling.estimators import mean_with_error
from refracmc.sampling.streams import BLOCK_SIZE

Array = NDArray[np.float64]
DRIVER_BLOCKS = 2
"""Blocks of each of the two sets of draws behind the variance shares."""
FAN_BLOCKS = 2
"""Blocks whose trials draw the monthly production fan."""
SET_A, SET_B = 2**30, 2**30 + 2**20
"""First blocks of the two independent sets of draws behind the variance shares; apart from those of any run."""


@dataclass(frozen=True, eq=False)
class WellTables:
    """Rows of one well for every table of the report but the summary and the drivers, by table key; the two best
    refracs, the second one absent where there is only one."""

    well: str
    tables: dict[str, list[dict[str, Any]] | dict[str, Any] | pd.DataFrame]
    best: Strategy
    second: Strategy | None


def results_of(found: WellResults) -> compare.Results:
    """The trials of a well as the comparison reads them."""
    plan = found.plan
    return compare.Results(
        plan.id,
        plan.names,
        (NOTHING, *(s.order for s in plan.strategies)),
        ("", *(s.date for s in plan.strategies)),
        found.measures,
        trigger_tables.months_of(plan, found.sizes, found.measures["executed"]),
        units.month_number(plan.case.valuation.date),
    )


def gather_well(plan: WellPlan, folder: Path, sizes: list[int]) -> WellTables:
    """All rows of one well."""
    found = read_results(plan, folder, sizes)
    results = results_of(found)
    design = plan.case.sampling.design

    def error_of(values: Array) -> tuple[float, float]:
        got = mean_with_error(values, sizes, design)
        return float(got.value), float(got.se)

    best = plan.strategies[results.best - 1]
    second = plan.strategies[results.runner_up - 1] if results.runner_up is not None else None
    shifts = {name: made.job.shifts for name, made in plan.orders.items()} | dict.fromkeys(plan.methods, 0)
    row = typical_row(_days_of_jobs(found, results.best), sizes[0])
    drawn = [draw(plan, block, size) for block, size in enumerate(sizes[:FAN_BLOCKS])]
    tables: dict[str, Any] = {
        "decision": [compare.decision(results, error_of, plan.case.valuation.cvar_tail_fraction)],
        "timing": compare.timing(results, error_of),
        "triggers": trigger_tables.value_rows(results, error_of),
        "trigger_months": trigger_tables.month_rows(results),
        "orders": compare.orders_at_best_date(results, error_of, shifts),
        "distribution": compare.distribution(results),
        "cost": _cost_rows(found, results.best),
        "production": production_columns(found, drawn, best),
        "timeline": timeline_rows(plan, drawn[0], best, row),
        "tornado": _tornado(found, best, results.measures["incremental_npv"][results.best]),
        "cleaning": _cleaning(plan),
    }
    knowing, at_date = plan, best
    if row is not None:
        knowing, _, at_date = dated(plan, drawn[0], best, row)
    tables |= job_tables(knowing, drawn[0], at_date, _one_of_each(plan, results), row)
    return WellTables(plan.id, tables, best, second)


def leading(plan: WellOutline, summary: pd.DataFrame) -> tuple[Strategy, Strategy | None]:
    """The two best refracs by the means of the tidy summary, as `gather_well` finds them in the trials."""
    rows = summary[summary["well"] == plan.id]
    mean, share = (
        dict(zip(part["strategy"], part["mean"], strict=True))
        for part in (rows[rows["measure"] == name] for name in ("incremental_npv", "executed_share"))
    )
    able = [s for s in plan.strategies if s.trigger is None or share[s.name] > 0.0]
    ranked = sorted(able or plan.strategies, key=lambda strategy: -mean[strategy.name])  # stable
    return ranked[0], ranked[1] if len(ranked) > 1 else None


def _one_of_each(plan: WellPlan, results: compare.Results) -> list[Strategy]:
    """Each order at its own best date."""
    means = results.means
    chosen: dict[str, int] = {}
    for k, strategy in enumerate(plan.dated):
        if strategy.order not in chosen or means[1 + k] > means[1 + chosen[strategy.order]]:
            chosen[strategy.order] = k
    return [plan.dated[k] for k in chosen.values()]


def _days_of_jobs(found: WellResults, index: int) -> Array:
    """Days (n,) of a strategy's jobs. Where a trigger does not fire there is none: NaN."""
    days: Array = found.measures["job_days"][index]
    if found.plan.strategies[index - 1].trigger is None:
        return days
    return np.where(found.measures["executed"][index] > 0.0, days, np.nan)


def _cost_rows(found: WellResults, best: int) -> list[dict[str, Any]]:
    n = sum(found.sizes)
    rows = []
    totals = {name: float(found.parts[name][best - 1, 0]) / n for name in COST_PARTS}
    whole = sum(totals.values()) or 1.0
    for name in COST_PARTS:
        second = found.parts[name][best - 1, 1]
        variance = max(float(second) / n - totals[name] ** 2, 0.0)
        se = float(np.sqrt(variance / n))
        if totals[name] > 0.0:
            rows.append(
                {
                    "well": found.plan.id,
                    "strategy": found.plan.names[best],
                    "part": name,
                    "mean_usd": totals[name],
                    "se_usd": se,
                    "share": totals[name] / whole,
                }
            )
    return rows


def sample_drivers(plan: WellPlan, best: Strategy, second: Strategy | None, block: int) -> drivers.Samples:
    """Samples for variance shares of the best refrac's NPV, its gain over nothing and over the runner-up.

    block: which of the `DRIVER_BLOCKS` of each set of draws.
    """
    names = group_names(plan)
    chosen = [best] if second is None else [best, second]
    sets = {label: draw(plan, first + block, BLOCK_SIZE) for label, first in (("a", SET_A), ("b", SET_B))}

    def run(sources: Sequence[Mapping[str, str]]) -> Iterator[dict[str, Array]]:
        mixtures = [{name: sets[source[names[name]]][name] for name in sets["a"]} for source in sources]
        for got in evaluate_samples(plan, mixtures, chosen, ("npv", "incremental_npv")):
            made = {"npv": got["npv"][1], "incremental_npv": got["incremental_npv"][1]}
            if second is not None:
                made["difference"] = got["npv"][1] - got["npv"][2]
            yield made

    return drivers.group_samples(GROUPS, run)


def driver_rows(plan: WellOutline, blocks: Sequence[drivers.Samples]) -> list[dict[str, Any]]:
    """Variance shares of the groups, from the samples that `sample_drivers` made of all blocks, in their order."""
    samples = {
        target: {name: np.concatenate([block[target][name] for block in blocks]) for name in outputs}
        for target, outputs in blocks[0].items()
    }
    rows = drivers.group_drivers(GROUPS, samples, f"{plan.case.name}/{plan.id}/{plan.case.sampling.seed}")
    return [{"well": plan.id, **row} for row in rows]


def _tornado(found: WellResults, best: Strategy, values: Array) -> list[dict[str, Any]]:
    """Conditional means of the incremental NPV over low and high fifths of every uncertain input."""
    plan = found.plan
    unit_of = {variable.name: variable.unit for variable in plan.variables}
    unit_of[RECOVERY] = "bbl" if plan.well.main_phase == "oil" else "Mcf"
    inputs = ((name, found.inputs[k]) for k, name in enumerate(input_names(plan)))
    rows = drivers.tornado(values, inputs)
    return [{"well": plan.id, "strategy": best.name, "unit": unit_of[row["input"]], **row} for row in rows]


def _cleaning(plan: WellPlan) -> list[dict[str, Any]]:
    """How many months of the history were used or set aside, and why."""
    if plan.well.history is None or plan.well.forecast != "history":
        return []
    cleaned = clean(plan.well.history)
    dates = plan.well.history.dates.astype("datetime64[M]")
    groups: dict[tuple[str, str], list[str]] = {}
    for date, used, reason in zip(dates, cleaned.used, cleaned.reasons, strict=True):
        key = ("used", "in the fit") if used else ("dropped", reason or "not used")
        groups.setdefault(key, []).append(str(date))
    return [
        {
            "well": plan.id,
            "status": status,
            "reason": reason,
            "months": len(months),
            "first_month": months[0],
            "last_month": months[-1],
        }
        for (status, reason), months in groups.items()
    ]


def input_rows(case: Case, plans: Sequence[WellOutline]) -> pd.DataFrame:
    """Every input of the case with its value or distribution and source, those that the case states first.

    What all wells share stands once, with no well: shared draws, and plain keys with one value for all of them.
    """
    rows: dict[tuple[str | None, str], dict[str, Any]] = {}
    well: str | None
    for plan in plans:
        for variable in inputs_of(case, plan.well):
            well = None if variable.scope == "" else plan.id
            rows.setdefault(
                (well, variable.name),
                {
                    "well": well,
                    "variable": variable.name,
                    "unit": variable.unit,
                    "distribution": variable.distribution.describe(),
                    "source": variable.source,
                    "is_assumption": _assumed(variable.source),
                    "stated": variable.stated,
                },
            )
    alike_rows: dict[PlainInput, PlainInput] = {}  # most wells say the same: held once
    plain = {
        plan.id: {row.name: alike_rows.setdefault(row, row) for row in plain_inputs(case, plan.well)}
        for plan in plans
    }
    for name in dict.fromkeys(name for found in plain.values() for name in found):
        holders = {well: found[name] for well, found in plain.items() if name in found}
        alike = len(holders) == len(plans) and len(set(holders.values())) == 1
        for well_id, row in list(holders.items())[: 1 if alike else None]:
            well = None if alike else well_id
            rows[well, name] = {
                "well": well,
                "variable": name,
                "unit": row.unit,
                "distribution": row.value,
                "source": row.source,
                "is_assumption": row.of_the_world and _assumed(row.source),
                "stated": row.stated,
            }
    ordered = [row for stated in (True, False) for row in rows.values() if row["stated"] is stated]
    return pd.DataFrame(ordered)


def _assumed(source: str) -> bool:
    return "assum" in source or "invented" in source
