"""The choice of jobs as an integer programme, handed to branch and bound (HiGHS through SciPy).

One variable a job (done or not), one a pad and month (a mobilisation is paid there), and for the tail mean those of
Rockafellar and Uryasev (2000), J. Risk 2(3): its level, and the shortfall of each scenario below it.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp

from refracmc.portfolio.choice_problem import Array, Choice, Whole

OUT_OF_TIME, INFEASIBLE = 1, 2
"""Statuses of the solver."""
WIDE = 0.25
"""Share of the jobs from which a limit is wide."""


@dataclass(frozen=True, eq=False)
class Scenarios:
    """What is weighed beside the mean: weight times the mean of the worst outcomes.

    weight: risk weight, 0 or more; tail_fraction: share of the worst; values (K, S): of each job in each scenario
    [US$]; chances (S,): of the scenarios, sum 1.
    """

    weight: float
    tail_fraction: float
    values: Array
    chances: Array


def tail_mean(values: Array, tail_fraction: float, chances: Array | None = None) -> float:
    """Mean of the worst share of outcomes (S,) with their chances (S,), equal ones by default, by sorting [unit of
    values]; the outcome at the boundary counts with the part that fills the tail."""
    chances = np.full(len(values), 1.0 / len(values)) if chances is None else chances
    order = np.argsort(values, kind="stable")
    before = np.cumsum(chances[order]) - chances[order]
    part = np.clip(tail_fraction - before, 0.0, chances[order])
    return float(part @ values[order] / part.sum())


def objective(choice: Choice, scenarios: Scenarios | None, chosen: Whole) -> float:
    """What a choice has of what `select` makes largest [US$]."""
    mean = choice.worth(chosen)
    if scenarios is None:
        return mean
    saving = choice.worth(chosen) - float(choice.value[chosen].sum())
    outcomes = scenarios.values[chosen].sum(axis=0) + saving
    return mean + scenarios.weight * tail_mean(outcomes, scenarios.tail_fraction, scenarios.chances)


@contextlib.contextmanager
def _unheard() -> Iterator[None]:
    """Keep what the solver's library writes to standard output by itself out of the output of a command."""
    with contextlib.suppress(OSError, ValueError):
        sys.stdout.flush()
    try:
        kept = os.dup(1)
    except OSError:  # there is no standard output
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 1)
            yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)


def solved(
    choice: Choice, scenarios: Scenarios | None, gap: float, time_limit_s: float, whole: bool
) -> OptimizeResult:
    """The programme handed to the solver: jobs, then mobilisations paid, then level and shortfalls of the tail mean.

    Money is scaled by the largest value so that the tolerances of the solver mean the same for any case.
    """
    jobs, groups = len(choice.owner), len(choice.groups)
    tail = 0 if scenarios is None else 1 + len(scenarios.chances)
    scale = float(np.abs(choice.value).max()) or 1.0
    inside = choice.group_of >= 0
    saving = np.zeros(jobs)
    saving[inside] = choice.group_saving[choice.group_of[inside]]
    gain = np.concatenate([choice.value + saving, -choice.group_saving, np.zeros(tail)]) / scale
    rows, low, high = _rows(choice)
    matrix = sparse.hstack([rows, sparse.csr_matrix((rows.shape[0], tail))]) if tail else rows
    bounded: list[tuple[sparse.csr_matrix, Array, Array]] = [(sparse.csr_matrix(matrix), low, high)]
    lower, upper = np.zeros(jobs + groups + tail), np.ones(jobs + groups + tail)
    if scenarios is not None:
        gain[jobs + groups] = scenarios.weight
        gain[jobs + groups + 1 :] = -scenarios.weight * scenarios.chances / scenarios.tail_fraction
        lower[jobs + groups], upper[jobs + groups :] = -np.inf, np.inf
        outcome = np.hstack(
            [(scenarios.values + saving[:, None]).T, np.tile(-choice.group_saving, (tail - 1, 1))]
        )
        level, shortfall = np.full((tail - 1, 1), -1.0), np.identity(tail - 1)
        short = sparse.csr_matrix(np.hstack([outcome / scale, level, shortfall]))
        bounded.append((short, np.zeros(tail - 1), np.full(tail - 1, np.inf)))
    members = _kinds_of_jobs(choice) if whole else sparse.csr_matrix((0, jobs))
    kinds = members.shape[0]
    columns = jobs + groups + tail
    constraints = [
        LinearConstraint(
            sparse.csr_matrix(sparse.hstack([part, sparse.csr_matrix((part.shape[0], kinds))])), least, most
        )
        for part, least, most in bounded
    ]
    if kinds:
        done = sparse.hstack([members, sparse.csr_matrix((kinds, columns - jobs)), -sparse.identity(kinds)])
        constraints.append(LinearConstraint(sparse.csr_matrix(done), 0.0, 0.0))
    integrality = np.concatenate([np.full(jobs, int(whole)), np.zeros(groups + tail), np.ones(kinds)])
    with _unheard():
        found = milp(
            -np.concatenate([gain, np.zeros(kinds)]),
            integrality=integrality,
            bounds=Bounds(np.concatenate([lower, np.zeros(kinds)]), np.concatenate([upper, np.ones(kinds)])),
            constraints=constraints,
            options={"time_limit": float(time_limit_s), "mip_rel_gap": float(gap)},
        )
    for name in ("fun", "mip_dual_bound"):
        if getattr(found, name, None) is not None:
            setattr(found, name, getattr(found, name) * scale)
    return found


def _kinds_of_jobs(choice: Choice) -> sparse.csr_matrix:
    """Jobs (rows, K) of each owner, and of those the jobs that use the same of the wide limits (capital of a year).

    Whether one of these is done is a variable that adds nothing to the programme and speeds its solution many times:
    branch and bound settles which wells are done in which year before it settles the month.
    """
    uses = np.array([x.use > 0.0 for x in choice.limits]).reshape(len(choice.limits), len(choice.owner))
    wide = uses[uses.mean(axis=1) > WIDE] if len(choice.owner) else uses[:0]
    parts = []
    for columns in ([choice.owner], [choice.owner, *wide]):
        kinds, at = np.unique(np.array(columns), axis=1, return_inverse=True)
        ones = (np.ones(len(choice.owner)), (at.ravel(), np.arange(len(choice.owner))))
        parts.append(sparse.csr_matrix(ones, (kinds.shape[1], len(choice.owner))))
    return sparse.vstack(parts).tocsr()


def _rows(choice: Choice) -> tuple[sparse.csr_matrix, Array, Array]:
    """Rows of the programme with what they lie between: owners, limits, mobilisations."""
    jobs, groups = len(choice.owner), len(choice.groups)
    owners, at = np.unique(choice.owner, return_inverse=True)
    lacking = [number for number in choice.must if number not in set(owners.tolist())]
    one = sparse.csr_matrix((np.ones(jobs), (at, np.arange(jobs))), (len(owners), jobs + groups))
    low = [*np.isin(owners, list(choice.must)).astype(float)]
    parts, high = [one], [1.0] * len(owners)
    if lacking:  # has to be done, and has no job: no choice can be
        parts.append(sparse.csr_matrix((1, jobs + groups)))
        low, high = [*low, 1.0], [*high, 1.0]
    for limit in choice.limits:
        saved = np.zeros(groups) if limit.saved is None else limit.saved
        inside = choice.group_of >= 0
        back = np.zeros(jobs)
        back[inside] = saved[choice.group_of[inside]]
        size = max(1.0, float(np.abs(limit.use).max(initial=0.0)))
        parts.append(sparse.csr_matrix(np.concatenate([limit.use - back, saved])[None] / size))
        low, high = [*low, -np.inf], [*high, limit.most / size]
    for number, members in enumerate(choice.groups):
        for owner in np.unique(choice.owner[members]):
            its = members[choice.owner[members] == owner]
            columns = [*its.tolist(), jobs + number]
            values = [*[1.0] * len(its), -1.0]
            parts.append(sparse.csr_matrix((values, ([0] * len(columns), columns)), (1, jobs + groups)))
            low, high = [*low, -np.inf], [*high, 0.0]
    return sparse.vstack(parts).tocsr(), np.array(low), np.array(high)
