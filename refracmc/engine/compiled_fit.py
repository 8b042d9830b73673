"""Likelihood of a fit's particles, compiled: one pass over the months, some particles side by side.

The formulas are those of `refracmc/production/likelihood.py` and `fit_forms.py`; logarithm and exponential those of
`lanes`. Log likelihoods agree to 1e-12 (less next to b = 0). The draws of a posterior are then the same to the last
bit, unless one of its choices hangs on that; only the weights of its forms move in their last digits.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from refracmc.production.fit_forms import hyperbolic_constants
from refracmc.production.likelihood import NU, Target

from .lanes import CONTRACT, COUNT, every, growth, inlined, least, load, logarithm_past_one, most, store

BUILT_IN = "8e220404c34b798a"
"""Digest of the modules whose code is built in here: the compiler keeps what it made until this file changes."""
Array = NDArray[np.float64]
TOGETHER, LARGEST = 8, 1e38
"""Factors multiplied before a logarithm is taken, and their bound, so that no product overflows: an error beyond it
or without a value is never kept."""
FORM_NUMBERS = {"modified_hyperbolic": 0, "stretched_exponential": 1, "duong": 2}
_LEVEL, _RHO, _PER_SCALE, _FIRST = 4, 5, 6, 7
"""Rows of a particle's numbers after the four of its curve."""
_T, _LOG_T, _Y, _GAP, _ROOT = 0, 1, 2, 3, 4
"""Rows of a month's numbers."""


@inlined
def _curve(form: int, own: Array, t: float, log_t: float) -> Any:
    """Log rate against that at the start, after t days; own (8, COUNT)."""
    a, b = load(own, 0), load(own, 1)
    if form == 0:  # speed, 1/b, switch, terminal
        switch = load(own, 2)
        bent = b * logarithm_past_one(a * least(every(t), switch))
        return every(0.0) - bent - load(own, 3) * most(every(t) - switch, every(0.0))
    if form == 1:  # log tau, n
        return every(-1.0) - growth((every(log_t) - a) * b)
    # a/(1 - m), 1 - m, m
    return growth(every(log_t) * b) * a - load(own, 2) * every(log_t)


@njit(cache=True, error_model="numpy", nogil=True, fastmath=CONTRACT)
def _tails(form: int, months: Array, particles: Array, out: Array) -> None:
    """Sums of ln(1 + (e/s)^2/nu) in out (G, COUNT); months (5, K + 1), end of history last; particles (G, 8, COUNT)."""
    count = months.shape[1] - 1
    for i in range(particles.shape[0]):
        own = particles[i]
        rho, per_scale = load(own, _RHO), load(own, _PER_SCALE)
        level = _curve(form, own, months[_T, count], months[_LOG_T, count]) - load(own, _LEVEL)
        total, factors, before = every(0.0), every(1.0), every(0.0)
        for k in range(count):
            residual = every(months[_Y, k]) - _curve(form, own, months[_T, k], months[_LOG_T, k]) + level
            if k == 0:
                error = residual * load(own, _FIRST)
            else:
                carried = rho
                for _ in range(1, int(months[_GAP, k])):  # months lie between
                    carried = carried * rho
                error = residual - carried * before
            before = residual
            error = error * per_scale * every(months[_ROOT, k])
            factors = factors * least(every(1.0) + error * error, every(LARGEST))
            if k % TOGETHER == TOGETHER - 1 or k == count - 1:
                total = total + logarithm_past_one(factors - every(1.0))
                factors = every(1.0)
        store(out, i, total)


def _constants(form: str, shape: Array) -> tuple[Array, ...]:
    """What `_curve` asks of a particle, each (n,)."""
    if form == "modified_hyperbolic":
        decline, terminal, b, switch = hyperbolic_constants(shape)
        return b * decline, 1.0 / b, switch, terminal
    if form == "stretched_exponential":
        return shape[0], shape[1]
    return np.exp(shape[0]) / (1.0 - shape[1]), 1.0 - shape[1], shape[1]


def log_likelihood(target: Target, x: Array) -> Array:
    """As `target.log_likelihood(x)`: log likelihood (n,) of particles x (d + 3, n)."""
    d, n = len(target.shape.mean), x.shape[1]
    t = np.append(target.t, target.end)
    months = np.zeros((5, len(t)))
    months[_T], months[_LOG_T] = t, np.log(np.maximum(t, 1.0))
    months[_Y, :-1], months[_GAP, :-1], months[_ROOT, :-1] = target.y, target.gap, np.sqrt(target.weight)
    rho, per_scale, first = target.error_process(x)
    groups = -(-n // COUNT)
    rows = np.ones((8, groups * COUNT))
    for row, values in enumerate(_constants(target.form, x[:d])):
        rows[row, :n] = values
    rows[_LEVEL, :n], rows[_RHO, :n], rows[_PER_SCALE, :n], rows[_FIRST, :n] = x[d], rho, per_scale, first
    out = np.empty((groups, COUNT))
    particles = np.ascontiguousarray(rows.reshape(8, groups, COUNT).transpose(1, 0, 2))
    _tails(FORM_NUMBERS[target.form], months, particles, out)
    return np.asarray(target.without_tails(x) - 0.5 * (NU + 1) * out.ravel()[:n])


def warm() -> None:
    """Compile, or load from the cache, for the argument types the engine uses."""
    _tails(0, np.ones((5, 2)), np.ones((1, 8, COUNT)), np.empty((1, COUNT)))
