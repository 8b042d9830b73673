"""Compiled cumulatives of the modified hyperbolic. Oracle: the array code, which has oracles of its own in
tests/production. Skipped where numba, an optional extra, is absent.
"""

import numpy as np
import pytest

from refracmc.engine.base import MONTH_DAYS, Ratio, stream_table, unit_curve
from refracmc.production.decline import cumulative

pytest.importorskip("numba")


def slots_of(rng: np.random.Generator, n: int) -> np.ndarray:
    """Declines of every kind: exponential, harmonic, steeper than that, without a terminal phase, below it at once."""
    slots = np.stack(
        [
            rng.uniform(0.5, 900.0, n),
            10.0 ** rng.uniform(-3.0, 1.0, n),
            rng.uniform(0.0, 2.0, n),
            rng.uniform(0.02, 0.2, n),
        ]
    )
    slots[2, :6] = 0.0, 1.0, 1.0 - 1e-9, 1e-12, 1e-6, 1.9
    slots[3, 6:20] = 0.0
    slots[1, 20:24] = 0.0
    slots[3, 24:30] = 3.0
    slots[2, 30:40] = 0.0
    return slots


def test_cumulatives_agree_with_the_array_code() -> None:
    rng, n, months = np.random.default_rng(5), 400, 360
    slots, uptime = slots_of(rng, n), rng.uniform(0.0, 1.0, n)
    uptime[::50] = 0.0
    for horizon in (1, 7, months):
        times = uptime[:, None] * (MONTH_DAYS * np.arange(horizon + 1))
        made = unit_curve("oil", slots, uptime, {}, 0.5, horizon, compiled=True).total
        np.testing.assert_allclose(
            made, cumulative("modified_hyperbolic", slots, times), rtol=1e-13, atol=0.0
        )
        assert made[:, 0].max() == 0.0
        assert (np.diff(made, axis=1) >= -1e-13 * made[:, 1:]).all()
    form = rng.integers(0, 3, n).astype(np.int8)
    slots[1:] = np.where(form > 0, np.array([[50.0], [1.2], [1.0]]), slots[1:])
    none = np.zeros(n)
    ratios = {"gas": Ratio(none, none, none + 1.0)}
    tables = [
        stream_table(form, slots, uptime, ratios, 30, months, compiled=compiled).total
        for compiled in (True, False)
    ]
    np.testing.assert_allclose(tables[0], tables[1], rtol=1e-13, atol=0.0)
    assert tables[0][form > 0].tobytes() == tables[1][form > 0].tobytes()


def test_slots_out_of_range_are_refused() -> None:
    slots = np.array([[1.0], [-0.1], [0.5], [0.1]])
    with pytest.raises(ValueError, match="must be finite"):
        unit_curve("oil", slots, np.ones(1), {}, 0.5, 12, compiled=True)
