"""The verdict on a well: where value per capital and chance of loss of its best refrac stand against what is asked.

    refracture    value per dollar >= least                   and chance of loss <= greatest
    marginal      value per dollar >= least - marginal value  and chance of loss <= greatest + marginal chance
    leave         neither

These limits are fixed, so that more trials move no verdict. Sampling errors only say whether it is known: both numbers
may lie `BOUND` standard errors to either side, and any refrac whose worth is not `BOUND` standard errors below the best
may be the best. Where these do not all give one verdict, it is `not told apart`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case.decision_section import Decision
from refracmc.decisions.compare import ErrorOf, Results, worst_mean

Array = NDArray[np.float64]

VERDICTS = ("leave", "marginal", "refracture")
"""By their grade, 0 to 2."""
NOT_TOLD_APART, NONE = "not told apart", "none"
FEW_TRIALS = 100
"""Fewer trials than this carry no verdict: their errors are not known well enough (assumption)."""
BOUND = 4.0
"""Standard errors that a number may be off. One of a well that stands right on a limit is further off in 4 of 10,000
runs to either side with errors known from the 19 blocks of 10,000 trials (Student's t, 18 degrees of freedom), and in 3
of 100,000 with many: so some hundred looks at some wells and their two limits hold together."""


def grade(value_per_dollar: float, chance_of_loss: float, asked: Decision) -> int:
    """Index into VERDICTS. Value that is no number, as without capital, is none that is asked for."""
    for k, value, chance in (
        (2, 0.0, 0.0),
        (1, asked.marginal_value_per_dollar, asked.marginal_chance_of_loss),
    ):
        if meets(value_per_dollar, chance_of_loss, asked, value, chance):
            return k
    return 0


def meets(value: float, loss: float, asked: Decision, value_short: float, loss_over: float) -> bool:
    """Whether value per dollar and chance of loss hold limits that are relaxed by so much."""
    return bool(
        value >= asked.least_value_per_dollar - value_short
        and loss <= asked.greatest_chance_of_loss + loss_over
    )


def possible_grades(
    value: float, value_se: float, loss: float, loss_se: float, asked: Decision
) -> tuple[int, int]:
    """Lowest and highest grade within `BOUND` standard errors; all of them where an error is not known."""
    if not np.isfinite(value):
        return (0, 0)
    if not (np.isfinite(value_se) and np.isfinite(loss_se)):
        return (0, len(VERDICTS) - 1)
    down, over = BOUND * value_se, BOUND * loss_se
    lowest, highest = max(loss - over, 0.0), min(loss + over, 1.0)  # a chance
    return grade(value - down, highest, asked), grade(value + down, lowest, asked)


def worth_by_trial(inc: Array, asked: Decision, tail_fraction: float) -> Array:
    """Contributions (n,) to what a strategy is worth: their mean is the worth [US$], their error its error.

    inc (n,): incremental NPV. The tail's: cut + min(inc - cut, 0)/fraction (Rockafellar & Uryasev 2000).
    """
    if not asked.tail_weight:
        return inc
    cut = np.quantile(inc, tail_fraction)
    tail = cut + np.minimum(inc - cut, 0.0) / tail_fraction
    worth: Array = (1.0 - asked.tail_weight) * inc + asked.tail_weight * tail
    return worth


def worth_of(inc: Array, asked: Decision, tail_fraction: float) -> float:
    """Mean, and the mean of the worst trials by its weight [US$]; inc (n,)."""
    worth = float(inc.mean())
    if asked.tail_weight:
        worth += asked.tail_weight * (worst_mean(inc, tail_fraction) - worth)
    return worth


def _numbers(results: Results, s: int, error_of: ErrorOf, asked: Decision) -> dict[str, float]:
    """Worth, value per dollar and chance of loss of a strategy with their errors."""
    inc = results.measures["incremental_npv"][s]
    capex = results.measures["discounted_capex"][s]
    spent, part = float(capex.mean()), worth_by_trial(inc, asked, results.tail_fraction)
    loss, loss_se = error_of((inc < 0.0).astype(float))
    found = {"worth_usd": worth_of(inc, asked, results.tail_fraction), "worth_se_usd": error_of(part)[1]}
    found |= {"value_per_dollar": np.nan, "value_per_dollar_se": np.nan, "p_loss": loss, "p_loss_se": loss_se}
    if spent > 0.0:
        found["value_per_dollar"] = found["worth_usd"] / spent
        found["value_per_dollar_se"] = error_of((part - found["value_per_dollar"] * capex) / spent)[1]
    return found


def _possible(found: dict[str, float], trials: int, asked: Decision) -> tuple[int, int]:
    loss_se = max(found["p_loss_se"], 1.0 / trials)  # no loss in n trials: the chance may still be about 3/n
    return possible_grades(
        found["value_per_dollar"], found["value_per_dollar_se"], found["p_loss"], loss_se, asked
    )


def _equals(results: Results, error_of: ErrorOf, asked: Decision) -> list[int]:
    """Refracs beside the best that may be worth as much as it: their lag is within `BOUND` standard errors."""
    inc, best = results.measures["incremental_npv"], results.best
    top = worth_by_trial(inc[best], asked, results.tail_fraction)
    found = []
    for s in results.refracs:
        if s != best:
            lag, error = error_of(top - worth_by_trial(inc[s], asked, results.tail_fraction))
            if not lag > BOUND * error:
                found.append(s)
    return found


def _chances(results: Results, error_of: ErrorOf) -> dict[str, float]:
    """How often some refrac beats doing nothing, and how often the best one is the best refrac of the trial."""
    inc, best, refracs = results.measures["incremental_npv"], results.best, results.refracs
    peak = inc[refracs[0]].copy()
    for s in refracs[1:]:
        np.maximum(peak, inc[s], out=peak)
    winners = np.zeros(peak.size)
    for s in refracs:
        winners += inc[s] >= peak
    some, some_se = error_of((peak > 0.0).astype(float))
    chance, chance_se = error_of((inc[best] >= peak) / winners)
    return {
        "some_refrac_chance": some,
        "some_refrac_chance_se": some_se,
        "best_refrac_chance": chance,
        "best_refrac_chance_se": chance_se,
    }


def verdict_row(results: Results, error_of: ErrorOf, asked: Decision) -> dict[str, Any]:
    """The row of a well: its verdict, the numbers it follows from, and what was asked."""
    best, trials = results.best, results.measures["incremental_npv"][0].size
    found = _numbers(results, best, error_of, asked)
    equals = _equals(results, error_of, asked)
    grades = [_possible(found, trials, asked)]
    grades += [_possible(_numbers(results, s, error_of, asked), trials, asked) for s in equals]
    low, high = min(g[0] for g in grades), max(g[1] for g in grades)
    verdict = VERDICTS[low] if low == high else NOT_TOLD_APART
    return {
        "well": results.well,
        "strategy": results.names[best],
        "verdict": NONE if trials < FEW_TRIALS else verdict,
        "verdict_low": VERDICTS[low],
        "verdict_high": VERDICTS[high],
        "verdict_of_estimates": VERDICTS[grade(found["value_per_dollar"], found["p_loss"], asked)],
        **found,
        "equals": len(equals),
        "equal_strategies": " ".join(results.names[s] for s in equals) or None,
        **_chances(results, error_of),
        **{name: getattr(asked, name) for name in Decision.model_fields},
    }
