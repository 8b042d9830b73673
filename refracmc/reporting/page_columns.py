"""Columns of the tables of the page: a heading, and how its cell is written from a row of the report's tables."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from refracmc.reporting.captions import spoken, strategy_words
from refracmc.reporting.page import Table
from refracmc.reporting.rounding import MILLION, MISSING, fixed, percent, share_done, to_error, with_error
from refracmc.reporting.tables import ReportData

Row = Mapping[Any, Any]
PageColumn = tuple[str, Callable[[Row], str]]
PERCENTS = ("p90", "p50", "p10")


def million(value: float, error: float) -> str:
    """US$ as million with its error."""
    return with_error(float(value), float(error), MILLION)


def text(heading: str, name: str) -> PageColumn:
    """The text as it stands; a missing one is "-"."""
    return heading, lambda row: MISSING if pd.isna(row[name]) else str(row[name])


def words(heading: str, name: str) -> PageColumn:
    """A name (order, part, group) in words."""
    return heading, lambda row: spoken(str(row[name]))


def strategy(heading: str, name: str = "strategy") -> PageColumn:
    """A strategy in words; a missing one is "-"."""
    return heading, lambda row: MISSING if pd.isna(row[name]) else strategy_words(str(row[name]))


def amount(heading: str, value: str, error: str, scale: float = MILLION) -> PageColumn:
    """A mean and its standard error."""
    return heading, lambda row: with_error(float(row[value]), float(row[error]), scale)


def percentiles(form: str, error: str, scale: float = MILLION) -> list[PageColumn]:
    """P90, P50 and P10 to the digits that the error of the mean supports; form: of the names, like ``{}_usd``."""

    def column(percent: str) -> PageColumn:
        name = form.format(percent)
        return percent.upper(), lambda row: to_error(float(row[name]), float(row[error]), scale)

    return [column(percent) for percent in PERCENTS]


def tens(heading: str, form: str) -> list[PageColumn]:
    """P90, P50 and P10 to the next ten, the first under a heading of its own."""

    def column(percent: str, place: int) -> PageColumn:
        name = form.format(percent)
        head = f"{heading} {percent.upper()}" if place == 0 else percent.upper()
        return head, lambda row: to_ten(row[name])

    return [column(percent, place) for place, percent in enumerate(PERCENTS)]


def to_ten(value: float) -> str:
    """A number to the next ten."""
    return fixed(round(float(value), -1), 0)


def number(heading: str, name: str, decimals: int) -> PageColumn:
    """A number at a decimal place; a missing one is "-"."""
    return heading, lambda row: fixed(float(row[name]) if pd.notna(row[name]) else math.nan, decimals)


def share(heading: str, name: str, error: str) -> PageColumn:
    """A share as percent with its standard error."""
    return heading, lambda row: percent(float(row[name]), float(row[error]))


def whole_percent(heading: str, name: str) -> PageColumn:
    """A share as percent to a tenth, without an error."""
    return heading, lambda row: percent(float(row[name]))


def carried_out(heading: str) -> PageColumn:
    """Share of trials in which the job is carried out."""
    return heading, lambda row: share_done(float(row["executed_share"]))


def table_of(rows: pd.DataFrame, caption: str, columns: Sequence[PageColumn], **how: Any) -> Table:
    """One row of the page's table for each row; how: further fields of :class:`~refracmc.reporting.page.Table`."""
    head = tuple(heading for heading, _ in columns)
    return Table(
        caption,
        head,
        tuple(tuple(cell(row) for _, cell in columns) for row in rows.to_dict("records")),
        **how,
    )


@dataclass(frozen=True, slots=True)
class WellTable:
    """A table of one well on the page: the rows of the report's table ``key`` under these columns."""

    key: str
    caption: str
    columns: tuple[PageColumn, ...]
    left: int = 1
    collapsed: bool = False
    note: str = ""

    def __call__(self, data: ReportData, well: str) -> Table | None:
        """The table of a well, None where it has no rows."""
        rows = data.of_well(self.key, well)
        if rows.empty:
            return None
        how = {"left": self.left, "collapsed": self.collapsed, "note": self.note}
        return table_of(rows, self.caption, self.columns, **how)
