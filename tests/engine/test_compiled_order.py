"""Order statistics by buckets against a full sort: the same numbers to the last bit. Oracle: np.sort.

Skipped where numba, an optional extra, is absent.
"""

import numpy as np
import pytest

from refracmc.sampling import order_statistics
from refracmc.sampling.estimators import cvar_with_error, summarise

compiled_order = pytest.importorskip("refracmc.engine.compiled_order", exc_type=ImportError)
N = 3000
RNG = np.random.default_rng(7)
ROWS = {
    "normal": RNG.standard_normal(N),
    "long tail": np.exp(8.0 * RNG.standard_normal(N)),
    "one far away": np.concatenate([RNG.random(N - 1), [1e300]]),
    "too far apart": np.concatenate([RNG.standard_normal(N - 2), [-1.7e308, 1.7e308]]),
    "too close": np.where(RNG.random(N) < 0.5, 5e-324, 0.0),
    "all the same": np.full(N, 4.2),
    "two values": (RNG.random(N) < 0.4).astype(float),
    "months": np.floor(RNG.exponential(20.0, N)),
    "rising": np.arange(N, dtype=float),
    "falling": -np.arange(N, dtype=float),
    "holes": np.where(RNG.random(N) < 0.3, np.nan, RNG.standard_normal(N)),
    "one value": np.where(np.arange(N) == 17, 3.0, np.nan),
    "none": np.full(N, np.nan),
}

FAR = ("too far apart", "one far away")
"""Their squares are not numbers."""


@pytest.mark.parametrize("name", ROWS)
def test_what_stands_at_any_place(name: str) -> None:
    row = ROWS[name]
    known = max(int(np.isfinite(row).sum()), 1)
    places = np.concatenate([RNG.integers(known, size=60), [0, known - 1]])[None, :]
    whole = np.sort(row)[places]
    np.testing.assert_array_equal(compiled_order.at_places(row[None, :], places), whole)
    np.testing.assert_array_equal(order_statistics.at_places(row[None, :], places), whole)


def test_every_row_has_its_own_places() -> None:
    rows = np.stack(list(ROWS.values()))
    known = np.maximum(np.isfinite(rows).sum(axis=1), 1)
    places = (RNG.random((len(rows), 9)) * known[:, None]).astype(np.intp)
    found = compiled_order.at_places(rows, places)
    np.testing.assert_array_equal(found, np.take_along_axis(np.sort(rows, axis=1), places, axis=1))
    other = compiled_order.at_places(rows, places[::-1] * 0)  # negative control
    assert not np.array_equal(found, other, equal_nan=True)


@pytest.mark.parametrize("design", ["plain", "latin_hypercube"])
def test_a_summary_does_not_depend_on_the_way(design: str) -> None:
    rows, sizes = np.stack([row for name, row in ROWS.items() if name not in FAR]), [512] * 5 + [440]
    by_sort = summarise(rows, sizes, design)
    by_buckets = summarise(rows, sizes, design, compiled_order.at_places)
    for key, values in by_sort.items():
        np.testing.assert_array_equal(by_buckets[key], values, err_msg=key)
    tail = [
        cvar_with_error(rows, 0.1, sizes, design, way)
        for way in (order_statistics.at_places, compiled_order.at_places)
    ]
    np.testing.assert_array_equal(tail[0].value, tail[1].value)
    np.testing.assert_array_equal(tail[0].se, tail[1].se)


def test_quantiles_are_those_of_numpy() -> None:
    shares = np.array([0.0, 0.01, 0.1, 0.5, 0.77, 0.9, 1.0])
    for name, row in ROWS.items():
        if np.isfinite(row).all() and name not in (*FAR, "too close"):
            for way in (order_statistics.at_places, compiled_order.at_places):
                found = order_statistics.quantiles(row, shares, way)
                np.testing.assert_allclose(found, np.quantile(row, shares), rtol=1e-14, err_msg=name)
