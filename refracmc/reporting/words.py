"""Words shared by charts and page: names for display, conventions stated under every chart, verdicts.

All sentences are generated from the numbers and their errors. A difference counts as real here when it is
at least two standard errors (common practice, no source); below that it is called too close to call.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from refracmc.reporting.numbers import MILLION, percent, share_done, significant, to_error, with_error
from refracmc.reporting.tables import ReportData, RunFacts

CLEAR = 2.0
"""Standard errors beyond which a difference is called real."""

FEW_TRIALS = 100
"""Fewer trials than this carry no advice: their errors are not known well enough (assumption)."""

PERCENTILES = "P90 is the low and P10 the high value (share of trials above it)."


_SHORT = {
    "ct": "CT",
    "npv": "NPV",
    "npt": "non-productive time",
    "bha": "BHA",
    "eur": "EUR",
    "irr": "IRR",
    "latin": "Latin",
    "sobol": "Sobol",
}


def spoken(name: str) -> str:
    """A name as words: ``toe_to_heel`` -> ``toe to heel``, ``ct_spread`` -> ``CT spread``."""
    return " ".join(_SHORT.get(word, word) for word in name.split("_"))


def strategy_words(strategy: str) -> str:
    """A strategy as words: ``toe_to_heel@2027-04`` -> ``toe to heel in 2027-04``."""
    order, at, date = strategy.rpartition("@")
    if not at:
        return "doing nothing" if strategy == "nothing" else spoken(strategy)
    return (
        f"{spoken(order)} in {date}" if has_date(strategy) else f"{spoken(order)} by trigger {spoken(date)}"
    )


def has_date(strategy: str) -> bool:
    """Whether a strategy stands at a date of its own (names of triggers start with a letter)."""
    return strategy.rpartition("@")[2][:1].isdigit()


def money_basis(facts: RunFacts) -> str:
    """What a US$ of this run is."""
    rate = f"{100 * facts.annual_discount_rate:g} %"
    tax = "after income tax" if facts.income_tax else "before income tax"
    return f"US$ million at {facts.valuation_month}, {facts.terms} terms, {rate} a year, {tax}"


def footer(
    data: ReportData,
    error: str,
    money: bool = True,
    percentiles: bool = True,
    extra: str = "",
    trials: int = 0,
) -> str:
    """Line under a chart: percentile convention, money basis, trials (0: those of the run), sampling error."""
    parts = [extra] if extra else []
    if percentiles:
        parts.append(PERCENTILES)
    if money:
        parts.append(f"{money_basis(data.facts)}.")
    parts.append(f"{trials or data.facts.trials:,} trials a strategy; {error}.")
    return " ".join(parts)


def error_range(errors: pd.Series, of: str = "means") -> str:
    """Span of standard errors in US$ as words; ``of`` says what they are errors of."""
    known = errors.dropna() / MILLION
    if known.empty:
        return f"standard error of the {of} not known"
    low, high = significant(float(known.min()), 2), significant(float(known.max()), 2)
    span = low if low == high else f"{low} to {high}"
    return f"standard error of the {of} {span} US$ million"


@dataclass(frozen=True, slots=True)
class Verdict:
    """advice: refracture, leave or undecided; headline, two sentences; corner: now, last or ""."""

    well: str
    advice: str
    headline: str
    value: str
    timing: str
    corner: str


def _timing(data: ReportData, row: pd.Series, good: bool) -> tuple[str, str]:
    """Sentence on the date, and the corner: the best order's curve against its first and its last date."""
    if isinstance(row["trigger"], str):
        return _trigger_timing(data, row), ""
    curve = data.of_well("timing", row["well"])
    curve = curve[curve["order"] == row["order"]].sort_values("date", kind="stable").reset_index(drop=True)
    if len(curve) < 2:
        return "Only one date was tried.", ""
    best = int(curve["mean_usd"].to_numpy().argmax())
    first, last = curve.iloc[0], curve.iloc[-1]
    gain, error = curve["gain_usd"][best], curve["gain_se_usd"][best]
    told = f"US$ {with_error(gain, error, MILLION)} million over {first['date']}"
    close = "" if gain >= CLEAR * error else ", which is within the error"
    if best == 0:
        after = curve.iloc[1]
        lost = with_error(-after["gain_usd"], after["gain_se_usd"], MILLION)
        far = with_error(-last["gain_usd"], last["gain_se_usd"], MILLION)
        close = "" if -after["gain_usd"] >= CLEAR * after["gain_se_usd"] else " (within the error)"
        more = "" if len(curve) == 2 else f", until {last['date']} {far}"
        text = f"waiting until {after['date']} costs US$ {lost} million{close}{more}"
        return f"The earliest date tried is the best: {text}.", "now"
    if best < len(curve) - 1:
        return f"The best date lies inside the span tried, {curve['date'][best]}: it gains {told}{close}.", ""
    if good:
        text = f"it gains {told}{close}; later dates should be tried"
        return f"The best date is the last one tried, {last['date']}: {text}.", "last"
    text = f"it looks better by {told}{close}, but only because the loss recedes"
    return f"No date is worth it: with the last one tried, {last['date']}, {text}.", "last"


def _trigger_timing(data: ReportData, row: pd.Series) -> str:
    """Sentence on a date that a trigger sets: when, how often, and against the best fixed date of the order."""
    rows = data.of_well("triggers", row["well"])
    mine = rows[rows["strategy"] == row["strategy"]].iloc[0]
    gap, error = float(mine["gap_usd"]), float(mine["gap_se_usd"])
    close = "" if gap >= CLEAR * error else ", which is within the error"
    other = str(mine["against"]).rpartition("@")[2]
    return (
        f"The date is set by a trigger: {executed(row)}. Over the best fixed date, {other}, it gains US$ "
        f"{with_error(gap, error, MILLION)} million{close}."
    )


def executed(row: pd.Series) -> str:
    """How often and when the job of a triggered strategy starts, from a row of the tables decision or triggers."""
    share = float(row["executed_share"])
    middle = row["median_month"] if "median_month" in row else row["date"]
    if share == 0.0:
        return "the job starts in no trial"
    done = share_done(share)
    if row["early_month"] == row["late_month"]:
        return f"the job starts in {done} of trials, in {middle}"
    return (
        f"the job starts in {done} of trials, half of these by {middle}, 80 % from {row['early_month']} to "
        f"{row['late_month']}"
    )


def verdict(data: ReportData, well: str) -> Verdict:
    """Advice for one well, in words made from its decision and timing rows.

    The advice follows the mean incremental NPV (risk neutral); where the refrac loses more often than not, or
    is not always carried out, the sentence says so.
    """
    row = data.of_well("decision", well).iloc[0]
    mean, error = float(row["mean_usd"]), float(row["se_usd"])
    worth = f"US$ {with_error(abs(mean), error, MILLION)} million"
    p90, p50, p10 = (to_error(row[f"{p}_usd"], error, MILLION) for p in ("p90", "p50", "p10"))
    chance = percent(row["p_loss"], row["p_loss_se"])
    spread = f"P90 {p90}, P50 {p50}, P10 {p10}"
    words = strategy_words(row["strategy"])
    side = "more" if mean >= 0 else "less"
    if mean > CLEAR * error:
        advice, headline = "refracture", f"Refracture {well} {words}"
        value = f"On average this is worth {worth} more than doing nothing ({spread}), "
        value += f"but it loses in {chance} of trials" if row["p_loss"] > 0 else "and no trial loses"
        if row["p_loss"] > 0.5:
            value += ": it loses more often than not, and the upside carries the mean"
    elif mean < -CLEAR * error:
        advice, headline = "leave", f"Leave {well} as it is"
        value = (
            f"Even the best refrac tried, {words}, is worth {worth} less than doing nothing on "
            f"average ({spread}) "
            f"and loses in {chance} of trials"
        )
    else:
        advice, headline = "undecided", f"{well} is too close to call"
        value = (
            f"The best refrac tried, {words}, is worth {worth} {side} than doing nothing on "
            f"average ({spread}), "
            f"within the sampling error of zero, and loses in {chance} of trials"
        )
    done = float(row["executed_share"])
    if done < 1 and isinstance(row["trigger"], str):
        value += "; trials in which its trigger starts no job count as zero in value, days and cost"
    elif done < 1:
        value += (
            f"; it is carried out in {share_done(done)} of them: in the rest the well is past its limit for longer "
            "than the lease holds, and they count as zero in value, days and cost. Part or all of what a later "
            "date gains may be such jobs left undone"
        )
    if data.facts.trials < FEW_TRIALS:
        advice = "undecided"
        headline = f"{well}: {data.facts.trials} trials are too few for advice"
    timing, corner = _timing(data, row, mean > -CLEAR * error)
    return Verdict(well, advice, headline, f"{value}.", timing, corner)
