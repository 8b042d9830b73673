"""What went in: every input of the case with its source, and the months of history that were used or set aside."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from refracmc.case.fixed_inputs import PlainInput, plain_inputs
from refracmc.case.uncertain_inputs import inputs_of
from refracmc.case.validated_case import Case
from refracmc.engine.plan import WellOutline, WellPlan
from refracmc.production.history import clean


def cleaning_rows(plan: WellPlan) -> list[dict[str, Any]]:
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


def uptime_rows(plan: WellPlan) -> list[dict[str, Any]]:
    """The well's own uptime beside what many wells taught, and the chance that it stands idle for good."""
    if plan.posterior is None:
        return []
    told = plan.posterior.diagnostics
    return [
        {
            "well": plan.id,
            "own_year": told["uptime_own_year"],
            "own_quarter": told["uptime_own_quarter"],
            "months_shut": told["months_shut"],
            "running": told["uptime_running"],
            "ahead": told["uptime_ahead"],
            "idle_chance": told["idle_chance"],
            "idle_chance_learned": told["idle_chance_learned"],
            "idle_chance_own": told["idle_chance"] - told["idle_chance_learned"],
            "hurdle": plan.case.fit.idle_hurdle,
        }
    ]


def input_rows(case: Case, plans: Sequence[WellOutline]) -> list[dict[str, Any]]:
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
    once: dict[PlainInput, PlainInput] = {}  # most wells say the same: held once
    by_well = {
        plan.id: {row.name: once.setdefault(row, row) for row in plain_inputs(case, plan.well)}
        for plan in plans
    }
    for name in dict.fromkeys(name for rows_of_well in by_well.values() for name in rows_of_well):
        holders = {well: its[name] for well, its in by_well.items() if name in its}
        shared = len(holders) == len(plans) and len(set(holders.values())) == 1
        for well_id, row in list(holders.items())[: 1 if shared else None]:
            well = None if shared else well_id
            rows[well, name] = {
                "well": well,
                "variable": name,
                "unit": row.unit,
                "distribution": row.value,
                "source": row.source,
                "is_assumption": row.of_the_world and _assumed(row.source),
                "stated": row.stated,
            }
    return [row for stated in (True, False) for row in rows.values() if row["stated"] is stated]


def _assumed(source: str) -> bool:
    return "assum" in source or "invented" in source
