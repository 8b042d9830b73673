"""Tables of many wells on disk, well by well, so that memory holds those of one well and not of all.

Every well has a few files in the work folder, each with its part of several tables: the rows as an Arrow stream, then
their text as CSV where that is plain. A whole table is put together from the parts in the order of the wells, so that
its bytes depend neither on who made the parts nor when.
"""

from __future__ import annotations

import hashlib
import io
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa

from refracmc.engine import store
from refracmc.engine.wells import PASSING
from refracmc.reporting.columns import TABLES
from refracmc.reporting.row_files import ParquetRows, csv_head, plain_csv

_EXAMPLES = {"number": pd.Series([0.0]), "integer": pd.Series([0], dtype="Int64"), "flag": pd.Series([True])}
_TEXT, _NONE = (pd.Series(np.array([value], dtype=object)) for value in ("", None))


@dataclass(frozen=True, slots=True)
class Place:
    """Where a file holds a well's part of a table, in bytes. text: length of the CSV, -1 where it is not plain."""

    start: int
    rows: int
    text: int
    digest: bytes


@dataclass(frozen=True, slots=True)
class Piece:
    """A file with a well's parts of tables, by table key."""

    path: str
    places: Mapping[str, Place]


def write_piece(folder: Path, name: str, tables: Mapping[str, pd.DataFrame]) -> Piece:
    """Keep the checked tables of a well in the work folder; `name` is the file's."""
    path = folder / PASSING / name
    path.parent.mkdir(exist_ok=True)
    data: list[bytes] = []
    places, at = {}, 0
    for key, frame in tables.items():
        table = pa.table({name: pa.array(values, from_pandas=True) for name, values in frame.items()})
        stream = io.BytesIO()
        with pa.ipc.new_stream(stream, table.schema) as writer:
            writer.write_table(table)
        rows, text = stream.getvalue(), plain_csv(table)
        part = rows + (text or b"")
        digest = hashlib.sha256(part).digest()
        places[key] = Place(at, len(rows), -1 if text is None else len(text), digest)
        data.append(part)
        at += len(part)
    store.write_atomic(path, *data, keep=False)
    return Piece(str(path), places)


class StoredTables(Mapping[str, pd.DataFrame]):
    """All tables of a report by key: `of_well` reads one well's rows, indexing a whole table."""

    def __init__(self, pieces: Mapping[str, Sequence[Piece]], whole: Mapping[str, pd.DataFrame]) -> None:
        """pieces: well id -> its files, in the order of the case; whole: checked tables that are in memory."""
        self._pieces, self.whole = dict(pieces), dict(whole)
        self._read: dict[str, pd.DataFrame] = {}
        known = {key for files in pieces.values() for piece in files for key in piece.places} | set(whole)
        self._keys = tuple(key for key in TABLES if key in known)

    @property
    def wells(self) -> tuple[str, ...]:
        """Well ids in the order of the case."""
        return tuple(self._pieces)

    def __len__(self) -> int:
        return len(self._keys)

    def __iter__(self) -> Iterator[str]:
        return iter(self._keys)

    def __contains__(self, key: object) -> bool:
        return key in self._keys

    def __getitem__(self, key: str) -> pd.DataFrame:
        found = self.whole.get(key, self._read.get(key))
        if found is not None:
            return found
        if key not in self._keys:
            raise KeyError(key)
        schema = self._schema(key)
        frame = _frame(pa.concat_tables([_rows(data).cast(schema) for data, _ in self._parts(key)]))
        self._read[key] = frame  # the page and the charts ask for the short ones, again and again
        return frame

    def of_well(self, key: str, well: str) -> pd.DataFrame:
        """Rows of one well of a table (an empty frame if the table or the well is absent)."""
        for data, _ in self._parts(key, [well] if well in self._pieces else []):
            return _frame(_rows(data))
        return pd.DataFrame(columns=list(TABLES[key].names))

    def _parts(
        self, key: str, wells: Sequence[str] | None = None
    ) -> Iterator[tuple[memoryview, bytes | None]]:
        """(rows, CSV where it is plain) of each well that has rows in the table, in the order of the case.

        Raises RunFailure where they are not as they were written.
        """
        for well in self._pieces if wells is None else wells:
            for piece in self._pieces[well]:
                place = piece.places.get(key)
                if place is None:
                    continue
                try:
                    with open(piece.path, "rb", buffering=0) as handle:
                        data = os.pread(handle.fileno(), place.rows + max(place.text, 0), place.start)
                except FileNotFoundError:
                    data = b""
                if hashlib.sha256(data).digest() != place.digest:
                    raise store.damaged(Path(piece.path))
                yield memoryview(data)[: place.rows], None if place.text < 0 else data[place.rows :]

    def _schema(self, key: str) -> pa.Schema:
        """The schema of the whole table: a column is without a type only where no well has a value."""
        columns, told = TABLES[key].columns, set()
        for data, _ in self._parts(key):
            told |= {field.name for field in _stream(data).schema if not pa.types.is_null(field.type)}
            if len(told) == len(columns):
                break
        example = {c.name: _EXAMPLES.get(c.kind, _TEXT if c.name in told else _NONE) for c in columns}
        return pa.Schema.from_pandas(pd.DataFrame(example), preserve_index=False)

    def write(self, key: str, stem: Path) -> list[Path]:
        """Write a table as STEM.csv and STEM.parquet, each whole or not at all; returns the paths."""
        places = [piece.places.get(key) for files in self._pieces.values() for piece in files]
        plain = all(place.text >= 0 for place in places if place is not None)
        csv, parquet = stem.with_suffix(".csv"), stem.with_suffix(".parquet")
        beside = csv.with_name(f".{csv.name}.part")
        with ParquetRows(parquet, self._schema(key)) as rows, open(beside, "wb") as text:
            text.write(csv_head(TABLES[key].names))
            for data, said in self._parts(key):
                table = _rows(data)
                rows.add_table(table)
                text.write(said if plain and said is not None else _quoted(table))
        os.replace(beside, csv)
        return [csv, parquet]


def _stream(data: memoryview) -> pa.RecordBatchReader:
    return pa.ipc.open_stream(pa.py_buffer(data))


def _rows(data: memoryview) -> pa.Table:
    return _stream(data).read_all()


def _frame(table: pa.Table) -> pd.DataFrame:
    """The rows as they were checked: whole numbers that may be missing."""
    frame: pd.DataFrame = table.to_pandas(types_mapper={pa.int64(): pd.Int64Dtype()}.get)
    return frame


def _quoted(table: pa.Table) -> bytes:
    """CSV as pandas writes it, with quotes where a text needs them."""
    said = _frame(table).to_csv(index=False, header=False, lineterminator="\n")
    return bytes(said.encode("utf-8"))
