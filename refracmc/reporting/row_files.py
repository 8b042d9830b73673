"""Tables too long for memory, written as their rows come: one Parquet file each, in groups of rows.

The bytes depend on the rows and their order alone, not on the pieces they came in.
"""

from __future__ import annotations

import contextlib
import io
from collections.abc import Iterable, Iterator
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from pyarrow.csv import WriteOptions, write_csv

from refracmc.csv_text import BEGINS
from refracmc.whole_file import whole_file

GROUP_ROWS = 1 << 20
"""Rows of a group of a Parquet file: the default of Arrow, so that a short table is the file pandas writes."""


def csv_head(names: Iterable[object]) -> bytes:
    """First line of a CSV file."""
    return (",".join(map(str, names)) + "\n").encode("utf-8")


def plain_csv(table: pa.Table) -> bytes | None:
    """Rows as CSV without quotes, by Arrow; None where a text holds a comma, quote or line break."""
    stream = io.BytesIO()
    columns = [
        pc.replace_substring_regex(column, pattern=BEGINS, replacement=r"'\1")
        if pa.types.is_string(column.type) or pa.types.is_large_string(column.type)
        else column
        for column in table.columns
    ]
    table = pa.table(columns, names=table.column_names)
    try:
        write_csv(table, stream, WriteOptions(include_header=False, quoting_style="none"))
    except pa.ArrowInvalid:
        return None
    return stream.getvalue()


class ParquetRows:
    """Rows for a Parquet file, added piece by piece and written in groups."""

    def __init__(self, writer: pq.ParquetWriter) -> None:
        self._writer = writer
        self._pieces: list[pa.Table] = []
        self._rows = 0

    def add(self, frame: pd.DataFrame) -> None:
        """Append the rows of a table with the columns of the schema."""
        self.add_table(pa.Table.from_pandas(frame, schema=self._writer.schema, preserve_index=False))

    def add_table(self, table: pa.Table) -> None:
        """Append the rows of an Arrow table with the columns of the schema."""
        self._pieces.append(table.cast(self._writer.schema))
        self._rows += len(table)
        while self._rows >= GROUP_ROWS:
            self._write(GROUP_ROWS)

    def write_rest(self) -> None:
        """Write the rows that do not fill a group."""
        if self._rows:
            self._write(self._rows)

    def _write(self, rows: int) -> None:
        held = pa.concat_tables(self._pieces)
        # one piece a column: the writer's pages would follow the joints of pieces otherwise
        self._writer.write_table(held.slice(0, rows).combine_chunks(), row_group_size=GROUP_ROWS)
        self._pieces, self._rows = [held.slice(rows)], self._rows - rows


@contextlib.contextmanager
def parquet_rows(path: Path, schema: pa.Schema) -> Iterator[ParquetRows]:
    """A Parquet file that grows piece by piece; it is in its place when closed without a fault, whole."""
    with whole_file(path, keep=True) as file:
        writer = pq.ParquetWriter(file, schema, compression="zstd")
        try:
            rows = ParquetRows(writer)
            yield rows
            rows.write_rest()
            writer.close()
        finally:
            if writer.is_open:
                with contextlib.suppress(Exception):  # what went wrong first is what is told
                    writer.close()
