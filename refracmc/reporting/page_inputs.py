"""The section of inputs on the page: what the case states, what is left at its default, which months were used."""

from __future__ import annotations

import pandas as pd

from refracmc.reporting.page import Block, Note, Section, Table
from refracmc.reporting.page_columns import table_of, text
from refracmc.reporting.tables import ReportData

_HEAD = ("Well", "Input", "Unit", "Value or distribution", "Source", "Assumption")


def input_table(title: str, rows: pd.DataFrame, wells: int, collapsed: bool, shared: bool = False) -> Table:
    """Rows of the same input together, wells of one and the same distribution named once.

    Well: "all" shares one value or one draw; "each" has a draw of its own from the same distribution. shared: leave out
    what differs by well.
    """
    holders: dict[tuple[str, ...], list[str]] = {}
    for well, *described, assumed, _ in rows.itertuples(index=False):
        key = (*map(str, described), "yes" if assumed else "no")
        holders.setdefault(key, []).append("all" if pd.isna(well) else str(well))
    place = {name: k for k, name in enumerate(dict.fromkeys(key[0] for key in holders))}
    body = tuple(
        (well, *key)
        for key, named in sorted(holders.items(), key=lambda item: place[item[0][0]])
        for well in (["each"] if 1 < wells == len(named) else named)
        if not shared or well in ("all", "each")
    )
    return Table(title, _HEAD, body, left=6, collapsed=collapsed)


def asked_table(data: ReportData, shared: bool = False) -> list[Block]:
    """What the verdicts ask for, with its source; shared: as in `input_table`."""
    if "inputs" not in data.tables:
        return []
    rows = data.tables["inputs"]
    rows = rows[rows["variable"].astype(str).str.startswith("decision.")]
    caption = "What the verdicts ask for: judgement, section [decision] of the case"
    return [input_table(caption, rows, len(data.wells), False, shared)] if len(rows) else []


def _assumptions(data: ReportData) -> Note:
    """How many inputs are assumptions, of all and of those that move the value."""
    rows = data.tables["inputs"]
    sentences = [f"{rows['is_assumption'].sum()} of the {len(rows)} inputs are assumptions without a source."]
    assumed = {str(v): bool(f) for v, f in zip(rows["variable"], rows["is_assumption"], strict=True)}
    moving = data.tables["tornado"]["input"].unique() if "tornado" in data.tables else ()
    known = [assumed[str(name)] for name in moving if str(name) in assumed]
    if known:
        sentences.append(
            f"Of the {len(known)} inputs in the charts of single inputs, those that move the value, {sum(known)} are "
            "assumptions."
        )
    return Note(tuple(sentences))


def inputs_section(data: ReportData, shared: bool = False) -> Section | None:
    """Inputs open where the case states few, defaults folded, months of the history; None without such tables.

    shared: leave out what differs by well, and the months.
    """
    blocks: list[Block] = []
    if "inputs" in data.tables:
        rows = data.tables["inputs"]
        stated, wells = rows["stated"].to_numpy(dtype=bool), rows["well"].dropna().nunique()
        blocks.append(_assumptions(data))
        for title, part, collapsed in (
            ("Inputs that the case states", rows[stated], int(stated.sum()) > 60),
            ("Inputs left at their defaults", rows[~stated], True),
        ):
            if len(part):
                blocks.append(input_table(title, part, wells, collapsed, shared))
        if shared:
            blocks.append(
                Note(("Inputs that differ by well, and the months of the histories, stand on their pages.",))
            )
    if "cleaning" in data.tables and not shared:
        columns = [
            text("Well", "well"),
            text("Months are", "status"),
            text("Why", "reason"),
            text("Months", "months"),
            text("First", "first_month"),
            text("Last", "last_month"),
        ]
        title = "Months of the history used and dropped"
        blocks.append(table_of(data.tables["cleaning"], title, columns, left=3))
    return Section("Inputs and assumptions", "inputs", tuple(blocks)) if blocks else None
