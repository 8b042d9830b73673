"""Cumulatives of the modified hyperbolic at month edges, compiled: one pass over a trial, some months side by side.

The formulas and their constants are those of `refracmc/production/hyperbolic.py`; logarithm and exponential those of
`lanes`. Values agree to 1e-13.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from .lanes import CONTRACT, COUNT, choose, every, growth, least, load, logarithm_past_one, most, store

BUILT_IN = "838f1a99f1241f89"
"""Digest of the modules whose code is built in here: the compiler keeps what it made until this file changes."""
Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
LARGEST = 700.0
"""Of an exponent."""


@njit(cache=True, error_model="numpy", nogil=True, fastmath=CONTRACT)
def hyperbolic_totals(constants: Array, uptime: Array, edges: Array, rows: IntArray, out: Array) -> None:
    """Fill rows (n,) of out (N, K) with the volume from the anchor to producing time uptime x edges [d].

    constants (8, n): `hyperbolic_constants`; uptime (n,); edges (K,) days.
    """
    groups = (edges.size + COUNT - 1) // COUNT
    times, made = np.zeros((groups, COUNT)), np.zeros((groups, COUNT))
    for j in range(edges.size):
        times[j // COUNT, j % COUNT] = edges[j]
    for i in range(rows.size):
        speed, u_switch, gain = every(constants[0, i]), every(constants[1, i]), every(constants[2, i])
        scale, t_switch, floor = every(constants[3, i]), every(constants[4, i]), every(constants[5, i])
        scale_after, at_switch, share = every(constants[6, i]), every(constants[7, i]), every(uptime[i])
        for j in range(groups):
            t = share * load(times, j)
            u = t * speed
            after = u > u_switch
            x = choose(after, (t_switch - t) * floor, gain * logarithm_past_one(u))
            grown = growth(most(least(x, every(LARGEST)), every(-LARGEST)))
            store(made, j, choose(after, grown * scale_after + at_switch, grown * scale))
        row = out[rows[i]]
        for j in range(edges.size):
            row[j] = made[j // COUNT, j % COUNT]


def warm() -> None:
    """Compile, or load from the cache, for the argument types the engine uses."""
    row = np.zeros(1, dtype=np.int64)
    hyperbolic_totals(np.ones((8, 1)), np.ones(1), np.ones(1), row, np.empty((1, 1)))
