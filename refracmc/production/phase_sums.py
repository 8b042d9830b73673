"""Sums of a second phase from those of the main phase, in compiled loops: the rule of `secondary`."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from refracmc.compiler import rule

Array = NDArray[np.float64]


@rule
def sum_by_ratio(main: Array, now: float, final: float, change: float, out: Array) -> None:
    """Fill out (T + 1,) [bbl or Mcf] from the sums main (T + 1,) of the main phase.

    now, final: ratios at the start and from the sum `change` on, linear in between.
    """
    turn = now - final
    half = turn / (2.0 * change) if change > 1e-200 else 0.0
    change = max(change, 0.0)
    for i in range(main.size):
        y = min(main[i], change)
        out[i] = y * (turn - y * half) + main[i] * final
