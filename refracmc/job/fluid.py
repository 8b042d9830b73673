"""Where the fluid of the stages goes: rules 6, 7 and 10 of `rules`."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from refracmc.compiler import rule, summed
from refracmc.job import luck as _luck
from refracmc.job.arrays import Well
from refracmc.job.results import Sleeves
from refracmc.job.sleeves import FloatArray, IntArray
from refracmc.job.tries import Luck

share_pumped = rule(_luck.share_pumped)


class Fluid(NamedTuple):
    """Fluid at each sleeve (N,): exposure to deeper stages, before its own stage and after; placed, received and
    effectiveness e, in shares of a planned stage [-]."""

    exposure: FloatArray
    after: FloatArray
    placed: FloatArray
    received: FloatArray
    effect: FloatArray


@rule
def expose(well: Well, leak: float, job: Sleeves, fluid: Fluid) -> None:
    """6 Exposure of each sleeve to deeper stages, before its own stage and after; leak: leak_fluid_fraction [share]."""
    for s in range(job.closed.size):
        not_closed = job.close_tried[s] & (not job.closed[s])
        stands_open = (not_closed | well.known_open[s]) & (not job.patched[s])
        leaks = (well.leaking[s] & (not job.close_tried[s])) | job.close_unseen[s]
        before = (1.0 if stands_open else 0.0) + (leak if leaks else 0.0)
        open_after = (job.reclose_tried[s] & (not job.reclosed[s])) | (job.perforated[s] & job.treated[s])
        reclosed = leak if job.reclose_unseen[s] else 0.0
        fluid.exposure[s] = before
        fluid.after[s] = 1.0 if open_after else (reclosed if job.reclosed[s] else before)


@summed
def total_of(values: FloatArray) -> float:
    """Sum of shares."""
    total = 0.0
    for i in range(values.size):
        total += values[i]
    return total


@rule
def give(to: FloatArray, share: FloatArray, volume: float) -> None:
    """Add a share of a volume to each."""
    for i in range(to.size):
        to[i] += share[i] * volume


@rule
def pump(sequence: IntArray, g: np.record, luck: Luck, job: Sleeves, fluid: Fluid) -> None:
    """6 Fluid and 7 annulus, stage by stage in their order [shares of a planned stage]."""
    for s in range(fluid.placed.size):
        fluid.placed[s] = fluid.received[s] = 0.0
    for k in range(sequence.size):
        s = sequence[k]
        if not job.treated[s]:
            continue
        own = share_pumped(luck.screens_out[s], g)
        above = fluid.exposure[s + 1 :]
        is_open = total_of(above)
        if is_open > 0.0:
            own /= 1.0 + g.open_sleeve_take * is_open
            give(fluid.received[s + 1 :], above, own * g.open_sleeve_take)
        up, down = luck.leak[s], luck.leak[s - 1] if s > 0 else 0.0
        if s + 1 < fluid.placed.size:
            fluid.received[s + 1] += own * up
        if s > 0:
            fluid.received[s - 1] += own * down
        fluid.placed[s] = own * (1.0 - up - down)
        fluid.exposure[s] = fluid.after[s]


@rule
def value_fluid(stray_value: float, job: Sleeves, fluid: Fluid) -> None:
    """10 End: effectiveness of each sleeve [share of a planned stage]."""
    for s in range(fluid.effect.size):
        value = min(fluid.received[s] * stray_value + fluid.placed[s], 1.0)
        fluid.effect[s] = value if job.producing[s] else 0.0
