"""The flat price of the main phase at which a job gains nothing."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from refracmc.compiler import inlined, summed

from .flows import Conditions, Months
from .margins import NEW, OWN, Shares, Streams

Array = NDArray[np.float64]
BREAKEVEN_BOUND = 1000.0
"""Largest break-even price reported, US$ per unit, of either sign: beyond it hardly any volume is gained."""


@summed
def discounted_volume(
    own: Array, own_later: Array, new: Array, new_later: Array, shares: Shares, discount: Array, worth: Array
) -> tuple[float, float]:
    """Sums over months of a strategy's volumes [bbl or Mcf], discounted, and of their worth [US$]."""
    a, b, c, d = shares.own, shares.own_later, shares.new, shares.new_later
    volume, value = 0.0, 0.0
    for k in range(discount.size):
        x = a * own[k] + b * own_later[k] + c * new[k] + d * new_later[k]
        volume += x * discount[k]
        value += x * worth[k]
    return volume, value


@inlined
def breakeven_price(
    conditions: Conditions,
    streams: Streams,
    months: Months,
    shares: Shares,
    life: int,
    limit: int,
    gain: float,
) -> float:
    """Price [US$ per unit] of the main phase at which the gain [US$, incremental NPV] would be zero.

    Lives, costs and the other products are held as they are in the trial; within BREAKEVEN_BOUND. Where no volume is
    gained, discounted, no price helps: infinite where there is a loss at a price of zero, else NaN.
    """
    main, month, late, resume = conditions.main, shares.month, shares.late, shares.resume
    volume = -max(months.alone_volume[limit + 1] - months.alone_volume[resume], 0.0)
    value = -max(months.alone_value[limit + 1] - months.alone_value[resume], 0.0)
    own, new = streams.volumes[OWN, main, resume:], streams.volumes[NEW, main]
    if life >= late:  # the month in which it comes back, then those with all four
        back = month + late
        first = shares.own * own[0] + shares.new * new[0]
        more, worth = discounted_volume(
            own[1:],
            own,
            new[1:],
            new,
            shares,
            conditions.discount[back + 1 : month + life + 1],
            months.main_worth[back + 1 :],
        )
        volume += first * conditions.discount[back] + more
        value += first * months.main_worth[back] + worth
    per_unit = (1.0 - conditions.tax_rate) * conditions.factors[main]
    if not volume * per_unit > 0.0:
        return np.inf if gain - value * per_unit < 0.0 else np.nan
    price: float = (value * per_unit - gain) / (volume * per_unit)
    return max(min(price, BREAKEVEN_BOUND), -BREAKEVEN_BOUND)
