"""What a unit of oil, gas or water nets in each month: royalty and production taxes, unit costs, income tax."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from refracmc.compiler import rule

from .fiscal import Costs

Array = NDArray[np.float64]
OIL, GAS, WATER = range(3)


@rule
def net_prices(
    oil: Array, gas: Array, costs: Costs, factors: Array, escalation: Array, kept: float, out: Array
) -> None:
    """Fill out (3, T) [US$ per unit]: oil, gas with its liquids, and water, after unit costs and income tax.

    oil, gas (T,): benchmark prices; factors (2,): owner's revenue after production taxes per US$ of gross revenue of
    oil and gas; escalation (T,): cost factor of a month times the working interest; kept: share left by income tax.
    Linear: a price below zero has its taxes below zero. Water costs only.
    """
    of_oil, of_gas = factors[0] * kept, factors[1] * kept
    net_oil, net_gas, net_water = out[OIL], out[GAS], out[WATER]
    for i in range(oil.size):
        dearer = escalation[i] * kept
        net_oil[i] = (oil[i] + costs.oil_differential) * of_oil - costs.oil * dearer
        net_gas[i] = (gas[i] + costs.gas_differential + costs.liquids * oil[i]) * of_gas - costs.gas * dearer
        net_water[i] = -costs.water * dearer
