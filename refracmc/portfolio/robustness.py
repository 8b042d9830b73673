"""How firm a choice is: made again with resampled trials, and held against the best choice of each scenario."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from refracmc.portfolio.choice_problem import Array, Choice, Whole
from refracmc.portfolio.selection import select
from refracmc.sampling.streams import generator

LEAST_BLOCKS = 10
"""Blocks of trials from which whole blocks are resampled, which keeps what the design gains; below, trials are."""

LEAST_S = 1.0
"""Seconds for the choice of one resample, at least."""


def resampling_weights(sizes: Sequence[int], seed: int, count: int) -> Array:
    """Weight (n, B) of each trial in each of B resamples, sums of 1; sizes: trials of each block."""
    n = sum(sizes)
    source = generator(seed, "portfolio.resamples", "", 0)
    if len(sizes) >= LEAST_BLOCKS:
        picked = np.array([np.bincount(source.integers(len(sizes), size=len(sizes)), minlength=len(sizes))
                           for _ in range(count)]).reshape(count, len(sizes))  # fmt: skip
        weights = np.repeat(picked, sizes, axis=1).astype(np.float64)
    else:
        weights = np.array(
            [np.bincount(source.integers(n, size=n), minlength=n) for _ in range(count)], float
        )
        weights = weights.reshape(count, n)
    sums = weights.sum(axis=1, keepdims=True)
    made: Array = (weights / np.where(sums > 0, sums, 1.0)).T
    return made


@dataclass(frozen=True, eq=False)
class Resampled:
    """How often each owner (O,) and each job (K,) is chosen, as a share of the resamples that were done."""

    owners: Array
    jobs: Array
    done: int


def chosen_again(choice: Choice, resampled: Array, owners: int, gap: float, seconds: float) -> Resampled:
    """The choice by mean made again with resampled mean values (K, B), as many as the time in seconds allows; each has
    its share of the time, a second at least."""
    each_s = max(seconds / max(resampled.shape[1], 1), LEAST_S)
    until = time.perf_counter() + seconds
    of_owner, of_job, done = np.zeros(owners), np.zeros(len(choice.owner)), 0
    for column in resampled.T:
        left = until - time.perf_counter()
        if left <= 0.0:
            break
        found = select(replace(choice, value=column), gap=gap, time_limit_s=min(each_s, left))
        of_job[found.chosen] += 1.0
        of_owner[choice.owner[found.chosen]] += 1.0
        done += 1
    return Resampled(of_owner / max(done, 1), of_job / max(done, 1), done)


def regrets(
    choice: Choice, chosen: Whole, scenarios: Sequence[tuple[str, Array]], gap: float, time_limit_s: float
) -> list[dict[str, float | str]]:
    """What the chosen jobs lose against the best choice in each scenario; scenarios: name, mean values (K,) [US$]."""
    rows: list[dict[str, float | str]] = []
    for name, values in scenarios:
        there = replace(choice, value=values)
        best = select(there, gap=gap, time_limit_s=time_limit_s)
        own = there.worth(chosen)
        both = len(set(best.chosen.tolist()) & set(chosen.tolist()))
        rows.append(
            {"scenario": name, "value_usd": own, "best_usd": best.objective, "regret_usd": best.objective - own,
             "jobs": float(len(best.chosen)), "jobs_in_common": float(both)}
        )  # fmt: skip
    return rows
