"""The tables of a case as its wells made them: every well's part as compact Arrow columns, texts held once.

A whole table is written part by part in the order of the wells, so that its bytes do not depend on who made the parts,
nor when, and a text of many wells is never held twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa

from refracmc.csv_text import csv_text
from refracmc.reporting.columns import TABLES, TableSpec
from refracmc.reporting.row_files import csv_head, parquet_rows, plain_csv
from refracmc.whole_file import whole_file

_EXAMPLES = {"number": pd.Series([0.0]), "integer": pd.Series([0], dtype="Int64"), "flag": pd.Series([True])}
_TEXT, _NONE = (pd.Series(np.array([value], dtype=object)) for value in ("", None))
Part = Mapping[str, pa.Table]
"""Tables of one well by key."""


def is_text(kind: pa.DataType) -> bool:
    """Whether an Arrow type is one of texts, each in its row."""
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind))


def frame_of(spec: TableSpec, table: pa.Table) -> pd.DataFrame:
    """A checked table for the charts and the page."""
    return _frame(_written(table, _schema_of(spec, table.schema)))


def _schema_of(spec: TableSpec, fields: Iterable[pa.Field]) -> pa.Schema:
    """Types of a whole table: a column is without one only where no part of it has a value."""
    valued = {field.name for field in fields if not pa.types.is_null(field.type)}
    example = {c.name: _EXAMPLES.get(c.kind, _TEXT if c.name in valued else _NONE) for c in spec.columns}
    return pa.Schema.from_pandas(pd.DataFrame(example), preserve_index=False)


class TablesByWell(Mapping[str, pd.DataFrame]):
    """All tables of a report by key: `of_well` gives one well's rows, indexing a whole table."""

    def __init__(self, parts: Mapping[str, Part], whole: Mapping[str, pd.DataFrame]) -> None:
        """parts: well id -> its tables, in the order of the case; whole: checked tables that belong to no well."""
        self._parts, self.whole = dict(parts), dict(whole)
        self._read: dict[str, pd.DataFrame] = {}
        self._schemas: dict[str, pa.Schema] = {}
        known = {key for part in self._parts.values() for key in part} | set(whole)
        self._keys = tuple(key for key in TABLES if key in known)

    @property
    def wells(self) -> tuple[str, ...]:
        """Well ids in the order of the case."""
        return tuple(self._parts)

    def __len__(self) -> int:
        return len(self._keys)

    def __iter__(self) -> Iterator[str]:
        return iter(self._keys)

    def __contains__(self, key: object) -> bool:
        return key in self._keys

    def __getitem__(self, key: str) -> pd.DataFrame:
        if key in self.whole:
            return self.whole[key]
        if key not in self._keys:
            raise KeyError(key)
        if key not in self._read:  # the page and the charts ask for the short ones, again and again
            self._read[key] = _frame(pa.concat_tables(self._of_key(key)))
        return self._read[key]

    def only(self, well: str) -> TablesByWell:
        """The tables of one well, with the rows of its inputs and of those that all wells share."""
        inputs = self.whole["inputs"]
        its = inputs[(inputs["well"] == well) | inputs["well"].isna()].reset_index(drop=True)
        return TablesByWell({well: self._parts[well]}, {"inputs": its})

    def of_well(self, key: str, well: str) -> pd.DataFrame:
        """Rows of one well of a table (an empty frame if the table or the well is absent)."""
        part = self._parts.get(well, {})
        if key not in part:
            return pd.DataFrame(columns=list(TABLES[key].names))
        return _frame(_written(part[key], self._schema(key)))

    def _of_key(self, key: str) -> Iterator[pa.Table]:
        """The table of each well that has rows in it, in the order of the case, as it is written."""
        schema = self._schema(key)
        return (_written(part[key], schema) for part in self._parts.values() if key in part)

    def _schema(self, key: str) -> pa.Schema:
        if key not in self._schemas:
            parts = [part[key] for part in self._parts.values() if key in part]
            fields = [field for table in parts for field in table.schema]
            self._schemas[key] = _schema_of(TABLES[key], fields)
        return self._schemas[key]

    def write(self, key: str, stem: Path) -> list[Path]:
        """Write a table as STEM.csv and STEM.parquet, each whole or not at all; returns the paths."""
        csv, parquet = stem.with_suffix(".csv"), stem.with_suffix(".parquet")
        with parquet_rows(parquet, self._schema(key)) as rows:
            for table in self._of_key(key):
                rows.add_table(table)
        with whole_file(csv) as file:
            for text_of in (plain_csv, _quoted):  # the first one takes no text that needs quotes
                file.seek(0)
                file.truncate()
                file.write(csv_head(TABLES[key].names))
                texts = (text_of(table) for table in self._of_key(key))
                if all(text is not None and file.write(text) >= 0 for text in texts):
                    break
        return [csv, parquet]


def _written(table: pa.Table, schema: pa.Schema) -> pa.Table:
    """A part with its texts in every row, as the whole table has them."""
    columns = [c.cast(c.type.value_type) if pa.types.is_dictionary(c.type) else c for c in table.columns]
    return pa.table(columns, names=table.column_names).cast(schema)


def _frame(table: pa.Table) -> pd.DataFrame:
    """The rows as they were checked: whole numbers that may be missing."""
    frame: pd.DataFrame = table.to_pandas(types_mapper={pa.int64(): pd.Int64Dtype()}.get)
    return frame


def _quoted(table: pa.Table) -> bytes:
    """CSV as pandas writes it, with quotes where a text needs them."""
    return csv_text(_frame(table), header=False)
