"""The valuation as a careful engineer writes it with NumPy: one (trials, months) array per quantity and strategy.

Plain on purpose: nothing is shared between strategies but the well left alone, nothing is reused, no chunks.
It returns what the engine returns of npv, incremental_npv, payout_months, eur and executed; the engine makes nine
more measures of it, among them the rate of return.
"""

from __future__ import annotations

import numpy as np

from .inputs import MONTH_DAYS, Array, Inputs

MEASURES = ("npv", "incremental_npv", "payout_months", "eur", "executed")


def cumulative(rate: Array, decline: Array, b: Array, terminal: Array, days: Array) -> Array:
    """Modified hyperbolic: volume to `days` (n, K); declines per year, b neither 0 nor 1."""
    rate, b = rate[:, None], b[:, None]
    d, d_end = decline[:, None] / 365.25, np.minimum(terminal, decline)[:, None] / 365.25
    switch = (d / d_end - 1.0) / (b * d)
    early = rate / ((1.0 - b) * d) * (1.0 - (1.0 + b * d * np.minimum(days, switch)) ** (1.0 - 1.0 / b))
    rate_then = rate * (1.0 + b * d * switch) ** (-1.0 / b)
    late = rate_then / d_end * (1.0 - np.exp(-d_end * np.maximum(days - switch, 0.0)))
    return early + late


def with_ratio(volume: Array, first: Array, last: Array, change: Array) -> Array:
    """Second phase made with a cumulative main volume (n, K): its ratio moves linearly until `change`."""
    first, last, change = first[:, None], last[:, None], change[:, None]
    moving = np.minimum(volume, change)
    return first * moving + (last - first) * moving**2 / (2.0 * change) + last * (volume - moving)


def twelve_months(stream: Array) -> Array:
    """Sum of each month and the eleven after it, cut at the end."""
    total = np.concatenate((np.zeros((stream.shape[0], 1)), np.cumsum(stream, axis=1)), axis=1)
    at = np.arange(stream.shape[1])
    return total[:, np.minimum(at + 12, stream.shape[1])] - total[:, at]


def delayed(stream: Array, days: Array) -> Array:
    """A stream delivered some days late, on the months of the calendar."""
    n, count = stream.shape
    whole = np.floor(days / MONTH_DAYS).astype(int)
    early = 1.0 - (days / MONTH_DAYS - whole)
    at = np.arange(count) - whole[:, None]
    rows = np.arange(n)[:, None]
    first = np.where(at >= 0, stream[rows, np.maximum(at, 0)], 0.0)
    second = np.where(at >= 1, stream[rows, np.maximum(at - 1, 0)], 0.0)
    return early[:, None] * first + (1.0 - early[:, None]) * second


def net_prices(x: Inputs, oil: Array, gas: Array) -> tuple[Array, Array, Array]:
    """What a barrel or Mcf leaves after royalty, taxes and volume costs."""
    oil_factor = x.net_revenue * (1.0 - x.severance_oil - x.ad_valorem)
    gas_factor = x.net_revenue * (1.0 - x.severance_gas - x.ad_valorem)
    liquids = (x.ngl_yield * x.ngl_fraction)[:, None] * oil
    oil_net = oil_factor * (oil + x.oil_differential[:, None]) - x.working * x.oil_cost[:, None]
    gas_net = gas_factor * (gas + x.gas_differential[:, None] + liquids) - x.working * x.gas_cost[:, None]
    water = np.broadcast_to(-x.working * x.water_cost[:, None], oil.shape)
    return oil_net, gas_net, water


def value(x: Inputs) -> dict[str, Array]:
    """Measures (strategies + 1, n), the well left alone first."""
    n, horizon = x.oil.shape
    months = np.arange(horizon)
    discount = (1.0 + x.annual_rate) ** (-(months + 0.5) / 12.0)
    prices, ahead = net_prices(x, x.oil, x.gas), net_prices(x, x.oil_ahead, x.gas_ahead)
    fixed = np.broadcast_to(x.working * x.fixed_cost[:, None], (n, horizon))
    rows = np.arange(n)
    out = {name: np.zeros((1 + len(x.jobs), n)) for name in MEASURES}

    # the well left alone
    days = x.uptime[:, None] * MONTH_DAYS * (x.months_before + np.arange(horizon + 1))
    made = cumulative(x.rate, x.decline, x.b, x.terminal, days)
    own = np.diff(made, axis=1)
    base = (own, own * x.gas_ratio, own * x.water_ratio)
    expected = sum(twelve_months(v) * p for v, p in zip(base, ahead, strict=True)) - twelve_months(fixed)
    stops = expected < 0.0
    limit = np.where(stops.any(axis=1), stops.argmax(axis=1) - 1, horizon - 1)
    net = sum(v * p for v, p in zip(base, prices, strict=True)) - fixed
    alone = np.where(months <= limit[:, None], net, 0.0)
    alone[rows, np.minimum(limit + 1, horizon - 1)] -= x.working * x.abandonment
    out["npv"][0] = (alone * discount).sum(axis=1)
    out["eur"][0] = made[:, 0] + np.where(months <= limit[:, None], own, 0.0).sum(axis=1)
    out["payout_months"][0] = np.nan
    ultimate = x.recovery * x.headroom

    for k, job in enumerate(x.jobs):
        month, width = job.month, horizon - job.month
        idle = np.maximum(month - 1 - limit, 0)
        executed = idle <= x.lease_months
        resume = np.minimum(month, limit + 1)
        later = resume[:, None] + np.arange(width)
        produced = made[rows, resume]
        remaining = np.maximum(x.recovery - produced, 0.0)

        # response
        days = x.uptime[:, None] * MONTH_DAYS * np.arange(horizon + 1)
        unit_made = cumulative(np.ones(n), x.new_decline, x.new_b, x.new_terminal, days)
        unit = np.diff(unit_made, axis=1)[:, :width]
        change = x.change_fraction * x.new_recovery
        gas = np.diff(
            with_ratio(unit_made, x.gas_ratio * x.gas_start, x.gas_ratio * x.gas_final, change), axis=1
        )
        water = np.diff(
            with_ratio(unit_made, x.water_ratio * x.water_start, x.water_ratio * x.water_final, change),
            axis=1,
        )
        kept = x.kept * job.kept_share * (1.0 - job.lost)
        raw = x.uplift * x.peak * job.effective_share * (1.0 - job.lost)
        raw = raw * (1.0 - np.minimum(produced / ultimate, 1.0)) ** x.exponent
        old, fresh = kept * remaining, raw * x.new_recovery
        room = ultimate - produced - old
        allowed = np.where(room >= 0.0, np.minimum(room / (1.0 - x.acceleration), room + old), 0.0)
        scale = np.where(allowed < fresh, allowed / np.where(fresh > 0.0, fresh, 1.0), 1.0)
        forward = np.where(old > 0.0, x.acceleration * scale * fresh / np.where(old > 0.0, old, 1.0), 0.0)
        q2, keep = raw * scale, kept * (1.0 - np.minimum(forward, 1.0))

        # streams on the calendar
        volumes = [
            delayed(
                keep[:, None] * np.take_along_axis(b, later, axis=1) + q2[:, None] * u[:, :width], job.days
            )
            for b, u in zip(base, (unit, gas, water), strict=True)
        ]
        expected = sum(twelve_months(v) * p[:, month:] for v, p in zip(volumes, ahead, strict=True))
        expected = expected - twelve_months(fixed[:, month:])
        stops = expected < 0.0
        stops[:, 0] = False
        life = np.where(stops.any(axis=1), stops.argmax(axis=1) - 1, width - 1)
        life = np.where(job.lost > 0, 0, life)
        on = np.arange(width) <= life[:, None]

        # cash
        cash = np.zeros((n, horizon))
        cash[:, :month] = np.where(months[:month] <= limit[:, None], net[:, :month], 0.0)
        held = (months[:month] > limit[:, None]) & (months[:month] < month)
        cash[:, :month] -= np.where(held, x.working * x.holding_cost[:, None], 0.0)
        job_net = sum(v * p[:, month:] for v, p in zip(volumes, prices, strict=True)) - fixed[:, month:]
        cash[:, month:] = np.where(on, job_net, 0.0)
        cash[rows, month + np.minimum(life + 1, width - 1)] -= x.working * x.abandonment
        cash[:, month] -= x.working * job.cost
        npv = (cash * discount).sum(axis=1)
        running = np.cumsum(cash - alone, axis=1)[:, month:]
        paid = running >= 0.0
        payout = np.where(paid.any(axis=1), paid.argmax(axis=1) + 1.0, np.inf)
        before = np.where(months[:month] <= limit[:, None], own[:, :month], 0.0).sum(axis=1)
        eur = made[:, 0] + before + np.where(on, volumes[0], 0.0).sum(axis=1)

        out["npv"][1 + k] = np.where(executed, npv, out["npv"][0])
        out["incremental_npv"][1 + k] = np.where(executed, npv - out["npv"][0], 0.0)
        out["payout_months"][1 + k] = np.where(executed, payout, np.nan)
        out["eur"][1 + k] = np.where(executed, eur, out["eur"][0])
        out["executed"][1 + k] = executed
    return out
