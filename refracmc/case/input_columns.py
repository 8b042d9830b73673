"""Columns of a table as numbers or months, each cell that is none with its row."""

from __future__ import annotations

import difflib

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.faults import nearest
from refracmc.case.input_tables import SHOWN, Table, shorten
from refracmc.errors import Fault

LARGEST = 1e9
"""Size no cell of a table passes, in any unit: a monthly volume, a price, a depth."""


def require_columns(
    table: Table, required: list[tuple[str, ...]], optional: list[tuple[str, ...]]
) -> tuple[dict[str, str], list[Fault]]:
    """Map each wanted column (first of each tuple of twins) to the one in the table; faults for the rest."""
    columns = table.columns
    found: dict[str, str] = {}
    faults: list[Fault] = []
    taken: set[str] = set()
    for twins in [*required, *optional]:
        here = [name for name in twins if name in columns]
        taken.update(here)
        if len(here) > 1:
            text = f"the columns {' and '.join(here)}"
            faults.append(Fault(table.file, text, "one of the two units", "remove one column"))
        elif here:
            found[twins[0]] = here[0]
    spare = [name for name in columns if name not in taken]
    for twins in required:
        if twins[0] in found or any(name in columns for name in twins):
            continue
        hint = _closest(spare, twins)
        remedy = f"rename the column {hint!r}" if hint else "add the column"
        faults.append(
            Fault(table.file, f"no column {' or '.join(twins)}", ", ".join(t[0] for t in required), remedy)
        )
    for twins in optional:  # a column that was meant would be left out of the numbers without a word
        known = {part for name in twins for part in (name, name.partition("_")[0])}
        meant = next((name for name in spare if _folded(name) in known), None)
        if twins[0] not in found and meant is not None:
            text, remedy = f"the column {meant!r}", f"rename it to {twins[0]}, or remove it"
            faults.append(Fault(table.file, text, " or ".join(twins), remedy))
    return found, faults


def _folded(name: str) -> str:
    return "_".join(name.lower().replace("-", " ").split())


def _closest(columns: list[str], twins: tuple[str, ...]) -> str | None:
    """The column that is most likely meant for one of the twins, or None where none is near."""
    near = [name for name in columns if nearest(name, twins)]
    return max(near, key=lambda name: max(_likeness(name, twin) for twin in twins), default=None)


def _likeness(name: str, wanted: str) -> float:
    return difflib.SequenceMatcher(None, name.lower(), wanted).ratio()


def numbers(
    table: Table,
    column: str,
    unit: str,
    *,
    blank: bool,
    low: float = 0.0,
    high: float = LARGEST,
    above: bool = False,
    whole: bool = False,
) -> tuple[NDArray[np.float64], list[Fault]]:
    """A column as floats, NaN where blank is allowed and the cell is blank; a fault for every other cell."""
    values, empty = table.sheet.numeric(column)
    values, empty = values[table.at], empty[table.at]
    what = "a number" if not whole else "a whole number"
    allowed = (
        f"{what} {'above' if above else 'of at least'} {low:g} {unit}".rstrip() if np.isfinite(low) else what
    )
    faults: list[Fault] = []

    def note(mask: NDArray[np.bool_], found: str, remedy: str) -> None:
        places = np.flatnonzero(mask)
        named = [
            Fault(
                table.where(int(k), column),
                found.format(cell=table.cell(int(k), column), unit=unit).rstrip(),
                allowed,
                remedy,
            )
            for k in places[: SHOWN + 1]
        ]
        if len(places) > SHOWN + 1:
            last = named[-1]
            text = f"{last.found} (and {len(places) - SHOWN - 1} more rows like it)"
            named[-1] = Fault(last.where, text, last.allowed, last.remedy)
        faults.extend(named)

    text = np.isnan(values) & ~empty
    infinite = np.isinf(values)
    small = ~np.isnan(values) & ~infinite & ((values <= low) if above else (values < low))
    if not blank:
        note(empty, "a blank cell", "write a number")
        note(text, "{cell!r}", "write a plain number, without unit or thousands separator")
    else:
        note(text, "{cell!r}", "write a plain number, or leave the cell blank if it was not declared")
    note(infinite, "{cell}", "write a finite number")
    note(small, "{cell} {unit}", "correct the value")
    with np.errstate(invalid="ignore"):
        large = ~infinite & ~small & (np.abs(values) > high)
    allowed += f", at most {high:g} {unit} in size".rstrip()
    note(large, "{cell} {unit}", "correct the value or its unit")
    if whole:
        with np.errstate(invalid="ignore"):
            note(
                np.isfinite(values) & (values != np.round(values)) & ~small, "{cell}", "write a whole number"
            )
    return values, faults


def months(table: Table, column: str) -> tuple[NDArray[np.int64], list[Fault]]:
    """A column of dates as month numbers (-1 where it is none); a fault for every cell that is no month."""
    number, read = table.sheet.dated(column)
    number, read = number[table.at], read[table.at]
    faults = [
        Fault(
            table.where(int(k), column),
            repr(cell) if (cell := table.cell(int(k), column)) else "a blank cell",
            f"a month YYYY-MM or a day YYYY-MM-DD of it, {units.YEARS}",
            "correct the date",
        )
        for k in np.flatnonzero(~read)
    ]
    return number, shorten(faults)
