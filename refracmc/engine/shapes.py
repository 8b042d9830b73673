"""What the compiled cash flow may be called with: it does not check its indices, so this does."""

from __future__ import annotations

from typing import Any

import numpy as np

# In the order of the arguments of compiled.value_trials; None: a single number. n trials, T months, S strategies.
_SHAPES: tuple[tuple[str, tuple[int | str, ...] | None], ...] = (
    ("volumes", (3, "n", "T")),
    ("units", (3, "n", "T")),
    ("prices", (3, "n", "T")),
    ("ahead", (3, "n", "T")),
    ("use_ahead", None),
    ("fixed", ("n", "T")),
    ("holding", ("n", "T")),
    ("abandonment", ("n", "T")),
    ("main_price", ("n", "T")),
    ("main_factor", None),
    ("main_row", None),
    ("discount", ("T",)),
    ("np0", ("n",)),
    ("terms", (6, "n")),
    ("jobs", (6, "S", "n")),
    ("months", ("S",)),
    ("write_off", ("S", "T")),
    ("tax_rate", None),
    ("working", None),
    ("lease", None),
    ("out", (14, "S+1", "n")),
)


def check_kernel(arguments: tuple[Any, ...]) -> None:
    """Raise ValueError naming the argument whose shape, or whose use as an index, is out of bounds.

    arguments: those of compiled.value_trials. Months must lie in 0..T-1, days shut in be finite and >= 0 [days].
    """
    named = dict(zip((name for name, _ in _SHAPES), arguments, strict=True))
    n, horizon = named["fixed"].shape
    count = named["months"].size
    sizes: dict[int | str, int] = {"n": n, "T": horizon, "S": count, "S+1": count + 1}
    for name, shape in _SHAPES:
        if shape is not None:
            expected = tuple(sizes.get(part, part) for part in shape)
            if named[name].shape != expected:
                raise ValueError(f"{name}: found shape {named[name].shape}; allowed: {expected}")
    months, days = named["months"], named["jobs"][0]
    if count and not (months.min() >= 0 and months.max() < horizon):
        raise ValueError(f"months: found {months.min()} to {months.max()}; allowed: 0 to {horizon - 1}")
    if not np.all((days >= 0.0) & (days < np.inf)):
        raise ValueError("jobs: found days shut in that are negative or no number; allowed: 0 or more")
    if named["main_row"] not in (0, 1):
        raise ValueError(f"main_row: found {named['main_row']}; allowed: 0 (oil) or 1 (gas)")
