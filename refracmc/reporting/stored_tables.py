"""Tables of many wells on disk, well by well, so that memory holds those of one well and not of all.

Every well has a few files in the work folder, each with its part of several tables: the rows as an Arrow stream, then
their text as CSV where that is plain. A whole table is put together from the parts in the order of the wells, so that
its bytes depend neither on who made the parts nor when.
"""

from __future__ import annotations

import io
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import pyarrow as pa

from refracmc.engine import store
from refracmc.reporting.columns import TABLES
from refracmc.reporting.row_files import ParquetRows, csv_head, plain_csv

_ASKED_WHOLE = ("decision", "timing", "tornado", "cleaning")
"""Short tables that the page and the charts ask for as a whole: read once."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Parts of a well's tables in one file: table key -> (start, length of the rows, length of the CSV; -1: not
    plain), all in bytes."""

    path: str
    places: Mapping[str, tuple[int, int, int]]


def write_piece(folder: Path, name: str, tables: Mapping[str, pd.DataFrame]) -> Piece:
    """Keep the checked tables of a well in the work folder; `name` is the file's."""
    path = folder / store.PIECES / name
    path.parent.mkdir(exist_ok=True)
    data: list[bytes] = []
    places, at = {}, 0
    for key, frame in tables.items():
        table = pa.Table.from_pandas(frame, preserve_index=False)
        stream = io.BytesIO()
        with pa.ipc.new_stream(stream, table.schema) as writer:
            writer.write_table(table)
        rows, text = stream.getvalue(), plain_csv(table)
        places[key] = (at, len(rows), -1 if text is None else len(text))
        data += [rows, text or b""]
        at += len(rows) + len(text or b"")
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
        tables = [_rows(data) for data, _ in self._parts(key)]
        frame: pd.DataFrame = pa.concat_tables(tables, promote_options="permissive").to_pandas()
        if key in _ASKED_WHOLE:
            self._read[key] = frame
        return frame

    def of_well(self, key: str, well: str) -> pd.DataFrame:
        """Rows of one well of a table (an empty frame if the table or the well is absent)."""
        for data, _ in self._parts(key, [well] if well in self._pieces else []):
            frame: pd.DataFrame = _rows(data).to_pandas()
            return frame
        return pd.DataFrame(columns=list(TABLES[key].names))

    def _parts(self, key: str, wells: Sequence[str] | None = None) -> Iterator[tuple[memoryview, memoryview]]:
        """(rows, CSV) of each well that has rows in the table, in the order of the case."""
        for well in self._pieces if wells is None else wells:
            for piece in self._pieces[well]:
                if key not in piece.places:
                    continue
                start, rows, text = piece.places[key]
                length = rows + max(text, 0)
                with open(piece.path, "rb", buffering=0) as handle:
                    data = memoryview(os.pread(handle.fileno(), length, start))
                if len(data) != length:
                    raise store.damaged(Path(piece.path))
                yield data[:rows], data[rows:]

    def _schema(self, key: str) -> pa.Schema:
        """The schema of the whole table: a column is without a type only where no well has a value."""
        chosen: dict[str, pd.Series] = {}
        for data, _ in self._parts(key):
            table = _rows(data)
            told = [name for name in table.column_names if table.column(name).null_count < len(table)]
            if not chosen or any(len(chosen[name].dropna()) == 0 for name in told):
                frame = table.to_pandas()
                for name in frame.columns:
                    if name not in chosen or (name in told and chosen[name].isna().all()):
                        values = frame[name].dropna() if name in told else frame[name]
                        chosen[name] = values.iloc[:1].reset_index(drop=True)
            if all(not series.isna().all() for series in chosen.values()):
                break
        return pa.Schema.from_pandas(pd.DataFrame(chosen), preserve_index=False)

    def write(self, key: str, stem: Path) -> list[Path]:
        """Write a table as STEM.csv and STEM.parquet, each whole or not at all; returns the paths."""
        plain = all(
            piece.places[key][2] >= 0
            for files in self._pieces.values()
            for piece in files
            if key in piece.places
        )
        csv, parquet = stem.with_suffix(".csv"), stem.with_suffix(".parquet")
        beside = csv.with_name(f".{csv.name}.part")
        with ParquetRows(parquet, self._schema(key)) as rows, open(beside, "wb") as text:
            text.write(csv_head(TABLES[key].names))
            for data, said in self._parts(key):
                table = _rows(data)
                rows.add_table(table)
                text.write(said if plain else _quoted(table))
        os.replace(beside, csv)
        return [csv, parquet]


def _rows(data: memoryview) -> pa.Table:
    return pa.ipc.open_stream(pa.py_buffer(data)).read_all()


def _quoted(table: pa.Table) -> bytes:
    """CSV as pandas writes it, with quotes where a text needs them."""
    said = table.to_pandas().to_csv(index=False, header=False, lineterminator="\n")
    return bytes(said.encode("utf-8"))
