"""Rate-time lists of Guo, Lyons & Ghalambor, Petroleum Production Engineering (2007), chapter 8.

Problem 8.4: published. Example 8.1: from memory of the source, arithmetic reproduced here.
"""

import numpy as np
import pytest

from refracmc.production.decline import (
    arps_cumulative,
    arps_rate,
    cumulative,
    fit_arps,
    nominal_from_tangent,
    time_to_rate,
)

MONTHS = np.arange(1.0, 25.0)
STB_PER_D = np.array(
    [
        *(1810, 1637, 1482, 1341, 1213, 1098, 993, 899, 813, 736, 666, 602),
        *(545, 493, 446, 404, 365, 331, 299, 271, 245, 222, 201, 181),
    ],
    dtype=float,
)


def test_problem_8_4_is_an_exponential_decline_of_a_tenth_a_month() -> None:
    """Published list: b = 0, D = 0.100 per month (0.1 %), 50 stb/d at 36.89 months."""
    found = fit_arps(MONTHS, STB_PER_D)
    assert found.kind == "exponential"
    assert found.b == 0.0
    assert found.b_free < 3.0 * found.b_standard_error
    assert found.nominal_decline == pytest.approx(0.100, rel=1e-3)
    assert found.initial_rate == pytest.approx(2000.0, rel=1e-3)
    assert float(found.time_to_rate(50.0)) == pytest.approx(36.89, abs=0.01)


def test_problem_8_4_is_its_formula_rounded() -> None:
    """The list is 2000 exp(-0.1 t) to the nearest stb/d (so the fit's D is not merely near 0.1)."""
    assert np.array_equal(np.rint(arps_rate(2000.0, 0.1, 0.0, MONTHS)), STB_PER_D)
    assert not np.array_equal(np.rint(arps_rate(2000.0, 0.1, 0.02, MONTHS)), STB_PER_D)


def test_problem_8_4_through_the_forecast() -> None:
    """The forecast's own time-to-rate, in producing days: 36.89 months of 365.25/12 days (computed)."""
    days = time_to_rate("modified_hyperbolic", [[2000.0], [1.2], [0.0], [0.0]], 50.0)[0]
    assert days / (365.25 / 12) == pytest.approx(np.log(40.0) / 0.1, rel=1e-13)


def test_example_8_1_from_memory() -> None:
    """100 to 96 stb/d in a month: 0.04082 per month, 61.27 stb/d after 12 months, 28,858 stb (0.02 %).

    The book's month is 365/12 days; with 365.25/12 the volume is 28,878 stb, which the tolerance tells apart.
    """
    per_month = float(nominal_from_tangent(0.04))
    assert per_month == pytest.approx(0.04082, abs=5e-6)
    assert float(arps_rate(100.0, per_month, 0.0, 12.0)) == pytest.approx(61.27, abs=0.005)
    volume = float(arps_cumulative(100.0, per_month, 0.0, 12.0)) * 365.0 / 12.0
    assert volume == pytest.approx(28_858.0, rel=2e-4)
    per_year = per_month * 12 * 365.25 / 365.0
    forecast = cumulative("modified_hyperbolic", [[100.0], [per_year], [0.0], [0.0]], [365.0])[0, 0]
    assert forecast == pytest.approx(28_858.0, rel=2e-4)
    assert abs(volume * 365.25 / 365.0 / 28_858.0 - 1.0) > 2e-4
