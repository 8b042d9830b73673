"""The files of a portfolio's review: tables as CSV, the page, and what they say in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from refracmc.csv_text import csv_text
from refracmc.portfolio.review import Review, Row
from refracmc.reporting.captions import usd_wi
from refracmc.reporting.columns_portfolio import PORTFOLIO_TABLES
from refracmc.reporting.rounding import MILLION, significant, to_error, with_error
from refracmc.sampling import estimators
from refracmc.whole_file import write_whole


def write_portfolio(
    review: Review, rows: Mapping[str, Sequence[Row]], folder: Path
) -> dict[str, list[dict[str, Any]]]:
    """Write every table as CSV, each whole or not at all; the tables as plain data, missing values None."""
    frames = {key: portfolio_frame(key, its) for key, its in rows.items()}
    for key, frame in frames.items():
        write_whole(folder / f"{key}.csv", csv_text(frame))
    return {key: [_plain(row) for row in its] for key, its in rows.items()}


def portfolio_frame(key: str, rows: Sequence[Row]) -> pd.DataFrame:
    """A table with its columns in the order of their records. KeyError where a row lacks one."""
    spec = PORTFOLIO_TABLES[key]
    columns: dict[str, Any] = {}
    for column in spec.columns:
        values = [row[column.name] for row in rows]
        if column.kind == "integer":
            columns[column.name] = pd.array([None if v is None else int(v) for v in values], dtype="Int64")
        elif column.kind == "number":
            columns[column.name] = pd.array([math.nan if v is None else v for v in values], dtype="float64")
        else:
            columns[column.name] = values
    return pd.DataFrame(columns)


def _plain(row: Row) -> dict[str, Any]:
    """A row for JSON, which knows no NaN."""
    return {
        name: None if isinstance(value, float) and not math.isfinite(value) else value
        for name, value in row.items()
    }


def summed(review: Review) -> dict[str, float]:
    """Mean, percentiles and errors of the summed trials of the choice [US$ WI]."""
    found = estimators.summarise(review.own.outcomes, review.run.sizes, review.run.design)
    return {name: float(value) for name, value in found.items() if value.ndim == 0}


def portfolio_words(review: Review, rows: Mapping[str, Sequence[Row]]) -> str:
    """What was chosen, what it costs and returns, how far from the best, and what more would be worth."""
    own, total = review.own, summed(review)
    front = next(row for row in rows["front"] if row["is_choice"])
    percentiles = ", ".join(
        f"{name.upper()} {to_error(total[name], total[f'{name}_se'], MILLION, 1.0)}"
        for name in ("p90", "p50", "p10")
    )
    lines = [
        f"{len(own.chosen)} of {len(review.jobs.owners)} chosen: capital "
        f"{usd_wi(significant(front['capital_usd'] / MILLION))}, value "
        f"{usd_wi(with_error(total['mean'], total['se'], MILLION))} ({percentiles}); at most {own.gap:.2%} below the "
        "best choice"
    ]
    lines += [
        f"  {row['month']} {row['well']}: {row['order']}, {usd_wi(significant(row['mean_usd'] / MILLION))}"
        for row in rows["portfolio"]
        if row["chosen"]
    ]
    lines += [
        f"  {row['what']}: {usd_wi(significant(row['gain_usd'] / MILLION))} more" for row in rows["worth"]
    ]
    return "\n".join(lines)
