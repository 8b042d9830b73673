"""Force at the tool. Oracles: closed forms written out in inches, and the docstring's equations integrated by another
route (SciPy's adaptive solver). Negative controls: the same with the helix's friction, or the weight's, left out."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from refracmc.job import reach

TUBING = reach.string(2.0, 0.175, 4.778, 80_000.0, 8.6)
WELL = reach.profile(9_600.0, 10_644.0)


def integrated(made, well, mu, depth, start, *, helix=True, pulling=False):
    """F (or T) at one measured depth by solve_ivp over the three parts; numbers in, a number out."""
    w, stiff, r = float(made.weight_lb_per_ft), made.stiffness_lb_ft2, made.clearance_ft
    vertical = 5.55 * (stiff * w * w) ** (1 / 3)
    lateral = 2.0 * np.sqrt(2.0) * np.sqrt(stiff * w / r)

    def contact(f, load):
        return r * f * f / (4.0 * stiff) if helix and f > load else 0.0

    def slope(s, y):
        f = y[0]
        x = np.clip((s - well.kickoff_ft) / well.radius_ft, 0.0, np.pi / 2)
        if pulling:
            if s <= well.kickoff_ft:
                return [-w]
            if s < well.lateral_start_ft:
                return [-(w * np.cos(x) + mu * abs(w * np.sin(x) - f / well.radius_ft))]
            return [-mu * w]
        if s <= well.kickoff_ft:
            return [w - mu * contact(f, vertical)]
        if s < well.lateral_start_ft:
            return [w * np.cos(x) - mu * (w * np.sin(x) + f / well.radius_ft)]
        return [-mu * (w + contact(f, lateral))]

    force = start
    edges = [0.0, well.kickoff_ft, well.lateral_start_ft, depth]
    for k, (a, b) in enumerate(pairwise(edges)):
        inside = (a + 1e-9, b - 1e-9) if k == 1 else (a + (1e-9 if k else 0.0), b)
        found = solve_ivp(slope, inside, [force], rtol=1e-9, atol=1e-6, max_step=5.0)
        force = float(found.y[0, -1])
    return force


def test_buckling_loads_by_hand() -> None:
    """In inches: EI = 30e6 pi/64 (2^4 - 1.65^4), w = 0.2836 A (1 - 8.6/65.5) lb/in, r = (4.778 - 2)/2 in."""
    area = np.pi / 4 * (4.0 - 1.65**2)
    stiff = 30e6 * np.pi / 64 * (16.0 - 1.65**4)
    w, r = 0.2836 * area * (1 - 8.6 / 65.5), 1.389
    assert TUBING.weight_lb_per_ft / 12 == pytest.approx(w)
    assert reach.sinusoidal_load_lbf(TUBING) == pytest.approx(2 * (stiff * w / r) ** 0.5)
    assert reach.helical_load_lbf(TUBING) == pytest.approx(8**0.5 * (stiff * w / r) ** 0.5)
    assert reach.vertical_helical_load_lbf(TUBING) == pytest.approx(5.55 * (stiff * w * w) ** (1 / 3))
    assert TUBING.yield_lbf == pytest.approx(80_000 * area)


def test_the_profile_closes() -> None:
    assert WELL.kickoff_ft + WELL.radius_ft == pytest.approx(9_600.0)
    assert WELL.kickoff_ft + np.pi / 2 * WELL.radius_ft == pytest.approx(10_644.0)
    assert reach.profile(1_000.0, 1_000.0 * np.pi / 2).kickoff_ft == pytest.approx(0.0, abs=1e-9)
    for start in (9_600.0, 9_000.0, 9_600.0 * np.pi / 2 + 1.0):
        with pytest.raises(ValueError, match="cannot lie at a true vertical depth"):
            reach.profile(9_600.0, start)
    for sizes in ((2.0, 1.0, 4.8), (4.9, 0.2, 4.8), (2.0, 0.0, 4.8)):
        with pytest.raises(ValueError, match="does not fit"):
            reach.string(*sizes, 80_000.0, 8.6)


def test_a_straight_lateral_takes_friction_times_weight() -> None:
    """Pulling, and pushing below the helical load: mu w L between two depths, exactly."""
    mu, depth = np.array([0.2, 0.35]), np.array([18_000.0, 17_000.0])
    drag = mu * TUBING.weight_lb_per_ft * 1_000.0
    pull = reach.pull_lbf(TUBING, WELL, mu, depth, 60_000.0)
    np.testing.assert_allclose(pull[1] - pull[0], drag, rtol=1e-12)
    push = reach.push_lbf(TUBING, WELL, mu, depth)
    assert (push[1] < reach.helical_load_lbf(TUBING)).all()
    np.testing.assert_allclose(push[1] - push[0], drag, rtol=1e-9)


def test_without_friction_the_weight_of_the_vertical_arrives() -> None:
    """mu = 0: T = surface - w H; F = w H, up to the yield. By energy, whatever the path."""
    w = float(TUBING.weight_lb_per_ft)
    short = reach.profile(3_000.0, 3_900.0)
    depth = np.array([9_000.0, 4_000.0])
    pull = reach.pull_lbf(TUBING, short, [0.0], depth, 50_000.0)
    np.testing.assert_allclose(pull[:, 0], 50_000.0 - 3_000.0 * w, rtol=1e-7)
    push = reach.push_lbf(TUBING, short, [0.0], depth)
    np.testing.assert_allclose(push[:, 0], 3_000.0 * w, rtol=1e-6)


@pytest.mark.parametrize(
    ("mu", "start"),
    [
        (0.35, 0.0),
        (0.27, 5_000.0),
        pytest.param(0.2, 0.0, marks=pytest.mark.slow),
        pytest.param(0.05, 20_000.0, marks=pytest.mark.slow),
    ],
)
def test_push_against_the_equations_integrated(mu: float, start: float) -> None:
    depth = np.array([17_800.0, 14_000.0, 10_900.0])
    found = reach.push_lbf(TUBING, WELL, [mu], depth, start)[:, 0]
    other = [integrated(TUBING, WELL, mu, d, start) for d in depth]
    np.testing.assert_allclose(found, other, rtol=2e-4, atol=2.0)
    plain = [integrated(TUBING, WELL, mu, d, start, helix=False) for d in depth]
    assert not np.allclose(found, plain, rtol=0.02, atol=50.0)  # negative control: no helix


@pytest.mark.parametrize("mu", [0.0, 0.2, 0.35])
@pytest.mark.parametrize("top", [30_000.0, 64_000.0])
def test_pull_against_the_equations_integrated(mu: float, top: float) -> None:
    """30,000 lbf leave less tension than holds the string off the low side in the build: both sides are met."""
    depth = np.array([17_800.0, 11_000.0])
    found = reach.pull_lbf(TUBING, WELL, [mu], depth, top)[:, 0]
    other = [integrated(TUBING, WELL, mu, d, top, pulling=True) for d in depth]
    np.testing.assert_allclose(found, other, atol=1e-4 * float(TUBING.weight_lb_per_ft) * 10_644.0)


def test_lock_up_bounds_what_arrives_however_hard_the_push() -> None:
    w, stiff, r = float(TUBING.weight_lb_per_ft), TUBING.stiffness_lb_ft2, TUBING.clearance_ft
    away, mu = 2_000.0, 0.35
    bound = 2.0 * np.sqrt(stiff * w / r) / np.tan(mu * away * np.sqrt(w * r / (4.0 * stiff)))
    pushes = np.array([0.0, 1e4, 1e5, 1e9])
    found = reach.push_lbf(TUBING, WELL, np.full(4, mu), np.array([10_644.0 + away]), pushes)[0]
    assert (np.diff(found) >= 0.0).all()
    assert found[-1] < max(bound, float(reach.helical_load_lbf(TUBING)))
    assert found[-1] - found[-2] < 1.0


def test_a_tool_that_pulls_adds_to_what_arrives() -> None:
    depth = np.array([19_000.0])
    without = reach.push_lbf(TUBING, WELL, [0.35], depth)
    with_tool = reach.push_lbf(TUBING, WELL, [0.35], depth, tool_pull_lbf=[5_000.0])
    assert without[0, 0] < 0.0 < with_tool[0, 0]
    assert with_tool - without == pytest.approx(5_000.0)


def test_a_sleeve_is_reached_only_past_reached_ones() -> None:
    enough = np.array([[True, True], [False, True], [True, True]])
    np.testing.assert_array_equal(reach.reached(enough), [[False, True], [False, True], [True, True]])
