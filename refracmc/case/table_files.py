"""Reading the tables beside a case: CSV or Parquet into text or numbers, every fault with its row.

Rows are counted as an editor shows them: the header of a CSV is row 1. Files are read once per case and
their SHA-256 kept, so that a run can say later what it was computed from.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time
from functools import cached_property
from numbers import Number
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.faults import nearest
from refracmc.errors import Fault, InputError
from refracmc.input_file import MOST_OF_TABLE, read_input

_DATE = re.compile(r"(\d{4})-(\d{2})(?:-(\d{2})(?:[ T]00:00(?::00(?:\.0+)?)?)?)?", re.ASCII)
_NUMBER = re.compile(r"[-+]?(?:inf(?:inity)?|(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?)", re.ASCII | re.IGNORECASE)
_ERROR_VALUE = re.compile(r"#(?:N/A|REF!|NAME\?|VALUE!|DIV/0!|NUM!|NULL!|SPILL!|CALC!|#+)", re.IGNORECASE)
"""What spreadsheets leave where a formula has no value, or a column is too narrow to show it."""
SHOWN = 6
"""Faults of one kind named per column; the rest is counted."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """A whole table as read, by column: texts of a CSV; values of a Parquet file, None where one is missing.

    Columns are read as numbers or months once.
    """

    cells: dict[str, list[Any]]
    _read: dict[tuple[str, str], tuple[NDArray[Any], NDArray[np.bool_]]] = field(default_factory=dict)

    @cached_property
    def places(self) -> dict[str, NDArray[np.int64]]:
        """Positions of each well's rows by the text in well_id, in file order."""
        found: dict[str, list[int]] = {}
        for k, cell in enumerate(self.cells["well_id"]):
            found.setdefault(_text(cell), []).append(k)
        return {well: np.array(found[well], dtype=np.int64) for well in sorted(found)}

    @cached_property
    def spellings(self) -> dict[str, list[str]]:
        """The well ids that differ in upper and lower case alone, by their lower case."""
        found: dict[str, list[str]] = {}
        for well in self.places:
            found.setdefault(well.lower(), []).append(well)
        return found

    def numeric(self, column: str) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Values (NaN where a cell is no number) and which cells are blank."""
        if ("number", column) not in self._read:
            cells = self.cells[column]
            values = np.array([_number(cell) for cell in cells], dtype=np.float64)
            empty = np.array([not _text(cell) for cell in cells], dtype=bool)
            self._read["number", column] = values, empty
        return self._read["number", column]

    def dated(self, column: str) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Month numbers, -1 where a cell is no month, and which cells are one."""
        if ("month", column) not in self._read:
            number = np.array([_month(cell) for cell in self.cells[column]], dtype=np.int64)
            self._read["month", column] = number, number >= 0
        return self._read["month", column]


def _text(cell: Any) -> str:
    return "" if cell is None or (isinstance(cell, float) and cell != cell) else str(cell).strip()


def _number(cell: Any) -> float:
    """A cell as a number, NaN where it is none: plain decimals only, no separators."""
    if not isinstance(cell, str):
        number = isinstance(cell, Number) and not isinstance(cell, bool | np.bool_ | np.timedelta64)
        return float(cell) if number else np.nan  # truth values, times and lists are none
    text = cell.strip()
    return float(text) if _NUMBER.fullmatch(text) else np.nan


def _month(cell: Any) -> int:
    """A cell as a month number, -1 where it is none."""
    if isinstance(cell, date):
        # a time of day is the trace of a change of time zone, by which the month may have moved
        whole = not isinstance(cell, datetime) or cell.time() == time()
        return cell.year * 12 + cell.month - 1 if whole and _known(cell.year) else -1
    found = _DATE.fullmatch(_text(cell))
    if found is None:
        return -1
    year, month, day = (int(part or 1) for part in found.groups())
    try:
        date(year, month, day)
    except ValueError:
        return -1
    return year * 12 + month - 1 if _known(year) else -1


def _known(year: int) -> bool:
    return units.FIRST_YEAR <= year <= units.LAST_YEAR


@dataclass(frozen=True, eq=False)
class Table:
    """Some rows of a sheet: `at` (n,) their positions in it, `rows` (n,) their rows in the file."""

    file: str
    sheet: Sheet
    at: NDArray[np.int64]
    rows: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.at)

    @property
    def columns(self) -> list[str]:
        """Names of the columns."""
        return list(self.sheet.cells)

    def where(self, index: int, column: str = "") -> str:
        """'file: row n, column' of a position in the table."""
        return f"{self.file}: row {int(self.rows[index])}" + (f", {column}" if column else "")

    def fault(self, index: int, column: str, found: str, allowed: str, remedy: str) -> Fault:
        """What is wrong with one cell."""
        return Fault(self.where(index, column), found, allowed, remedy)

    def cell(self, index: int, column: str) -> str:
        """The text of one cell."""
        return _text(self.sheet.cells[column][int(self.at[index])])

    def shown(self, index: int, column: str) -> str:
        """The text of one cell in quotes, or that it is blank."""
        return repr(self.cell(index, column)) if self.cell(index, column) else "a blank cell"

    def texts(self, column: str) -> list[str]:
        """The texts of a column."""
        cells = self.sheet.cells[column]
        return [_text(cells[k]) for k in self.at.tolist()]

    def of_well(self, well: str) -> Table | None:
        """The rows of one well, or None."""
        places = self.sheet.places.get(well)
        return None if places is None else Table(self.file, self.sheet, places, self.rows[places])


@dataclass
class Files:
    """Files of one case, each read once; `hashes` maps the path relative to the case to its SHA-256."""

    base_dir: Path
    hashes: dict[str, str] = field(default_factory=dict)
    _tables: dict[str, Table | InputError] = field(default_factory=dict)

    def read_bytes(self, name: str, where: str = "", most: int = MOST_OF_TABLE) -> bytes:
        """The bytes of a file, hashed; InputError if it cannot be read. `where`: key path naming it; most: bytes."""
        where = where or name
        path = self.base_dir / name
        if not name.strip():
            raise InputError(Fault(where, f"the text {name!r}", "a file", "name a file in quotes"))
        try:
            data = read_input(path, most)
        except FileNotFoundError:
            folder = path.parent
            beside = sorted(item.name for item in folder.iterdir()) if folder.is_dir() else []
            remedy = nearest(path.name, beside) or "correct the path; it is relative to the case file"
            raise InputError(Fault(where, f"no file {name!r}", "a file that exists", remedy)) from None
        except (IsADirectoryError, NotADirectoryError):
            raise InputError(
                Fault(where, f"the directory {name!r}", "a file", "name the file itself")
            ) from None
        except (OSError, ValueError) as problem:
            reason = getattr(problem, "strerror", None) or str(problem)
            found = f"{name!r}, which cannot be read ({reason})"
            raise InputError(Fault(where, found, "a readable file", "check the file")) from None
        relative = Path(os.path.relpath(path, self.base_dir)).as_posix()
        self.hashes[relative] = hashlib.sha256(data).hexdigest()
        return data

    def table(self, name: str, where: str = "") -> Table:
        """The table in a CSV or Parquet file; InputError with all that is wrong with its form."""
        if name not in self._tables:
            data = self.read_bytes(name, where)
            try:
                self._tables[name] = _parse(name, data)
            except InputError as error:
                self._tables[name] = error
        kept = self._tables[name]
        if isinstance(kept, InputError):
            raise InputError(kept.faults)
        return kept


def decode(name: str, data: bytes) -> str:
    """UTF-8 text, a leading byte-order mark dropped; InputError naming the first bad byte."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = data[: problem.start].count(b"\n") + 1
        found = f"byte 0x{data[problem.start]:02x} in line {line}, which is not UTF-8"
        raise InputError(Fault(name, found, "UTF-8 text", "save the file as UTF-8")) from None


def _parquet(name: str, data: bytes) -> Table:
    import pandas as pd

    try:
        frame = pd.read_parquet(io.BytesIO(data))
    except Exception as problem:
        reason = str(problem).splitlines()[0][:120] if str(problem) else type(problem).__name__
        fault = Fault(
            name, f"no readable Parquet table ({reason})", "a Parquet table", "write the file again"
        )
        raise InputError(fault) from None
    cells = {
        str(column).strip(): [
            None if missing else value for value, missing in zip(values, values.isna(), strict=True)
        ]
        for column, values in frame.items()
    }
    rows = np.arange(len(frame))
    return Table(name, Sheet(cells), rows, rows + 1)


def _parse(name: str, data: bytes) -> Table:
    if name.lower().endswith((".parquet", ".pq")):
        return _parquet(name, data)
    text = decode(name, data)
    if "\x00" in text:
        raise InputError(Fault(name, "a zero byte", "CSV text", "save the file as CSV"))
    reader = csv.reader(io.StringIO(text, newline=""))
    header: list[str] | None = None
    records: list[list[str]] = []
    rows: list[int] = []
    faults: list[Fault] = []
    try:
        for record in reader:
            if not record or not any(cell.strip() for cell in record):
                continue
            first = record[0].strip()
            if first.startswith("#") and not _ERROR_VALUE.fullmatch(first):
                continue
            if header is None:
                header = _header(f"{name}: row {reader.line_num}", record)
                continue
            if first.startswith("#"):
                place, remedy = (
                    f"{name}: row {reader.line_num}",
                    "write what it stands for, or remove the row",
                )
                faults.append(Fault(place, f"the text {first!r}", "no error of a spreadsheet", remedy))
                continue
            if len(record) > len(header) and not any(cell.strip() for cell in record[len(header) :]):
                record = record[: len(header)]
            if len(record) != len(header):
                if len(header) == 1 and not faults and not records:
                    found = f"the one cell {header[0][:60]!r} above rows of {len(record)} cells"
                    remedy = "remove what stands above the names of the columns"
                    raise InputError(Fault(name, found, "first the names of the columns", remedy))
                found = f"{len(record)} cells"
                allowed = f"{len(header)} cells, as in the header"
                faults.append(
                    Fault(f"{name}: row {reader.line_num}", found, allowed, "correct the commas of this row")
                )
                continue
            records.append([cell.strip() for cell in record])
            rows.append(reader.line_num)
    except csv.Error as problem:
        faults.append(Fault(f"{name}: row {reader.line_num}", str(problem), "CSV text", "correct this row"))
    if header is None:
        raise InputError(Fault(name, "an empty file", "a header and rows", "write the table"))
    doubled = sorted(column for column, count in Counter(header).items() if count > 1)
    for column in doubled:
        found, remedy = f"the column {column!r} twice", "remove one"
        if not column:
            found, remedy = f"{header.count('')} columns without a name", "name them, or remove them"
        faults.append(Fault(f"{name}: row 1", found, "each column once", remedy))
    if faults:
        raise InputError(shorten(faults))
    cells = (
        dict(zip(header, map(list, zip(*records, strict=True)), strict=True))
        if records
        else {c: [] for c in header}
    )
    return Table(name, Sheet(cells), np.arange(len(records)), np.array(rows, dtype=np.int64))


def _header(where: str, record: Sequence[str]) -> list[str]:
    """The names of the columns; InputError where something else than commas stands between them."""
    header = [cell.strip() for cell in record]
    while not header[-1]:  # spreadsheets leave columns without a name or a cell
        header.pop()
    other = next((mark for mark in (";", "\t", "|") if mark in record[0]), None)
    if len(header) == 1 and other is not None:
        found = f"a header whose columns stand apart by {other!r}"
        raise InputError(Fault(where, found, "commas", "save the file with commas"))
    return header


def shorten(faults: Sequence[Fault], count: int | None = None) -> list[Fault]:
    """The first faults of one kind, and a count of the rest. count: how many there are, where not all are given."""
    count = len(faults) if count is None else count
    kept = list(faults[: SHOWN + 1])
    if count > SHOWN + 1:
        last = kept[-1]
        kept[-1] = replace(last, found=f"{last.found} (and {count - SHOWN - 1} more rows like it)")
    return kept


def cell_faults(
    table: Table, column: str, places: NDArray[Any], tell: Callable[[int], tuple[str, str, str]]
) -> list[Fault]:
    """Faults of the cells of a column at these rows, shortened. tell: (found, allowed, remedy) of one."""
    named = [table.fault(k, column, *tell(k)) for k in places[: SHOWN + 1].tolist()]
    return shorten(named, len(places))
