"""The advice for a well in sentences made from its numbers and their errors.

A difference counts as real here when it is at least two standard errors (common practice, no source); below
that it is called too close to call.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from refracmc.reporting.captions import split_strategy, strategy_words
from refracmc.reporting.rounding import MILLION, percent, share_done, to_error, with_error
from refracmc.reporting.tables import ReportData

CLEAR = 2.0
"""Standard errors beyond which a difference is called real."""

FEW_TRIALS = 100
"""Fewer trials than this carry no advice: their errors are not known well enough (assumption)."""

Row = Mapping[Any, Any]
"""A row of a table by column."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """advice: refracture, leave or undecided; headline, two sentences; corner: now, last or ""."""

    well: str
    advice: str
    headline: str
    value: str
    timing: str
    corner: str


def _timing(data: ReportData, row: Row, good: bool) -> tuple[str, str]:
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
    gained = f"US$ {with_error(gain, error, MILLION)} million over {first['date']}"
    close = "" if gain >= CLEAR * error else ", which is within the error"
    if best == 0:
        after = curve.iloc[1]
        lost, far = (with_error(-at["gain_usd"], at["gain_se_usd"], MILLION) for at in (after, last))
        close = "" if -after["gain_usd"] >= CLEAR * after["gain_se_usd"] else " (within the error)"
        more = "" if len(curve) == 2 else f", until {last['date']} {far}"
        waiting = f"waiting until {after['date']} costs US$ {lost} million{close}{more}"
        return f"The earliest date tried is the best: {waiting}.", "now"
    if best < len(curve) - 1:
        return (
            f"The best date lies inside the span tried, {curve['date'][best]}: it gains {gained}{close}.",
            "",
        )
    if good:
        gained = f"it gains {gained}{close}; later dates should be tried"
        return f"The best date is the last one tried, {last['date']}: {gained}.", "last"
    gained = f"it looks better by {gained}{close}, but only because the loss recedes"
    return f"No date is worth it: with the last one tried, {last['date']}, {gained}.", "last"


def _trigger_timing(data: ReportData, row: Row) -> str:
    """Sentence on a date that a trigger sets: when, how often, and against the best fixed date of the order."""
    rows = data.of_well("triggers", row["well"])
    mine = rows[rows["strategy"] == row["strategy"]].iloc[0]
    gap, error = float(mine["gap_usd"]), float(mine["gap_se_usd"])
    close = "" if gap >= CLEAR * error else ", which is within the error"
    return (
        f"The date is set by a trigger: {job_starts(row)}. Over the best fixed date, "
        f"{split_strategy(str(mine['against']))[1]}, it gains US$ {with_error(gap, error, MILLION)} million{close}."
    )


def job_starts(row: Row) -> str:
    """How often and when the job of a triggered strategy starts, from a row of the table of decisions."""
    part = float(row["executed_share"])
    if part == 0.0:
        return "the job starts in no trial"
    starts = f"the job starts in {share_done(part)} of trials"
    if row["early_month"] == row["late_month"]:
        return f"{starts}, in {row['date']}"
    return f"{starts}, half of these by {row['date']}, 80 % from {row['early_month']} to {row['late_month']}"


def _worth(row: Row) -> tuple[str, str, str]:
    """Advice, headline and sentence on the value, from a row of the table of decisions."""
    well, mean, error = row["well"], float(row["mean_usd"]), float(row["se_usd"])
    worth = f"US$ {with_error(abs(mean), error, MILLION)} million"
    p90, p50, p10 = (to_error(row[f"{p}_usd"], error, MILLION) for p in ("p90", "p50", "p10"))
    spread = f"P90 {p90}, P50 {p50}, P10 {p10}"
    loses = f"loses in {percent(row['p_loss'], row['p_loss_se'])} of trials"
    words = strategy_words(row["strategy"])
    if mean > CLEAR * error:
        value = f"On average this is worth {worth} more than doing nothing ({spread}), "
        value += f"but it {loses}" if row["p_loss"] > 0 else "and no trial loses"
        if row["p_loss"] > 0.5:
            value += ": it loses more often than not, and the upside carries the mean"
        return "refracture", f"Refracture {well} {words}", value
    if mean < -CLEAR * error:
        value = f"Even the best refrac tried, {words}, is worth {worth} less than doing nothing on average ({spread}) "
        return "leave", f"Leave {well} as it is", f"{value}and {loses}"
    value = (
        f"The best refrac tried, {words}, is worth {worth} {'more' if mean >= 0 else 'less'} than doing nothing on "
        f"average ({spread}), within the sampling error of zero, and {loses}"
    )
    return "undecided", f"{well} is too close to call", value


def verdict(data: ReportData, well: str) -> Verdict:
    """Advice for one well, in words made from its decision and timing rows.

    The advice follows the mean incremental NPV (risk neutral); where the refrac loses more often than not, or
    is not always carried out, the sentence says so.
    """
    row = data.of_well("decision", well).to_dict("records")[0]
    advice, headline, value = _worth(row)
    done = float(row["executed_share"])
    if done < 1 and isinstance(row["trigger"], str):
        value += "; trials in which its trigger starts no job count as zero in value, days and cost"
    elif done < 1:
        value += (
            f"; it is carried out in {share_done(done)} of them: in the rest the well is past its limit for longer "
            "than the lease holds, and they count as zero in value, days and cost. Part or all of what a later "
            "date gains may be such jobs left undone"
        )
    timing, corner = _timing(data, row, row["mean_usd"] > -CLEAR * row["se_usd"])
    if data.facts.trials < FEW_TRIALS:
        advice = "undecided"
        headline = f"{well}: {data.facts.trials} trials are too few for advice"
    return Verdict(well, advice, headline, f"{value}.", timing, corner)
