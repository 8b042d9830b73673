"""The choice that weighs the worst trials: they are reckoned in groups of trials while choosing, and told on all.

Trials are sorted by the sum of a first choice and cut into groups, half of the groups in the worst share, and every
group counts with the mean of its trials. Means are kept. A tail mean over such groups is never below that over the
trials, so that what the solver cannot exceed in groups no choice exceeds in trials: bound and gap hold for all trials.
The groups are made anew by the choice found, and the choice again, a few times.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from refracmc.case.portfolio_section import Portfolio
from refracmc.portfolio.choice_problem import Array, Choice, Whole
from refracmc.portfolio.offered_jobs import OfferedJobs
from refracmc.portfolio.programme import Scenarios, tail_mean
from refracmc.portfolio.selection import Selection, select

ROUNDS = 3


@dataclass(frozen=True, eq=False)
class Scored:
    """A choice told on all trials. outcomes (n,): sum of its trials, saved mobilisations in it; mean, tail: their mean
    and that of the worst; objective, bound: mean less the weighed CVaR of the loss, and what no choice exceeds; all
    US$ WI."""

    chosen: Whole
    outcomes: Array
    mean: float
    tail: float
    objective: float
    bound: float
    is_optimal: bool
    seconds: float

    @property
    def gap(self) -> float:
        """How much better another choice could be at most, as a fraction of the objective."""
        lead = max(self.bound - self.objective, 0.0)
        return lead / abs(self.objective) if self.objective else (0.0 if lead == 0.0 else np.inf)


def scored(
    jobs: OfferedJobs, choice: Choice, found: Selection, weight: float, tail_fraction: float, bound: float
) -> Scored:
    """A selection told on all trials, with the bound that holds there."""
    saving = choice.worth(found.chosen) - float(choice.value[found.chosen].sum())
    outcomes = jobs.summed(found.chosen) + saving
    mean, tail = float(outcomes.mean()), tail_mean(outcomes, tail_fraction)
    objective = mean + weight * tail
    return Scored(
        found.chosen, outcomes, mean, tail, objective, max(bound, objective), found.is_optimal, found.seconds
    )


def groups_of_trials(guide: Array, count: int, tail_fraction: float) -> tuple[Array, Array]:
    """Weights (n, S) of trials in groups cut from the order of the guide (n,), and the chance (S,) of each group."""
    n = len(guide)
    order = np.argsort(guide, kind="stable")
    worst = min(max(1, round(tail_fraction * n)), n)
    low = np.array_split(order[:worst], min(max(1, count // 2), worst))
    high = np.array_split(order[worst:], min(max(1, count - len(low)), max(1, n - worst)))
    members = [group for group in (*low, *high) if len(group)]
    parts = np.zeros((n, len(members)))
    for column, group in enumerate(members):
        parts[group, column] = 1.0 / len(group)
    return parts, np.array([len(group) / n for group in members])


def best_choice(
    jobs: OfferedJobs,
    choice: Choice,
    settings: Portfolio,
    tail_fraction: float,
    weight: float | None = None,
    guide: Array | None = None,
) -> Scored:
    """The best choice by mean less `weight` times the CVaR of the loss (that of the settings if None), on all trials.

    guide: trials (n,) that give the first groups; those of the choice by mean if None. Raises NothingFitsError.
    """
    weight = settings.risk_weight if weight is None else weight
    if weight == 0.0 or guide is None:
        plain = select(choice, gap=settings.gap, time_limit_s=settings.time_limit_s)
        best = scored(jobs, choice, plain, weight, tail_fraction, plain.bound if weight == 0.0 else np.inf)
        if weight == 0.0:
            return best
        guide = best.outcomes
    bound, found, seconds = np.inf, None, 0.0
    for _ in range(ROUNDS):
        parts, chances = groups_of_trials(guide, settings.scenarios, tail_fraction)
        scenarios = Scenarios(weight, tail_fraction, jobs.grouped(parts), chances)
        seconds_each = settings.time_limit_s / ROUNDS
        chosen = select(choice, scenarios, gap=settings.gap, time_limit_s=seconds_each)
        bound, seconds = min(bound, chosen.bound), seconds + chosen.seconds
        told = scored(jobs, choice, chosen, weight, tail_fraction, bound)
        if found is not None and told.objective <= found.objective:
            break
        found, guide = told, told.outcomes
        if found.gap <= settings.gap:
            break
    assert found is not None
    return Scored(
        found.chosen, found.outcomes, found.mean, found.tail, found.objective, max(bound, found.objective),
        found.is_optimal, seconds,
    )  # fmt: skip
