"""What a well can lift, pipe or dispose of: volume above it waits, and comes when there is room.

    there    = volume of the month + what waits                    oil, gas, water together, as they are mixed
    share    = min(1, liquid limit / (oil + water), gas limit / gas)   of what is there
    produced = share there      waits = (1 - share) there

So no volume is lost but what still waits at the end, and each phase of what waits keeps its ratio to the others. The
limits are volumes of a whole month; a month in which the well comes back has its share of them. Assumption: what is
held back is deferred, the reservoir gives it later at no loss.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from refracmc.compiler import rule

Array = NDArray[np.float64]
OIL, GAS, WATER = range(3)


@rule
def hold_back(volumes: Array, liquid: float, gas: float, back: int, share_of_month: float) -> None:
    """Change volumes (3, K) of oil, gas and water [bbl, Mcf, bbl] by month to what comes under the limits [bbl of oil
    and water, Mcf of gas a month, above 0; inf: none]. back: month in which the well comes back, with that share of
    it [fraction]; nothing comes before."""
    oil, gas_here, water = 0.0, 0.0, 0.0
    for k in range(volumes.shape[1]):
        oil += volumes[OIL, k]
        gas_here += volumes[GAS, k]
        water += volumes[WATER, k]
        room = share_of_month if k == back else 1.0
        share = 1.0
        if oil + water > liquid * room:
            share = liquid * room / (oil + water)
        if gas_here * share > gas * room:
            share = gas * room / gas_here
        volumes[OIL, k], volumes[GAS, k], volumes[WATER, k] = share * oil, share * gas_here, share * water
        oil -= volumes[OIL, k]
        gas_here -= volumes[GAS, k]
        water -= volumes[WATER, k]
