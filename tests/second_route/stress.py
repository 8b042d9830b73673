"""Second route, part 3a: what the stages already placed do to the stage being pumped."""

import math


def normal_change(xi):
    """On the axis of a plane-strain crack (Sneddon & Elliott 1946); xi = distance / half-height."""
    return 1.0 - xi**3 / (xi * xi + 1.0) ** 1.5


def in_plane_change(xi):
    return 1.0 - xi * (xi * xi + 2.0) / (xi * xi + 1.0) ** 1.5


def contrast_fall(xi, nu):
    n = normal_change(xi)
    return n - nu * (n + in_plane_change(xi))


def penny_normal_change(xi):
    """On the axis of a circular crack (Sneddon 1946); xi = distance / radius."""
    angle = math.atan2(1.0, xi)
    return 2.0 / math.pi * (angle - xi * (xi * xi - 1.0) / (xi * xi + 1.0) ** 2)


def penny_contrast_fall(xi, nu):
    angle, square = math.atan2(1.0, xi), xi * xi + 1.0
    transverse = ((1.0 + 2.0 * nu) * (angle - xi / square) - 2.0 * xi / square**2) / math.pi
    return penny_normal_change(xi) - transverse


def logistic(y):
    return 1.0 / (1.0 + math.exp(-y)) if y > -700.0 else 0.0


def stage_multiplier(stress, depth_ft, stages, placed, s):
    """Multiplier of sleeve s: a smaller contrast left helps, a closing stress near the limit hurts.

    stages: groups of sleeves treated at once, in the order treated; an order of sleeves has one in each.
    """
    before = []
    for group in stages:
        if s in group:
            break
        before += group
    else:
        return 1.0  # not treated
    if not stress["enabled"]:
        return 1.0
    penny = stress["crack"] == "penny"
    fall = rise = 0.0
    for j in before:
        xi = abs(depth_ft[s - 1] - depth_ft[j - 1]) / stress["half_height_ft"]
        share = stress["residual_pressure_psi"] * placed[j - 1]
        rise += share * (penny_normal_change(xi) if penny else normal_change(xi))
        fall += share * (penny_contrast_fall if penny else contrast_fall)(xi, stress["poisson_ratio"])
    half, scale = stress["contrast_half_psi"], stress["contrast_scale_psi"]
    start = stress["horizontal_contrast_psi"]
    limit, width = stress["pressure_limit_psi"], stress["limit_scale_psi"]
    gain = logistic((half - (start - fall)) / scale) - logistic((half - start) / scale)
    loss = logistic((rise - limit) / width) - logistic(-limit / width)
    return math.exp(stress["effect_strength"] * gain - stress["limit_strength"] * loss)
