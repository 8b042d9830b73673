"""Everything a report writes: summary, tables, charts and the self-contained page, in one call."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd
import pyarrow as pa

from refracmc.csv_text import csv_text
from refracmc.reporting.captions import GROSS, OWNER, error_words, money_basis
from refracmc.reporting.page import MOST_WELLS, DrawnChart, Note, Section, render_page
from refracmc.reporting.page_decision import decision_section
from refracmc.reporting.page_inputs import inputs_section
from refracmc.reporting.page_method import cautions_section, method_section
from refracmc.reporting.page_well import well_section
from refracmc.reporting.row_files import csv_head, plain_csv
from refracmc.reporting.tables import ReportData
from refracmc.reporting.tables_by_well import TablesByWell
from refracmc.whole_file import write_whole


def page_sections(data: ReportData, charts: Mapping[str, Sequence[DrawnChart]]) -> list[Section]:
    """All sections of the page in their order; charts: by well, none for a page without them."""
    wells = data.wells
    sections: list[Section | None] = [decision_section(data)]
    for number, well in enumerate(wells[:MOST_WELLS], start=1):
        sections.append(well_section(data, charts.get(well, ()), well, f"well-{number}"))
    if len(wells) > MOST_WELLS:
        others = f"Charts and tables of the other {len(wells) - MOST_WELLS} wells are in charts/ and tables/."
        sections.append(Section("Evidence: further wells", "further", (Note((others,)),)))
    sections += [inputs_section(data), method_section(data), cautions_section()]
    return [section for section in sections if section is not None]


def page_html(data: ReportData, charts: Mapping[str, Sequence[DrawnChart]]) -> str:
    """The page as HTML text; charts: by well, none for a page without them."""
    facts = data.facts
    count = len(data.wells)
    subtitle = (
        f"Case {facts.name}, {count} well{'' if count == 1 else 's'}, {facts.trials:,} trials a strategy, "
        f"{money_basis(facts)}. {OWNER}; {GROSS}. {error_words(facts)}"
    )
    title = f"{facts.title or facts.name}: refracture, when and how, or leave"
    return render_page(title, subtitle, page_sections(data, charts))


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """Table as CSV: numbers by their shortest exact text, missing values empty, text quoted only where needed.

    No text acts as a formula. Written by Arrow, ten times faster than by pandas, unless a text holds a comma, quote or
    line break.
    """
    rows = plain_csv(pa.Table.from_pandas(frame, preserve_index=False))
    if rows is None:
        return csv_text(frame)
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
        if isinstance(tables, TablesByWell) and key not in tables.whole:
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
    drawn: Mapping[str, Sequence[DrawnChart]] = {}
    if charts:
        from refracmc.reporting.charts import draw_charts  # a report without charts does not load Matplotlib

        drawn = draw_charts(
            data, folder / "charts", workers, lambda: written.extend(write_tables(data, folder))
        )
        written += sorted((folder / "charts").glob("*.[ps][nv]g"))
    else:
        written += write_tables(data, folder)
    write_whole(folder / "report.html", page_html(data, drawn).encode("utf-8"))
    return [*written, folder / "report.html"]
