"""How one key of the case is declared: kind, unit, allowed range, default and its source.

Every section derives from `Section`. Its fields are declared with the functions below, which keep unit,
range and source beside the default, so that checks, error texts, the key table and the report all say the
same thing.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Self, get_args

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    PrivateAttr,
    SkipValidation,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic.functional_validators import ModelWrapValidatorHandler

from refracmc.case import units
from refracmc.case.key_values import read_month, read_number, read_uncertain, record
from refracmc.sampling.distributions import Distribution

ASSUMPTION = "assumption"
Uncertain = Annotated[Distribution, SkipValidation]
Problem = tuple[tuple[str | int, ...], str, str, str]
"""A fault inside a section: key path within it, found, allowed, remedy."""


def _declare(kind: str, default: Any, unit: str, text: str, source: str, **limits: Any) -> Any:
    required = default is ...
    note = f"{text} [{unit}]" if unit else text
    if not required:
        note += f" (default: {source})"
    extra = {"kind": kind, "unit": unit, "source": source, "text": text, **limits}
    return Field(default=default, description=note, json_schema_extra=extra)


def uncertain(
    default: Any,
    unit: str,
    text: str,
    low: float = -math.inf,
    high: float = math.inf,
    *,
    source: str = ASSUMPTION,
    above: bool = False,
    below: bool = False,
    records: tuple[str, ...] = (),
) -> Any:
    """A number that may be a distribution. `above`/`below` exclude the bounds themselves for fixed numbers.

    records: the shipped records that may be named in place of values.

    `default` is a number, a distribution table, None (absent unless stated) or ... (must be stated).
    """
    limits = {"low": low, "high": high, "above": above, "below": below}
    return _declare("uncertain", default, unit, text, source, **limits, records=records)


def fraction(
    default: Any,
    text: str,
    *,
    high: float = 1.0,
    source: str = ASSUMPTION,
    above: bool = False,
    below: bool = False,
) -> Any:
    """A share or a chance from 0 to 1 that may be a distribution."""
    return uncertain(default, "fraction", text, 0.0, high, source=source, above=above, below=below)


def number(
    default: Any,
    unit: str,
    text: str,
    low: float = -math.inf,
    high: float = math.inf,
    *,
    source: str = ASSUMPTION,
    above: bool = False,
    below: bool = False,
) -> Any:
    """A fixed number (a distribution is refused)."""
    return _declare("number", default, unit, text, source, low=low, high=high, above=above, below=below)


def integer(default: Any, unit: str, text: str, low: int, high: int, *, source: str = ASSUMPTION) -> Any:
    """A whole number."""
    return _declare("integer", default, unit, text, source, low=low, high=high, above=False, below=False)


def month(default: Any, text: str, *, source: str = ASSUMPTION) -> Any:
    """A month written 'YYYY-MM'."""
    return _declare("month", default, "month", text, source)


def choice(default: Any, text: str, *, source: str = ASSUMPTION) -> Any:
    """A text, a truth value or a nested table whose type alone says what is allowed."""
    return _declare("plain", default, "", text, source)


def rule_of(model: type[BaseModel], name: str) -> dict[str, Any]:
    """The declaration of a field: kind, unit, source, text, low, high, above, below."""
    extra = model.model_fields[name].json_schema_extra
    return dict(extra) if isinstance(extra, dict) else {"kind": "plain", "unit": "", "source": "", "text": ""}


class Section(BaseModel):
    """A frozen table of the case; unknown keys are refused, SI twins of keys are converted."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, arbitrary_types_allowed=True, validate_default=True
    )

    _stated_sources: dict[str, str] = PrivateAttr(default_factory=dict)

    @property
    def stated_sources(self) -> Mapping[str, str]:
        """Sources the case itself names, by key: the `source` of {dist = ..., source = "..."}."""
        return self._stated_sources

    @model_validator(mode="wrap")
    @classmethod
    def _keep_sources(cls, raw: Any, handler: ModelWrapValidatorHandler[Self]) -> Self:
        section = handler(raw)
        if isinstance(raw, dict):
            for key, value in raw.items():
                if isinstance(value, dict) and isinstance(value.get("source"), str):
                    section._stated_sources[key] = value["source"]
                elif isinstance(value, dict) and value.get("dist") == "empirical" and "named" in value:
                    section._stated_sources[key] = record(value["named"])[1]
        return section

    @model_validator(mode="before")
    @classmethod
    def _into_field_units(cls, raw: Any) -> Any:
        if not isinstance(raw, dict):
            return raw
        converted = dict(raw)
        for name in cls.model_fields:
            twin = units.si_twin(name)
            if twin is not None and twin[0] in raw and name not in raw:
                converted[name] = units.scale_spec(converted.pop(twin[0]), twin[1])
        return converted

    @field_validator("*", mode="before")
    @classmethod
    def _read(cls, value: Any, info: ValidationInfo) -> Any:
        rule = rule_of(cls, str(info.field_name))
        if value is None and cls.model_fields[str(info.field_name)].default is None:
            return None
        if rule["kind"] == "uncertain":
            return read_uncertain(value, rule, (info.context or {}).get("base_dir"))
        if rule["kind"] in ("number", "integer"):
            return read_number(value, rule)
        if rule["kind"] == "month":
            return read_month(value)
        return value

    def problems(self) -> list[Problem]:
        """Faults between keys of this section (each key alone is sound by now), those of its tables apart."""
        return []

    def all_problems(self) -> list[Problem]:
        """Faults between keys of this section and of the tables in it, with their key paths."""
        found = self.problems()
        for name in type(self).model_fields:
            value = getattr(self, name)
            tables = (
                {(name, key): item for key, item in value.items()}
                if isinstance(value, dict)
                else {(name,): value}
            )
            for path, table in tables.items():
                if isinstance(table, Section):
                    found += [((*path, *inner), *rest) for inner, *rest in table.all_problems()]  # type: ignore[misc]
        return found


def inner_section(annotation: Any) -> type[Section] | None:
    """The section class in the type of a field: of a table, of a list or of tables with names of their own."""
    if isinstance(annotation, type):
        return annotation if issubclass(annotation, Section) else None
    return next((inner for part in get_args(annotation) if (inner := inner_section(part))), None)


def doubled(path: tuple[str | int, ...], values: Sequence[Any], what: str, remedy: str) -> list[Problem]:
    """The fault of a list in which something stands more than once."""
    twice = sorted(value for value, times in Counter(values).items() if times > 1)
    if not twice:
        return []
    return [
        (path, f"{what} {', '.join(map(str, twice))} more than once", f"each {what} at most once", remedy)
    ]
