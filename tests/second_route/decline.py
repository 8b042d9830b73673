"""Second route, part 1: one trial's production without a refrac, in plain Python floats.

Written from the model's definition, not from the package; only the standard library is used. Volumes are
bbl or Mcf, times are producing days, rates are per day, nominal declines are per year of 365.25 days.
"""

import math

MONTH = 365.25 / 12.0
YEAR = 365.25


def hyperbolic_cumulative(rate, decline, b, terminal, t):
    """Cumulative of the modified hyperbolic (Arps 1945, Robertson 1988) after t producing days."""
    d = decline / YEAR
    d_min = terminal / YEAR
    if d <= d_min or b == 0.0:
        # Already at its terminal decline, or exponential by itself: no switch.
        return exponential_cumulative(rate, d, t)
    switch = math.inf if d_min <= 0.0 else (d / d_min - 1.0) / (b * d)
    early = min(t, switch)
    z = b * d * early
    total = rate * early * hyperbolic_mean(b, z)
    if t > switch:
        rate_at_switch = rate * (1.0 + b * d * switch) ** (-1.0 / b)
        total += exponential_cumulative(rate_at_switch, d_min, t - switch)
    return total


def hyperbolic_mean(b, z):
    """Mean over 0..z of (1 + x)^(-1/b), the cumulative over rate times time; z = b D t."""
    if z == 0.0:
        return 1.0
    if b == 1.0:
        return math.log1p(z) / z
    power = 1.0 - 1.0 / b
    return math.expm1(power * math.log1p(z)) / (power * z)


def exponential_cumulative(rate, d, t):
    x = d * t
    return rate * t if x == 0.0 else rate * t * (-math.expm1(-x) / x)


def lower_gamma(s, x):
    """Regularised lower incomplete gamma P(s, x): series below s + 1, continued fraction above."""
    if x <= 0.0:
        return 0.0
    front = math.exp(s * math.log(x) - x - math.lgamma(s))
    if x < s + 1.0:
        term = total = 1.0 / s
        k = s
        while abs(term) > 1e-18 * abs(total):
            k += 1.0
            term *= x / k
            total += term
        return front * total
    return 1.0 - front * upper_fraction(s, x)


def upper_fraction(s, x):
    tiny = 1e-300
    b = x + 1.0 - s
    c = 1.0 / tiny
    d = 1.0 / b
    h = d
    for i in range(1, 10_000):
        a = -i * (i - s)
        b += 2.0
        d = a * d + b
        d = 1.0 / (d if abs(d) > tiny else tiny)
        c = b + a / c
        c = c if abs(c) > tiny else tiny
        h *= d * c
        if abs(d * c - 1.0) < 1e-16:
            break
    return h


def stretched_cumulative(rate, tau, n, offset, t):
    """Stretched exponential (Valko 2009) rate * exp(-((t + offset) / tau)^n), integrated from t = 0."""
    whole = rate * tau / n * math.gamma(1.0 / n)
    x0 = (offset / tau) ** n if offset > 0.0 else 0.0
    x1 = ((offset + t) / tau) ** n
    if x0 > 1.0 / n + 1.0:
        # Both ends in the tail: difference of the complements keeps its digits.
        tail0 = math.exp(math.log(x0) / n - x0 - math.lgamma(1.0 / n)) * upper_fraction(1.0 / n, x0)
        tail1 = math.exp(math.log(x1) / n - x1 - math.lgamma(1.0 / n)) * upper_fraction(1.0 / n, x1)
        return whole * (tail0 - tail1)
    return whole * (lower_gamma(1.0 / n, x1) - lower_gamma(1.0 / n, x0))


def duong_from_zero(q1, a, m, t):
    """Cumulative of Duong (2011): Q = q / (a t^-m) with q = q1 t^-m exp(a / (1 - m) (t^(1 - m) - 1))."""
    if t <= 0.0:
        return 0.0
    return q1 / a * math.exp(a / (1.0 - m) * (t ** (1.0 - m) - 1.0))


def duong_cumulative(q1, a, m, offset, t):
    return duong_from_zero(q1, a, m, offset + t) - duong_from_zero(q1, a, m, offset)


def cumulative(form, slots, t):
    """Main-phase volume of the first t producing days after the anchor of the form."""
    s = slots
    if form == "modified_hyperbolic":
        return hyperbolic_cumulative(s[0], s[1], s[2], s[3], t)
    if form == "stretched_exponential":
        return stretched_cumulative(s[0], s[1], s[2], s[3], t)
    if form == "duong":
        return duong_cumulative(s[0], s[1], s[2], s[3], t)
    raise ValueError(f"unknown decline form {form!r}")


def rate(form, slots, t):
    """Rate per producing day t days after the anchor."""
    s = slots
    if form == "modified_hyperbolic":
        d, d_min, b = s[1] / YEAR, s[3] / YEAR, s[2]
        if d <= d_min or b == 0.0:
            return s[0] * math.exp(-d * t)
        switch = math.inf if d_min <= 0.0 else (d / d_min - 1.0) / (b * d)
        early = s[0] * (1.0 + b * d * min(t, switch)) ** (-1.0 / b)
        return early * math.exp(-d_min * max(t - switch, 0.0))
    if form == "stretched_exponential":
        return s[0] * math.exp(-(((t + s[3]) / s[1]) ** s[2]))
    x = t + s[3]
    return s[0] * x ** -s[2] * math.exp(s[1] / (1.0 - s[2]) * (x ** (1.0 - s[2]) - 1.0))


def technical_volume(form, slots, limit):
    """Volume from the anchor until the rate has fallen to a limit for good, or for fifty producing years."""
    low, high = 0.0, 50.0 * YEAR
    if form == "duong":  # its rate rises first
        low = min(high, max(0.0, (slots[2] / slots[1]) ** (1.0 / (1.0 - slots[2])) - slots[3]))
    if rate(form, slots, low) <= limit:
        return 0.0
    if rate(form, slots, high) < limit:
        for _ in range(200):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if rate(form, slots, middle) > limit else (low, middle)
    return cumulative(form, slots, high)


def ratio_integral(r_now, r_final, x_change, x):
    """Secondary volume up to the main-phase volume x: the ratio moves linearly to r_final at x_change."""
    inside = min(x, x_change) if x_change > 0.0 else 0.0
    total = 0.0
    if inside > 0.0:
        total += r_now * inside + 0.5 * (r_final - r_now) * inside * inside / x_change
    return total + r_final * max(x - inside, 0.0)


def base_stream(well, months):
    """The stream of doing nothing: monthly volumes of the main and secondary phases, and what came before.

    `well` holds form, slots (4), uptime, gap_months (end of history, or first production for a type curve, to
    the valuation month), history_cumulative (0 for a type curve) and secondary: phase -> (r_now, r_final,
    x_change).
    """
    edges = []
    for i in range(months + 1):
        tau = well["uptime"] * MONTH * (i + well["gap_months"])
        edges.append(cumulative(well["form"], well["slots"], tau))
    return streams_of(well, edges, months)


def stream_after(well, start, uptime, months):
    """The same stream from the month `start` on, at another uptime from there; an idle well stays idle."""
    edges = []
    for k in range(months + 1):
        tau = well["uptime"] * MONTH * (start + well["gap_months"])
        if well["uptime"] > 0.0:
            tau += uptime * MONTH * k
        edges.append(cumulative(well["form"], well["slots"], tau))
    return streams_of(well, edges, months)


def streams_of(well, edges, months):
    main = [edges[i + 1] - edges[i] for i in range(months)]
    secondary = {}
    for phase, (r_now, r_final, x_change) in well["secondary"].items():
        made = [ratio_integral(r_now, r_final, x_change, x) for x in edges]
        secondary[phase] = [made[i + 1] - made[i] for i in range(months)]
    return {"main": main, "secondary": secondary, "made_before": well["history_cumulative"] + edges[0]}
