"""Figures to PNG by Matplotlib's Agg renderer and to SVG by its SVG renderer, with the bytes of both fixed.

Both renderers are Matplotlib's. Two things are kept for the process, since they cost more than all else in a chart:
the size and outline of each line of text, which serve both renderers, all charts and all font sizes (Agg fills the
line as one path instead of letter by letter); and figures with their axes, used again when what was drawn is written.
"""

from __future__ import annotations

import io
import re
from functools import lru_cache
from math import cos, radians, sin
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.backends.backend_svg import RendererSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.path import Path
from matplotlib.textpath import text_to_path
from matplotlib.transforms import Affine2D
from PIL import Image

DPI = 115
FONTS = "'DejaVu Sans', Verdana, 'Segoe UI', system-ui, sans-serif"

_SCALE = text_to_path.FONT_SCALE
_DECIMALS = re.compile(r"(?<=\.\d\d)\d+")
_CONTENT = re.compile(r"(>[^<\n]+<)")
_spare: list[Figure] = []
_glyphs: Any = {}


@lru_cache(maxsize=64)
def _at_scale(family: tuple[str, ...], style: Any, variant: Any, weight: Any, stretch: Any) -> FontProperties:
    return FontProperties(
        family=list(family), style=style, variant=variant, weight=weight, stretch=stretch, size=_SCALE
    )


def _font(prop: FontProperties) -> FontProperties:
    """The same font at the scale at which sizes and outlines are kept."""
    return _at_scale(
        tuple(prop.get_family()), prop.get_style(), prop.get_variant(), prop.get_weight(), prop.get_stretch()
    )


@lru_cache(maxsize=8192)
def _size(text: str, font: FontProperties) -> tuple[float, float, float]:
    """Width, height and descent of a line of text at ``_SCALE``."""
    return text_to_path.get_text_width_height_descent(text, font, False)


@lru_cache(maxsize=8192)
def _outline(text: str, font: FontProperties) -> Path | None:
    """Outline of a line of text at ``_SCALE``; None where nothing shows."""
    face = get_font(findfont(font))
    face.set_size(_SCALE, text_to_path.DPI)
    placed, glyphs, _ = text_to_path.get_glyphs_with_font(face, text, _glyphs)
    shapes = [(glyphs[name][0] * scale + (x, y), glyphs[name][1]) for name, x, y, scale in placed]
    shapes = [shape for shape in shapes if len(shape[0])]
    if not shapes:
        return None
    return Path(
        np.concatenate([corners for corners, _ in shapes]), np.concatenate([kinds for _, kinds in shapes])
    )


def _sized(text: str, prop: FontProperties, per_point: float) -> tuple[float, float, float]:
    """Width, height and descent of a line of text in a renderer's pixels, ``per_point`` of them a point."""
    scale = prop.get_size_in_points() * per_point / _SCALE
    width, height, descent = _size(text, _font(prop))
    return width * scale, height * scale, descent * scale


class _Agg(RendererAgg):
    """Agg with kept sizes and outlines of text."""

    def get_text_width_height_descent(self, s: str, prop: FontProperties, ismath: Any) -> Any:
        plain: Any = super()
        if ismath:
            return plain.get_text_width_height_descent(s, prop, ismath)
        return _sized(s, prop, self.dpi / 72)

    def draw_text(self, gc: Any, x: float, y: float, s: str, prop: FontProperties, angle: float,
                  ismath: Any = False, mtext: Any = None) -> None:  # fmt: skip
        plain: Any = super()
        if ismath:
            plain.draw_text(gc, x, y, s, prop, angle, ismath, mtext)
            return
        outline = _outline(s, _font(prop))
        if outline is None:
            return
        scale = prop.get_size_in_points() * self.dpi / 72 / _SCALE
        along, across = scale * cos(radians(angle)), scale * sin(radians(angle))
        colour = gc.get_rgb()
        gc.set_linewidth(0.0)
        gc.set_snap(False)
        place = Affine2D.from_values(along, across, -across, along, x, self.height - y)
        plain.draw_path(gc, outline, place, colour)


class _SVG(RendererSVG):
    """SVG with kept sizes of text."""

    def get_text_width_height_descent(self, s: str, prop: FontProperties, ismath: Any) -> Any:
        plain: Any = super()
        if ismath:
            return plain.get_text_width_height_descent(s, prop, ismath)
        return _sized(s, prop, 1.0)


_agg: Any = _Agg
_svg: Any = _SVG


def blank(width: float, height: float) -> Figure:
    """An empty white figure of so many inches: a released one where there is one."""
    if _spare:
        figure = _spare.pop()
        figure.set_size_inches(width, height)
        return figure
    return Figure(figsize=(width, height), dpi=DPI, facecolor="white")


def blank_axes(figure: Figure, rect: tuple[float, float, float, float]) -> Axes:
    """Axes without ticks, limits 0 to 1, at (left, bottom, width, height) in shares of the figure: hidden ones where
    there are some."""
    for axes in figure.axes:
        if not axes.get_visible():
            axes.set_position(rect)
            axes.set_visible(True)
            return axes
    axes = figure.add_axes(rect)
    axes.xaxis.set_visible(False)
    axes.yaxis.set_visible(False)
    axes.set_autoscale_on(False)
    return axes


def release(figure: Figure) -> None:
    """Empty a figure of :func:`blank` that nobody draws in or reads any more, for the next one."""
    for artist in (*figure.texts, *figure.artists):
        artist.remove()
    for axes in figure.axes:
        if not axes.get_visible():
            continue
        for artist in (*axes.collections, *axes.lines, *axes.patches, *axes.texts):
            artist.remove()
        if "log" in (axes.get_xscale(), axes.get_yscale()):
            axes.set(xscale="linear", yscale="linear")
        axes.set(xlim=(0.0, 1.0), ylim=(0.0, 1.0))
        axes.set_prop_cycle(None)
        axes.set_visible(False)
    _spare.append(figure)


def png_bytes(figure: Figure) -> bytes:
    """The figure as PNG, opaque, without date or program."""
    width, height = figure.get_size_inches() * figure.dpi
    renderer = _agg(width, height, figure.dpi)
    figure.draw(renderer)
    pixels = np.asarray(renderer.buffer_rgba())
    image = Image.frombuffer("RGBA", (pixels.shape[1], pixels.shape[0]), pixels, "raw", "RGBA", 0, 1)
    stream = io.BytesIO()
    image.convert("RGB").save(stream, format="png", compress_level=2, dpi=(DPI, DPI))
    return stream.getvalue()


def svg_text(figure: Figure) -> str:
    """The figure as SVG text, without date or program, coordinates cut to 0.01 point."""
    stream = io.StringIO()
    dpi = figure.dpi
    figure.dpi = 72
    width, height = figure.get_size_inches() * 72
    nameless = {"Date": None, "Creator": None, "Format": None, "Type": None}
    renderer = _svg(width, height, stream, image_dpi=dpi, metadata=nameless)
    figure.draw(renderer)
    renderer.finalize()
    figure.dpi = dpi
    pieces = _CONTENT.split(stream.getvalue())
    pieces[::2] = [_DECIMALS.sub("", tags) for tags in pieces[::2]]
    return "".join(pieces).replace("'DejaVu Sans'", FONTS.replace(", sans-serif", ""))
