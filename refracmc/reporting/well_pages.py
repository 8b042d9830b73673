"""A page for each well of a case of many: what the one page of a small case says of it, in a file beside the others."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from refracmc.engine.executors import run_tasks
from refracmc.reporting.captions import GROSS, OWNER, error_words, money_basis
from refracmc.reporting.files import file_stems
from refracmc.reporting.page import DrawnChart, render_page
from refracmc.reporting.page_decision import decision_section
from refracmc.reporting.page_inputs import inputs_section
from refracmc.reporting.page_method import cautions_section, method_section
from refracmc.reporting.page_well import well_section
from refracmc.reporting.tables import ReportData
from refracmc.whole_file import write_whole

FOLDER, MAIN_PAGE = "wells", "report.html"
ABOVE = "../"
"""The folder of the run as seen from a page of a well."""


def page_links(data: ReportData) -> Mapping[str, str]:
    """Well id -> address of its page as seen from the page of all wells."""
    return {well: f"{FOLDER}/{stem}.html" for well, stem in file_stems(data.wells).items()}


def well_page(data: ReportData, charts: Sequence[DrawnChart], well: str) -> str:
    """The page of one well as HTML text; charts: its own, none for a page without them."""
    own, stem = data.only(well), file_stems(data.wells)[well]
    facts = data.facts
    subtitle = (
        f"Case {facts.name}, one of {len(data.wells)} wells, {facts.trials:,} trials a strategy, "
        f"{money_basis(facts)}. {OWNER}; {GROSS}. {error_words(facts)}"
    )
    sections = [
        decision_section(own),
        well_section(own, charts, well, "well-1", stem, ABOVE),
        inputs_section(own),
        method_section(own, above=ABOVE),
        cautions_section(),
    ]
    back = f"{ABOVE}{MAIN_PAGE}", f"← All {len(data.wells)} wells"
    return render_page(
        f"{well}: refracture, when and how, or leave", subtitle, [s for s in sections if s], back
    )


def _write_well(state: tuple[ReportData, Path, bool], well: str) -> None:
    """Charts and page of one well."""
    data, folder, charts = state
    drawn: Sequence[DrawnChart] = ()
    if charts:
        from refracmc.reporting.charts import draw_well  # a report without charts does not load Matplotlib

        drawn = draw_well(data, well, folder / "charts")
    path = folder / page_links(data)[well]
    write_whole(path, well_page(data, drawn, well).encode("utf-8"))


def write_wells(
    data: ReportData, folder: Path, charts: bool, workers: int, beside: Callable[[], object]
) -> list[Path]:
    """Write the charts and the page of every well; returns the paths of the pages.

    beside: called once, in this process, while workers write. A well's charts are let go of with its page.
    """
    (folder / FOLDER).mkdir(parents=True, exist_ok=True)
    if charts:
        (folder / "charts").mkdir(exist_ok=True)
    done = run_tasks(_write_well, (data, folder, charts), data.wells, workers)
    begun = False
    for _ in done:
        if not begun:
            beside()
        begun = True
    return [folder / link for link in page_links(data).values()]
