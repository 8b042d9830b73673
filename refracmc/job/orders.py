"""Stage orders: the named ones, and the check of any list an engineer writes.

An order is a tuple of sleeve numbers (1 = deepest) in the order they are treated. Full-bore sleeves leave no
restriction, so any order can be reached mechanically; what an order costs is in the plan (`planner`).
Source of the named orders: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from refracmc.job.sleeves import PlanRefused, Tally

NAMED_ORDERS: Final = ("toe_to_heel", "heel_to_toe", "alternating", "two_pass")


def named_order(name: str, tally: Tally, reach_ft: float | None = None) -> tuple[int, ...]:
    """The named order, as sleeve numbers, over the sleeves that can be treated and reached (reach in ft).

    With t(1), t(2), ... the M treatable sleeves from the toe up:
    toe_to_heel t1 t2 t3 ...; heel_to_toe tM ... t1; alternating t1 t3 t2 t5 t4 ... (a last even one closes
    the list: four stages go 1-3-2-4); two_pass t1 t3 t5 ... then t2 t4 t6 ...

    Raises ValueError for an unknown name, PlanRefused where no sleeve can be treated.
    """
    if name not in NAMED_ORDERS:
        raise ValueError(f"unknown stage order '{name}'; allowed: {', '.join(NAMED_ORDERS)}")
    stages = [int(k) + 1 for k in np.flatnonzero(tally.treatable & tally.reachable(reach_ft))]
    if not stages:
        raise PlanRefused("no sleeve of the tally can be treated")
    if name == "heel_to_toe":
        stages.reverse()
    elif name == "two_pass":
        stages = stages[0::2] + stages[1::2]
    elif name == "alternating":
        mixed = stages[:1]
        for i in range(2, len(stages), 2):
            mixed += [stages[i], stages[i - 1]]
        if len(stages) % 2 == 0:
            mixed.append(stages[-1])
        stages = mixed
    return tuple(stages)


def validate(order: Sequence[int], tally: Tally, reach_ft: float | None = None) -> tuple[int, ...]:
    """The order as a tuple of sleeve numbers, once it is seen that each sleeve exists, is treatable, within
    reach and named once.

    Raises PlanRefused naming the first sleeve that is not. (What the uphole rule asks of an order depends on
    the reclosing habit and is checked by `planner.plan`.)
    """
    if not len(order):
        raise PlanRefused("an order needs at least one sleeve")
    seen: set[int] = set()
    reachable = tally.reachable(reach_ft)
    for entry in order:
        s = int(entry)
        if s != entry or not 1 <= s <= tally.count:
            raise PlanRefused(f"the order names sleeve {entry}; the tally has sleeves 1 to {tally.count}", s)
        if s in seen:
            raise PlanRefused(f"the order names sleeve {s} twice; a sleeve is treated once", s)
        if not tally.treatable[s - 1]:
            raise PlanRefused(
                f"the order names sleeve {s}, which is {tally.state[s - 1]} on record and cannot be treated; "
                "leave it out",
                s,
            )
        if not reachable[s - 1]:
            raise PlanRefused(
                f"the order names sleeve {s} at {tally.depth_ft[s - 1]:g} ft, beyond the reach of the tubing "
                f"({reach_ft:g} ft); leave it out",
                s,
            )
        seen.add(s)
    return tuple(int(s) for s in order)


def deeper_later(order: Sequence[int]) -> list[bool]:
    """For each stage of the order (sleeve numbers), whether a later one is deeper (it then has to stand
    closed)."""
    flags = [False] * len(order)
    deepest: int | None = None
    for i in range(len(order) - 1, -1, -1):
        flags[i] = deepest is not None and deepest < order[i]
        deepest = order[i] if deepest is None else min(deepest, order[i])
    return flags
