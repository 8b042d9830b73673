"""The files of a portfolio's review: tables as CSV, the page, and what they say in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from refracmc.csv_text import csv_text
from refracmc.portfolio.review import Review, Row
from refracmc.reporting.captions import OWNER, PERCENTILES, usd_wi
from refracmc.reporting.charts_portfolio import drawn_charts
from refracmc.reporting.columns_portfolio import PORTFOLIO_TABLES
from refracmc.reporting.page import render_page
from refracmc.reporting.page_method import cautions_section
from refracmc.reporting.page_portfolio import PortfolioFacts, portfolio_sections
from refracmc.reporting.rounding import MILLION, significant, to_error, with_error
from refracmc.reporting.style import drawing
from refracmc.sampling import estimators
from refracmc.whole_file import write_whole


def write_portfolio(
    review: Review, rows: Mapping[str, Sequence[Row]], folder: Path
) -> dict[str, list[dict[str, Any]]]:
    """Write every table as CSV, each whole or not at all; the tables as plain data, missing values None."""
    frames = {key: portfolio_frame(key, its) for key, its in rows.items()}
    page = page_html(review, rows).encode("utf-8")
    for key, frame in frames.items():
        write_whole(folder / f"{key}.csv", csv_text(frame))
    write_whole(folder / "portfolio.html", page)
    return {key: [_plain(row) for row in its] for key, its in rows.items()}


def page_html(review: Review, rows: Mapping[str, Sequence[Row]]) -> str:
    """The page as HTML text, alone in its file."""
    with drawing():
        charts = drawn_charts(rows, review.settings.working_days_per_month)
    sections = [*portfolio_sections(rows, facts_of(review), charts), cautions_section()]
    run = review.run
    wells = review.jobs.wells
    subtitle = (
        f"Case {run.name}, {run.data_status} data, {wells} well{'' if wells == 1 else 's'}, {sum(run.sizes):,} trials. "
        f"US$ million at {run.valuation_month}, {100 * run.annual_discount_rate:g} % a year. {OWNER}. {PERCENTILES}"
    )
    return render_page(f"{run.title}: which wells, when", subtitle, sections)


def facts_of(review: Review) -> PortfolioFacts:
    """What the page says that stands in no table."""
    own = review.own
    return PortfolioFacts(
        sum(review.run.sizes),
        summed(review),
        own.gap,
        review.settings.gap,
        own.is_optimal,
        own.seconds,
        review.resampled.done,
        review.jobs.triggered,
        asked_words(review),
    )


def asked_words(review: Review) -> tuple[str, ...]:
    """The limits and demands in words."""
    settings = review.settings
    words = [
        f"capital {usd_wi(significant(usd / MILLION))} in {year}"
        for year, usd in settings.capital_by_year.items()
    ]
    if settings.capital_usd is not None:
        words.append(f"capital {usd_wi(significant(settings.capital_usd / MILLION))} in all")
    for name, crews in (("CT", settings.ct_crews), ("frac", settings.frac_crews)):
        words.append(f"{name} crews: {'no limit' if crews is None else crews}")
    words.append(f"{settings.working_days_per_month:g} working days a month, {settings.days} days of a job")
    words += [f"{name} must be done" for name in settings.must_do]
    words += [f"{name} must not be done" for name in settings.must_not]
    words.append(f"risk weight {settings.risk_weight:g}")
    return tuple(words)


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
