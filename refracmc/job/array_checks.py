"""What the loop over trials may be handed: compiled code does not check its indices, so this does."""

from __future__ import annotations

from typing import Any

import numpy as np

from refracmc.job.arrays import GIVEN, Chosen, Dates, Orders, Shifts, Trials, Well
from refracmc.job.sleeves import FloatArray

# N sleeves, O orders, V vectors of shifts, L numbers of shifts, D dates, G groups of sleeves, A 1 or n, S strategies,
# R rows of the result, n trials
_SHAPES: dict[type, dict[str, tuple[int | str, ...]]] = {
    Well: dict.fromkeys(Well._fields[:7], ("N",)),
    Orders: {
        **dict.fromkeys(
            ("closes", "reseats", "first", "treats", "recloses", "deeper", "sequence"), ("O", "N")
        ),
        "stages": ("O",),
        "changes": ("O", 3),
        "feet": ("O", 2),
        **dict.fromkeys(("contrast", "normal"), ("O", "N", "N")),
        "shifts": ("O", 5),
        "watched": ("O", "V", "N"),
    },
    Shifts: {"kind": ("V",), "level": ("V", "N"), "cycles": ("L",)},
    Dates: {"ages": ("D", "A", "G"), "group": ("N",), "service": ("D", "n")},
    Chosen: dict.fromkeys(Chosen._fields, ("S",)),
    Trials: dict.fromkeys(Trials._fields, ("n", "N")) | {"given": ("n",), "intercept": ("n", 4)},
}
_INDICES = (
    (Orders, "sequence", 0, "N"),
    (Orders, "stages", 1, "N+1"),
    (Orders, "shifts", 0, "V"),
    (Shifts, "kind", 0, 4),
    (Shifts, "level", 0, "L"),
    (Dates, "group", 0, "G"),
    (Chosen, "order", 0, "O"),
    (Chosen, "date", 0, "D"),
    (Chosen, "row", 0, "R"),
)


def check_jobs(
    well: Well,
    orders: Orders,
    shifts: Shifts,
    dates: Dates,
    chosen: Chosen,
    trials: Trials,
    out: FloatArray,
    rows: int,
) -> None:
    """Raise ValueError naming the array whose shape, or whose use as an index, is out of bounds; rows: number of
    results. max_tries is a count from 1 to 100."""
    parts: dict[type, Any] = {type(part): part for part in (well, orders, shifts, dates, chosen, trials)}
    n, sleeves = trials.z_sleeve.shape
    sizes: dict[int | str, int] = {
        "n": n,
        "N": sleeves,
        "N+1": sleeves + 1,
        "O": orders.stages.size,
        "V": shifts.kind.size,
        "L": shifts.cycles.size,
        "D": dates.ages.shape[0],
        "A": n if dates.ages.shape[1] == n else 1,
        "G": dates.ages.shape[2],
        "S": chosen.order.size,
        "R": out.shape[1],
    }
    shapes = [(name, getattr(parts[k], name), shape) for k in _SHAPES for name, shape in _SHAPES[k].items()]
    for name, array, shape in [*shapes, ("out", out, (rows, "R", "n"))]:
        expected = tuple(sizes.get(part, part) for part in shape)
        if array.shape != expected:
            raise ValueError(f"{name}: found shape {array.shape}; allowed: {expected}")
    if trials.given.dtype.names != GIVEN:
        raise ValueError(f"given: found fields {trials.given.dtype.names}; allowed: {GIVEN}")
    limits = [
        (name, getattr(parts[kind], name), low, int(sizes.get(end, end))) for kind, name, low, end in _INDICES
    ]
    for name, array, low, end in [*limits, ("max_tries", np.array(well.max_tries), 1, 101)]:
        if array.size and not (array.min() >= low and array.max() < end):
            raise ValueError(f"{name}: found {array.min()} to {array.max()}; allowed: {low} to {end - 1}")
