"""Cumulatives of the modified hyperbolic at month edges, compiled: one pass over a trial, some months side by side.

The formulas and their constants are those of `refracmc/production/hyperbolic.py`; logarithm and exponential those of
`lanes`. Values agree to 1e-13.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from .lanes import (
    CONTRACT,
    COUNT,
    choose,
    every,
    growth,
    least,
    load,
    logarithm_past_one,
    most,
    negated,
    put,
    some,
    store,
)

BUILT_IN = "8e220404c34b798a"
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
    whole = edges.size // COUNT * COUNT
    table = out.reshape((1, out.shape[0], edges.size))
    times, last = np.zeros((whole // COUNT + 1, COUNT)), np.zeros((1, COUNT))
    for j in range(edges.size):
        times[j // COUNT, j % COUNT] = edges[j]
    for i in range(rows.size):
        speed, u_switch, gain = every(constants[0, i]), every(constants[1, i]), every(constants[2, i])
        scale, t_switch, floor = every(constants[3, i]), every(constants[4, i]), every(constants[5, i])
        scale_after, at_switch, share = every(constants[6, i]), every(constants[7, i]), every(uptime[i])
        for j in range(0, edges.size, COUNT):
            t = share * load(times, j // COUNT)
            u = t * speed
            after = u > u_switch
            x = (t_switch - t) * floor
            if some(negated(after)):
                x = choose(after, x, gain * logarithm_past_one(u))
            grown = growth(most(least(x, every(LARGEST)), every(-LARGEST)))
            total = choose(after, grown * scale_after + at_switch, grown * scale)
            if j < whole:
                put(table, 0, rows[i], j, total)
            else:
                store(last, 0, total)
        for j in range(whole, edges.size):
            out[rows[i], j] = last[0, j - whole]


def warm() -> None:
    """Compile, or load from the cache, for the argument types the engine uses."""
    row = np.zeros(1, dtype=np.int64)
    hyperbolic_totals(np.ones((8, 1)), np.ones(1), np.ones(1), row, np.empty((1, 1)))
