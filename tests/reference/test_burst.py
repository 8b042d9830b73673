"""G3: internal yield of casing, 0.875 x 2 Yp t / D to the nearest 10 psi, halves up.

Published: 4.5 in J-55 9.5 lb/ft (wall .205 in) 4380; 11.6 lb/ft (.250) 5350; L-80 11.6 lb/ft 7780 psi (API
5C3 formula; values as printed in casing tables). Computed, walls from memory: P-110 5.5 in 20 lb/ft (.361)
12,640; 4.5 in 13.5 lb/ft (.290) 12,410.
"""

import numpy as np
import pytest

from refracmc.job.pressure import grade_yield_psi, internal_yield_psi, to_nearest_10_psi


@pytest.mark.parametrize(
    ("grade", "od", "wall", "expected"),
    [
        ("J-55", 4.5, 0.205, 4380),
        ("J-55", 4.5, 0.250, 5350),
        ("L-80", 4.5, 0.250, 7780),
        ("P-110", 5.5, 0.361, 12640),
        ("P110", 4.5, 0.290, 12410),
    ],
)
def test_internal_yield(grade: str, od: float, wall: float, expected: float) -> None:
    assert to_nearest_10_psi(internal_yield_psi(grade_yield_psi(grade), wall, od)) == expected


def test_rounding_and_wear() -> None:
    assert to_nearest_10_psi([4385.0, 4384.9, 4395.0]).tolist() == [4390.0, 4380.0, 4400.0]
    np.testing.assert_allclose(
        internal_yield_psi(55_000, 0.25, 4.5, [0.0, 0.2]) / 5347.2222, [1.0, 0.8], rtol=1e-7
    )


@pytest.mark.parametrize(
    ("values", "text"),
    [
        ((55_000, -0.2, 4.5, 0.0), "above 0"),
        ((55_000, 2.3, 4.5, 0.0), "half the outer"),
        ((55_000, 0.2, 4.5, 1.0), "worn_fraction"),
        ((np.nan, 0.2, 4.5, 0.0), "above 0"),
    ],
)
def test_burst_refuses(values, text) -> None:
    with pytest.raises(ValueError, match=text):
        internal_yield_psi(*values)
    for grade in ("steel", "P-1", "110", "P-990"):
        with pytest.raises(ValueError, match="not understood"):
            grade_yield_psi(grade)
