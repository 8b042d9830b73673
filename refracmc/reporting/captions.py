"""Words under and over charts and tables: names for display, money basis, conventions, trials and errors."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from refracmc.measures import USD_GROSS, USD_WI
from refracmc.reporting.rounding import MILLION, significant
from refracmc.reporting.tables import ReportData, RunFacts
from refracmc.sampling.design_error import MIN_BLOCKS
from refracmc.sampling.streams import BLOCK_SIZE

PERCENTILES = "P90 is the low and P10 the high value (share of trials above it)."
OWNER = "WI: working-interest share"
GROSS = "gross: 100 % (8/8)"
MILLION_WI, MILLION_GROSS = (unit.replace("US$", "US$ million") for unit in (USD_WI, USD_GROSS))
"""Units of money on the page, in charts and in texts."""

_SPOKEN = {"ct": "CT", "npv": "NPV", "npt": "non-productive time", "bha": "BHA", "eur": "EUR", "irr": "IRR",
           "latin": "Latin", "sobol": "Sobol"}  # fmt: skip


def spoken(name: str) -> str:
    """A name as words: ``toe_to_heel`` -> ``toe to heel``, ``ct_spread`` -> ``CT spread``, and with a size
    ``toe_to_heel+heavy`` -> ``toe to heel, heavy``."""
    return ", ".join(
        " ".join(_SPOKEN.get(word, word) for word in part.split("_")) for part in name.split("+")
    )


def strategy_words(strategy: str) -> str:
    """A strategy as words: ``toe_to_heel@2027-04`` -> ``toe to heel in 2027-04``."""
    order, date = split_strategy(strategy)
    if not date:
        return "doing nothing" if strategy == "nothing" else spoken(strategy)
    return (
        f"{spoken(order)} in {date}" if has_date(strategy) else f"{spoken(order)} by trigger {spoken(date)}"
    )


def split_strategy(name: str) -> tuple[str, str]:
    """Order, and month or trigger, of a strategy name; a name without ``@`` is all order."""
    order, at, date = name.rpartition("@")
    return (order, date) if at else (name, "")


def has_date(strategy: str) -> bool:
    """Whether a strategy stands at a date of its own (names of triggers start with a letter)."""
    return split_strategy(strategy)[1][:1].isdigit()


def by_well(said: Iterable[tuple[str, str]]) -> tuple[str, ...]:
    """What is said of single wells, each with its well before it."""
    return tuple(f"{well}: {sentence}" for well, sentence in said)


def money_basis(facts: RunFacts) -> str:
    """What a US$ of this run is."""
    rate = f"{100 * facts.annual_discount_rate:g} %"
    tax = "after income tax" if facts.income_tax else "before income tax"
    return f"US$ million at {facts.valuation_month}, {facts.terms} terms, {rate} a year, {tax}"


def usd_wi(text: str) -> str:
    """A number of millions, as text, with its unit in a sentence."""
    return f"US$ {text} million WI"


def block_trials(data: ReportData) -> int:
    """Trials of tables that are made of the first block alone."""
    return min(data.facts.trials, BLOCK_SIZE)


def few_blocks(facts: RunFacts) -> bool:
    """Whether standard errors are upper bounds: the design stratifies, and there are too few whole blocks."""
    return facts.design != "plain" and 1 < facts.trials < MIN_BLOCKS * BLOCK_SIZE


def error_words(facts: RunFacts) -> str:
    """What ± is."""
    if not few_blocks(facts):
        return "± is one standard error."
    return (
        f"± is an upper bound of one standard error: below {MIN_BLOCKS * BLOCK_SIZE:,} trials it is too wide by a "
        "third as a rule, for means up to three times."
    )


def footer(data: ReportData, error: str, money: bool = True, percentiles: bool = True, extra: str = "",
           trials: int = 0, share: str = OWNER) -> str:  # fmt: skip
    """Line under a chart: percentile convention, money basis and whose share of it, trials (0: those of the run),
    sampling error."""
    parts = [extra] if extra else []
    if percentiles:
        parts.append(PERCENTILES)
    if money:
        parts.append(f"{money_basis(data.facts)}, {share}.")
    bound = " at most" if few_blocks(data.facts) and "standard error" in error else ""
    parts.append(f"{trials or data.facts.trials:,} trials a strategy; {error}{bound}.")
    return " ".join(parts)


def error_range(errors: pd.Series, of: str = "means", unit: str = MILLION_WI) -> str:
    """Span of standard errors in US$ as words; ``of`` says what they are errors of, ``unit`` whose million it is."""
    known = errors.dropna() / MILLION
    if known.empty:
        return f"standard error of the {of} not known"
    low, high = significant(float(known.min()), 2), significant(float(known.max()), 2)
    span = low if low == high else f"{low} to {high}"
    return f"standard error of the {of} {span} {unit}"
