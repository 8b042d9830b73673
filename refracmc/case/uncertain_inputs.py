"""Every number that may be uncertain, with its stream, unit, source and group; a well's strategies."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, get_args

from pydantic import BaseModel

from refracmc.case import units
from refracmc.case.job_section import Job
from refracmc.case.key_rules import Section, rule_of
from refracmc.case.methods_section import Bullhead, Methods, Straddle
from refracmc.case.pressure_section import PressureScreen
from refracmc.case.reach_section import ReachForces
from refracmc.case.response_section import Response, Stress
from refracmc.case.shared_sections import Opex, Prices, TypeCurve
from refracmc.case.tubing_reach import stated_reach_ft
from refracmc.job.methods import MethodPlan, plan_method
from refracmc.job.orders import NAMED_ORDERS, named_order, validate

if TYPE_CHECKING:
    from refracmc.case.strategies import Strategies
    from refracmc.case.validated_case import Case, Group, InputVariable, WellCase
    from refracmc.job.sleeves import Tally

STATED = "stated in the case"
SHARED_NAMES = frozenset({"response.play_factor"})
_SHARED_PREFIXES = ("prices.", "fiscal.", "opex.", "job.cost.")
_GROUPS: tuple[tuple[str, Group], ...] = (
    ("type_curve.", "forecast"),
    ("prices.", "prices"),
    ("job.cost.", "costs"),
    ("job.", "job"),
    ("strategies.methods.", "job"),
    ("opex.", "costs"),
    ("fiscal.", "costs"),
    ("response.", "response"),
    ("stress.", "response"),
)


def _declared(model: type[BaseModel], prefix: str) -> Iterator[str]:
    for field, info in model.model_fields.items():
        if rule_of(model, field)["kind"] == "uncertain":
            yield f"{prefix}.{field}"
            continue
        for part in (info.annotation, *get_args(info.annotation)):
            if isinstance(part, type) and issubclass(part, Section):
                yield from _declared(part, f"{prefix}.{field}")


LATER_NAMES: tuple[str, ...] = (
    "job.bha_change_hours",
    "job.string_change_hours",
    "job.slim_hours_per_stage",
    "job.closed_leak_chance",
    "job.leak_test_finds_chance",
    "job.casing_failure_chance",
    "job.casing_failure_days",
    "job.well_lost_chance_given_casing_failure",
    "job.cost.string_change_usd",
    "job.cost.slim_stage_usd",
    "job.cost.casing_failure_usd",
    *_declared(Methods, "strategies.methods"),
    *_declared(PressureScreen, "job.pressure"),
    *_declared(ReachForces, "job.reach"),
    "job.ct_string_life_trips",
)
"""Variables that came after the first release of the Sobol design: their places follow the first ones."""
UNCERTAIN_SECTIONS: Mapping[str, type[Section]] = {
    "prices": Prices,
    "opex": Opex,
    "job": Job,
    "response": Response,
    "stress": Stress,
    "type_curve": TypeCurve,
    "strategies.methods": Methods,
}


def is_shared(name: str) -> bool:
    """Whether all wells share the draws of a variable."""
    return name in SHARED_NAMES or name.startswith(_SHARED_PREFIXES)


def group_of(name: str) -> Group:
    """The driver group of a variable."""
    for prefix, group in _GROUPS:
        if name.startswith(prefix):
            return group
    raise ValueError(f"no group for {name!r}")


def variable_names() -> tuple[str, ...]:
    """Every name a variable can have, in the order of the case file's sections."""
    return tuple(name for key, model in UNCERTAIN_SECTIONS.items() for name in _declared(model, key))


def _present(section: Section, prefix: str) -> Iterator[tuple[str, Any, dict[str, Any], bool]]:
    """(name, distribution, rule, stated) of each uncertain number a section holds."""
    for field in type(section).model_fields:
        value = getattr(section, field)
        rule = rule_of(type(section), field)
        if rule["kind"] == "uncertain" and value is not None:
            yield f"{prefix}.{field}", value, rule, field in section.model_fields_set
        elif isinstance(value, Section):
            yield from _present(value, f"{prefix}.{field}")


def well_variables(
    well_id: str, prices: Prices, sections: Mapping[str, Section | None], phase: str, status: str
) -> tuple[InputVariable, ...]:
    """The variables of one well from its merged sections (type_curve may be None)."""
    from refracmc.case.validated_case import InputVariable

    found = []
    for key, section in {"prices": prices, **sections}.items():
        if section is None:
            continue
        for name, distribution, rule, stated in _present(section, key):
            unit = rule["unit"]
            if unit == "bbl/d or Mcf/d":
                unit = "bbl/d" if phase == "oil" else "Mcf/d"
            elif unit == "bbl or Mcf":
                unit = "bbl" if phase == "oil" else "Mcf"
            source = rule["source"]
            if stated:
                source = section.stated_sources.get(name.rsplit(".", 1)[1], f"{STATED} ({status})")
            scope = "" if is_shared(name) else well_id
            found.append(InputVariable(name, scope, distribution, unit, source, group_of(name), stated))
    return tuple(found)


def inputs_of(case: Case, well: WellCase) -> tuple[InputVariable, ...]:
    """Every variable of a well, stated or defaulted, fixed or uncertain, in the order of the sections."""
    settings = well.settings
    sections: dict[str, Section | None] = {
        "opex": settings.opex,
        "job": settings.job,
        "response": settings.response,
        "stress": settings.stress,
        "type_curve": well.type_curve if well.forecast == "type_curve" else None,
        "strategies.methods": settings.strategies.methods,
    }
    return well_variables(well.id, case.prices, sections, well.main_phase, case.data_status)


def input_sources(case: Case, well: WellCase) -> dict[str, str]:
    """Source of every variable by name: 'stated in the case (...)', a named source, or 'assumption...'."""
    return {variable.name: variable.source for variable in inputs_of(case, well)}


def job_reach_ft(strategies: Strategies, tally: Tally, ct_reach_ft: float | None) -> float | None:
    """Deepest measured depth the job works at [ft]: the reach of the tubing, and no deeper than a patch on
    record that stops the tools (patched_restricts = "lost"). None: no limit."""
    patched = tally.in_state("patched")
    if strategies.patched_restricts != "lost" or not patched.any():
        return ct_reach_ft
    patch = float(tally.depth_ft[patched].min())
    return patch if ct_reach_ft is None else min(ct_reach_ft, patch)


def well_reach_ft(well: WellCase) -> float | None:
    """Deepest measured depth a well's job works at [ft], by stated depth, force at the tool, and patches on record."""
    settings = well.settings
    stated = stated_reach_ft(settings.completion, settings.job, well.tally)
    return job_reach_ft(settings.strategies, well.tally, stated)


def order_sleeves(strategies: Strategies, tally: Tally, name: str, reach_ft: float | None) -> tuple[int, ...]:
    """The sleeves of an order, in the order treated; PlanRefused naming the sleeve that stands against it."""
    if name in NAMED_ORDERS:
        return named_order(name, tally, reach_ft)
    return validate(strategies.custom_orders[name], tally, reach_ft)


def method_plan(strategies: Strategies, tally: Tally, name: str, reach_ft: float | None) -> MethodPlan:
    """The plan of one of the case's isolation methods; PlanRefused naming the sleeve that stands against it."""
    section = getattr(strategies.methods, name)
    if isinstance(section, Bullhead):
        factor = section.pumping_hours_factor
        return plan_method(name, tally, reach_ft, drops=section.diverter_drops, pumping_hours_factor=factor)
    if isinstance(section, Straddle):
        return plan_method(
            name,
            tally,
            reach_ft,
            sleeves=section.sleeves,
            sets_per_trip=section.sets_per_trip,
            pumping_hours_factor=section.pumping_hours_factor,
        )
    return plan_method(name, tally, reach_ft, stage_spacing_ft=section.stage_spacing_ft)


def strategies_of(case: Case, well: WellCase) -> list[tuple[str, str, tuple[int, ...], int]]:
    """The strategies of a well beside doing nothing: (name '<order>@YYYY-MM', order, sleeves, month index).

    Dates first, orders and then isolation methods (by their own names) within a date; month index counts from
    the valuation month.
    """
    strategies = well.settings.strategies
    reach = well_reach_ft(well)
    sleeves = {name: order_sleeves(strategies, well.tally, name, reach) for name in strategies.orders}
    methods = strategies.methods.names
    sleeves |= {name: method_plan(strategies, well.tally, name, reach).sleeves for name in methods}
    return [
        (f"{order}@{month}", order, sleeves[order], units.months_between(case.valuation.date, month))
        for month in strategies.months
        for order in (*strategies.orders, *methods)
    ]
