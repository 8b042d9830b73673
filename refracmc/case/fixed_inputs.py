"""The keys of a case that are no uncertain numbers: settings, choices, fixed numbers, as rows of a report."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from refracmc.case.key_rules import Section, rule_of
from refracmc.case.uncertain_inputs import STATED

if TYPE_CHECKING:
    from refracmc.case.validated_case import Case, WellCase

CHOSEN = "chosen in the case"
NOT_CHOSEN = "default of the choice"
_ABOUT_THE_RUN = ("sampling", "strategies", "outputs", "fit")
_SHOWN = 12
"""Entries of a list that are written out."""


@dataclass(frozen=True)
class PlainInput:
    """One key: its path, its value as text, unit, source, whether the case states it, and whether it says something
    of the world (a number) rather than of what is to be computed."""

    name: str
    value: str
    unit: str
    source: str
    stated: bool
    of_the_world: bool


def plain_inputs(case: Case, well: WellCase) -> tuple[PlainInput, ...]:
    """Every plain key that a well is valued with, stated or left at its default, in the order of the sections.

    Keys that are absent and have no default are left out; so are distributions, which are `inputs_of`.
    """
    settings = well.settings
    sections: dict[str, Section | None] = {
        "sampling": case.sampling,
        "valuation": case.valuation,
        "prices": case.prices,
        "fiscal": settings.fiscal,
        "opex": settings.opex,
        "job": settings.job,
        "response": settings.response,
        "stress": settings.stress,
        "dependence": case.dependence,
        "strategies": settings.strategies,
        "decision": settings.decision,
        "outputs": case.outputs,
        "fit": case.fit,
        "interests": settings.interests,
        "completion": settings.completion,
        "wells.offset_wells": settings.offset_wells,
        "wells.type_curve": well.type_curve if well.forecast == "type_curve" else None,
        "wells.fit": well.fit if well.forecast == "history" else None,
    }
    return tuple(
        row
        for prefix, section in sections.items()
        if section is not None
        for row in _rows(section, prefix, case.data_status)
    )


def _rows(section: Section, prefix: str, status: str) -> Iterator[PlainInput]:
    for field in type(section).model_fields:
        value, rule = getattr(section, field), rule_of(type(section), field)
        if rule["kind"] == "uncertain" or value is None or value == ():
            continue
        stated = field in section.model_fields_set
        measured = rule["kind"] in ("number", "integer") and prefix.partition(".")[0] not in _ABOUT_THE_RUN
        if stated:
            source = f"{STATED} ({status})" if measured else CHOSEN
        else:
            source = rule["source"] if measured else NOT_CHOSEN
        unit = "" if rule["kind"] == "month" else rule["unit"]
        named = {f".{key}": one for key, one in value.items()} if isinstance(value, Mapping) else {"": value}
        for key, one in named.items():
            name = f"{prefix}.{field}{key}"
            if isinstance(one, Section):
                yield from _rows(one, name, status)
            else:
                yield PlainInput(name, value_text(one), unit, source, stated, measured)


def value_text(value: Any) -> str:
    """A value as text: numbers without needless digits, lists by commas, tables as key = value."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, Section):
        value = {
            key: getattr(value, key) for key in type(value).model_fields if key in value.model_fields_set
        }
    if isinstance(value, Mapping):
        return "; ".join(f"{key} = {value_text(one)}" for key, one in value.items())
    if isinstance(value, tuple | list):
        parts = [value_text(one) for one in value[:_SHOWN]]
        more = f" and {len(value) - _SHOWN} more" if len(value) > _SHOWN else ""
        return (" / " if any(";" in part or "," in part for part in parts) else ", ").join(parts) + more
    describe = getattr(value, "describe", None)
    return str(describe() if callable(describe) else value)
