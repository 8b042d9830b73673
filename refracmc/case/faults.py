"""From what a check found to the faults of the house: file, key path, found, allowed, remedy."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, TypeVar, get_origin

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from refracmc.case import units
from refracmc.case.key_rules import Section, inner_section, rule_of
from refracmc.case.key_values import found_text, range_text
from refracmc.errors import Fault

KeyPath = tuple[str | int, ...]
S = TypeVar("S", bound=Section)
MISSING = "nothing: the key is missing"


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


def _section_at(model: type[Section], path: KeyPath) -> type[Section] | None:
    """The section class that a key path leads into."""
    current: type[Section] | None = model
    named = False
    for part in path:
        if named or isinstance(part, int):
            named = False
            continue
        if current is None or part not in current.model_fields:
            return None
        annotation = current.model_fields[part].annotation
        current = inner_section(annotation)
        named = get_origin(annotation) is dict  # then a name of the engineer's own follows
    return current


def read_section(
    model: type[S],
    raw: Any,
    base_dir: Path,
    file: str,
    prefix: KeyPath,
    table: str,
    elsewhere: Mapping[str, Iterable[str]] | None = None,
) -> tuple[S | None, list[tuple[KeyPath, Fault]]]:
    """A table of the case as its section, None where it is none, and every fault with its key path inside the section.

    table: how its heading is written, for the remedy; elsewhere: keys of other sections, by section.
    """
    where = f"{file}: {path_text(prefix)}"
    if not isinstance(raw, Mapping):
        return None, [((), Fault(where, found_text(raw), "a table", f"write {table}"))]
    try:
        section = model.model_validate(raw, context={"base_dir": base_dir})
    except ValidationError as error:
        return None, from_validation(error, model, file, prefix, elsewhere)
    return section, [
        (path, Fault(f"{file}: {path_text((*prefix, *path))}", found, allowed, remedy))
        for path, found, allowed, remedy in section.all_problems()
    ]


def from_validation(
    error: ValidationError,
    model: type[Section],
    file: str,
    prefix: KeyPath,
    elsewhere: Mapping[str, Iterable[str]] | None = None,
) -> list[tuple[KeyPath, Fault]]:
    """Every fault of one section with its key path inside the section."""
    return [
        (tuple(item["loc"]), _fault(item, model, f"{file}: {path_text((*prefix, *item['loc']))}", elsewhere))
        for item in error.errors(include_url=False)
    ]


_TABLE = ("a table", "write a table")
_WANTED = {
    "bool_type": ("true or false", "write true or false without quotes"),
    "string_type": ("a text in quotes", "put it in quotes"),
    "int_type": ("a whole number", "write a whole number"),
    "tuple_type": ("a list", "write a list [...]"),
    "dict_type": _TABLE,
    "model_type": _TABLE,
    "model_attributes_type": _TABLE,
}
"""What is allowed and what to do, by kind of error."""


def _fault(
    item: ErrorDetails, model: type[Section], where: str, elsewhere: Mapping[str, Iterable[str]] | None
) -> Fault:
    kind, path, context = item["type"], tuple(item["loc"]), item.get("ctx") or {}
    if kind == "refracmc":
        return Fault(where, context["found"], context["allowed"], context["remedy"])
    home = _section_at(model, path[:-1]) if path else None
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
        return Fault(where, MISSING, allowed, f"state {name}" + (f" ({text})" if text else ""))
    found = found_text(item["input"])
    if kind in ("literal_error", "enum"):
        expected = str(context.get("expected", ""))
        names = [part.strip(" '") for part in expected.replace(" or ", ", ").split(",")]
        hint = nearest(item["input"], names) if isinstance(item["input"], str) else ""
        return Fault(where, found, ", ".join(names), hint or "take one of these")
    allowed, remedy = _WANTED.get(kind, (item["msg"], "correct it"))
    return Fault(where, found, allowed, remedy)
