"""What may be chosen and what limits it, as arrays: one job is one element, whoever owns it.

An owner is a well, or a project that is no refrac; at most one job of an owner is done. Jobs of one pad in one month
share a mobilisation: every job after the first saves the same sum.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Whole = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Limit:
    """What the chosen jobs may use together. name: in words; use (K,): of each job; most: same unit as use;
    saved (P,): what one saved mobilisation of each group gives back, none by default."""

    name: str
    use: Array
    most: float
    saved: Array | None = None


@dataclass(frozen=True, eq=False)
class Choice:
    """K jobs, what they are worth and what limits them.

    owner (K,): number of the owner, from 0; value (K,): mean value [US$]; must: owners of which a job has to be done;
    groups: for each pad and month the jobs in it, of two owners or more; group_saving (P,): value [US$] of one
    mobilisation saved; limits: of capital and crews. owner_names: for messages, by number.
    """

    owner: Whole
    value: Array
    limits: tuple[Limit, ...] = ()
    must: frozenset[int] = frozenset()
    groups: tuple[Whole, ...] = ()
    group_saving: Array = field(default_factory=lambda: np.zeros(0))
    owner_names: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        count = len(self.owner)
        if len(self.value) != count or any(len(limit.use) != count for limit in self.limits):
            raise ValueError(f"choice: found arrays of different lengths; allowed: {count} jobs in each")
        if len(self.group_saving) != len(self.groups):
            raise ValueError("choice: one saving for every group of jobs that share a mobilisation")

    @cached_property
    def group_of(self) -> Whole:
        """Group of each job (K,), -1 for none."""
        at = np.full(len(self.owner), -1, dtype=np.intp)
        for number, jobs in enumerate(self.groups):
            at[jobs] = number
        return at

    def saved_mobilisations(self, chosen: Whole) -> Array:
        """Mobilisations saved by the chosen jobs in each group (P,)."""
        inside = self.group_of[chosen]
        count = np.bincount(inside[inside >= 0], minlength=len(self.groups)).astype(np.float64)
        return np.maximum(count - 1.0, 0.0)

    def worth(self, chosen: Whole, value: Array | None = None) -> float:
        """Value of the chosen jobs with the mobilisations they save [US$]; value (K,): in place of the mean values."""
        of_jobs = self.value if value is None else value
        return float(of_jobs[chosen].sum() + self.saved_mobilisations(chosen) @ self.group_saving)

    def used(self, limit: Limit, chosen: Whole) -> float:
        """What the chosen jobs use of a limit, in its unit."""
        back = 0.0 if limit.saved is None else float(self.saved_mobilisations(chosen) @ limit.saved)
        return float(limit.use[chosen].sum()) - back

    def fits(self, chosen: Whole) -> bool:
        """Whether no owner has two jobs, all that must be done are, and every limit holds to a billionth."""
        owners = self.owner[chosen]
        return (
            len(set(owners.tolist())) == len(owners)
            and self.must <= set(owners.tolist())
            and all(self.used(x, chosen) <= x.most + 1e-9 * max(1.0, abs(x.most)) for x in self.limits)
        )

    def without(self, jobs: NDArray[np.bool_]) -> tuple[Choice, Whole]:
        """The same problem without some jobs (K,), and the numbers that the jobs left have in this one."""
        left = np.flatnonzero(~jobs)
        place = np.full(len(jobs), -1, dtype=np.intp)
        place[left] = np.arange(len(left))
        groups = [place[group[~jobs[group]]] for group in self.groups]
        kept = [k for k, group in enumerate(groups) if len(group)]
        limits = tuple(
            Limit(x.name, x.use[left], x.most, None if x.saved is None else x.saved[kept])
            for x in self.limits
        )
        smaller = Choice(
            self.owner[left],
            self.value[left],
            limits,
            self.must,
            tuple(groups[k] for k in kept),
            self.group_saving[kept],
            self.owner_names,
        )
        return smaller, left


def needless(choice: Choice, values: Array) -> NDArray[np.bool_]:
    """Jobs (K,) that no best choice needs: another job of the owner, in the same group, uses no more of anything and
    is worth no less in every row of values (R, K) [US$]; or it gains nothing in any row and need not be done."""
    dropped = np.zeros(len(choice.owner), dtype=bool)
    uses = np.array([x.use for x in choice.limits]).reshape(len(choice.limits), len(choice.owner))
    highest, least = np.zeros(len(choice.owner)), uses.copy()
    inside = choice.group_of >= 0
    highest[inside] = choice.group_saving[choice.group_of[inside]]
    for row, limit in enumerate(choice.limits):
        if limit.saved is not None:
            least[row, inside] -= limit.saved[choice.group_of[inside]]
    free = ~np.isin(choice.owner, list(choice.must))
    dropped |= free & ((values + highest <= 0.0).all(axis=0)) & (least >= 0.0).all(axis=0)
    order = np.argsort(choice.owner, kind="stable")
    starts = np.flatnonzero(np.diff(choice.owner[order], prepend=-1))
    for jobs in np.split(order, starts[1:]):
        _drop_beaten(choice, jobs[~dropped[jobs]], uses, values, dropped)
    return dropped


def _drop_beaten(choice: Choice, jobs: Whole, uses: Array, values: Array, dropped: NDArray[np.bool_]) -> None:
    """Mark the jobs of one owner that another of its jobs beats; of two that are the same the later goes."""
    for k in jobs[::-1]:
        others = jobs[(jobs != k) & ~dropped[jobs] & (choice.group_of[jobs] == choice.group_of[k])]
        if not len(others):
            continue
        as_good = (uses[:, others] <= uses[:, [k]]).all(axis=0) & (values[:, others] >= values[:, [k]]).all(
            axis=0
        )
        dropped[k] = bool(as_good.any())


def greedy(choice: Choice, order: Sequence[int] | Whole) -> Whole:
    """Jobs taken in an order as long as they fit, those of owners that must be done first; the result may lack some
    of these where they do not fit."""
    uses = np.array([x.use for x in choice.limits]).reshape(len(choice.limits), len(choice.owner))
    most = np.array([x.most for x in choice.limits])
    back = [x.saved if x.saved is not None else np.zeros(len(choice.groups)) for x in choice.limits]
    saved = np.array(back).reshape(len(choice.limits), len(choice.groups))
    slack = 1e-9 * np.maximum(1.0, np.abs(most))
    used, taken, filled, owners = np.zeros(len(most)), [], set(), set()
    first = sorted(order, key=lambda job: int(choice.owner[job]) not in choice.must)
    for job in first:
        owner, group = int(choice.owner[job]), int(choice.group_of[job])
        if owner in owners:
            continue
        more = uses[:, job] - (saved[:, group] if group in filled else 0.0)
        if (used + more <= most + slack).all():
            used = used + more
            taken.append(int(job))
            owners.add(owner)
            if group >= 0:
                filled.add(group)
    return np.array(sorted(taken), dtype=np.intp)
