"""Look of the charts: palette, frame of a sheet, axes with round ticks, legend row.

The palette was searched so that all pairs stay apart under normal sight and under full protanopia,
deuteranopia and tritanopia (Machado, Oliveira & Fernandes 2009 matrices; smallest CIE 1976 distance above 20,
tested). Markers and dashes repeat what colour says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from refracmc.reporting.sheet import INCH, Area, Dots, Panel, Sheet, Stroke, Words, dashes

INK = "#1f262d"
FAINT = "#68727c"
GRID = "#dfe3e7"
BACKGROUND_CURVE = "#cfd5da"
NOTHING_COLOUR = "#4d565f"
BAD = "#c02717"
PALETTE = ("#7d2bb0", "#d07619", "#2fa996", "#6b2c0b", "#8c9fd6", "#c9ac78")
DASHES: tuple[Any, ...] = ("-", (0, (5, 1.5)), (0, (1.5, 1.2)), (0, (6, 1.5, 1.5, 1.5)), (0, (3, 3)), "-")
MARKERS = ("o", "s", "^", "D", "v", "P")
WIDTH = 9.0
"""Inches."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One entry of a legend row; form: line, dash, band, tick, dot (filled marker) or ring (open marker)."""

    label: str
    colour: str
    form: str = "line"
    dash: Any = "-"
    marker: str = "o"


def frame(title: str, footer: str, height: float) -> Sheet:
    """Empty sheet, ``WIDTH`` x ``height`` inches: title at the top left, footer lines at the bottom."""
    sheet = Sheet(WIDTH * INCH, height * INCH)
    x, top, foot = 0.1 * INCH, (height - 0.1) * INCH, 0.07 * INCH
    sheet.own_words += [
        Words(x, top, title, 11.0, INK, down="top", bold=True),
        Words(x, foot, wrap(footer, 170), 7.2, FAINT, down="bottom", spacing=1.25),
    ]
    return sheet


def wrap(text: str, width: int) -> str:
    """Text broken at spaces into lines of at most ``width`` characters (a longer word stays whole)."""
    lines: list[str] = []
    for word in text.split():
        if lines and len(lines[-1]) + 1 + len(word) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return "\n".join(lines)


def shorten(text: str, width: int) -> str:
    """Text cut to ``width`` characters with an ellipsis where it was longer."""
    return text if len(text) <= width else text[: width - 1] + "…"


def panel(sheet: Sheet, box: tuple[float, float, float, float]) -> Panel:
    """Panel at (left, bottom, right margin, top margin) inches from the sheet's edges, its two axes drawn.

    :func:`set_ticks` and :func:`name_axis` draw grid, numbers and names.
    """
    left, bottom, right, top = (inches * INCH for inches in box)
    made = Panel((left, bottom, sheet.width - right, sheet.height - top))
    sheet.panels.append(made)
    axes = np.array([(left, sheet.height - top), (left, bottom), (sheet.width - right, bottom)])
    sheet.own_shapes.append(Stroke((axes,), FAINT, 0.7))
    return made


def set_ticks(
    axes: Panel,
    which: str,
    places: Sequence[float],
    labels: Sequence[str],
    grid: bool = True,
    size: float = 8.0,
) -> None:
    """Grid lines and tick labels of one axis at fixed places; an empty label leaves only the line."""
    for place, label in zip(places, labels, strict=True):
        if not label:
            continue
        if which == "x":
            below = -0.06 * INCH / axes.height
            axes.text(place, below, label, size=size, colour=INK, y_share=True, across="center", down="top")
        else:
            before = -0.06 * INCH / axes.width
            axes.text(before, place, label, size=size, colour=INK, x_share=True, across="right")
    if grid and len(places):
        ticks = tuple(places)

        def lines() -> Stroke:
            left, bottom, right, top = axes.box
            if which == "x":
                ends = [np.array([(x, bottom), (x, top)]) for x in axes.x_points(ticks).tolist()]
            else:
                ends = [np.array([(left, y), (right, y)]) for y in axes.y_points(ticks).tolist()]
            return Stroke(tuple(ends), GRID, 0.7)

        axes.shape(0.5, lines)


def name_axis(axes: Panel, which: str, name: str, away: float = 0.0) -> None:
    """Name of an axis, ``away`` inches from it (0: below one line of numbers, or left of short numbers)."""
    look: dict[str, Any] = {"size": 8.5, "colour": INK, "x_share": True, "y_share": True, "spacing": 1.15}
    if which == "x":
        down = -(away or 0.25) * INCH / axes.height
        axes.text(0.5, down, name, across="center", down="top", **look)
    else:
        left = -(away or 0.4) * INCH / axes.width
        axes.text(left, 0.5, name, across="center", down="bottom", upright=True, **look)


def legend_row(sheet: Sheet, marks: Sequence[Mark], left: float = 0.1, down: float = 0.42) -> float:
    """Legend as one row (two if it does not fit) ``down`` inches under the top of the sheet; how far down the last
    row stands."""
    width, height = sheet.width / INCH, sheet.height / INCH
    x, y = left, down
    for mark in marks:
        needed = 0.34 + 0.068 * len(mark.label) + 0.12
        if x + needed > width - 0.05 and x > left:
            x, y = left, y + 0.19
        sheet.own_shapes.append(_sample(mark, x * INCH, (height - y) * INCH))
        sheet.own_words.append(Words((x + 0.33) * INCH, (height - y) * INCH, mark.label, 8.0, INK))
        x += needed
    return y


def _sample(mark: Mark, x: float, y: float) -> Stroke | Area | Dots:
    """What a mark of the legend looks like, at its left end and middle height in points."""
    right, middle = x + 0.26 * INCH, np.array([(x + 0.13 * INCH, y)])
    if mark.form in ("line", "dash"):
        return Stroke((np.array([(x, y), (right, y)]),), mark.colour, 2.0, dashes(mark.dash))
    if mark.form == "band":
        low, high = y - 0.05 * INCH, y + 0.05 * INCH
        return Area((np.array([(x, low), (right, low), (right, high), (x, high)]),), mark.colour, 0.3)
    if mark.form == "tick":
        return Dots(middle, "|", 9.0, mark.colour, mark.colour, 1.8)
    face = "#ffffff" if mark.form == "ring" else mark.colour
    return Dots(middle, mark.marker, 5.5, face, mark.colour, 1.5)


def nice_ticks(low: float, high: float, most: int = 6) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Round tick places inside [low, high]: steps 1, 2, 2.5 or 5 times 10^k, at most ``most`` of them."""
    span = high - low
    if not span > 0:
        return np.array([low])
    power = 10.0 ** np.floor(np.log10(span / most))
    for step in (1, 2, 2.5, 5, 10, 20, 25, 50):
        first, last = np.ceil(low / (step * power) - 1e-9), np.floor(high / (step * power) + 1e-9)
        if last - first + 1 <= most:
            return np.asarray(np.arange(first, last + 1) * step * power, dtype=np.float64)
    return np.array([low, high])


def value_axis(
    axes: Panel, which: str, low: float, high: float, most: int = 6, labelled: bool = True
) -> None:
    """Limits and round ticks of a linear axis, with the decimals that the step needs."""
    if not high > low:
        pad = abs(low) * 0.1 or 1.0
        low, high = low - pad, high + pad
    ticks = nice_ticks(low, high, most)
    step = float(ticks[1] - ticks[0]) if ticks.size > 1 else abs(high - low)
    decimals = next((d for d in range(9) if abs(step * 10**d - round(step * 10**d)) < 1e-6 * 10**d * step), 9)
    labels = [f"{tick:,.{decimals}f}".replace("-", "−") for tick in ticks + 0.0]
    set_ticks(axes, which, list(ticks), labels if labelled else [""] * len(labels))
    if which == "x":
        axes.x_limits = (low, high)
    else:
        axes.y_limits = (low, high)


def padded(values: Sequence[float], share: float = 0.06) -> tuple[float, float]:
    """Lowest and highest finite value, widened by a share of their distance."""
    array = np.asarray(values, dtype=float)
    array = array[np.isfinite(array)]
    if array.size == 0:
        return 0.0, 1.0
    low, high = float(array.min()), float(array.max())
    pad = (high - low) * share or abs(low) * 0.1 or 1.0
    return low - pad, high + pad
