"""Four plain rankings, each filled from the top as long as jobs fit: what a choice is held against."""

from __future__ import annotations

import numpy as np

from refracmc.portfolio.choice_problem import Array, Choice, Whole, greedy
from refracmc.portfolio.offered_jobs import OfferedJobs

RANKINGS = ("value", "value per capital", "P50", "chance of loss")


def ranked_choice(jobs: OfferedJobs, choice: Choice, ranking: str) -> Whole:
    """Jobs taken by a ranking of the wells by their best job, the best first; where that does not fit, the well's next
    best by mean value that does. Jobs that lose on average are taken where they must be done alone."""
    mark = _marks(jobs)[ranking]
    wanted = (jobs.value > 0.0) | np.isin(jobs.owner, list(choice.must))
    best = np.full(len(jobs.owners), -np.inf)
    np.maximum.at(best, jobs.owner[wanted], mark[wanted])
    order = np.lexsort((-jobs.value, jobs.owner, -best[jobs.owner]))
    return greedy(choice, order[wanted[order]])


def _marks(jobs: OfferedJobs) -> dict[str, Array]:
    """By ranking the mark (K,) of each job, higher is better."""
    per_capital = jobs.value / np.maximum(jobs.capital, 1.0)
    return dict(zip(RANKINGS, (jobs.value, per_capital, jobs.value_p50, -jobs.p_loss), strict=True))
