"""How a table of a report is declared: its columns by name, kind, unit and meaning, one line each."""

from __future__ import annotations

from dataclasses import dataclass

NOTHING = "nothing"
"""Name of the strategy "do nothing"."""

SPREAD = """mean | number? | unit | mean over the trials
se | number? | unit | its standard error
p90 | number? | unit | P90 (low); missing for chances, tail means and ratios
p90_se | number? | unit | its standard error
p50 | number? | unit | P50
p50_se | number? | unit | its standard error
p10 | number? | unit | P10 (high)
p10_se | number? | unit | its standard error"""
"""Columns of a measure summed up."""
KINDS = ("text", "number", "integer", "flag", "month")


@dataclass(frozen=True, slots=True)
class Column:
    """One column: name, kind (of :data:`KINDS`), unit ("" for text), meaning, may it be missing, may it be infinite."""

    name: str
    kind: str
    unit: str
    meaning: str
    optional: bool
    endless: bool = False

    @property
    def holds(self) -> str:
        """What stands in it, in words."""
        return self.kind + ", may be missing" * self.optional + ", may be inf" * self.endless


@dataclass(frozen=True, slots=True)
class TableSpec:
    """One table: key (its file name), title, what a row is, columns in file order, unique columns."""

    key: str
    title: str
    row: str
    columns: tuple[Column, ...]
    unique: tuple[str, ...]
    required: bool

    @property
    def names(self) -> tuple[str, ...]:
        """Column names in file order."""
        return tuple(column.name for column in self.columns)


def table_spec(
    key: str, title: str, row: str, columns: str, unique: str = "", required: bool = False
) -> TableSpec:
    """Make a table from lines ``name | kind | unit | meaning`` ("?" after the kind: may be missing).

    "or inf" after that: may be infinite.
    """
    made = []
    for line in columns.strip().splitlines():
        name, kind, unit, meaning = (part.strip() for part in line.split("|", 3))
        kind, _, endless = kind.partition(" or ")
        optional = kind.endswith("?")
        if kind.rstrip("?") not in KINDS:
            raise ValueError(f"table {key}, column {name}: kind {kind!r} is not one of {', '.join(KINDS)}")
        made.append(Column(name, kind.rstrip("?"), unit, meaning, optional, endless == "inf"))
    return TableSpec(key, title, row, tuple(made), tuple(unique.split()), required)
