"""Production histories: the tidy file, one well's rows in field units, and what is refused."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.faults import nearest
from refracmc.case.table_columns import months, numbers, quantity, require_columns, twins
from refracmc.case.table_files import Table, cell_faults, shorten
from refracmc.errors import Fault

if TYPE_CHECKING:
    from refracmc.production.history import History

VOLUMES = ("oil_bbl", "gas_mcf", "water_bbl")
DAYS_TOLERANCE = 0.05
SEGMENT_REMEDY = (
    "write an earlier segment_start under [wells.fit], or name the months of a false peak in its exclude"
)


def well_rows(table: Table, well: str, where: str) -> tuple[Table | None, list[Fault]]:
    """The rows of one well; a fault if the column or the well is missing. `where`: key path of its id."""
    if "well_id" not in table.columns:
        _, faults = require_columns(table, [("well_id",)], [])
        return None, faults
    if not len(table):
        return None, [Fault(table.file, "a header and no rows", "one row a month", "add the well's history")]
    if "" in table.sheet.places:
        at = table.where(int(table.sheet.places[""][0]), "well_id")
        return None, [Fault(at, "a blank cell", "the id of a well", "fill it, or remove the row")]
    for other in table.sheet.spellings.get(well.lower(), ()):
        if other != well:
            at = table.where(int(table.sheet.places[other][0]), "well_id")
            found = f"the id {other!r} where the case has {well!r} ({where})"
            return None, [Fault(at, found, "the same upper and lower case", f"write {well!r}")]
    rows = table.of_well(well)
    if rows is None:
        present = list(table.sheet.places)
        shown = ", ".join(present[:8]) + (", ..." if len(present) > 8 else "")
        remedy = nearest(well, present) or "add its rows, or correct the id"
        return None, [
            Fault(table.file, f"no row of well {well!r} ({where})", f"a well of the file: {shown}", remedy)
        ]
    return rows, []


Columns = dict[str, NDArray[Any]]
"""A well's history: date (datetime64[M]), oil_bbl, gas_mcf, water_bbl, days_on, each (months,)."""


def read_history(table: Table, well: str, where: str) -> tuple[Columns | None, list[Fault]]:
    """One well's history by column and its faults.

    Months are in file order, which must rise without doubles; a month may be missing. A blank volume or
    days-on cell is a month not declared (NaN); water and days_on may be absent as columns (all NaN).
    """
    required = [("well_id",), ("date",), *map(twins, VOLUMES[:2])]
    columns, faults = require_columns(table, required, [twins(VOLUMES[2]), ("days_on",)])
    if faults:
        return None, faults
    rows, faults = well_rows(table, well, where)
    if rows is None:
        return None, faults
    number, faults = months(rows, columns["date"])
    faults += _order_faults(rows, number, columns["date"])
    data = {name: np.full(len(rows), np.nan) for name in (*VOLUMES, "days_on")}
    for name in VOLUMES:
        if name in columns:
            data[name], _, _, found = quantity(rows, columns, name, blank=True)
            faults += found
    if "days_on" in columns:
        data["days_on"], found = numbers(rows, "days_on", "d", blank=True)
        faults += [*found, *_day_faults(rows, number, data["days_on"])]
    if faults:
        return None, faults
    return {"date": (number - 1970 * 12).astype("datetime64[M]"), **data}, []


def _order_faults(rows: Table, number: NDArray[np.int64], column: str) -> list[Fault]:
    """Dates out of order or doubled, each named once."""
    faults: list[Fault] = []
    seen: dict[int, int] = {}
    before = -1
    for k, month in enumerate(number.tolist()):
        if month < 0:
            continue
        text = units.month_text(month)
        if month in seen:
            found = f"{text} a second time (first in row {int(rows.rows[seen[month]])})"
            faults.append(rows.fault(k, column, found, "each month once", "remove or correct the row"))
        elif month < before:
            found = f"{text} after {units.month_text(before)}"
            faults.append(
                rows.fault(k, column, found, "months in rising order", "sort the well's rows by date")
            )
        seen.setdefault(month, k)
        before = month
    return shorten(faults)


def _day_faults(rows: Table, number: NDArray[np.int64], days: NDArray[np.float64]) -> list[Fault]:
    """More days on than the month has."""
    longest = np.array([units.days_in_month(max(month, 0)) for month in number.tolist()])

    def tell(k: int) -> tuple[str, str, str]:
        allowed = f"0 to {longest[k]} d in {units.month_text(int(number[k]))}"
        return f"{days[k]:g} d", allowed, "correct the days on production"

    wrong = (number >= 0) & (days > longest + DAYS_TOLERANCE)
    return cell_faults(rows, "days_on", np.flatnonzero(wrong), tell)


def to_history(
    columns: Columns, well: str, phase: str, segment_start: str | None, exclude: tuple[str, ...], file: str
) -> tuple[History | None, list[Fault]]:
    """The columns as a production History; its problems as faults of the file."""
    from refracmc.production.history import HistoryProblem, history_of

    volumes = {name: values for name, values in columns.items() if name != "date"}
    changes = {"segment_start": segment_start, "exclude": list(exclude)}
    try:
        return history_of(well, columns["date"], volumes, phase, changes), []
    except HistoryProblem as problem:
        remedy = "correct segment_start under [wells.fit]" if segment_start else "correct the file"
        return None, [
            Fault(f"{file}: well {well}", text, "a history that can be read", remedy)
            for text in problem.problems
        ]


def unfit_reason(history: History) -> str | None:
    """Why no decline can be fitted to a history, or None; the limits are those of production.fit."""
    from refracmc.production.fit import MIN_AFTER_PEAK, MIN_MONTHS
    from refracmc.production.history import clean

    volume = history.volume()
    producing = int(np.sum(np.nan_to_num(volume) > 0))
    if producing == 0:
        return f"no {history.main_phase} volume in any month"
    if producing < MIN_MONTHS:
        return f"{producing} producing months"
    used = int(clean(history).used.sum())
    if used < MIN_AFTER_PEAK:
        start = "the best rate" if history.segment_start is None else f"segment_start {history.segment_start}"
        return f"{used} usable months from {start} on"
    return None
