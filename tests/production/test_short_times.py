"""Volumes a moment after the anchor. Oracle: a volume is not negative."""

import numpy as np
from scipy.special import gammaincc

from refracmc.production.decline import cumulative


def test_no_volume_below_zero() -> None:
    """Negative control: the plain difference of incomplete gamma functions is so, by rounding, at nanoseconds."""
    rng = np.random.default_rng(8)
    n = 5_000
    tau, power = 10.0 ** rng.uniform(-1, 3, n), rng.uniform(0.15, 0.95, n)
    offset, t = 10.0 ** rng.uniform(0, 3.7, n), 10.0 ** rng.uniform(-13, -10, (n, 4))
    slots = np.stack([np.ones(n), tau, power, offset])
    assert (cumulative("stretched_exponential", slots, t) >= 0.0).all()
    start, end = (offset / tau) ** power, ((t.T + offset) / tau) ** power
    assert (gammaincc(1.0 / power, start) < gammaincc(1.0 / power, end)).any()
