"""The best jobs under limits: by branch and bound, then piece by piece while time is left and the gap too wide."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from refracmc.portfolio.choice_problem import Choice, Limit, Whole, greedy, needless
from refracmc.portfolio.improvement import improved
from refracmc.portfolio.programme import INFEASIBLE, Scenarios, objective, solved, tail_mean

__all__ = ["NothingFitsError", "Scenarios", "Selection", "clashing", "select", "tail_mean"]

GAP, TIME_LIMIT_S = 1e-3, 60.0
FIRST_SHARE = 0.5
"""Share of the time in which branch and bound works on the whole."""
RELAXED_S = 60.0
"""Seconds for the bound where branch and bound had no time to give one."""


class NothingFitsError(Exception):
    """No choice meets all that is asked; `clash`: limits and owners that together cannot be, none to spare."""

    def __init__(self, clash: tuple[str, ...]) -> None:
        super().__init__("; ".join(clash))
        self.clash = clash


@dataclass(frozen=True, eq=False)
class Selection:
    """The jobs chosen, in rising number. objective: what was made largest [US$]; bound: no choice has more; seconds:
    of the solver; is_optimal: whether the gap asked for was reached in time."""

    chosen: Whole
    objective: float
    bound: float
    seconds: float
    is_optimal: bool

    @property
    def gap(self) -> float:
        """How much better another choice could be at most, as a fraction of the objective."""
        lead = max(self.bound - self.objective, 0.0)
        return lead / abs(self.objective) if self.objective else (0.0 if lead == 0.0 else float("inf"))


def select(
    choice: Choice,
    scenarios: Scenarios | None = None,
    *,
    gap: float = GAP,
    time_limit_s: float = TIME_LIMIT_S,
    whole: bool = True,
    start: Whole | None = None,
) -> Selection:
    """The jobs with the largest worth, or worth plus weighed tail mean, that meet all limits.

    gap: relative; whole=False: jobs may be done in part (`chosen` then has those of which any part is done); start: a
    choice that is known; none worse is given where it meets the limits. Where
    time runs out the best found so far is given with its bound: a choice filled by value per use if none was found.
    Raises NothingFitsError.
    """
    rows = choice.value[None] if scenarios is None else np.vstack([choice.value, scenarios.values.T])
    smaller, numbers = (
        choice.without(needless(choice, rows)) if whole else (choice, np.arange(len(choice.owner)))
    )
    if scenarios is not None:
        scenarios = replace(scenarios, values=scenarios.values[numbers])
    began = time.perf_counter()
    if not len(numbers) and not choice.must:
        return Selection(numbers, 0.0, 0.0, 0.0, True)
    if not len(numbers):
        raise NothingFitsError(clashing(choice))
    until = began + time_limit_s
    found = solved(smaller, scenarios, gap, time_limit_s * (FIRST_SHARE if whole else 1.0), whole)
    if found.status == INFEASIBLE:
        raise NothingFitsError(clashing(choice))
    bound = np.inf if found.mip_dual_bound is None else -float(found.mip_dual_bound)
    if not whole:
        return Selection(
            numbers[found.x[: len(numbers)] > 1e-9],
            -float(found.fun),
            bound,
            time.perf_counter() - began,
            True,
        )
    chosen = _filled(smaller) if found.x is None else np.flatnonzero(found.x[: len(numbers)] > 0.5)
    chosen = _better(smaller, scenarios, chosen, numbers, start)
    if chosen is None:
        raise NothingFitsError(clashing(choice, time_limit_s))
    if not np.isfinite(bound):
        relaxed = solved(smaller, scenarios, gap, max(time_limit_s, RELAXED_S), False)
        bound = -float(relaxed.fun) if relaxed.status == 0 else np.inf
    if found.status != 0:
        chosen = improved(smaller, scenarios, chosen, bound / (1.0 + gap), until)
    best = objective(smaller, scenarios, chosen)
    bound = max(bound, best)
    return Selection(
        numbers[chosen], best, bound, time.perf_counter() - began, bound - best <= 1.000001 * gap * abs(best)
    )


def _better(
    choice: Choice, scenarios: Scenarios | None, chosen: Whole | None, numbers: Whole, start: Whole | None
) -> Whole | None:
    """The better of a choice and one that is known; numbers: of the jobs of `choice` where `start` counts them."""
    if start is None or not np.isin(start, numbers).all():
        return chosen
    known = np.searchsorted(numbers, start)
    if not choice.fits(known):
        return chosen
    if chosen is None or objective(choice, scenarios, known) > objective(choice, scenarios, chosen):
        return known
    return chosen


def _filled(choice: Choice) -> Whole | None:
    """A choice that fits, filled by value per largest share of a limit; None where some that must be done does not."""
    shares = [x.use / x.most for x in choice.limits if x.most > 0]
    worst = np.max(shares, axis=0) if shares else np.zeros(len(choice.value))
    good = np.flatnonzero((choice.value > 0) | np.isin(choice.owner, list(choice.must)))
    made = greedy(choice, good[np.argsort(-(choice.value[good] / (worst[good] + 1e-6)), kind="stable")])
    return made if choice.fits(made) else None


def clashing(choice: Choice, time_limit_s: float = 10.0) -> tuple[str, ...]:
    """Names of limits and of owners that must be done which together cannot be met, none of them to spare: each is
    dropped in turn, and left out where the rest still cannot be met."""
    names = choice.owner_names or tuple(f"owner {k}" for k in range(int(choice.owner.max(initial=0)) + 1))
    limits: list[Limit] = list(choice.limits)
    must: set[int] = set(choice.must)
    for limit in choice.limits:
        rest = [other for other in limits if other is not limit]
        if not _can_be(choice, rest, must, time_limit_s):
            limits = rest
    for owner in sorted(choice.must):
        if not _can_be(choice, limits, must - {owner}, time_limit_s):
            must -= {owner}
    asked = tuple(f"{names[owner]} must be done" for owner in sorted(must))
    return (*asked, *(limit.name for limit in limits))


def _can_be(choice: Choice, limits: list[Limit], must: set[int], time_limit_s: float) -> bool:
    """Whether any choice meets some of the limits and demands; taken as possible where time runs out."""
    owners: NDArray[np.bool_] = np.isin(choice.owner, list(must))
    if not must <= set(choice.owner[owners].tolist()):
        return False
    asked = replace(
        choice, value=np.zeros(len(choice.value)), limits=tuple(limits), must=frozenset(must),
        group_saving=np.zeros(len(choice.groups)),
    )  # fmt: skip
    smaller, _ = asked.without(~owners)
    if not len(smaller.owner):
        return True
    return bool(solved(smaller, None, 0.0, time_limit_s, True).status != INFEASIBLE)
