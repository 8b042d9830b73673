"""Stress about a pressurised crack and the orders of stages.

Crack numbers: computed by two independent routes from Sneddon (1946), Proc. R. Soc. A 187, 229-260, and
Sneddon & Elliott (1946), Q. Appl. Math. 4, 262-267. Spacing: published in words, Roussel & Sharma (2011) as
told in Espinoza's open geomechanics text. Orders: a trial calculation of 40 stages, reproduced here.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from refracmc.production import stress
from refracmc.production.stress_effect import stress_change

CRACK = {0.5: (0.910557, 0.195016), 1.0: (0.646447, -0.060660), 2.0: (0.284458, -0.073313)}


@pytest.mark.parametrize("xi", CRACK)
def test_stress_on_the_axis(xi: float) -> None:
    n, v = CRACK[xi]
    assert float(stress.normal(xi)) == pytest.approx(n, abs=5e-7)
    assert float(stress.in_plane(xi)) == pytest.approx(v, abs=5e-7)
    assert float(stress.out_of_plane(xi, 0.25)) == pytest.approx(0.25 * (n + v), abs=5e-7)


def test_where_the_differences_are_largest() -> None:
    """normal - in plane: .769800 at c/sqrt 2; horizontal contrast at nu = .25: .636083 at c/sqrt 5."""

    def top(work: Callable[[float], Any]) -> tuple[float, float]:
        options = {"xatol": 1e-9}
        found = minimize_scalar(
            lambda x: -float(work(x)), bounds=(0.01, 3.0), method="bounded", options=options
        )
        return float(found.x), -float(found.fun)

    x, value = top(lambda x: stress.normal(x) - stress.in_plane(x))
    assert (x, value) == (pytest.approx(0.5**0.5, abs=1e-5), pytest.approx(0.769800, abs=5e-7))
    x, value = top(lambda x: stress.contrast(x, 0.25))
    assert (x, value) == (pytest.approx(0.2**0.5, abs=1e-5), pytest.approx(0.636083, abs=5e-7))


def test_barnett_spacing_in_words() -> None:
    """Pay 300 ft, contrast 100 psi: spacing 250 ft interferes significantly, 400 ft negligibly.

    The words have no numbers, the thresholds are ours: at a residual pressure of 300 psi the contrast falls
    by more than three quarters of itself at 250 ft, by less than half at 400 ft.
    """
    fall = 300.0 * stress.contrast(np.array([250.0, 400.0]) / 150.0, 0.25)
    assert fall[0] > 75.0
    assert fall[1] < 50.0


def alternating(n: int) -> list[int]:
    """1 3 2 5 4 7 6 ..."""
    order = [1]
    for k in range(3, n + 2, 2):
        order += [s for s in (k, k - 1) if s <= n]
    return order


ORDERS = {
    "toe to heel": list(range(1, 41)),
    "heel to toe": list(range(40, 0, -1)),
    "alternating": alternating(40),
    "two passes": [*range(1, 41, 2), *range(2, 41, 2)],
}
MAXIMUM_PSI = {"toe to heel": 435.0, "heel to toe": 435.0, "alternating": 629.0, "two passes": 705.0}


def test_forty_stages_tie_in_the_mean_and_differ_in_the_maximum() -> None:
    """40 stages at 150 ft, 300 psi: mean 396 psi for all four orders; maxima 435, 629, 705.

    The trial calculation's height and stress component were not stated; half-height 150 ft (pay 300 ft) and
    the NORMAL stress give all four numbers (to rounding; 435.5 stands as 435). Both sequential orders have
    435, alternating 629, two passes 705.
    """
    depth = 16_000.0 - 150.0 * np.arange(40)
    pair = stress.pair_normal(depth, 150.0)
    means = []
    for name, order in ORDERS.items():
        assert sorted(order) == list(range(1, 41))
        change = stress_change(np.ones((1, 40)), pair * stress.treated_before(order, 40), 300.0)[0]
        means.append(change.mean())
        assert change.mean() == pytest.approx(396.0, abs=0.5)
        assert change.max() == pytest.approx(MAXIMUM_PSI[name], abs=0.51)
    assert means == pytest.approx([means[0]] * 4, rel=1e-13)


def test_contrast_ties_as_well() -> None:
    """The identity holds for the horizontal contrast too; a missing stage breaks it (negative control)."""
    pair = stress.pair_contrast(16_000.0 - 150.0 * np.arange(40), 150.0, 0.25)
    means = [
        stress_change(np.ones((1, 40)), pair * stress.treated_before(order, 40), 300.0).mean()
        for order in ORDERS.values()
    ]
    assert means == pytest.approx([means[0]] * 4, rel=1e-13)
    assert means[0] == pytest.approx(300.0 * pair.sum() / 80.0, rel=1e-13)
    short = stress_change(np.ones((1, 40)), pair * stress.treated_before(range(1, 40), 40), 300.0)
    assert abs(short.mean() - means[0]) > 1.0
