"""Everything a report writes: summary, tables, charts and the self-contained page, in one call."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd
import pyarrow as pa

from refracmc.csv_text import csv_text
from refracmc.reporting.captions import GROSS, OWNER, error_words, money_basis
from refracmc.reporting.files import file_stems
from refracmc.reporting.page import MOST_WELLS, DrawnChart, Section, render_page
from refracmc.reporting.page_all_wells import sections_of_all_wells
from refracmc.reporting.page_decision import decision_section
from refracmc.reporting.page_inputs import inputs_section
from refracmc.reporting.page_method import cautions_section, method_section
from refracmc.reporting.page_scenarios import scenario_section
from refracmc.reporting.page_well import well_section
from refracmc.reporting.row_files import csv_head, plain_csv
from refracmc.reporting.tables import ReportData
from refracmc.reporting.tables_by_well import TablesByWell
from refracmc.reporting.well_pages import page_links, write_wells
from refracmc.whole_file import write_whole


def page_sections(data: ReportData, charts: Mapping[str, Sequence[DrawnChart]]) -> list[Section]:
    """All sections of the page of few wells in their order; charts: by well, none for a page without them."""
    stems = file_stems(data.wells)
    sections: list[Section | None] = [decision_section(data)]
    for number, well in enumerate(data.wells, start=1):
        sections.append(well_section(data, charts.get(well, ()), well, f"well-{number}", stems[well]))
    sections += [scenario_section(data), inputs_section(data), method_section(data), cautions_section()]
    return [section for section in sections if section is not None]


def page_html(data: ReportData, charts: Mapping[str, Sequence[DrawnChart]]) -> str:
    """The page of few wells as HTML text; charts: by well, none for a page without them."""
    return _page(data, page_sections(data, charts))


def _page(data: ReportData, sections: Sequence[Section]) -> str:
    facts = data.facts
    count = len(data.wells)
    subtitle = (
        f"Case {facts.name}, {count} well{'' if count == 1 else 's'}, {facts.trials:,} trials a strategy, "
        f"{money_basis(facts)}. {OWNER}; {GROSS}. {error_words(facts)}"
    )
    return render_page(f"{facts.title or facts.name}: refracture, when and how, or leave", subtitle, sections)


def all_wells_html(
    data: ReportData, charts: Sequence[DrawnChart] = (), further: Sequence[Section] = ()
) -> str:
    """The page of many wells as HTML text. charts: those over all wells; further: sections that follow the totals."""
    ends = (inputs_section(data, shared=True), method_section(data, over_wells=True), cautions_section())
    scenarios = scenario_section(data)
    further = [*further, *([scenarios] if scenarios else [])]
    sections = sections_of_all_wells(data, charts, page_links(data), further)
    return _page(data, [*sections, *(section for section in ends if section is not None)])


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

    Of many wells ``report.html`` is of all together, and each has a page of its own in ``wells/``. Every file is
    written beside its place and renamed when whole. Same data, same bytes, with any number of worker processes (they
    draw, and write the pages of wells).
    """
    folder = Path(folder)
    written: list[Path] = []

    def write_page(html: str) -> None:
        write_whole(folder / "report.html", html.encode("utf-8"))
        written.append(folder / "report.html")

    if len(data.wells) > MOST_WELLS:

        def tables_and_page() -> None:
            written.extend(write_tables(data, folder))
            drawn: Sequence[DrawnChart] = ()
            if charts:
                from refracmc.reporting.charts_all_wells import draw_all_wells

                drawn = draw_all_wells(data, folder / "charts")
            write_page(all_wells_html(data, drawn))

        written += write_wells(data, folder, charts, workers, tables_and_page)
    elif charts:
        from refracmc.reporting.charts import draw_charts  # a report without charts does not load Matplotlib

        by_well = draw_charts(
            data, folder / "charts", workers, lambda: written.extend(write_tables(data, folder))
        )
        write_page(page_html(data, by_well))
    else:
        written += write_tables(data, folder)
        write_page(page_html(data, {}))
    return [*written, *sorted((folder / "charts").glob("*.[ps][nv]g"))]
