"""What the compiled kernels may be called with: they do not check their indices, so this does."""

from __future__ import annotations

from typing import Any

from .job_arguments import (
    GIVEN,
    LANES,
    MASKS,
    RULES,
    SLOTS,
    STATES,
    Chosen,
    Dates,
    Orders,
    Tables,
    Trials,
    Well,
    padded,
)

# Of compiled_jobs.run_jobs: N sleeves (W padded, in B parts), O orders, V tables, L cycles, D dates, G groups of
# sleeves, S strategies, R rows of the result, n trials.
_JOBS: dict[type, dict[str, tuple[int | str, ...]]] = {
    Well: {"states": (len(STATES), "N"), "rules": (len(RULES),)},
    Orders: {
        "masks": ("O", len(MASKS), "N"),
        "position": ("O", "N"),
        "sequence": ("O", "N"),
        "numbers": ("O", 4),
        "feet": ("O", 2),
        "stress": ("O", "B", "W", 2 * LANES),
        "table": ("O", len(SLOTS)),
        "watched": ("O", "V", "N"),
    },
    Tables: {"kind": ("V",), "level": ("V", "N"), "cycles": ("L",)},
    Dates: {"ages": ("D", "G"), "group": ("N",), "service": ("D", "n")},
    Chosen: dict.fromkeys(Chosen._fields, ("S",)),
    Trials: dict.fromkeys(Trials._fields, ("n", "N")) | {"given": ("n", len(GIVEN))},
}
_INDICES = (
    (Orders, "position", -1, "N"),
    (Orders, "sequence", 0, "N"),
    (Orders, "table", 0, "V"),
    (Tables, "kind", 0, 4),
    (Tables, "level", 0, "L"),
    (Dates, "group", 0, "G"),
    (Chosen, "order", 0, "O"),
    (Chosen, "date", 0, "D"),
    (Chosen, "row", 0, "R"),
)


def check_jobs(arguments: tuple[Any, ...]) -> None:
    """Raise ValueError naming the array whose shape, or whose use as an index, is out of bounds.

    arguments: those of compiled_jobs.run_jobs. max_tries must lie in 1..100.
    """
    parts = {type(part): part for part in arguments[:-1]}
    orders, tables, dates, out = parts[Orders], parts[Tables], parts[Dates], arguments[-1]
    n, sleeves = parts[Trials].z_sleeve.shape
    sizes: dict[int | str, int] = {
        "n": n,
        "N": sleeves,
        "W": padded(sleeves),
        "B": padded(sleeves) // LANES,
        "O": orders.numbers.shape[0],
        "V": tables.kind.size,
        "L": tables.cycles.size,
        "D": dates.ages.shape[0],
        "G": dates.ages.shape[1],
        "S": parts[Chosen].order.size,
        "R": out.shape[1],
    }
    found = [
        (name, getattr(parts[kind], name), shape) for kind in _JOBS for name, shape in _JOBS[kind].items()
    ]
    for name, array, shape in [*found, ("out", out, (6 + 19, "R", "n"))]:
        expected = tuple(sizes.get(part, part) for part in shape)
        if array.shape != expected:
            raise ValueError(f"{name}: found shape {array.shape}; allowed: {expected}")
    limits = [
        (name, getattr(parts[kind], name), low, sizes.get(end, end)) for kind, name, low, end in _INDICES
    ]
    limits += [
        ("stages", orders.numbers[:, 0], 1, sleeves + 1),
        ("max_tries", parts[Well].rules[-1:], 1, 101),
    ]
    for name, array, low, end in limits:
        if array.size and not (array.min() >= low and array.max() < int(end)):
            raise ValueError(
                f"{name}: found {array.min()} to {array.max()}; allowed: {low} to {int(end) - 1}"
            )
