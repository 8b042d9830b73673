"""What a job does to the wells beside it: a fracture hit that costs them production for a while, or lifts it; and
what a job in time is worth to the child wells planned there.

A neighbour's volume of month i is lost by `fraction` max(1 - (j + 0.5)/fade, 0) in month j after that of the job, i = m
+ j, and is worth what a unit of the main phase nets there at the owner's interests: the neighbours' own life, costs a
month and taxes are as they were. Form: assumption.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from refracmc.compiler import rule

Array = NDArray[np.float64]


class Neighbours(NamedTuple):
    """What all trials share; on: whether there are any."""

    on: bool
    factors: Array  # (2,) owner's revenue in them after production taxes per US$ of gross oil and gas revenue
    escalation: Array  # (T,) cost factor of a month times the working interest in them
    child_month: int  # up to which a job counts for the child wells; -1: none


def none_there(months: int) -> Neighbours:
    """No neighbours, for so many months."""
    return Neighbours(False, np.zeros(2), np.zeros(months), -1)


@rule
def add_to_flow(
    flow: Array,
    volumes: Array,
    net_price: Array,
    job: tuple[int, int],
    fade: float,
    child: tuple[float, int],
    discount: Array,
) -> float:
    """Add to a strategy's flow [US$] what its job does to the neighbours; its present value [US$], by discount (T,).

    volumes (T,): main phase [bbl or Mcf] lost to a hit in a month before it fades; net_price (T,) [US$ per unit]; job:
    its place in the flow and its month; fade [months]; child: value [US$] and the month up to which a job counts.
    """
    place, month = job
    j, value = 0, 0.0
    while month + j < volumes.size and j < fade:
        loss = volumes[month + j] * net_price[month + j] * max(1.0 - (j + 0.5) / fade, 0.0)
        flow[place + j] -= loss
        value -= loss * discount[month + j]
        j += 1
    if month <= child[1]:
        flow[place + child[1] - month] += child[0]
        value += child[0] * discount[child[1]]
    return value
