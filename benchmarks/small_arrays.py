"""The valuation as a usual script has it: one trial after another, arrays over the months of that trial.

The same rules and results as in `whole_arrays`; what does not change with the strategy is made once a trial.
"""

from __future__ import annotations

import numpy as np

from .inputs import MONTH_DAYS, Array, Inputs
from .whole_arrays import MEASURES


def cumulative(rate: float, decline: float, b: float, terminal: float, days: Array) -> Array:
    """Modified hyperbolic: volume to `days` (K,); declines per year, b neither 0 nor 1."""
    d, d_end = decline / 365.25, min(terminal, decline) / 365.25
    switch = (d / d_end - 1.0) / (b * d)
    early = rate / ((1.0 - b) * d) * (1.0 - (1.0 + b * d * np.minimum(days, switch)) ** (1.0 - 1.0 / b))
    rate_then = rate * (1.0 + b * d * switch) ** (-1.0 / b)
    return early + rate_then / d_end * (1.0 - np.exp(-d_end * np.maximum(days - switch, 0.0)))


def with_ratio(volume: Array, first: float, last: float, change: float) -> Array:
    """Second phase made with a cumulative main volume (K,): its ratio moves linearly until `change`."""
    moving = np.minimum(volume, change)
    return first * moving + (last - first) * moving**2 / (2.0 * change) + last * (volume - moving)


def twelve_months(stream: Array) -> Array:
    """Sum of each month and the eleven after it, cut at the end."""
    total = np.concatenate(([0.0], np.cumsum(stream)))
    at = np.arange(stream.size)
    return total[np.minimum(at + 12, stream.size)] - total[at]


def delayed(stream: Array, days: float) -> Array:
    """A stream delivered some days late, on the months of the calendar."""
    whole = int(days / MONTH_DAYS)
    early = 1.0 - (days / MONTH_DAYS - whole)
    padded = np.concatenate((np.zeros(whole + 1), stream))
    return early * padded[1 : 1 + stream.size] + (1.0 - early) * padded[: stream.size]


def net_prices(x: Inputs, oil: Array, gas: Array) -> tuple[Array, Array, Array]:
    """What a barrel or Mcf leaves after royalty, taxes and volume costs."""
    oil_factor = x.net_revenue * (1.0 - x.severance_oil - x.ad_valorem)
    gas_factor = x.net_revenue * (1.0 - x.severance_gas - x.ad_valorem)
    sold = gas + x.gas_differential + x.ngl_yield * x.ngl_fraction * oil
    oil_net = oil_factor * (oil + x.oil_differential) - x.working * x.oil_cost
    return oil_net, gas_factor * sold - x.working * x.gas_cost, np.full(oil.size, -x.working * x.water_cost)


def value(x: Inputs) -> dict[str, Array]:
    """Measures (strategies + 1, n), the well left alone first."""
    n = x.oil.shape[0]
    found = [value_trial(x.rows(t)) for t in range(n)]
    return {name: np.array([trial[name] for trial in found]).T for name in MEASURES}


def first_negative(expected: Array, nowhere: int) -> int:
    """Month before the first negative one, or `nowhere`."""
    negative = np.flatnonzero(expected < 0.0)
    return int(negative[0]) - 1 if negative.size else nowhere


def value_trial(x: Inputs) -> dict[str, list[float]]:
    """Measures of one trial, the well left alone first."""
    horizon = x.oil.size
    months = np.arange(horizon)
    discount = (1.0 + x.annual_rate) ** (-(months + 0.5) / 12.0)
    prices, ahead = net_prices(x, x.oil, x.gas), net_prices(x, x.oil_ahead, x.gas_ahead)
    fixed, abandonment = np.full(horizon, x.working * x.fixed_cost), x.working * x.abandonment
    made = cumulative(
        x.rate, x.decline, x.b, x.terminal, x.uptime * MONTH_DAYS * (x.months_before + np.arange(horizon + 1))
    )
    own = np.diff(made)
    base = (own, own * x.gas_ratio, own * x.water_ratio)
    expected = sum(twelve_months(v) * p for v, p in zip(base, ahead, strict=True)) - twelve_months(fixed)
    limit = first_negative(expected, horizon - 1)
    net = sum(v * p for v, p in zip(base, prices, strict=True)) - fixed
    net[limit + 1 :] = 0.0
    alone = net.copy()
    alone[min(limit + 1, horizon - 1)] -= abandonment
    npv0 = float((alone * discount).sum())
    eur0 = float(made[limit + 1])
    out: dict[str, list[float]] = {"npv": [npv0], "eur": [eur0], "payout_months": [np.nan]}
    out |= {"incremental_npv": [0.0], "executed": [0.0]}
    ultimate = x.recovery * x.headroom
    unit_made = cumulative(
        1.0, x.new_decline, x.new_b, x.new_terminal, x.uptime * MONTH_DAYS * np.arange(horizon + 1)
    )
    change = x.change_fraction * x.new_recovery
    units = (
        np.diff(unit_made),
        np.diff(with_ratio(unit_made, x.gas_ratio * x.gas_start, x.gas_ratio * x.gas_final, change)),
        np.diff(with_ratio(unit_made, x.water_ratio * x.water_start, x.water_ratio * x.water_final, change)),
    )

    for job in x.jobs:
        month, width = job.month, horizon - job.month
        if month - 1 - limit > x.lease_months:
            for name, same in (("npv", npv0), ("eur", eur0), ("payout_months", np.nan)):
                out[name].append(same)
            out["incremental_npv"].append(0.0)
            out["executed"].append(0.0)
            continue
        resume = min(month, limit + 1)
        kept = 0.0 if job.lost else x.kept * job.kept_share
        raw = 0.0 if job.lost else x.uplift * x.peak * job.effective_share
        raw *= (1.0 - min(made[resume] / ultimate, 1.0)) ** x.exponent
        old, fresh = kept * max(x.recovery - made[resume], 0.0), raw * x.new_recovery
        room = ultimate - made[resume] - old
        allowed = min(room / (1.0 - x.acceleration), room + old) if room >= 0.0 else 0.0
        scale = allowed / fresh if allowed < fresh else 1.0
        keep = kept * (1.0 - min(x.acceleration * scale * fresh / old, 1.0)) if old > 0.0 else kept
        q2 = raw * scale
        volumes = [
            delayed(keep * b[resume : resume + width] + q2 * u[:width], job.days)
            for b, u in zip(base, units, strict=True)
        ]
        expected = sum(twelve_months(v) * p[month:] for v, p in zip(volumes, ahead, strict=True))
        expected = expected - twelve_months(fixed[month:])
        life = 0 if job.lost else first_negative(expected[1:], width - 2) + 1
        cash = net.copy()
        cash[resume:month] = -x.working * x.holding_cost
        cash[month:] = sum(v * p[month:] for v, p in zip(volumes, prices, strict=True)) - fixed[month:]
        cash[month + life + 1 :] = 0.0
        cash[month + min(life + 1, width - 1)] -= abandonment
        cash[month] -= x.working * job.cost
        npv = float((cash * discount).sum())
        paid = np.flatnonzero(np.cumsum(cash - alone)[month:] >= 0.0)
        out["npv"].append(npv)
        out["incremental_npv"].append(npv - npv0)
        out["payout_months"].append(paid[0] + 1.0 if paid.size else np.inf)
        out["eur"].append(float(made[resume] + volumes[0][: life + 1].sum()))
        out["executed"].append(1.0)
    return out
