"""Look of the charts: palette, figure frame, panels and their axes, bars and whiskers, legend.

The palette was searched so that all pairs stay apart under normal sight and under full protanopia,
deuteranopia and tritanopia (Machado, Oliveira & Fernandes 2009 matrices; smallest CIE 1976 distance above 20,
tested). Markers and dashes repeat what colour says. Matplotlib's own defaults are restored while drawing, so
that a user's settings change nothing; text stays text in SVG files.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, cast

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

from refracmc.reporting.captions import footer
from refracmc.reporting.pictures import DPI, FONT
from refracmc.reporting.tables import ReportData

INK = "#1f262d"
FAINT = "#68727c"
GRID = "#dfe3e7"
BACKGROUND_CURVE = "#cfd5da"
NOTHING_COLOUR = "#4d565f"
BAD = "#c02717"
PALETTE = ("#7d2bb0", "#d07619", "#2fa996", "#6b2c0b", "#8c9fd6", "#c9ac78")
REFRAC_COLOUR = PALETTE[0]
DASHES: tuple[Any, ...] = ("-", (0, (5, 1.5)), (0, (1.5, 1.2)), (0, (6, 1.5, 1.5, 1.5)), (0, (3, 3)), "-")
MARKERS = ("o", "s", "^", "D", "v", "P")
WIDTH = 9.0

_RC: dict[str, Any] = {
    "font.family": ["sans-serif"],
    "font.sans-serif": [FONT],
    "font.size": 8.5,
    "axes.edgecolor": FAINT,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "text.color": INK,
    "text.parse_math": False,
    "text.hinting": "none",
    "path.simplify": True,
    "axes.unicode_minus": True,
    "svg.fonttype": "none",
    "svg.hashsalt": "refracmc",
}


@contextmanager
def drawing() -> Iterator[None]:
    """Matplotlib's defaults plus the house style while the block runs; whatever was set before comes back."""
    skip = {"backend", "backend_fallback", "interactive", "toolbar", "timezone", "date.epoch", "webagg.port"}
    rc: dict[Any, Any] = {key: value for key, value in mpl.rcParamsDefault.items() if key not in skip}
    rc.update(_RC)
    with mpl.rc_context(rc):
        yield


@dataclass(frozen=True, slots=True)
class Mark:
    """One entry of a legend row; form: line, band, dot (filled marker) or ring (open marker)."""

    label: str
    colour: str
    form: str = "line"
    dash: Any = "-"
    marker: str = "o"


def frame(title: str, footer: str, height: float) -> Figure:
    """Empty figure, ``WIDTH`` x ``height`` inches: title at the top left, footer lines at the bottom."""
    figure = Figure(figsize=(WIDTH, height), dpi=DPI, facecolor="white")
    figure.text(0.1 / WIDTH, 1 - 0.1 / height, title, fontsize=11, fontweight="bold", va="top")
    figure.text(0.1 / WIDTH, 0.07 / height, wrap(footer, 170), fontsize=7.2, color=FAINT, va="bottom",
                linespacing=1.25)  # fmt: skip
    return figure


def chart_frame(data: ReportData, title: str, height: float, error: str, **conventions: Any) -> Figure:
    """:func:`frame` with the footer of a report's chart; error, conventions: see :func:`~.captions.footer`."""
    return frame(title, footer(data, error, **conventions), height)


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


def panel(figure: Figure, box: tuple[float, float, float, float]) -> Axes:
    """Axes at (left, bottom, right margin, top margin) inches from the figure's edges.

    Matplotlib's own ticks are switched off (they cost more than all else together): :func:`set_ticks` and
    :func:`name_axis` draw grid, numbers and names.
    """
    left, bottom, right, top = box
    width, height = figure.get_size_inches()
    axes = figure.add_axes(
        (left / width, bottom / height, (width - left - right) / width, (height - bottom - top) / height)
    )
    axes.xaxis.set_visible(False)
    axes.yaxis.set_visible(False)
    axes.set_autoscale_on(False)
    return axes


def title_panel(axes: Axes, text: str) -> None:
    """Bold title over the left end of a panel."""
    axes.text(0, 1.03, text, fontsize=8.5, fontweight="bold", va="bottom", transform=axes.transAxes)


def bars(axes: Axes, x0: Any, x1: Any, y0: Any, y1: Any, colour: str) -> None:
    """Rectangles from (x0, y0) to (x1, y1), arrays or single numbers, as one artist; those without a size are
    left out."""
    a, c, b, d = (np.atleast_1d(v).astype(float) for v in np.broadcast_arrays(x0, x1, y0, y1))
    corners = np.stack([np.stack(xy, axis=-1) for xy in ((a, b), (c, b), (c, d), (a, d))], axis=1)
    drawn = PolyCollection(corners[(a != c) & (b != d)], facecolors=colour, linewidths=0)
    axes.add_collection(drawn, autolim=False)


def spans(axes: Axes, low: Any, high: Any, at: Any, colours: Any, width: float, upright: bool = False,
          **more: Any) -> None:  # fmt: skip
    """Straight lines of a width in points from ``low`` to ``high`` at the height ``at`` (upright: at the place ``at``),
    arrays or single numbers, as one artist."""
    a, b, c = (np.atleast_1d(v).astype(float) for v in np.broadcast_arrays(low, high, at))
    ends = ((c, a), (c, b)) if upright else ((a, c), (b, c))
    lines = np.stack([np.stack(xy, axis=-1) for xy in ends], axis=1)
    drawn = LineCollection(list(lines), colors=colours, linewidths=width, **more)
    axes.add_collection(drawn, autolim=False)


def zero_line(axes: Axes, upright: bool) -> None:
    """Line at zero: doing nothing."""
    (axes.axvline if upright else axes.axhline)(0, color=NOTHING_COLOUR, lw=1.6)


def years(months: Iterable[str]) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Months ``YYYY-MM`` as decimal years."""
    return np.array([int(m[:4]) + (int(m[5:7]) - 1) / 12 for m in months], dtype=np.float64)


def _inches(axes: Axes) -> tuple[float, float]:
    """Width and height of the axes in inches."""
    box = axes.get_position(original=True)
    width, height = cast(Figure, axes.figure).get_size_inches()
    return float(box.width * width), float(box.height * height)


def set_ticks(
    axes: Axes,
    which: str,
    places: Sequence[float],
    labels: Sequence[str],
    grid: bool = True,
    size: float = 8.0,
) -> None:
    """Grid lines and tick labels of one axis at fixed places; an empty label leaves only the line."""
    width, height = _inches(axes)
    upright = which == "x"
    across = axes.get_xaxis_transform() if upright else axes.get_yaxis_transform()
    for place, label in zip(places, labels, strict=True):
        if label and upright:
            axes.text(place, -0.06 / height, label, transform=across, ha="center", va="top", fontsize=size)
        elif label:
            axes.text(-0.06 / width, place, label, transform=across, ha="right", va="center", fontsize=size)
    if grid and len(places):
        spans(axes, 0.0, 1.0, np.asarray(places), GRID, 0.7, upright, transform=across, zorder=0.5)


def set_counts(
    axes: Axes, which: str, count: int, most: int, labelled: bool = True, grid: bool = True
) -> None:
    """Ticks of an axis that counts 1 to ``count``: at 1 and at multiples of a step, about ``most`` of them, but none
    within half a step of the one at 1, where the labels would touch."""
    step = -(-count // most)
    places = [k for k in range(1, count + 1) if k == 1 or (k % step == 0 and 2 * (k - 1) > step)]
    set_ticks(axes, which, places, [str(k) if labelled else "" for k in places], grid)


def name_axis(axes: Axes, which: str, name: str, away: float = 0.0) -> None:
    """Name of an axis, ``away`` inches from it (0: below one line of numbers, or left of short numbers)."""
    width, height = _inches(axes)
    if which == "x":
        axes.text(0.5, -(away or 0.25) / height, name, transform=axes.transAxes, ha="center", va="top",
                  fontsize=8.5, linespacing=1.15)  # fmt: skip
    else:
        axes.text(-(away or 0.4) / width, 0.5, name, transform=axes.transAxes, ha="right", va="center",
                  rotation=90, fontsize=8.5, linespacing=1.15, multialignment="center")  # fmt: skip


def _legend_places(marks: Sequence[Mark]) -> list[tuple[float, int]]:
    """Place from the left in inches, and line, of every mark; as many on a line as fit."""
    x, line = 0.1, 0
    places = []
    for mark in marks:
        needed = 0.46 + 0.068 * len(mark.label)
        if x + needed > WIDTH - 0.05 and x > 0.1:
            x, line = 0.1, line + 1
        places.append((x, line))
        x += needed
    return places


def legend_lines(marks: Sequence[Mark]) -> int:
    """Lines that :func:`legend_row` needs for the marks; a line is 0.19 inches high."""
    return max((line for _, line in _legend_places(marks)), default=0) + 1


def legend_row(figure: Figure, marks: Sequence[Mark], down: float = 0.42) -> None:
    """Legend as one row (more if it does not fit) ``down`` inches under the top of the figure."""
    width, height = figure.get_size_inches()
    for mark, (x, line) in zip(marks, _legend_places(marks), strict=True):
        at = 1 - (down + 0.19 * line) / height
        ends, centre = [x / width, (x + 0.26) / width], [(x + 0.13) / width]
        if mark.form == "line":
            figure.add_artist(Line2D(ends, [at, at], color=mark.colour, lw=2, ls=mark.dash))
        elif mark.form == "band":
            patch = Rectangle((ends[0], at - 0.05 / height), ends[1] - ends[0], 0.1 / height, lw=0,
                              color=mark.colour, alpha=0.3, transform=figure.transFigure)  # fmt: skip
            figure.add_artist(patch)
        else:
            face = "white" if mark.form == "ring" else mark.colour
            figure.add_artist(Line2D(centre, [at], color=mark.colour, marker=mark.marker, ms=5.5, mew=1.5,
                                     mfc=face, ls=""))  # fmt: skip
        figure.text((x + 0.33) / width, at, mark.label, fontsize=8, va="center")


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


def value_axis(axes: Axes, which: str, low: float, high: float, most: int = 6, labelled: bool = True) -> None:
    """Limits and round ticks of a linear axis, with the decimals that the step needs."""
    if not high > low:
        pad = abs(low) * 0.1 or 1.0
        low, high = low - pad, high + pad
    ticks = nice_ticks(low, high, most)
    step = float(ticks[1] - ticks[0]) if ticks.size > 1 else abs(high - low)
    decimals = next((d for d in range(9) if abs(step * 10**d - round(step * 10**d)) < 1e-6 * 10**d * step), 9)
    labels = [f"{tick:,.{decimals}f}".replace("-", "−") for tick in ticks + 0.0]
    set_ticks(axes, which, list(ticks), labels if labelled else [""] * len(labels))
    (axes.set_xlim if which == "x" else axes.set_ylim)(low, high)


def log_numbers(low: float, high: float) -> tuple[list[float], list[str]]:
    """Places of a log axis from low to high (> 0) and their numbers: powers of ten, with 2 and 5 times them where the
    axis is short, or round steps where even these would not be two."""
    first, last = int(np.floor(np.log10(low))), int(np.ceil(np.log10(high)))
    steps = (1.0,) if last - first > 3 else (1.0, 2.0, 5.0)
    places = [s * 10.0**k for k in range(first, last + 1) for s in steps if low <= s * 10.0**k <= high]
    if len(places) < 2:
        places = [float(place) for place in nice_ticks(low, high, 4)]
    return places, [f"{place:,.10g}" for place in places]


def log_axis(axes: Axes, which: str) -> None:
    """Log scale of an axis that Matplotlib ticks, with plain numbers: its own are markup of mathematics."""
    (axes.set_xscale if which == "x" else axes.set_yscale)("log")
    axis, (low, high) = (axes.xaxis, axes.get_xlim()) if which == "x" else (axes.yaxis, axes.get_ylim())
    places, numbers = log_numbers(low, high)
    axis.set_major_locator(FixedLocator(places))
    axis.set_major_formatter(FixedFormatter(numbers))
    axis.set_minor_locator(NullLocator())
    (axes.set_xlim if which == "x" else axes.set_ylim)(low, high)


def exceedance_axis(axes: Axes) -> None:
    """Upright axis of a share above a value in percent, P90, P50 and P10 by their names."""
    set_ticks(axes, "y", (0, 10, 50, 90, 100), ("0", "P10", "P50", "P90", "100"))
    axes.set_ylim(0, 100)


def padded(values: Sequence[float], share: float = 0.06) -> tuple[float, float]:
    """Lowest and highest finite value, widened by a share of their distance."""
    array = np.asarray(values, dtype=float)
    array = array[np.isfinite(array)]
    if array.size == 0:
        return 0.0, 1.0
    low, high = float(array.min()), float(array.max())
    pad = (high - low) * share or abs(low) * 0.1 or 1.0
    return low - pad, high + pad
