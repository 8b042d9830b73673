"""Columns of a table as numbers or months, each cell that is none with its row; SI columns in field units."""

from __future__ import annotations

import difflib
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.faults import nearest
from refracmc.case.table_files import Table, cell_faults
from refracmc.errors import Fault

LARGEST = 1e9
"""Size no cell of a table passes, in any unit: a monthly volume, a price, a depth."""
_UNITS: Mapping[str, tuple[str, str, str, float]] = {
    "_usd_per_bbl": ("_usd_per_m3", "US$/bbl", "US$/m3", units.M3_PER_BBL),
    "_usd_per_mcf": ("_usd_per_e3m3", "US$/Mcf", "US$/1000 m3", units.E3M3_PER_MCF),
    "_bbl": ("_m3", "bbl", "m3", 1 / units.M3_PER_BBL),
    "_mcf": ("_e3m3", "Mcf", "1000 m3", 1 / units.E3M3_PER_MCF),
    "_ft": ("_m", "ft", "m", 1 / units.M_PER_FT),
}
"""Ending of a column in field units: that of its SI twin, both units, factor (SI value x factor = field value)."""


def _unit_of(column: str) -> tuple[str, str, str, str, float]:
    """Ending of a column in field units, and what `_UNITS` says of it."""
    ending = next(ending for ending in _UNITS if column.endswith(ending))
    return (ending, *_UNITS[ending])


def twins(column: str) -> tuple[str, str]:
    """The names of a column in field units and in SI."""
    ending, si_ending, *_ = _unit_of(column)
    return column, column.removesuffix(ending) + si_ending


def quantity(
    table: Table,
    columns: Mapping[str, str],
    column: str,
    *,
    blank: bool = False,
    high: float = LARGEST,
    above: bool = False,
) -> tuple[NDArray[np.float64], NDArray[np.float64], str, list[Fault]]:
    """A column that may be written in SI: values in field units, as written, their unit, and the faults.

    columns: names in the table, of `require_columns`; high: largest value, in field units.
    """
    _, _, unit, si_unit, factor = _unit_of(column)
    in_si = columns[column] != column
    written_unit = si_unit if in_si else unit
    most = high / factor if in_si and high != LARGEST else high
    written, faults = numbers(table, columns[column], written_unit, blank=blank, high=most, above=above)
    return written * factor if in_si else written, written, written_unit, faults


def require_columns(
    table: Table, required: list[tuple[str, ...]], optional: list[tuple[str, ...]]
) -> tuple[dict[str, str], list[Fault]]:
    """Map each wanted column (first of each tuple of twins) to the one in the table; faults for the rest."""
    columns = table.columns
    found: dict[str, str] = {}
    faults: list[Fault] = []
    taken: set[str] = set()
    for names in [*required, *optional]:
        here = [name for name in names if name in columns]
        taken.update(here)
        if len(here) > 1:
            text = f"the columns {' and '.join(here)}"
            faults.append(Fault(table.file, text, "one of the two units", "remove one column"))
        elif here:
            found[names[0]] = here[0]
    spare = [name for name in columns if name not in taken]
    for names in required:
        if not any(name in columns for name in names):
            hint = _closest(spare, names)
            remedy = f"rename the column {hint!r}" if hint else "add the column"
            allowed = ", ".join(wanted[0] for wanted in required)
            faults.append(Fault(table.file, f"no column {' or '.join(names)}", allowed, remedy))
    for names in optional:  # a column that was meant would be left out of the numbers without a word
        known = {part for name in names for part in (name, name.partition("_")[0])}
        meant = next((name for name in spare if _folded(name) in known), None)
        if names[0] not in found and meant is not None:
            text, remedy = f"the column {meant!r}", f"rename it to {names[0]}, or remove it"
            faults.append(Fault(table.file, text, " or ".join(names), remedy))
    return found, faults


def _folded(name: str) -> str:
    return "_".join(name.lower().replace("-", " ").split())


def _closest(columns: list[str], names: tuple[str, ...]) -> str | None:
    """The column that is most likely meant by one of the names, or None where none is near."""
    near = [column for column in columns if nearest(column, names)]
    return max(near, key=lambda column: max(_likeness(column, name) for name in names), default=None)


def _likeness(column: str, name: str) -> float:
    return difflib.SequenceMatcher(None, column.lower(), name).ratio()


def numbers(
    table: Table,
    column: str,
    unit: str,
    *,
    blank: bool = False,
    low: float = 0.0,
    high: float = LARGEST,
    above: bool = False,
    whole: bool = False,
) -> tuple[NDArray[np.float64], list[Fault]]:
    """A column as floats, NaN where blank is allowed and the cell is blank; a fault for every other cell."""
    values, empty = table.sheet.numeric(column)
    values, empty = values[table.at], empty[table.at]
    what = "a whole number" if whole else "a number"
    allowed = f"{what} {'above' if above else 'of at least'} {low:g} {unit}".rstrip()
    sized = f"{allowed}, at most {high:g} {unit} in size".rstrip()
    plain = "without unit or thousands separator"
    if blank:
        plain = "or leave the cell blank if it was not declared"
    infinite = np.isinf(values)
    with np.errstate(invalid="ignore"):
        small = ~infinite & ((values <= low) if above else (values < low))
        large = ~infinite & ~small & (np.abs(values) > high)
        broken = np.isfinite(values) & (values != np.round(values)) & ~small
    faults: list[Fault] = []

    def note(wrong: NDArray[np.bool_], found: str, allowed: str, remedy: str) -> None:
        def tell(k: int) -> tuple[str, str, str]:
            return found.format(cell=table.cell(k, column), unit=unit).rstrip(), allowed, remedy

        faults.extend(cell_faults(table, column, np.flatnonzero(wrong), tell))

    if not blank:
        note(empty, "a blank cell", allowed, "write a number")
    note(np.isnan(values) & ~empty, "{cell!r}", allowed, f"write a plain number, {plain}")
    note(infinite, "{cell}", allowed, "write a finite number")
    note(small, "{cell} {unit}", allowed, "correct the value")
    note(large, "{cell} {unit}", sized, "correct the value or its unit")
    if whole:
        note(broken, "{cell}", sized, "write a whole number")
    return values, faults


def months(table: Table, column: str) -> tuple[NDArray[np.int64], list[Fault]]:
    """A column of dates as month numbers (-1 where it is none); a fault for every cell that is no month."""
    number, read = table.sheet.dated(column)
    number, read = number[table.at], read[table.at]
    allowed = f"a month YYYY-MM or a day YYYY-MM-DD of it, {units.YEARS}"
    return number, cell_faults(
        table,
        column,
        np.flatnonzero(~read),
        lambda k: (table.shown(k, column), allowed, "correct the date"),
    )
