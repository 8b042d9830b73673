"""The advice for a well in sentences made from its verdict, its numbers and their errors."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from refracmc.reporting.captions import split_strategy, strategy_words, usd_wi
from refracmc.reporting.rounding import MILLION, percent, share_done, significant, to_error, with_error
from refracmc.reporting.tables import ReportData

CLEAR = 2.0
"""Standard errors below which a difference of dates is said to be within the error (common practice, no source)."""
_NAMED = 3
"""Strategies that are named where more of them are within the error."""

Row = Mapping[Any, Any]
"""A row of a table by column."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """advice: the verdict's word; headline, then sentences; corner: now, last or "".

    turns: what would turn it; value: what it rests on; chances: how often a refrac is right, and this one; timing: the
    date.
    """

    well: str
    advice: str
    headline: str
    turns: str
    value: str
    chances: str
    timing: str
    corner: str

    @property
    def paragraphs(self) -> tuple[str, ...]:
        """All sentences but the headline, what turns the verdict first."""
        return tuple(text for text in (self.turns, self.value, self.chances, self.timing) if text)


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
    gained = f"{usd_wi(with_error(gain, error, MILLION))} over {first['date']}"
    close = "" if gain >= CLEAR * error else ", which is within the error"
    if best == 0:
        after = curve.iloc[1]
        lost, far = (with_error(-at["gain_usd"], at["gain_se_usd"], MILLION) for at in (after, last))
        close = "" if -after["gain_usd"] >= CLEAR * after["gain_se_usd"] else " (within the error)"
        more = "" if len(curve) == 2 else f", until {last['date']} {far}"
        waiting = f"waiting until {after['date']} costs {usd_wi(lost)}{close}{more}"
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
        f"{split_strategy(str(mine['against']))[1]}, it gains {usd_wi(with_error(gap, error, MILLION))}{close}."
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


def _joined(words: Sequence[str], last: str = "and") -> str:
    """Words as a list: ``a, b and c``."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def _headline(row: Row, trials: int) -> str:
    well, words = row["well"], strategy_words(row["strategy"])
    if row["verdict"] == "refracture":
        return f"Refracture {well} {words}"
    if row["verdict"] == "leave":
        return f"Leave {well} as it is"
    if row["verdict"] == "marginal":
        return f"{well} is marginal; the best refrac is {words}"
    if row["verdict"] == "none":
        return f"{well}: {trials} trials are too few for advice"
    open_ones = ["refracture", "marginal", "leave"]
    first, last = open_ones.index(row["verdict_high"]), open_ones.index(row["verdict_low"])
    return f"{well}: {_joined(open_ones[first : last + 1])} are not told apart; the best refrac is {words}"


def _turn_words(row: Row) -> str:
    """One input and the value at which it turns the verdict."""
    name, at, error, unit = str(row["input"]), float(row["turns_at"]), float(row["turns_at_se"]), row["unit"]
    if unit == "factor":
        then, now = (significant(float(row[f"amount_{which}"])) for which in ("then", "now"))
        return f"{name} × {with_error(at, error)} ({then} instead of {now} {row['amount_unit']})"
    if unit == "chance":
        return f"a chance of {percent(at, error)} of {name}"
    yearly = " a year" if unit == "1/year" else ""
    return f"{name} {percent(at, error)}{yearly} (here {significant(100 * float(row['own_value']))} %)"


def _range_words(row: Row) -> str:
    """One input and the range in which nothing turns the verdict."""
    low, high, unit = float(row["low"]), float(row["high"]), row["unit"]
    if unit == "factor":
        return f"{row['input']} × {significant(low)} to {significant(high)}"
    if unit == "chance":
        return f"any chance of {row['input']}"
    return f"{row['input']} {significant(100 * low)} to {significant(100 * high)} %"


def _turns(data: ReportData, judged: Row) -> str:
    """What would turn the verdict, input by input, and what within its range would not."""
    rows = data.of_well("turning_points", judged["well"]).to_dict("records")
    if not rows:
        return ""
    rank = ("leave", "marginal", "refracture")
    sentences, turned = [], set()
    for then in dict.fromkeys(row["verdict_then"] for row in rows):
        found = [row for row in rows if row["verdict_then"] == then and row["turns_at"] == row["turns_at"]]
        if found:
            turned |= {row["input"] for row in found}
            way = "rises" if rank.index(then) > rank.index(found[0]["verdict_now"]) else "falls"
            sentences.append(f"It {way} to {then} at: {_joined([_turn_words(row) for row in found], 'or')}.")
    others = {row["input"]: _range_words(row) for row in rows if row["input"] not in turned}
    if others:
        sentences.append(f"Alone these do not turn it: {_joined(list(others.values()))}.")
    trials = rows[0]["trials"]
    if judged["verdict"] == "not told apart":
        sentences.insert(0, f"By the estimates it is {judged['verdict_of_estimates']}.")
    return f"{' '.join(sentences)} One input at a time, on {trials:,} of the trials."


def _value(row: Row, judged: Row, tail: float) -> str:
    """What the best refrac is worth against what is asked."""
    mean, error = float(row["mean_usd"]), float(row["se_usd"])
    p90, p50, p10 = (to_error(row[f"{p}_usd"], error, MILLION) for p in ("p90", "p50", "p10"))
    text = (
        f"On average {strategy_words(row['strategy'])} is worth {usd_wi(with_error(abs(mean), error, MILLION))} "
        f"{'more' if mean >= 0 else 'less'} than doing nothing (P90 {p90}, P50 {p50}, P10 {p10})"
    )
    if judged["tail_weight"] > 0:
        worth = with_error(float(judged["worth_usd"]), float(judged["worth_se_usd"]), MILLION)
        text += f"; with the worst {100 * tail:g} % weighed {judged['tail_weight']:g}, {usd_wi(worth)}"
    least, greatest = float(judged["least_value_per_dollar"]), float(judged["greatest_chance_of_loss"])
    if judged["value_per_dollar"] == judged["value_per_dollar"]:
        brings = with_error(float(judged["value_per_dollar"]), float(judged["value_per_dollar_se"]))
        lowest = least - float(judged["marginal_value_per_dollar"])
        text += f", {brings} per dollar of WI capital (asked: {least:g}, marginal from {round(lowest, 9):g})"
    highest = greatest + float(judged["marginal_chance_of_loss"])
    loses = f"it loses in {percent(row['p_loss'], row['p_loss_se'])} of trials"
    return (
        f"{text}; {loses} (asked: {100 * greatest:g} % at most, marginal to {100 * min(highest, 1.0):.4g} %)"
    )


def _equals(judged: Row) -> str:
    """The strategies that may be as good as the best, None of them: an empty text."""
    if not judged["equals"]:
        return ""
    names = [strategy_words(name) for name in str(judged["equal_strategies"]).split()]
    shown = names[:_NAMED] + ([f"{len(names) - _NAMED} more"] if len(names) > _NAMED else [])
    same = (
        "; the verdict is the same for all of them" if judged["verdict_low"] == judged["verdict_high"] else ""
    )
    return f" Its lead over {_joined(shown)} is within the error{same}."


def verdict(data: ReportData, well: str) -> Verdict:
    """Advice for one well, in words made from its rows of verdicts, turning points, decision and timing."""
    row = data.of_well("decision", well).to_dict("records")[0]
    judged = data.of_well("verdicts", well).to_dict("records")[0]
    value = _value(row, judged, data.facts.cvar_tail_fraction)
    done = float(row["executed_share"])
    if done < 1 and isinstance(row["trigger"], str):
        value += "; trials in which its trigger starts no job count as zero in value"
    elif done < 1:
        value += (
            f"; it is carried out in {share_done(done)} of them: in the rest the well is past its limit for longer "
            "than the lease holds, and they count as zero in value. Part or all of what a later date gains may be such "
            "jobs left undone"
        )
    chances = (
        f"Some refrac beats doing nothing in {percent(judged['some_refrac_chance'], judged['some_refrac_chance_se'])} "
        f"of trials. {_capital(strategy_words(row['strategy']))} is the best refrac in "
        f"{percent(judged['best_refrac_chance'], judged['best_refrac_chance_se'])} of trials.{_equals(judged)}"
    )
    timing, corner = _timing(data, row, row["mean_usd"] >= 0)
    if judged["tail_weight"] > 0:
        timing, corner = f"By the mean alone, of the order: {timing[:1].lower()}{timing[1:]}", ""
    headline = _headline(judged, data.facts.trials)
    return Verdict(
        well, judged["verdict"], headline, _turns(data, judged), f"{value}.", chances, timing, corner
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
