"""What no engine can leave out: logarithms and exponentials of both streams, months read, results written.

One logarithm and one exponential per month edge of the own and the refrac stream, one pass over the months of every
refrac date (unit stream times its price, summed), one write of five measures of every strategy. The numbers have no
meaning; the time is the least that this case takes with NumPy in buffers that stay in the cache. Price paths are given.
"""

from __future__ import annotations

import numpy as np

from .inputs import MONTH_DAYS, Array, Inputs
from .whole_arrays import MEASURES

CHUNK = 128


def value(x: Inputs) -> dict[str, Array]:
    """Arrays (strategies + 1, n) of the size of the measures; see the module text."""
    n, horizon = x.oil.shape
    months = sorted({job.month for job in x.jobs})
    of_month = [months.index(job.month) for job in x.jobs]
    edges = MONTH_DAYS * np.arange(horizon + 1)
    out = {name: np.empty((1 + len(x.jobs), n)) for name in MEASURES}
    buffer, product = np.empty((2, CHUNK, horizon + 1)), np.empty((CHUNK, horizon))
    for start in range(0, n, CHUNK):
        part = slice(start, min(start + CHUNK, n))
        size = part.stop - start
        for stream, decline, b in ((buffer[0], x.decline, x.b), (buffer[1], x.new_decline, x.new_b)):
            made = stream[:size]
            np.multiply((b[part] * decline[part] / 365.25)[:, None], edges, out=made)
            np.log1p(made, out=made)
            made *= (-1.0 / b[part])[:, None]
            np.exp(made, out=made)
        own, unit, price = buffer[0, :size, :-1], buffer[1, :size], x.oil[part]
        sums = [np.multiply(own, price, out=product[:size]).sum(axis=1)]
        for month in months:
            width = horizon - month
            sums.append(
                np.multiply(unit[:, :width], price[:, month:], out=product[:size, :width]).sum(axis=1)
            )
        for values in out.values():
            values[0, part] = sums[0]
            for k, at in enumerate(of_month):
                values[1 + k, part] = sums[1 + at]
    return out
