"""Every number that may be uncertain: its stream, unit, source and group."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from refracmc.case.job_section import Job
from refracmc.case.key_rules import Section, inner_section, rule_of
from refracmc.case.methods_section import Methods
from refracmc.case.offset_section import OffsetWells
from refracmc.case.pressure_section import PressureScreen
from refracmc.case.reach_section import ReachForces
from refracmc.case.response_section import Response, Stress
from refracmc.case.shared_sections import Opex, Prices
from refracmc.case.size_section import JobSize
from refracmc.case.validated_case import InputVariable
from refracmc.case.well_sections import TypeCurve

if TYPE_CHECKING:
    from refracmc.case.validated_case import Case, Group, WellCase

STATED = "stated in the case"
SHARED_NAMES = frozenset({"response.play_factor", "response.uplift_record_factor"})
RESPONDS = "luck.u_responds"
"""Uniform by which the well of a trial responds to the job, or does not: laid out by the design as the inputs are, so
that the share that does not hardly varies from run to run."""
_SHARED_PREFIXES = ("prices.", "fiscal.", "opex.", "job.cost.")
_GROUPS: tuple[tuple[str, Group], ...] = (
    ("type_curve.", "forecast"),
    ("prices.", "prices"),
    ("job.cost.", "costs"),
    ("job.size.proppant_elasticity", "response"),
    ("job.size.fluid_elasticity", "response"),
    ("job.", "job"),
    ("strategies.methods.", "job"),
    ("opex.", "costs"),
    ("fiscal.", "costs"),
    ("response.", "response"),
    ("stress.", "response"),
    ("offset_wells.", "response"),
)


def _declared(model: type[Section], prefix: str) -> Iterator[str]:
    """Key paths of the numbers of a section that may be uncertain, those of its tables included."""
    for field, info in model.model_fields.items():
        inner = inner_section(info.annotation)
        if rule_of(model, field)["kind"] == "uncertain":
            yield f"{prefix}.{field}"
        elif inner is not None:
            yield from _declared(inner, f"{prefix}.{field}")


_FIRST_METHODS = ("bullhead", "straddle", "liner")


def later_names(of_methods: Sequence[str]) -> tuple[str, ...]:
    """Names in the order of their places: of a method that stands in neither list, at the end."""
    first = tuple(name for name in of_methods if name.split(".")[2] in _FIRST_METHODS)
    listed = (*_BEFORE_METHODS, *first, *LATER_KEYS)
    return (*listed, *(name for name in of_methods if name not in listed))


_BEFORE_METHODS = (
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
)
LATER_KEYS = (
    *_declared(PressureScreen, "job.pressure"),
    *_declared(ReachForces, "job.reach"),
    "job.ct_string_life_trips",
    "response.uplift_record_factor",
    "response.no_response_chance",
    RESPONDS,
    "response.uptime",
    "response.liquid_limit_bbl_per_d",
    "response.gas_limit_mcf_per_d",
    *_declared(JobSize, "job.size"),
    *_declared(OffsetWells, "offset_wells"),
)
"""A new key goes to the end of these."""
LATER_NAMES: tuple[str, ...] = later_names(tuple(_declared(Methods, "strategies.methods")))
"""Variables that came after the first release of the Sobol design: their places follow the first ones."""
UNCERTAIN_SECTIONS: Mapping[str, type[Section]] = {
    "prices": Prices,
    "opex": Opex,
    "job": Job,
    "response": Response,
    "stress": Stress,
    "type_curve": TypeCurve,
    "strategies.methods": Methods,
    "offset_wells": OffsetWells,
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


def _present(section: Section, prefix: str) -> Iterator[tuple[str, Section, str]]:
    """(key path, section, field) of each uncertain number that a section and the tables in it hold."""
    for field in type(section).model_fields:
        value = getattr(section, field)
        if isinstance(value, Section):
            yield from _present(value, f"{prefix}.{field}")
        elif value is not None and rule_of(type(section), field)["kind"] == "uncertain":
            yield f"{prefix}.{field}", section, field


def inputs_of(case: Case, well: WellCase) -> tuple[InputVariable, ...]:
    """Every variable of a well, stated or defaulted, fixed or uncertain, in the order of the sections."""
    settings = well.settings
    sections: dict[str, Section | None] = {
        "prices": case.prices,
        "opex": settings.opex,
        "job": settings.job,
        "response": settings.response,
        "stress": settings.stress,
        "type_curve": well.type_curve if well.forecast == "type_curve" else None,
        "strategies.methods": settings.strategies.methods,
        "offset_wells": settings.offset_wells,
    }
    by_phase = {
        "bbl/d or Mcf/d": "bbl/d" if well.main_phase == "oil" else "Mcf/d",
        "bbl or Mcf": "bbl" if well.main_phase == "oil" else "Mcf",
    }
    variables = []
    for key, top in sections.items():
        for name, section, field in () if top is None else _present(top, key):
            rule, stated = rule_of(type(section), field), field in section.model_fields_set
            source = rule["source"]
            if stated:
                source = section.stated_sources.get(field, f"{STATED} ({case.data_status})")
            variables.append(
                InputVariable(
                    name=name,
                    scope="" if is_shared(name) else well.id,
                    distribution=getattr(section, field),
                    unit=by_phase.get(rule["unit"], rule["unit"]),
                    source=source,
                    group=group_of(name),
                    stated=stated,
                )
            )
    return tuple(variables)
