"""The paper of a chart: what is drawn, as plain shapes in points, before it becomes SVG or PNG.

A chart puts lines, areas, marks and words on a :class:`Sheet` and its :class:`Panel`; the writers
(:mod:`refracmc.reporting.svg`, :mod:`refracmc.reporting.raster`) draw the same shapes. A point is 1/72 inch;
x runs to the right, y upward from the lower left corner of the sheet. Widths, sizes and dashes are in points
(dashes in widths of their line). Shapes of a panel are cut at its edges, words are not, and stand on top.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
INCH = 72.0
Box = tuple[float, float, float, float]
"""Left, bottom, right, top in points."""


@dataclass(frozen=True, slots=True)
class Stroke:
    """Polylines (each (n, 2)) of one colour; dash: on, off, ... in widths of the line, empty: solid."""

    lines: tuple[Array, ...]
    colour: str
    width: float
    dash: tuple[float, ...] = ()
    alpha: float = 1.0


@dataclass(frozen=True, slots=True)
class Area:
    """Polygons (each (n, 2)) filled with one colour."""

    polygons: tuple[Array, ...]
    colour: str
    alpha: float = 1.0


@dataclass(frozen=True, slots=True)
class Dots:
    """One mark at each of places (n, 2); size: its diameter; edge: width of its outline."""

    places: Array
    marker: str
    size: float
    face: str
    colour: str
    edge: float


@dataclass(frozen=True, slots=True)
class Words:
    """Lines of text at a place; across and down say which point of the text stands there.

    across: left, center or right; down: top, center or bottom. upright: turned to be read from the right, then
    across holds along the vertical and down along the horizontal. spacing: distance of lines over their height.
    """

    x: float
    y: float
    text: str
    size: float
    colour: str
    across: str = "left"
    down: str = "center"
    bold: bool = False
    upright: bool = False
    spacing: float = 1.2


Shape = Stroke | Area | Dots


def dashes(style: Any) -> tuple[float, ...]:
    """Lengths of a dash: "-" solid, or (0, (on, off, ...))."""
    return () if style == "-" else tuple(float(x) for x in style[1])


def _pieces(places: Array) -> tuple[Array, ...]:
    """A polyline (n, 2) cut where a value is not finite."""
    fine = np.isfinite(places).all(axis=1)
    if fine.all():
        return (places,)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], fine.astype(np.int8), [0]])))
    return tuple(places[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > 1)


@dataclass(eq=False, slots=True)
class Panel:
    """A field with two axes on a sheet; limits are read when it is drawn, so shapes may come before them."""

    box: Box
    x_limits: tuple[float, float] = (0.0, 1.0)
    y_limits: tuple[float, float] = (0.0, 1.0)
    log: bool = False
    _shapes: list[tuple[float, Callable[[], Shape]]] = field(default_factory=list)
    _words: list[Callable[[], Words]] = field(default_factory=list)

    @property
    def width(self) -> float:
        """Points."""
        return self.box[2] - self.box[0]

    @property
    def height(self) -> float:
        """Points."""
        return self.box[3] - self.box[1]

    def x_points(self, values: Any) -> Array:
        """Values of the x axis as points on the sheet."""
        low, high = self.x_limits
        share = (np.asarray(values, dtype=np.float64) - low) / (high - low)
        return np.asarray(self.box[0] + self.width * share)

    def y_points(self, values: Any) -> Array:
        """Values of the y axis as points on the sheet."""
        low, high = self.y_limits
        values = np.asarray(values, dtype=np.float64)
        if self.log:
            low, high = np.log10(low), np.log10(high)
            with np.errstate(divide="ignore", invalid="ignore"):
                values = np.log10(values)
        return np.asarray(self.box[1] + self.height * ((values - low) / (high - low)))

    def _at(self, x: Any, y: Any) -> Array:
        return np.column_stack([self.x_points(x), self.y_points(y)])

    def shape(self, front: float, made: Callable[[], Shape]) -> None:
        """Add a shape made when the limits are known; what has a higher ``front`` stands before the rest."""
        self._shapes.append((front, made))

    def plot(
        self, x: Any, y: Any, colour: str, width: float = 1.5, dash: Any = "-", front: float = 2.0
    ) -> None:
        """A line through points; it breaks where a value is missing."""
        self.shape(front, lambda: Stroke(_pieces(self._at(x, y)), colour, width, dashes(dash)))

    def dots(
        self,
        x: Any,
        y: Any,
        colour: str,
        marker: str = "o",
        size: float = 4.0,
        edge: float = 1.0,
        face: str | None = None,
        front: float = 2.0,
    ) -> None:
        """A mark at each point; face: its filling where it is not ``colour``. Missing values have none."""

        def made() -> Shape:
            places = self._at(x, y)
            places = places[np.isfinite(places).all(axis=1)]
            return Dots(places, marker, size, colour if face is None else face, colour, edge)

        self.shape(front, made)

    def segments(
        self,
        ends: Sequence[Any],
        colour: str | Sequence[str],
        width: float,
        alpha: float = 1.0,
        front: float = 1.0,
    ) -> None:
        """Polylines [(x, y), ...], of one colour or each of its own."""
        if isinstance(colour, str):
            self.shape(front, lambda: Stroke(self._each(ends), colour, width, alpha=alpha))
            return
        for one, its in zip(ends, colour, strict=True):
            self.segments([one], its, width, alpha, front)

    def _each(self, lines: Sequence[Any]) -> tuple[Array, ...]:
        return tuple(self._at(*np.asarray(line, dtype=np.float64).T) for line in lines)

    def band(self, x: Any, low: Any, high: Any, colour: str, alpha: float) -> None:
        """The area between two curves."""

        def made() -> Shape:
            there, back = self._at(x, low), self._at(x, high)
            return Area((np.concatenate([there, back[::-1]]),), colour, alpha)

        self.shape(1.0, made)

    def bars(self, x0: Any, x1: Any, y0: Any, y1: Any, colour: str) -> None:
        """Rectangles from (x0, y0) to (x1, y1), arrays or single numbers; those without a size are left out."""

        def made() -> Shape:
            a, c, b, d = np.broadcast_arrays(
                self.x_points(x0), self.x_points(x1), self.y_points(y0), self.y_points(y1)
            )
            corners = np.stack(
                [np.stack(xy, axis=-1) for xy in ((a, b), (c, b), (c, d), (a, d))], axis=-2
            ).reshape(-1, 4, 2)
            seen = (np.abs(corners[:, 2] - corners[:, 0]) > 1e-9).all(axis=1)
            return Area(tuple(corners[seen]), colour)

        self.shape(1.0, made)

    def line(self, which: str, value: float, colour: str, width: float, dash: Any = "-") -> None:
        """A line across the whole panel at one value of axis ``which``."""

        def made() -> Shape:
            left, bottom, right, top = self.box
            if which == "x":
                at = float(self.x_points(value))
                ends = np.array([(at, bottom), (at, top)])
            else:
                at = float(self.y_points(value))
                ends = np.array([(left, at), (right, at)])
            return Stroke((ends,), colour, width, dashes(dash))

        self.shape(2.0, made)

    def span(self, which: str, low: float, high: float, colour: str, alpha: float) -> None:
        """The strip of the panel between two values of axis ``which``."""

        def made() -> Shape:
            left, bottom, right, top = self.box
            if which == "x":
                left, right = self.x_points([low, high]).tolist()
            else:
                bottom, top = self.y_points([low, high]).tolist()
            corners = [(left, bottom), (right, bottom), (right, top), (left, top)]
            return Area((np.array(corners),), colour, alpha)

        self.shape(1.0, made)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float,
        colour: str,
        x_share: bool = False,
        y_share: bool = False,
        **how: Any,
    ) -> None:
        """Words at a point; x_share, y_share: x, y are shares of the panel in place of values of its axes."""

        def made() -> Words:
            left = self.box[0] + self.width * x if x_share else float(self.x_points(x))
            up = self.box[1] + self.height * y if y_share else float(self.y_points(y))
            return Words(left, up, text, size, colour, **how)

        self._words.append(made)

    def shapes(self) -> Iterator[Shape]:
        """Shapes from the back to the front."""
        for _, made in sorted(self._shapes, key=lambda shape: shape[0]):
            yield made()

    def words(self) -> Iterator[Words]:
        """All words."""
        for made in self._words:
            yield made()


@dataclass(eq=False, slots=True)
class Sheet:
    """Paper of width x height points with its panels, and shapes and words of its own."""

    width: float
    height: float
    panels: list[Panel] = field(default_factory=list)
    own_shapes: list[Shape] = field(default_factory=list)
    own_words: list[Words] = field(default_factory=list)

    def words(self) -> Iterator[Words]:
        """Words of the sheet and of its panels."""
        yield from self.own_words
        for panel in self.panels:
            yield from panel.words()
