"""Oracles: a row of dislocations and a Hankel integral (second routes), plain loops, algebra.

The published and computed numbers stand in tests/reference.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from refracmc.production import stress
from refracmc.production.stress_effect import stress_change, stress_multiplier

DISTANCES = (0.05, 0.5, 1.0, 2.0, 5.0, 20.0)
MAP = {
    "residual_pressure": 300.0,
    "contrast0": 500.0,
    "effect_strength": 0.3,
    "contrast_half": 200.0,
    "contrast_scale": 80.0,
    "limit_strength": 0.4,
    "pressure_limit": 600.0,
    "limit_scale": 100.0,
}


def crack_by_dislocations(xi: float) -> tuple[float, float]:
    """Normal and in-plane change on the axis from a row of edge dislocations along the crack (second route).

    A crack under unit pressure opens as an ellipse, so its dislocation density is y/sqrt(1 - y^2); one at
    height y stresses the axis at distance x by y (3 x^2 + y^2)/(x^2 + y^2)^2 (normal) and
    y (y^2 - x^2)/(x^2 + y^2)^2 (in plane), both over pi (edge dislocation, Hirth & Lothe).
    """
    integral = [
        quad(lambda a, f=f: math.sin(a) * f(math.sin(a)), -math.pi / 2, math.pi / 2, epsabs=1e-13, limit=400)[
            0
        ]
        for f in (
            lambda y: y * (3 * xi**2 + y**2) / (xi**2 + y**2) ** 2,
            lambda y: y * (y**2 - xi**2) / (xi**2 + y**2) ** 2,
        )
    ]
    return integral[0] / math.pi, integral[1] / math.pi


@pytest.mark.parametrize("xi", DISTANCES)
def test_plane_strain_crack_is_a_row_of_dislocations(xi: float) -> None:
    normal, in_plane = crack_by_dislocations(xi)
    assert float(stress.normal(xi)) == pytest.approx(normal, abs=1e-9)
    assert float(stress.in_plane(xi)) == pytest.approx(in_plane, abs=1e-9)


@pytest.mark.parametrize("xi", DISTANCES)
@pytest.mark.parametrize("nu", [0.0, 0.25, 0.4])
def test_penny_crack_is_its_hankel_integral(xi: float, nu: float) -> None:
    """Sneddon (1946): with f = sin(s)/s - cos(s), normal = 2/pi int f (1 + s xi) e^(-s xi) ds and the two
    transverse stresses together 2/pi int f (1 + 2 nu - s xi) e^(-s xi) ds."""

    def integral(weight: tuple[float, float]) -> float:
        def value(s: float) -> float:
            f = math.sin(s) / s - math.cos(s) if s > 1e-4 else s * s / 3
            return f * (weight[0] + weight[1] * s * xi) * math.exp(-s * xi)

        return quad(value, 0.0, 45.0 / xi, epsabs=1e-12, epsrel=1e-12, limit=2000)[0] * 2.0 / math.pi

    assert float(stress.penny_normal(xi)) == pytest.approx(integral((1.0, 1.0)), abs=1e-8)
    assert float(stress.penny_transverse(xi, nu)) == pytest.approx(integral((1 + 2 * nu, -1.0)) / 2, abs=1e-8)


def test_limits_of_the_cracks() -> None:
    assert float(stress.normal(0.0)) == 1.0
    assert float(stress.in_plane(0.0)) == 1.0
    assert float(stress.penny_normal(0.0)) == pytest.approx(1.0, rel=1e-15)
    assert float(stress.penny_transverse(0.0, 0.25)) == pytest.approx(0.75, rel=1e-15)
    # Far away: n -> 1.5/xi^2, v -> -.5/xi^2 (series); digits must survive the cancellation.
    assert float(stress.normal(1e5)) == pytest.approx(1.5e-10, rel=1e-9)
    assert float(stress.in_plane(1e5)) == pytest.approx(-0.5e-10, rel=1e-9)
    assert np.array_equal(stress.normal([-1.0, 1.0]), np.repeat(stress.normal(1.0), 2))
    # A circular crack reaches less far than an infinitely long one.
    far = np.array(DISTANCES)
    assert np.all(stress.penny_normal(far) < stress.normal(far))
    assert float(stress.contrast(0.7, 0.25)) == pytest.approx(
        float(stress.normal(0.7) - stress.out_of_plane(0.7, 0.25)), rel=1e-15
    )


def test_penny_trace_is_harmonic() -> None:
    """The sum of the normal stresses of an elastic field is harmonic; here, on the axis,
    4 (1 + nu)/pi [acot(xi) - xi/(1 + xi^2)] (algebra)."""
    xi, nu = np.array(DISTANCES), 0.3
    trace = stress.penny_normal(xi) + 2 * stress.penny_transverse(xi, nu)
    assert trace == pytest.approx(4 * (1 + nu) / np.pi * (np.arctan(1 / xi) - xi / (1 + xi**2)), abs=1e-14)


def test_depletion_lowers_a_horizontal_stress() -> None:
    """alpha (1 - 2 nu)/(1 - nu) dp: 0.8 * (2/3) * 3000 = 1600 psi at nu = .25; none at nu = .5."""
    assert float(stress.depletion_stress_drop(3000.0, 0.25, 0.8)) == pytest.approx(1600.0, rel=1e-14)
    assert float(stress.depletion_stress_drop(3000.0, 0.5)) == 0.0


def test_before_mask() -> None:
    mask = stress.treated_before([2, 4, 1], 4)
    assert mask.tolist() == [[0, 1, 0, 1], [0, 0, 0, 0], [0, 0, 0, 0], [0, 1, 0, 0]]
    assert stress.treated_before([], 3).tolist() == np.zeros((3, 3)).tolist()


@given(st.permutations(list(range(1, 13))), st.integers(1, 12))
def test_each_pair_counts_once_in_any_order(order: list[int], treated: int) -> None:
    """Linear map: the sum over stages is that of all treated pairs, whatever the order."""
    depth = 9000.0 + np.cumsum(np.arange(12) % 5 * 40.0 + 60.0)
    some = sorted(order[:treated])
    placed = np.isin(np.arange(1, 13), some).astype(float)[None, :]
    for matrix in (stress.pair_normal(depth, 120.0), stress.pair_contrast(depth, 120.0, 0.25)):
        sums = [
            stress_change(placed, matrix * stress.treated_before(sequence, 12), 250.0).sum()
            for sequence in (order[:treated], some, some[::-1])
        ]
        assert sums == pytest.approx(
            [250.0 * matrix[np.ix_(placed[0] > 0, placed[0] > 0)].sum() / 2] * 3, rel=1e-12
        )


def plain_multiplier(
    placed: np.ndarray, order: list[int], depth: list[float], half: float, nu: float, a: dict
) -> list:
    """One trial from the module text in plain loops."""
    out = []
    for s in range(len(depth)):
        rise = fall = 0.0
        for j in order[: order.index(s + 1)] if s + 1 in order else []:
            xi = abs(depth[s] - depth[j - 1]) / half
            n = 1 - xi**3 / (xi * xi + 1) ** 1.5
            v = 1 - xi * (xi * xi + 2) / (xi * xi + 1) ** 1.5
            rise += a["residual_pressure"] * n * placed[j - 1]
            fall += a["residual_pressure"] * (n - nu * (n + v)) * placed[j - 1]

        def logistic(y: float) -> float:
            return 1 / (1 + math.exp(-y))

        gain = logistic((a["contrast_half"] - (a["contrast0"] - fall)) / a["contrast_scale"])
        gain -= logistic((a["contrast_half"] - a["contrast0"]) / a["contrast_scale"])
        loss = logistic((rise - a["pressure_limit"]) / a["limit_scale"])
        loss -= logistic(-a["pressure_limit"] / a["limit_scale"])
        out.append(math.exp(a["effect_strength"] * gain - a["limit_strength"] * loss))
    return out


def test_multiplier_equals_plain_loops() -> None:
    rng = np.random.default_rng(8)
    depth = (15_000.0 - 150.0 * np.arange(10)).tolist()
    order = [1, 3, 2, 5, 4, 8, 7, 10]
    placed = rng.uniform(0, 1, (6, 10))
    placed[:, [5, 8]] = 0.0
    trial = {k: v * rng.uniform(0.5, 1.5, 6) for k, v in MAP.items()}
    before = stress.treated_before(order, 10)
    matrices = stress.pair_normal(depth, 150.0) * before, stress.pair_contrast(depth, 150.0, 0.3) * before
    found = stress_multiplier(placed, *matrices, **trial)
    for k in range(6):
        one = {name: float(value[k]) for name, value in trial.items()}
        assert found[k] == pytest.approx(
            plain_multiplier(placed[k], order, depth, 150.0, 0.3, one), rel=1e-12
        )
    assert np.all(found[:, [0, 5, 8]] == 1.0), "the first stage and those not treated feel nothing"


@pytest.mark.parametrize("which", ["effect_strength", "limit_strength"])
def test_zero_strength_is_exactly_one(which: str) -> None:
    other = {"effect_strength": "limit_strength", "limit_strength": "effect_strength"}[which]
    depth = np.arange(8) * 150.0
    before = stress.treated_before(range(1, 9), 8)
    matrices = stress.pair_normal(depth, 150.0) * before, stress.pair_contrast(depth, 150.0, 0.25) * before
    placed = np.ones((3, 8))
    off = stress_multiplier(placed, *matrices, **{**MAP, which: 0.0, other: 0.0})
    assert np.array_equal(off, np.ones((3, 8)))
    mixed = stress_multiplier(placed, *matrices, **{**MAP, which: [0.0, 0.2, 0.0], other: 0.0})
    assert np.array_equal(mixed[[0, 2]], np.ones((2, 8)))
    sign = 1 if which == "effect_strength" else -1
    assert np.all(sign * (mixed[1, 1:] - 1.0) > 0), "less contrast rewards, more closing stress costs"


def test_a_nonlinear_map_tells_orders_apart() -> None:
    """Negative control of the linear identity: the logistic's sum over stages depends on the order."""
    depth = np.arange(20) * 150.0
    pair = stress.pair_normal(depth, 150.0), stress.pair_contrast(depth, 150.0, 0.25)
    totals = []
    for order in (range(1, 21), [*range(1, 21, 2), *range(2, 21, 2)]):
        before = stress.treated_before(order, 20)
        totals.append(stress_multiplier(np.ones((1, 20)), pair[0] * before, pair[1] * before, **MAP).sum())
    assert abs(totals[0] - totals[1]) > 0.05


def test_extreme_coefficients_do_not_overflow() -> None:
    first = np.array([[0.0, 0.0], [1.0, 0.0]])
    terms = {**MAP, "contrast_scale": 1e-3, "limit_scale": 1e-3, "residual_pressure": 1e6}
    found = stress_multiplier(np.ones((1, 2)), first, first, **terms)
    assert found[0] == pytest.approx([1.0, math.exp(0.3 - 0.4)], rel=1e-12)


@pytest.mark.parametrize(
    ("work", "words"),
    [
        (lambda: stress.normal(np.nan), "finite"),
        (lambda: stress.contrast(1.0, 0.6), r"poisson_ratio must be in 0\.\.0\.5"),
        (lambda: stress.pair_normal([1.0, np.inf], 100.0), "finite depths"),
        (lambda: stress.pair_normal([1.0, 2.0], 0.0), "half_height_ft must be > 0"),
        (lambda: stress.treated_before([1, 1], 3), "twice"),
        (lambda: stress.treated_before([0, 1], 3), r"1\.\.3"),
        (lambda: stress_multiplier(np.ones((2, 3)), np.ones((2, 2)), np.ones((2, 2)), **MAP), "do not fit"),
        (
            lambda: stress_multiplier(
                np.ones((2, 3)), np.ones((3, 3)), np.ones((3, 3)), **{**MAP, "contrast_scale": 0.0}
            ),
            "contrast_scale must be a positive number",
        ),
        (
            lambda: stress_multiplier(
                np.ones((2, 3)), np.ones((3, 3)), np.ones((3, 3)), **{**MAP, "contrast0": np.nan}
            ),
            "contrast0 must be a finite number",
        ),
    ],
)
def test_wrong_input_is_named(work: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        work()  # type: ignore[operator]


def test_pairs_of_circular_cracks() -> None:
    """Oracle: the circular crack at each distance by hand; the long crack is another matrix (control)."""
    depth = np.array([12_000.0, 11_850.0, 11_600.0])
    made, long = stress.pair_normal(depth, 100.0, "penny"), stress.pair_normal(depth, 100.0)
    fall = stress.pair_contrast(depth, 100.0, 0.25, "penny")
    for s, j in ((0, 1), (1, 2), (2, 0)):
        xi = abs(depth[s] - depth[j]) / 100.0
        assert made[s, j] == made[j, s] == float(stress.penny_normal(xi))
        assert fall[s, j] == float(stress.penny_contrast(xi, 0.25))
        assert long[s, j] > made[s, j]
    assert np.all(np.diag(made) == 0.0)
    with pytest.raises(ValueError, match="crack is 'oval'"):
        stress.pair_normal(depth, 100.0, "oval")
