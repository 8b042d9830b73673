"""When a job has paid back what it cost, not discounted."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from refracmc.compiler import rule


@rule
def payout(flows: NDArray[np.float64], idle: int) -> int:
    """The first month, from month `idle` (the job's) on, by which the running total of flows [US$] is not below zero.

    -1 where there is none. flows: of the strategy beyond the well left alone.
    """
    running = 0.0
    for i in range(idle):
        running += flows[i]
    for i in range(idle, flows.size):
        running += flows[i]
        if running >= 0.0:
            return i
    return -1
