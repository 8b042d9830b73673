"""The wells of a case as they are stated: rows of a table, blocks [[wells]], or both."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from refracmc.case.faults import MISSING, nearest
from refracmc.case.key_values import found_text
from refracmc.case.load_well import OVERRIDES, OWN, TEXT_KEYS, WELL_KEYS
from refracmc.case.merging import merge
from refracmc.case.table_files import Table
from refracmc.case.wells_table import RowOfWell, read_wells
from refracmc.errors import Fault

WELLS_FILE = "wells_file"
FILES_OF_ALL = ("history", "tally")
"""Keys at the top of the case for wells that do not state their own."""
_ID = re.compile(r"[A-Za-z0-9]([A-Za-z0-9 _.-]{0,62}[A-Za-z0-9_.-])?\Z")
_ONCE = "each id once, upper or lower case"
Refused = dict[str, tuple[Fault, ...]]


@dataclass(frozen=True)
class StatedWell:
    """A well as stated. keys: all of it as one [[wells]] table; block: what the case file states of it itself, over
    what its row does."""

    id: str
    keys: dict[str, Any]
    block: Mapping[str, Any]
    row: RowOfWell | None = None

    @property
    def faults(self) -> list[Fault]:
        """Cells of its row that cannot be read."""
        return [] if self.row is None else self.row.faults

    def placed(self, fault: Fault, file: str) -> Fault:
        """A fault of the well, as its keys stand in the case file, where it is stated."""
        return fault if self.row is None else self.row.placed(fault, file, self.block)


def stated_wells(
    file: str, blocks: Any, table: Table | None, files: Mapping[str, str], in_table: bool
) -> tuple[list[StatedWell], Refused, list[Fault]]:
    """The wells, those of the table first; rows that are no well, by what they are called; faults of the case.

    file: name of the case file; blocks: what it has as `wells`; table: that of `wells_file`, None if it is not sound;
    files: those of FILES_OF_ALL that the case states for all wells; in_table: whether it names a `wells_file`. A block
    of a well that has a row goes over the row, key by key.
    """
    rows, refused, faults = _rows(table)
    own, found = _blocks(file, blocks, in_table)
    by_id = {name.lower(): (name, keys) for name, keys in own}
    wells = []
    for row in rows:
        block = by_id.pop(row.id.lower(), (row.id, {}))[1]
        wells.append(StatedWell(row.id, merge(row.keys, block), block, row))
    wells += [StatedWell(name, dict(keys), keys) for name, keys in by_id.values()]
    for well in wells:
        for key, name in files.items():
            if key != "history" or "type_curve" not in well.keys:
                well.keys.setdefault(key, name)
    return wells, refused, [*faults, *found]


def _rows(table: Table | None) -> tuple[list[RowOfWell], Refused, list[Fault]]:
    """The rows of the wells' table that are wells, the others by where they stand, and faults of columns."""
    if table is None:
        return [], {}, []
    rows, faults = read_wells(table, TEXT_KEYS, {**OVERRIDES, **OWN})
    wells: list[RowOfWell] = []
    refused: Refused = {}
    first: dict[str, int] = {}
    for row in rows:
        place = f"{row.file}: row {row.row}"
        if not _ID.match(row.id):
            refused[place] = (_id_fault(row.where("id"), row.id or None, {}),)
        elif row.id.lower() in first:
            found = f"the id {row.id!r} a second time (first in row {first[row.id.lower()]})"
            refused[place] = (Fault(row.where("id"), found, _ONCE, "rename one well, or remove the row"),)
        else:
            first[row.id.lower()] = row.row
            wells.append(row)
    return wells, refused, faults


def _blocks(file: str, tables: Any, in_table: bool) -> tuple[list[tuple[str, dict[str, Any]]], list[Fault]]:
    """The [[wells]] tables that have an id of their own, with it, and faults. in_table: wells stand in a table too."""
    where, faults = f"{file}: wells", []
    if tables is None and in_table:
        return [], []
    if not isinstance(tables, list) or not tables:
        found = "no wells" if tables is None or tables == [] else found_text(tables)
        remedy = "write [[wells]] with id and tally, or name a wells_file"
        return [], [Fault(where, found, "one table [[wells]] or more", remedy)]
    result: list[tuple[str, dict[str, Any]]] = []
    seen: dict[str, int] = {}
    for k, table in enumerate(tables):
        here = f"{where}[{k + 1}]"
        if not isinstance(table, dict):
            faults.append(Fault(here, found_text(table), "a table", "write [[wells]]"))
            continue
        name = table.get("id")
        if not isinstance(name, str) or not _ID.match(name):
            faults.append(_id_fault(f"{here}.id", name, table))
        elif name.lower() in seen:
            found = f"the id {name!r} a second time (first in wells[{seen[name.lower()] + 1}])"
            faults.append(Fault(f"{here}.id", found, _ONCE, "rename one well"))
        else:
            seen[name.lower()] = k
            result.append((name, table))
    return result, faults


def _id_fault(where: str, name: Any, table: dict[str, Any]) -> Fault:
    """What is wrong with the id of a well that has none, or one that no file can bear."""
    allowed = "a text of a to z, A to Z, digits, blanks, _ . and -, up to 64; a blank inside only"
    remedy = nearest("id", [key for key in table if key not in WELL_KEYS])
    if not remedy and isinstance(name, str):
        remedy = "write it of these alone, in the case and its files"
    found = MISSING if name is None else found_text(name)
    return Fault(where, found, allowed, remedy or "give the well an id in quotes")
