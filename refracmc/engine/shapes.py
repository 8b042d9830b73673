"""What the compiled kernels may be called with: they do not check their indices, so this does."""

from __future__ import annotations

from typing import Any

import numpy as np

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

# In the order of the arguments of compiled.value_trials; None: a single number. n trials, T months, S
# strategies, K rows of streams.
_SHAPES: tuple[tuple[str, tuple[int | str, ...] | None], ...] = (
    ("table", ("K", "T+1")),
    ("rows", ("n",)),
    ("own_ratios", (2, 3, "n")),
    ("unit", ("n", "T+1")),
    ("unit_ratios", (2, 3, "n")),
    ("oil", ("n", "T")),
    ("gas", ("n", "T")),
    ("oil_ahead", ("n", "T")),
    ("gas_ahead", ("n", "T")),
    ("use_ahead", None),
    ("costs", (9, "n")),
    ("escalation", ("T",)),
    ("discount", ("T",)),
    ("factors", (2,)),
    ("main_row", None),
    ("np0", ("n",)),
    ("terms", (6, "n")),
    ("jobs", (6, "S", "n")),
    ("months", ("S",)),
    ("write_off", ("S", "T")),
    ("tax_rate", None),
    ("working", None),
    ("lease", None),
    ("order", ("n",)),
    ("places", ("S",)),
    ("wanted", (14,)),
    ("out", (14, "S+1", "n")),
)


def check_kernel(arguments: tuple[Any, ...]) -> None:
    """Raise ValueError naming the argument whose shape, or whose use as an index, is out of bounds.

    arguments: those of compiled.value_trials. Months must lie in 0..T-1, rows in 0..K-1, order and
    places hold each trial and each row of a strategy once, days shut in be finite and >= 0 [days].
    """
    named = dict(zip((name for name, _ in _SHAPES), arguments, strict=True))
    n, horizon = named["oil"].shape
    count, streams = named["months"].size, named["table"].shape[0]
    sizes: dict[int | str, int] = {"n": n, "T": horizon, "T+1": horizon + 1}
    sizes |= {"S": count, "S+1": count + 1, "K": streams}
    for name, shape in _SHAPES:
        if shape is not None:
            expected = tuple(sizes.get(part, part) for part in shape)
            if named[name].shape != expected:
                raise ValueError(f"{name}: found shape {named[name].shape}; allowed: {expected}")
    months, days = named["months"], named["jobs"][0]
    if count and not (months.min() >= 0 and months.max() < horizon):
        raise ValueError(f"months: found {months.min()} to {months.max()}; allowed: 0 to {horizon - 1}")
    rows = named["rows"]
    if n and not (rows.min() >= 0 and rows.max() < streams):
        raise ValueError(f"rows: found {rows.min()} to {rows.max()}; allowed: 0 to {streams - 1}")
    for name, first in (("order", 0), ("places", 1)):
        if not np.array_equal(np.sort(named[name]), np.arange(first, first + named[name].size)):
            raise ValueError(
                f"{name}: found a number twice or one out of bounds; allowed: each from {first} on once"
            )
    for name in ("own_ratios", "unit_ratios"):
        if not np.all(named[name] >= 0.0):
            raise ValueError(f"{name}: found a ratio that is negative or no number; allowed: 0 or more")
    if not np.all((days >= 0.0) & (days < np.inf)):
        raise ValueError("jobs: found days shut in that are negative or no number; allowed: 0 or more")
    if named["main_row"] not in (0, 1):
        raise ValueError(f"main_row: found {named['main_row']}; allowed: 0 (oil) or 1 (gas)")


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
