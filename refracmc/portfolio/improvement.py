"""A choice made better piece by piece: some jobs are set free, the rest stays, and the small programme is solved.

Branch and bound finds it hard to fill many months of crews to the day. Filling two of them at a time is easy; it is
done again and again with other months until the time is over.
"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np

from refracmc.portfolio.choice_problem import Choice, Whole
from refracmc.portfolio.programme import Scenarios, objective, solved
from refracmc.sampling.streams import generator

FREE_LIMITS = 2
"""Limits of which the jobs are set free at a time."""
FREE_SHARE = 0.4
"""Share of the owners set free where there are few limits."""
PIECE_S = 2.0
"""Seconds for one piece."""


def improved(
    choice: Choice, scenarios: Scenarios | None, chosen: Whole, enough: float, until: float
) -> Whole:
    """A choice at least as good as `chosen`; it ends where the objective is `enough` [US$] or at the time `until`
    (of `time.perf_counter`). Which pieces are tried depends on nothing but their count; how many, on the time."""
    best = objective(choice, scenarios, chosen)
    uses = np.array([x.use for x in choice.limits]).reshape(len(choice.limits), len(choice.owner)) > 0.0
    partial = np.flatnonzero(~uses.all(axis=1))
    source = generator(0, "portfolio.pieces", "", 0)
    fruitless = 0
    while best < enough and time.perf_counter() < until and fruitless < 200:
        if len(partial) > FREE_LIMITS:
            free = uses[source.choice(partial, FREE_LIMITS, replace=False)].any(axis=0)
        else:
            owners = np.unique(choice.owner)
            free = np.isin(choice.owner, owners[source.random(len(owners)) < FREE_SHARE])
        held = choice.owner[chosen[~free[chosen]]]
        kept = free & ~np.isin(choice.owner, held)
        kept[chosen] = True
        smaller, numbers = choice.without(~kept)
        smaller = replace(smaller, must=choice.must | frozenset(held.tolist()))
        its = scenarios and replace(scenarios, values=scenarios.values[numbers])
        found = solved(smaller, its, 1e-4, min(PIECE_S, max(until - time.perf_counter(), 0.05)), True)
        fruitless += 1
        if found.x is None:
            continue
        made = numbers[found.x[: len(numbers)] > 0.5]
        value = objective(choice, scenarios, made)
        if value > best * (1.0 + 1e-12) and choice.fits(made):
            chosen, best, fruitless = made, value, 0
    return chosen
