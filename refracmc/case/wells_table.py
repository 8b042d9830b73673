"""Wells as a table: a row a well, a column a key of [[wells]] by its dotted path.

A cell is read as its key is declared, never by what it looks like: a number, a text, true or false, a month, or TOML
where a distribution, a list or a table is allowed. A distribution is one cell, or a column for each of its keys,
`response.uplift.p90`. A blank cell leaves the key out. A faulty cell refuses its well; a faulty column the case.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, get_args, get_origin

from refracmc.case import units
from refracmc.case.faults import nearest, path_text
from refracmc.case.key_rules import Section, inner_section, rule_of
from refracmc.case.merging import stands_in
from refracmc.case.table_files import Table
from refracmc.errors import Fault
from refracmc.sampling.distributions import KINDS, may_be_added

Path = tuple[str, ...]
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?", re.ASCII)
_WHOLE = re.compile(r"[-+]?\d{1,18}", re.ASCII)
_TOML = ("{", "[")
_TEXTS_INSIDE, _LISTS_INSIDE = ("dist", "source", "named", "file", "column"), ("values", "weights")
_INSIDE = frozenset(
    (
        *_TEXTS_INSIDE,
        *(key for kind, sets in KINDS.items() for keys in (*sets, may_be_added(kind)) for key in keys),
    )
)
"""Keys of a distribution."""
DEFAULT_KIND = "lognormal"
"""Distribution of columns `key.p90` and `key.p10` that name none (common practice, no source)."""


@dataclass(frozen=True)
class Column:
    """What a column holds. kind: number, uncertain, truth, text or toml; path: of its key, with the key of a
    distribution at the end of it where `inside`."""

    name: str
    path: Path
    kind: str
    inside: bool = False


@dataclass
class RowOfWell:
    """A well as its row states it: `keys` as a [[wells]] table holds them, `columns` by key path, faults of cells."""

    file: str
    row: int
    id: str
    keys: dict[str, Any] = field(default_factory=dict)
    columns: dict[str, str] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    def column_of(self, key: str) -> str | None:
        """The column that states a key, maybe in SI, or what it stands in; None where none does."""
        while key:
            above, dot, last = key.rpartition(".")
            twin = units.si_twin(last)
            found = self.columns.get(key) or (self.columns.get(f"{above}{dot}{twin[0]}") if twin else None)
            if found is not None:
                return found
            key = key[: max(key.rfind("."), key.rfind("["), 0)]
        return None

    def where(self, key: str = "") -> str:
        """'wells.csv: row 4, job.close_chance'; of a key the row does not state, with the key itself."""
        named = self.column_of(key) or key
        return f"{self.file}: row {self.row}" + (f", {named}" if named else "")

    def placed(self, fault: Fault, file: str, block: Mapping[str, Any]) -> Fault:
        """A fault of one of the well's keys with the row it comes from; as it is where the case file states the key,
        or states its section and the row does not state the key."""
        start = f"{file}: wells.{self.id}"
        if "id" not in block:
            fault = replace(fault, found=fault.found.replace(f"{start}.id", self.where("id")))
        if fault.where != start and not fault.where.startswith(f"{start}."):
            return fault
        key = fault.where[len(start) + 1 :]
        path = tuple(re.split(r"[.\[]", key))
        in_section = path[0] in block and self.column_of(key) is None
        if key and (in_section or stands_in(path, block)):
            return fault
        return replace(fault, where=self.where(key))


def read_wells(
    table: Table, texts: Iterable[str], sections: Mapping[str, type[Section]]
) -> tuple[list[RowOfWell], list[Fault]]:
    """All rows, and the faults of columns; texts and sections: the keys and the tables of [[wells]]."""
    columns, faults = _columns(table, ("id", *texts), sections)
    if "id" not in table.columns:
        faults.append(Fault(f"{table.file}: row 1", "no column id", "the column id", "add the column"))
    if not len(table):
        faults.append(Fault(table.file, "no row of a well", "one row or more", "add the wells"))
    if faults:
        return [], faults
    return [_row(table, k, columns) for k in range(len(table))], []


def _columns(
    table: Table, texts: tuple[str, ...], sections: Mapping[str, type[Section]]
) -> tuple[list[Column], list[Fault]]:
    known = [*texts, *(path_text(path) for path in _known_paths(sections))]
    columns: list[Column] = []
    faults: list[Fault] = []
    stated: dict[Path, str] = {}
    for number, name in enumerate(table.columns, 1):
        column = _column(name, texts, sections)
        if column is None:
            remedy = nearest(name, known) or "remove it; keys: refracmc explain keys"
            if name == "well_id":  # as the other tables of a case have it
                remedy = "did you mean 'id'?"
            found = f"the column {name!r}" if name else f"column {number} without a name"
            allowed = "id, or a key of [[wells]] with its dots"
            faults.append(Fault(f"{table.file}: row 1", found, allowed, remedy))
            continue
        twin = units.si_twin(column.path[-1])
        spelled = (*column.path[:-1], twin[0] if twin else column.path[-1])
        if spelled in stated:
            found = f"the columns {stated[spelled]} and {name}"
            faults.append(Fault(f"{table.file}: row 1", found, "one of the two units", "remove one column"))
        stated[spelled] = name
        columns.append(column)
    return columns, faults


def _known_paths(sections: Mapping[str, type[Section]], above: Path = ()) -> Iterable[Path]:
    for name, section in sections.items():
        for key, info in section.model_fields.items():
            inner = _table_of(info.annotation)
            yield (*above, name, key)
            if inner is not None:
                yield from _known_paths({key: inner}, (*above, name))


def _table_of(annotation: Any) -> type[Section] | None:
    """The section of a key that is one table; None for a list of tables, or tables with names of their own."""
    if isinstance(annotation, type):
        return annotation if issubclass(annotation, Section) else None
    if get_origin(annotation) in (tuple, list, dict):
        return None
    return next((inner for part in get_args(annotation) if (inner := _table_of(part))), None)


def _column(name: str, texts: tuple[str, ...], sections: Mapping[str, type[Section]]) -> Column | None:
    first, *rest = path = tuple(name.split("."))
    if not rest:
        return Column(name, path, "text") if first in texts else None
    section = sections.get(first)
    for k, key in enumerate(rest):
        if section is None:
            return None
        own = _own_spelling(section, key)
        if own is None:
            return None
        rule, annotation = rule_of(section, own), section.model_fields[own].annotation
        left = rest[k + 1 :]
        if not left:
            return Column(name, path, _kind(rule["kind"], annotation))
        if rule["kind"] == "uncertain":
            inside = len(left) == 1 and left[0] in _INSIDE
            return Column(name, path, _kind_inside(left[0]), inside=True) if inside else None
        if _named(annotation):
            return Column(name, path, "toml") if len(left) == 1 else None
        section = inner_section(annotation)
    return None


def _own_spelling(section: type[Section], key: str) -> str | None:
    """The field of a key, which may be spelled in SI."""
    if key in section.model_fields:
        return key
    return next((own for own in section.model_fields if (units.si_twin(own) or ("",))[0] == key), None)


def _named(annotation: Any) -> bool:
    """Whether a key holds lists or tables by names of the engineer's own."""
    return get_origin(annotation) is dict or any(_named(part) for part in get_args(annotation))


def _kind(kind: str, annotation: Any) -> str:
    if kind in ("number", "integer"):
        return "number"
    if kind in ("uncertain", "month"):
        return "uncertain" if kind == "uncertain" else "text"
    if annotation is bool or bool in get_args(annotation):
        return "truth"
    parts = [annotation, *get_args(annotation)]
    listed = any(get_origin(part) in (tuple, list, dict) or inner_section(part) for part in parts)
    return "toml" if listed else "text"


def _kind_inside(key: str) -> str:
    return "text" if key in _TEXTS_INSIDE else "toml" if key in _LISTS_INSIDE else "number"


def _row(table: Table, k: int, columns: Iterable[Column]) -> RowOfWell:
    row = RowOfWell(table.file, int(table.rows[k]), table.cell(k, "id"))
    parts: dict[Path, dict[str, Any]] = {}
    for column in columns:
        text = table.cell(k, column.name)
        if not text or column.name == "id":
            continue
        if not text.isprintable():
            remedy = "retype it without escapes, marks of direction or breaks of a line"
            row.faults.append(
                table.fault(k, column.name, f"the text {text[:60]!r}", "printable text in one line", remedy)
            )
            continue
        value, fault = _value(column, text)
        if fault is not None:
            row.faults.append(table.fault(k, column.name, *fault))
            continue
        row.columns[path_text(column.path)] = column.name
        if column.inside:
            parts.setdefault(column.path[:-1], {})[column.path[-1]] = value
        else:
            _put(row.keys, column.path, value)
    for path, keys in parts.items():
        row.columns.setdefault(path_text(path), ", ".join(path_text((*path, key)) for key in keys))
        if _at(row.keys, path) is not None:
            name = path_text(path)
            found = f"{name} beside {', '.join(f'{name}.{key}' for key in keys)}"
            row.faults.append(table.fault(k, name, found, "one of the two", "clear one of the cells"))
            continue
        _put(row.keys, path, {"dist": DEFAULT_KIND, **keys} if {"p90", "p10"} & set(keys) else keys)
    return row


def _value(column: Column, text: str) -> tuple[Any, tuple[str, str, str] | None]:
    """A cell as its key takes it, or (found, allowed, remedy)."""
    if column.kind in ("number", "uncertain") and not text.startswith(_TOML):
        if _WHOLE.fullmatch(text):
            return int(text), None
        if _NUMBER.fullmatch(text):
            return float(text), None
        allowed = "a number" if column.kind == "number" else 'a number or { dist = "...", ... }'
        return None, (repr(text[:60]), allowed, "write a plain number, without unit or thousands separator")
    if column.kind == "truth":
        said = {"true": True, "false": False}.get(text.lower())
        return said, None if said is not None else (repr(text[:60]), "true or false", "write one of the two")
    if column.kind == "text" or not text.startswith(_TOML):
        return text, None  # of a key that takes a list, what it says of a text
    try:
        return tomllib.loads(f"cell = {text}")["cell"], None
    except (ValueError, RecursionError) as problem:
        reason = "nested too deep" if isinstance(problem, RecursionError) else str(problem).split(" (at ")[0]
        allowed = "a list [...] or a table { key = value } as in the case file"
        remedy = 'correct the cell; like { dist = "uniform", low = 1, high = 2 } or ["2027-01", "2027-04"]'
        return None, (f"{text[:60]!r}: {reason}", allowed, remedy)


def _at(keys: Mapping[str, Any], path: Path) -> Any:
    value: Any = keys
    for part in path:
        value = value.get(part) if isinstance(value, Mapping) else None
    return value


def _put(keys: dict[str, Any], path: Path, value: Any) -> None:
    for part in path[:-1]:
        keys = keys.setdefault(part, {})
    keys[path[-1]] = value
