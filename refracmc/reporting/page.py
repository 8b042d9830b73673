"""Everything a report writes: summary, tables, charts and the self-contained page, in one call."""

from __future__ import annotations

import io
from pathlib import Path

import pandas as pd
import pyarrow as pa

from refracmc.reporting.evidence import Drawn
from refracmc.reporting.files import write_whole
from refracmc.reporting.parts import render_page
from refracmc.reporting.row_files import csv_head, plain_csv
from refracmc.reporting.sections import all_sections
from refracmc.reporting.stored_tables import StoredTables
from refracmc.reporting.tables import ReportData
from refracmc.reporting.words import money_basis


def page_html(data: ReportData, drawn: Drawn) -> str:
    """The page as HTML text. ``drawn``: SVG texts by (chart key, well id), empty: no charts."""
    facts = data.facts
    title = f"{facts.title or facts.name}: refracture, when and how, or leave"
    count = len(data.wells)
    subtitle = (
        f"Case {facts.name}, {count} well{'' if count == 1 else 's'}, {facts.trials:,} trials a strategy, "
        f"{money_basis(facts)}. ± is one standard error."
    )
    return render_page(title, subtitle, all_sections(data, drawn))


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """Table as CSV: numbers by their shortest exact text, missing values empty, text quoted only where needed.

    Written by Arrow, ten times faster than by pandas, unless a text holds a comma, quote or line break.
    """
    rows = plain_csv(pa.Table.from_pandas(frame, preserve_index=False))
    if rows is None:
        return bytes(frame.to_csv(index=False, lineterminator="\n").encode("utf-8"))
    return csv_head(frame.columns) + rows


def write_table(frame: pd.DataFrame, stem: Path) -> list[Path]:
    """Write one table as STEM.csv and STEM.parquet, each whole or not at all; returns the paths."""
    csv, parquet = stem.with_suffix(".csv"), stem.with_suffix(".parquet")
    write_whole(csv, csv_bytes(frame))
    stream = io.BytesIO()
    frame.to_parquet(stream, index=False, engine="pyarrow", compression="zstd")
    write_whole(parquet, stream.getvalue())
    return [csv, parquet]


def write_tables(data: ReportData, folder: Path) -> list[Path]:
    """Write ``summary.csv/.parquet`` into ``folder`` and all other tables into ``folder/tables``."""
    (folder / "tables").mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    tables = data.tables
    for key in tables:
        stem = folder / key if key == "summary" else folder / "tables" / key
        if isinstance(tables, StoredTables) and key not in tables.whole:
            written += tables.write(key, stem)
        else:
            written += write_table(tables[key], stem)
    return written


def write_report(data: ReportData, folder: Path, charts: bool = True, workers: int = 1) -> list[Path]:
    """Write tables, charts (if asked for) and ``report.html`` into ``folder``; returns the paths written.

    Every file is written beside its place and renamed when whole. Same data, same bytes, with any number of
    worker processes (they only draw).
    """
    folder = Path(folder)
    written: list[Path] = []
    drawn: Drawn = {}

    def tables() -> None:
        written.extend(write_tables(data, folder))

    if not charts:
        tables()
    else:
        from refracmc.reporting.charts import draw_charts

        drawn = draw_charts(data, folder / "charts", workers, tables)
        written += sorted((folder / "charts").glob("*.[ps][nv]g"))
    write_whole(folder / "report.html", page_html(data, drawn).encode("utf-8"))
    return [*written, folder / "report.html"]
