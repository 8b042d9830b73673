"""The rule of the verdict, on numbers small enough to work by hand.

Oracle: arithmetic written beside each number; probabilities of the normal distribution for the errors.
"""

from pathlib import Path

import numpy as np
import pytest

from benchmarks.verdicts import Told, contradictions, most_open, told_by_run
from refracmc.case.decision_section import Decision
from refracmc.case.load import load_case
from refracmc.decisions import compare
from refracmc.decisions.verdict_rule import BOUND, VERDICTS, grade, possible_grades, verdict_row
from tests.system.small_case import CASE, changed, write_case

ASKED = Decision()
"""At least 0.1 per dollar and 50 % at most; marginal to 0 and to 65 %."""


@pytest.mark.parametrize(
    ("value", "loss", "word"),
    [
        (0.1, 0.5, "refracture"),
        (0.0999, 0.1, "marginal"),
        (0.0, 0.65, "marginal"),
        (2.0, 0.51, "marginal"),
        (2.0, 0.66, "leave"),
        (-0.001, 0.0, "leave"),
        (np.nan, 0.0, "leave"),
    ],
)
def test_the_worse_of_two_limits_decides(value: float, loss: float, word: str) -> None:
    assert VERDICTS[grade(value, loss, ASKED)] == word


def test_without_bands_there_is_nothing_between() -> None:
    bare = Decision(marginal_value_per_dollar=0.0, marginal_chance_of_loss=0.0)
    found = {grade(value, loss, bare) for value in np.linspace(-1, 1, 21) for loss in np.linspace(0, 1, 21)}
    assert found == {0, 2}


def test_errors_only_widen_what_is_possible() -> None:
    """The verdict of the estimates is always among those possible, and fewer are with smaller errors."""
    for value in np.linspace(-0.3, 0.4, 29):
        for loss in np.linspace(0.3, 0.8, 21):
            held = (2, 0)
            for error in (0.0, 0.001, 0.01, 0.1):
                low, high = possible_grades(value, error, loss, error, ASKED)
                assert low <= grade(value, loss, ASKED) <= high
                assert low <= held[0]
                assert high >= held[1]
                held = (low, high)
    assert possible_grades(0.3, np.nan, 0.1, 0.01, ASKED) == (0, 2)


def test_no_chance_passes_one() -> None:
    """A case that takes every loss is told apart where every trial loses: errors move no chance beyond 0 and 1."""
    takes_all = Decision(
        least_value_per_dollar=-10.0, greatest_chance_of_loss=1.0, marginal_chance_of_loss=0.0
    )
    assert possible_grades(-1.0, 0.01, 1.0, 0.01, takes_all) == (2, 2)
    takes_most = Decision(least_value_per_dollar=-10.0, greatest_chance_of_loss=0.99)  # negative control
    assert possible_grades(-1.0, 0.01, 1.0, 0.01, takes_most) == (1, 2)


def _told_both_ways(bound: float) -> int:
    """Wells right on a limit, 20,000 looks: how many say one verdict, and others another, for certain."""
    rng = np.random.default_rng(5)
    said = {0: 0, 1: 0}
    for estimate in rng.normal(0.0, 0.01, 20_000):
        low, high = possible_grades(estimate, 0.01 * bound / BOUND, 0.1, 0.001, ASKED)
        if low == high:
            said[low] += 1
    return sum(said.values())


def test_a_well_on_a_limit_is_not_told_apart() -> None:
    """Beyond 4 standard errors on either side lie 6 of 100,000: 1.3 of 20,000, and never 8 (Poisson, 1 of 10,000)."""
    assert _told_both_ways(BOUND) < 8
    assert _told_both_ways(2.0) > 600  # negative control: 4.6 % of 20,000 are 910


def plain_error(values):
    return float(values.mean()), float(values.std(ddof=1) / np.sqrt(values.size))


def _results(times: int, weight: float = 0.0, fraction: float = 0.5) -> compare.Results:
    """Incremental NPV of the comparison's table, each trial so many times; capital 8 in every trial."""
    inc = np.array([[0, 0, 0, 0], [4, -2, 6, 0], [1, 1, 1, 1], [-1, -1, 7, 3]], dtype=float)
    inc = np.tile(inc, times)
    capex = np.full_like(inc, 8.0)
    capex[0] = 0.0
    names = ("nothing", "t@2027-01", "t@2028-01", "u@2027-01")
    return compare.Results(
        "W", names, ("nothing", "t", "t", "u"), ("", "2027-01", "2028-01", "2027-01"),
        {"incremental_npv": inc, "discounted_capex": capex}, tail_weight=weight, tail_fraction=fraction,
    )  # fmt: skip


def test_the_row_of_a_well() -> None:
    row = verdict_row(_results(10_000), plain_error, Decision(greatest_chance_of_loss=0.6))
    assert (row["strategy"], row["verdict"]) == ("t@2027-01", "refracture")
    assert row["value_per_dollar"] == 2.0 / 8.0
    # variance of 4 -2 6 0 is 10, so that of the mean of 40,000 is 10/40,000; capital is certain: over 8
    assert row["value_per_dollar_se"] == pytest.approx(np.sqrt(10 / 40_000) / 8, rel=1e-4)
    assert row["p_loss"] == 0.25
    # of the same mean: u; t@2028-01 is 1 behind, 4 * sqrt(10/40,000) = .06
    assert (row["equals"], row["equal_strategies"]) == (1, "u@2027-01")
    assert row["some_refrac_chance"] == 1.0  # best of the refracs: 4 1 7 3
    assert row["best_refrac_chance"] == 0.25


def test_a_strategy_within_the_error_takes_part() -> None:
    """u loses in half of the trials: beyond 45 % it is marginal, where t is not; both may be the best."""
    asked = Decision(greatest_chance_of_loss=0.45)
    row = verdict_row(_results(10_000), plain_error, asked)
    assert row["verdict"] == "not told apart"
    assert (row["verdict_low"], row["verdict_high"]) == ("marginal", "refracture")
    assert row["verdict_of_estimates"] == "refracture"


def test_weight_on_the_tail() -> None:
    """Worst halves: t -1 (of -2, 0), t later 1, u -1. At weight 1/2 the later date is worth 1, t and u .5 each."""
    asked = Decision(tail_weight=0.5, least_value_per_dollar=0.12)
    results = _results(10_000, 0.5)
    assert results.worths == pytest.approx([0.0, 0.5, 1.0, 0.5])
    row = verdict_row(results, plain_error, asked)
    assert row["strategy"] == "t@2028-01"
    assert row["worth_usd"] == 1.0
    assert row["value_per_dollar"] == 1.0 / 8.0
    assert row["worth_se_usd"] == 0.0
    assert _results(10_000).best == 1  # negative control: by the mean


def test_few_trials_carry_no_verdict() -> None:
    assert verdict_row(_results(24), plain_error, ASKED)["verdict"] == "none"
    assert verdict_row(_results(25), plain_error, ASKED)["verdict"] != "none"


def test_what_contradicts() -> None:
    told = [
        Told("A", 1024, 1, "not told apart"),
        Told("A", 10_000, 1, "leave"),
        Told("B", 1024, 1, "marginal"),
        Told("B", 10_000, 1, "marginal"),
        Told("B", 10_000, 2, "not told apart"),
    ]
    assert contradictions(told) == []
    assert most_open(told, 10_000) == 1
    flipped = Told("B", 10_000, 3, "refracture")
    assert len(contradictions([*told, flipped])) == 2  # negative control


def test_verdicts_of_a_small_case_hold_over_seeds_and_trials(tmp_path: Path) -> None:
    """The same or not told apart: two wells, three seeds, two numbers of trials."""
    case = write_case(tmp_path / "case", changed(CASE, ("[job]", "[outputs]\ncharts = false\n[job]")))
    told = [
        one
        for trials in (512, 2048)
        for seed in (1, 2, 3)
        for one in told_by_run(case, trials, seed, tmp_path / "runs")
    ]
    assert len(told) == 12
    assert not contradictions(told)
    assert {one.verdict for one in told} - {"not told apart"}


def test_a_well_may_ask_for_more(tmp_path: Path) -> None:
    """Its own keys stand over the shared ones, and what no one states is the default."""
    text = changed(
        CASE,
        ("[job]\n", "[decision]\nleast_value_per_dollar = 0.3\ntail_weight = 0.2\n[job]\n"),
        ("water_ratio = 1.1\n", "water_ratio = 1.1\n[wells.decision]\nleast_value_per_dollar = 0.5\n"),
    )
    wells = {well.id: well.settings.decision for well in load_case(write_case(tmp_path, text)).wells}
    assert (wells["A"].least_value_per_dollar, wells["A"].tail_weight) == (0.3, 0.2)
    assert (wells["B"].least_value_per_dollar, wells["B"].tail_weight) == (0.5, 0.2)
    assert wells["B"].greatest_chance_of_loss == 0.5
