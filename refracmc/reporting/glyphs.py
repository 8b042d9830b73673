"""Outlines of marks and heights of text, the same for SVG and PNG."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from refracmc.reporting.sheet import Words

Array = NDArray[np.float64]

_DIAMOND = math.sqrt(0.5)
OUTLINES: dict[str, tuple[Array, ...]] = {
    "s": (np.array([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)]),),
    "^": (np.array([(-0.5, -0.5), (0.5, -0.5), (0.0, 0.5)]),),
    "v": (np.array([(-0.5, 0.5), (0.5, 0.5), (0.0, -0.5)]),),
    "D": (np.array([(0.0, -_DIAMOND), (_DIAMOND, 0.0), (0.0, _DIAMOND), (-_DIAMOND, 0.0)]),),
    "P": (
        np.array(
            [(-0.167, -0.5), (0.167, -0.5), (0.167, -0.167), (0.5, -0.167), (0.5, 0.167), (0.167, 0.167),
             (0.167, 0.5), (-0.167, 0.5), (-0.167, 0.167), (-0.5, 0.167), (-0.5, -0.167), (-0.167, -0.167)]
        ),
    ),
}  # fmt: skip
"""Filled marks of size one about (0, 0); the filled circle is "o"."""
CROSSES: dict[str, tuple[Array, ...]] = {
    "x": (np.array([(-0.5, -0.5), (0.5, 0.5)]), np.array([(-0.5, 0.5), (0.5, -0.5)])),
    "|": (np.array([(0.0, -0.5), (0.0, 0.5)]),),
    "_": (np.array([(-0.5, 0.0), (0.5, 0.0)]),),
}
"""Marks that are lines only."""

ASCENT, DESCENT = 0.76, 0.24
"""Height of a line of text above its foot and depth below it, in sizes of the font (DejaVu Sans: l and p)."""


def lines_of(words: Words) -> Iterator[tuple[str, float, float]]:
    """Each line of text with the place of its foot: left end, middle or right end as ``across`` says.

    Several lines of turned text stand side by side, the first one on the left.
    """
    lines = words.text.split("\n")
    step = words.size * (ASCENT + DESCENT) * words.spacing
    whole = words.size * (ASCENT + DESCENT) + step * (len(lines) - 1)
    if words.down == "top":
        first = -words.size * ASCENT
    elif words.down == "center":
        first = whole / 2 - words.size * ASCENT
    else:
        first = whole - words.size * ASCENT
    for k, line in enumerate(lines):
        away = first - k * step
        if words.upright:
            yield line, words.x - away, words.y
        else:
            yield line, words.x, words.y + away
