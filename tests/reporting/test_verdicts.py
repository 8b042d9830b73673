"""Verdicts in words. Oracle: the invented rows they are made of, and words worked by hand."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import pytest

from refracmc.reporting.captions import has_date, split_strategy, spoken, strategy_words
from refracmc.reporting.tables import ReportData, RunFacts, build_report_data
from refracmc.reporting.verdicts import verdict

Facts = Callable[..., RunFacts]


def _changed(tables: dict[str, pd.DataFrame], facts: RunFacts, **values: object) -> ReportData:
    decision = tables["decision"].copy()
    for column, value in values.items():
        decision.loc[0, column] = value
    return build_report_data(facts, {**tables, "decision": decision})


def _judged(tables: dict[str, pd.DataFrame], facts: RunFacts, **values: object) -> ReportData:
    """The first well with other values in its row of verdicts."""
    judged = tables["verdicts"].copy()
    for column, value in values.items():
        judged.loc[0, column] = value
    return build_report_data(facts, {**tables, "verdicts": judged})


@pytest.mark.parametrize(
    ("word", "low", "high", "headline"),
    [
        ("refracture", "refracture", "refracture", "Refracture LK-01 toe to heel in 2027-01"),
        ("leave", "leave", "leave", "Leave LK-01 as it is"),
        ("marginal", "marginal", "marginal", "LK-01 is marginal; the best refrac is toe to heel in 2027-01"),
        (
            "not told apart",
            "marginal",
            "refracture",
            "LK-01: refracture and marginal are not told apart; the best refrac is toe to heel in 2027-01",
        ),
        (
            "not told apart",
            "leave",
            "refracture",
            "LK-01: refracture, marginal and leave are not told apart; the best refrac is toe to heel in 2027-01",
        ),
        ("none", "leave", "leave", "LK-01: 4000 trials are too few for advice"),
    ],
)
def test_a_verdict_and_what_it_lies_between(
    tables: dict[str, pd.DataFrame], fact_maker: Facts, word: str, low: str, high: str, headline: str
) -> None:
    data = _judged(tables, fact_maker(), verdict=word, verdict_low=low, verdict_high=high)
    found = verdict(data, "LK-01")
    assert (found.advice, found.headline) == (word, headline)


def test_what_turns_it_is_said_first(tables: dict[str, pd.DataFrame], fact_maker: Facts) -> None:
    """The values are those of the invented rows."""
    found = verdict(_judged(tables, fact_maker()), "LK-01")
    assert found.paragraphs[0] == found.turns
    assert "falls to marginal at: uplift × 0.72 ± 0.02 (0.36 instead of 0.5 of peak rate, P50)" in found.turns
    assert "or chance of no response 31 ± 2 % (here 0 %)." in found.turns
    assert "Alone these do not turn it: any chance of sleeve 40 stuck open." in found.turns
    assert "on 512 of the trials" in found.turns
    none = build_report_data(fact_maker(), {k: v for k, v in tables.items() if k != "turning_points"})
    assert verdict(none, "LK-01").turns == ""  # negative control


def test_numbers_of_the_verdict_are_those_of_the_table(
    tables: dict[str, pd.DataFrame], fact_maker: Facts
) -> None:
    data = _changed(tables, fact_maker(), mean_usd=1.234e6, se_usd=0.041e6, p90_usd=-1.21e6, p50_usd=0.52e6,
                    p10_usd=4.4e6, p_loss=0.372, p_loss_se=0.005)  # fmt: skip
    value = verdict(data, "LK-01").value
    assert "US$ 1.23 ± 0.04 million WI more than doing nothing (P90 −1.21, P50 0.52, P10 4.40)" in value
    assert "it loses in 37.2 ± 0.5 % of trials (asked: 50 % at most, marginal to 65 %)." in value
    weighed = _judged(tables, fact_maker(), tail_weight=0.25, worth_usd=0.9e6, worth_se_usd=0.05e6)
    assert "the worst 10 % weighed 0.25, US$ 0.90 ± 0.05 million WI" in verdict(weighed, "LK-01").value
    assert "weighed" not in value
    assert verdict(weighed, "LK-01").timing.startswith("By the mean alone, of the order: the earliest date")


def test_some_refrac_and_this_one_are_two_sentences(
    tables: dict[str, pd.DataFrame], fact_maker: Facts
) -> None:
    data = _judged(tables, fact_maker(), some_refrac_chance=0.9, some_refrac_chance_se=0.02, best_refrac_chance=0.4,
                   best_refrac_chance_se=0.02)  # fmt: skip
    chances = verdict(data, "LK-01").chances
    assert "Some refrac beats doing nothing in 90 ± 2 % of trials. Toe to heel in 2027-01" in chances
    assert "is the best refrac in 40 ± 2 % of trials." in chances
    assert "within the error; the verdict is the same for all of them." in chances
    alone = _judged(tables, fact_maker(), equals=0, equal_strategies=None)
    assert "within the error" not in verdict(alone, "LK-01").chances


def test_a_lease_that_ends_is_said(tables: dict[str, pd.DataFrame], fact_maker: Facts) -> None:
    assert (
        "carried out in 90.0 %" in verdict(_changed(tables, fact_maker(), executed_share=0.9), "LK-01").value
    )


def _curve(
    tables: dict[str, pd.DataFrame], facts: RunFacts, means: list[float], gain_se: float
) -> ReportData:
    """One order, dates from 2027-01 by quarters, means in US$ million, gains from the means."""
    frame = tables["timing"]
    frame = frame[(frame["well"] == "LK-01") & (frame["order"] == "toe_to_heel")].head(len(means)).copy()
    frame["mean_usd"] = [m * 1e6 for m in means]
    frame["gain_usd"] = [(m - means[0]) * 1e6 for m in means]
    frame["gain_se_usd"] = [0.0] + [gain_se * 1e6] * (len(means) - 1)
    best = means.index(max(means))
    decision = tables["decision"].copy()
    decision.loc[0, "mean_usd"] = max(means) * 1e6
    decision.loc[0, "date"] = frame["date"].iloc[best]
    decision.loc[0, "strategy"] = f"toe_to_heel@{frame['date'].iloc[best]}"
    return build_report_data(facts, {**tables, "timing": frame, "decision": decision})


@pytest.mark.parametrize(
    ("means", "error", "corner", "words"),
    [
        (
            [3.0, 2.9, 2.5],
            0.01,
            "now",
            "waiting until 2027-04 costs US$ 0.100 ± 0.010 million WI, until 2027-07 0.500",
        ),
        ([3.0, 2.99, 2.5], 0.01, "now", "(within the error)"),
        (
            [2.5, 3.0, 2.9],
            0.01,
            "",
            "inside the span tried, 2027-04: it gains US$ 0.500 ± 0.010 million WI over 2027-01.",
        ),
        ([2.5, 2.51, 2.4], 0.01, "", "which is within the error"),
        ([2.5, 2.9, 3.0], 0.01, "last", "later dates should be tried"),
        ([-3.0, -2.0, -1.0], 0.01, "last", "only because the loss recedes"),
        ([3.0], 0.01, "", "Only one date was tried."),
    ],
)
def test_the_date_is_a_corner_or_inside(
    tables: dict[str, pd.DataFrame],
    fact_maker: Facts,
    means: list[float],
    error: float,
    corner: str,
    words: str,
) -> None:
    found = verdict(_curve(tables, fact_maker(), means, error), "LK-01")
    assert found.corner == corner
    assert words in found.timing


def test_names_as_words() -> None:
    assert strategy_words("toe_to_heel@2027-04") == "toe to heel in 2027-04"
    assert strategy_words("nothing") == "doing nothing"
    assert spoken("ct_spread") == "CT spread"
    assert split_strategy("nothing") == ("nothing", "")
    assert [has_date(name) for name in ("a@2027-04", "a@dear_oil", "nothing")] == [True, False, False]


def test_a_trigger_says_how_often_when_and_against_what(tables, fact_maker) -> None:
    row = tables["triggers"].iloc[0]
    changed = {key: frame.copy() for key, frame in tables.items()}
    decision = changed["decision"]
    at = decision["well"] == row["well"]
    for name in ("trigger", "early_month", "late_month", "executed_share"):
        decision.loc[at, name] = row[name]
    decision.loc[at, ["strategy", "date"]] = [row["strategy"], row["median_month"]]
    extra = changed["summary"].query("well == @row.well").iloc[:1].assign(strategy=row["strategy"])
    changed["summary"] = pd.concat([changed["summary"], extra], ignore_index=True)
    found = verdict(build_report_data(fact_maker(), changed), row["well"])
    assert "by trigger dear oil" in found.headline + found.value
    started = (
        f"starts in 50.0 % of trials, half of these by {row['median_month']}, 80 % from {row['early_month']}"
    )
    assert started in found.timing
    assert f"best fixed date, {row['against'].rpartition('@')[2]}, it gains" in found.timing
    assert found.corner == ""
    assert "lease" not in found.value
    plain = verdict(build_report_data(fact_maker(), tables), row["well"])
    assert "trigger" not in plain.timing + plain.value  # negative control
