"""Reading the tables beside a case: CSV or Parquet into text or numbers, every fault with its row.

Rows are counted as an editor shows them: the header of a CSV is row 1. Files are read once per case and
their SHA-256 kept, so that a run can say later what it was computed from.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case.faults import nearest
from refracmc.errors import Fault, InputError

if TYPE_CHECKING:
    import pandas as pd

_DATE = r"^\d{4}-\d{2}(-\d{2}([ T]00:00(:00(\.0+)?)?)?)?$"
SHOWN = 6
"""Faults of one kind named per column; the rest is counted."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """A whole table as read: `frame` has text columns for CSV. Columns are read as numbers or months once."""

    frame: pd.DataFrame
    _read: dict[tuple[str, str], tuple[NDArray[Any], NDArray[np.bool_]]] = field(default_factory=dict)

    @cached_property
    def places(self) -> dict[str, NDArray[np.int64]]:
        """Positions of each well's rows by the text in well_id, in file order."""
        ids = self.frame["well_id"].astype(str).str.strip()
        return {
            str(well): np.asarray(rows, dtype=np.int64) for well, rows in ids.groupby(ids).indices.items()
        }

    def numeric(self, column: str) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Values (NaN where a cell is no number) and which cells are blank."""
        import pandas as pd

        if ("number", column) not in self._read:
            cells = self.frame[column]
            values = pd.to_numeric(cells, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
            if pd.api.types.is_numeric_dtype(cells.dtype):
                empty = np.isnan(values)
            else:
                empty = (cells.isna() | (cells.astype(str).str.strip() == "")).to_numpy(dtype=bool)
            self._read["number", column] = values, empty
        return self._read["number", column]

    def dated(self, column: str) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Month numbers, -1 where a cell is no month, and which cells are one."""
        import pandas as pd

        if ("month", column) not in self._read:
            cells = self.frame[column]
            if pd.api.types.is_datetime64_any_dtype(cells.dtype):
                stamps, shaped = cells, np.ones(len(cells), dtype=bool)
            else:
                text = cells.astype(str).str.strip()
                shaped = text.str.match(_DATE).to_numpy(dtype=bool)
                stamps = pd.to_datetime(
                    text.where(shaped).str.slice(0, 10), format="ISO8601", errors="coerce"
                )
            read = (shaped & stamps.notna().to_numpy()).astype(bool)
            years, within = stamps.dt.year.to_numpy(), stamps.dt.month.to_numpy()
            number = np.full(len(cells), -1, dtype=np.int64)
            number[read] = years[read].astype(np.int64) * 12 + within[read].astype(np.int64) - 1
            self._read["month", column] = number, read
        return self._read["month", column]


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
        return list(self.sheet.frame.columns)

    def where(self, index: int, column: str = "") -> str:
        """'file: row n, column' of a position in the table."""
        return f"{self.file}: row {int(self.rows[index])}" + (f", {column}" if column else "")

    def cell(self, index: int, column: str) -> str:
        """The text of one cell."""
        value = self.sheet.frame[column].iloc[int(self.at[index])]
        return "" if value is None or value != value else str(value).strip()

    def texts(self, column: str) -> list[str]:
        """The texts of a column."""
        cells = self.sheet.frame[column].to_numpy(dtype=object)[self.at]
        return ["" if cell is None or cell != cell else str(cell).strip() for cell in cells]

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

    def read_bytes(self, name: str, where: str = "") -> bytes:
        """The bytes of a file, hashed; InputError if it cannot be read. `where`: key path naming it."""
        where = where or name
        path = self.base_dir / name
        try:
            data = path.read_bytes()
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


def _whole(name: str, frame: pd.DataFrame, rows: NDArray[np.int64]) -> Table:
    return Table(name, Sheet(frame), np.arange(len(frame)), rows)


def _parse(name: str, data: bytes) -> Table:
    import pandas as pd

    if name.lower().endswith((".parquet", ".pq")):
        try:
            frame = pd.read_parquet(io.BytesIO(data))
        except Exception as problem:
            reason = str(problem).splitlines()[0][:120] if str(problem) else type(problem).__name__
            fault = Fault(
                name, f"no readable Parquet table ({reason})", "a Parquet table", "write the file again"
            )
            raise InputError(fault) from None
        frame.columns = [str(column).strip() for column in frame.columns]
        return _whole(name, frame.reset_index(drop=True), np.arange(1, len(frame) + 1))
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
            if record[0].lstrip().startswith("#"):
                continue
            if header is None:
                header = [cell.strip() for cell in record]
                other = next((mark for mark in (";", "\t", "|") if mark in record[0]), None)
                if len(header) == 1 and other is not None:
                    found = f"a header whose columns stand apart by {other!r}"
                    fault = Fault(
                        f"{name}: row {reader.line_num}", found, "commas", "save the file with commas"
                    )
                    raise InputError(fault)
                continue
            if len(record) != len(header):
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
    doubled = sorted({column for column in header if header.count(column) > 1})
    faults += [
        Fault(f"{name}: row 1", f"the column {c!r} twice", "each column once", "remove one") for c in doubled
    ]
    if faults:
        raise InputError(shorten(faults))
    frame = pd.DataFrame(records, columns=header, dtype=str)
    return _whole(name, frame, np.array(rows, dtype=np.int64))


def shorten(faults: list[Fault]) -> list[Fault]:
    """The first faults of one kind, and a count of the rest."""
    if len(faults) <= SHOWN:
        return faults
    first = faults[SHOWN]
    more = len(faults) - SHOWN
    rest = Fault(
        first.where, f"{first.found} (and {more - 1} more rows like it)", first.allowed, first.remedy
    )
    return [*faults[:SHOWN], rest if more > 1 else first]
