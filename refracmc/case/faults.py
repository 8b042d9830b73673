"""From what a check found to the faults of the house: file, key path, found, allowed, remedy."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from typing import Any, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from refracmc.case import units
from refracmc.case.key_rules import Problem, range_text, rule_of
from refracmc.errors import Fault

KeyPath = tuple[str | int, ...]


def nearest(name: str, known: Iterable[str]) -> str:
    """'did you mean x?' for the closest of the known names, or '' when none is close."""
    names = list(known)
    close = difflib.get_close_matches(name, names, n=1, cutoff=0.6)
    if not close:
        folded = {item.lower(): item for item in names}
        close = [
            folded[item] for item in difflib.get_close_matches(name.lower(), list(folded), n=1, cutoff=0.6)
        ]
    return f"did you mean {close[0]!r}?" if close else ""


def path_text(path: KeyPath) -> str:
    """Key path as an engineer writes it: 'strategies.orders[2]'."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text


def describe(value: Any) -> str:
    """A found value in short."""
    if isinstance(value, bool):
        return f"the truth value {str(value).lower()}"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    if isinstance(value, str):
        return f"the text {value[:60]!r}"
    return f"{value}"


def unknown_key(
    where: str, key: str, known: Iterable[str], elsewhere: Mapping[str, Iterable[str]] | None = None
) -> Fault:
    """The fault of a key nobody reads, with the nearest valid one, or the section it belongs to."""
    names = sorted(known)
    homes = [section for section, keys in (elsewhere or {}).items() if key in keys]
    remedy = nearest(key, names)
    if not remedy and homes:
        remedy = f"it belongs to [{homes[0]}]"
    if not remedy and key.endswith("]"):
        remedy = "remove it"
    allowed = ", ".join(names) if len(names) <= 16 else f"the {len(names)} keys of this table"
    return Fault(where, f"the unknown key {key!r}", allowed, remedy or "remove it")


def _model_at(model: type[BaseModel], path: KeyPath) -> type[BaseModel] | None:
    """The section class that a key path leads into."""
    current: type[BaseModel] | None = model
    named = False
    for part in path:
        if named:
            named = False
            continue
        if current is None or isinstance(part, int) or part not in current.model_fields:
            if isinstance(part, int):
                continue
            return None
        annotation = current.model_fields[part].annotation
        inner = _classes(annotation)
        current = inner[0] if inner else None
        named = get_origin(annotation) is dict  # then a name of the engineer's own follows
    return current


def _classes(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [item for part in getattr(annotation, "__args__", ()) for item in _classes(part)]


def from_validation(
    error: ValidationError,
    model: type[BaseModel],
    file: str,
    prefix: KeyPath,
    elsewhere: Mapping[str, Iterable[str]] | None = None,
) -> list[tuple[KeyPath, Fault]]:
    """Every fault of one section with its key path inside the section."""
    return [
        (tuple(item["loc"]), _fault(item, model, f"{file}: {path_text((*prefix, *item['loc']))}", elsewhere))
        for item in error.errors(include_url=False)
    ]


def _fault(
    item: ErrorDetails, model: type[BaseModel], where: str, elsewhere: Mapping[str, Iterable[str]] | None
) -> Fault:
    kind, path, context = item["type"], tuple(item["loc"]), item.get("ctx") or {}
    if kind == "refracmc":
        return Fault(where, context["found"], context["allowed"], context["remedy"])
    home = _model_at(model, path[:-1]) if path else None
    name = str(path[-1]) if path else ""
    if kind == "extra_forbidden":
        known = list(home.model_fields) if home else []
        twins = {twin[0]: key for key in known if (twin := units.si_twin(key)) is not None}
        if name in twins:
            found = f"{name} beside {twins[name]}"
            return Fault(where, found, "one of the two units", "remove one of the two keys")
        return unknown_key(where, name, known, elsewhere)
    if kind == "missing":
        allowed, text = "a value", ""
        if home is not None and name in home.model_fields:
            rule = rule_of(home, name)
            text = rule["text"]
            allowed = range_text(rule) if "low" in rule else text
        return Fault(
            where, "nothing: the key is missing", allowed, f"state {name}" + (f" ({text})" if text else "")
        )
    found = describe(item["input"])
    if kind in ("literal_error", "enum"):
        expected = str(context.get("expected", ""))
        names = [part.strip(" '") for part in expected.replace(" or ", ", ").split(",")]
        hint = nearest(item["input"], names) if isinstance(item["input"], str) else ""
        return Fault(where, found, ", ".join(names), hint or "take one of these")
    wants = {
        "bool_type": ("true or false", "write true or false without quotes"),
        "string_type": ("a text in quotes", "put it in quotes"),
        "int_type": ("a whole number", "write a whole number"),
        "tuple_type": ("a list", "write a list [...]"),
        "dict_type": ("a table", "write a table"),
        "model_type": ("a table", "write a table"),
        "model_attributes_type": ("a table", "write a table"),
    }
    allowed, remedy = wants.get(kind, (item["msg"], "correct it"))
    return Fault(where, found, allowed, remedy)


def from_problem(problem: Problem, file: str, prefix: KeyPath) -> Fault:
    """The fault of a check between keys."""
    path, found, allowed, remedy = problem
    return Fault(f"{file}: {path_text((*prefix, *path))}", found, allowed, remedy)
