"""Neighbours that teach the fits of a case: wells with a history that are not valued themselves."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

from refracmc.case.history_file import VOLUMES, read_history, to_history
from refracmc.case.table_columns import require_columns, twins
from refracmc.case.table_files import Table
from refracmc.errors import Fault

if TYPE_CHECKING:
    from refracmc.production.history import History


def read_teachers(table: Table, own: Collection[str], where: str) -> tuple[tuple[History, ...], list[Fault]]:
    """Histories of all wells of the table and its faults; columns as of a history.

    own: ids of the wells of the case, which are passed over; where: key path that names the file. The main phase of
    each is told from its months.
    """
    _, faults = require_columns(table, [("well_id",), ("date",), *map(twins, VOLUMES[:2])], [])
    if faults:
        return (), faults
    names = [name for name in table.sheet.places if name and name not in own]
    if "" in table.sheet.places:
        at = table.where(int(table.sheet.places[""][0]), "well_id")
        faults.append(Fault(at, "a blank cell", "the id of a well", "fill it, or remove the row"))
    if not names:
        allowed = "rows of a well that is not one of the case"
        faults.append(Fault(table.file, "no neighbour", allowed, f"add its rows, or leave {where} out"))
    histories: list[History] = []
    for name in names:
        columns, found = read_history(table, name, where)
        faults += found
        if columns is not None:
            history, found = to_history(columns, name, "auto", None, (), table.file)
            faults += found
            if history is not None:
                histories.append(history)
    return tuple(histories), faults
