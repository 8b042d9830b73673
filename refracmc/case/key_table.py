"""Every key of the case as a table: unit, what is allowed, default and its source."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal, get_args, get_origin

from refracmc.case.key_rules import Section, inner_section, rule_of
from refracmc.case.key_values import range_text
from refracmc.case.load import SHARED
from refracmc.case.load_well import OWN
from refracmc.case.shared_sections import Pair


@dataclass(frozen=True)
class KeyRow:
    """One key: `uncertain` says that a distribution may stand in its place; texts are ready for a table."""

    path: str
    unit: str
    allowed: str
    default: str
    source: str
    meaning: str
    uncertain: bool


def key_rows() -> tuple[KeyRow, ...]:
    """All keys, sections in the order of the file, those of [[wells]] last."""
    shared = [row for name, model in SHARED.items() for row in _rows(name, model)]
    wells = [row for name, model in OWN.items() for row in _rows(f"wells.{name}", model)]
    return (*shared, *wells)


def _rows(prefix: str, model: type[Section]) -> Iterator[KeyRow]:
    for name, info in model.model_fields.items():
        rule = rule_of(model, name)
        inner = inner_section(info.annotation)
        if rule["kind"] == "plain" and inner is not None and inner is not Pair:
            yield from _rows(f"{prefix}.{name}", inner)
            continue
        uncertain = rule["kind"] == "uncertain"
        required = info.is_required()
        yield KeyRow(
            path=f"{prefix}.{name}",
            unit=rule["unit"],
            allowed=_allowed(rule, info.annotation),
            default="must be stated" if required else _default(info.default),
            source="" if required or info.default is None else rule["source"],
            meaning=rule["text"],
            uncertain=uncertain,
        )


def _parts(annotation: Any) -> tuple[Any, ...]:
    if get_origin(annotation) is Literal:
        return (annotation,)
    inner = [part for item in get_args(annotation) for part in _parts(item)]
    return tuple(inner) or (annotation,)


def _allowed(rule: dict[str, Any], annotation: Any) -> str:
    if "low" in rule:
        return range_text(rule) + (", or a distribution" if rule["kind"] == "uncertain" else "")
    if rule["kind"] == "month":
        return "YYYY-MM"
    words = [word for part in _parts(annotation) if get_origin(part) is Literal for word in get_args(part)]
    if words:
        return ", ".join(map(str, words))
    return "true, false" if bool in _parts(annotation) else ""


def _default(value: Any) -> str:
    if value is None:
        return "absent"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        inner = ", ".join(
            f'{key} = "{item}"' if isinstance(item, str) else f"{key} = {item}" for key, item in value.items()
        )
        return f"{{{inner}}}" if inner else "none"
    if isinstance(value, tuple):
        return ", ".join(map(str, value)) or "none"
    return f"{value:,.10g}" if isinstance(value, float) else str(value)
