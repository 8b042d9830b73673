"""A figure as PNG and as SVG by Matplotlib's renderers, the same bytes each time: no date, no program, fixed names.

Only text goes another way, since letter by letter it takes more than half of the time of a chart: a line of text is
measured once for both renderers and all charts, and Agg fills it as one outline.
"""

from __future__ import annotations

import io
import re
from functools import lru_cache
from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.backends.backend_svg import RendererSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.path import Path
from matplotlib.textpath import text_to_path
from matplotlib.transforms import Affine2D
from PIL import Image

DPI = 115
FONT = "DejaVu Sans"
FALLBACKS = f"'{FONT}', Verdana, 'Segoe UI', system-ui"
"""Fonts of the SVG: widths are those of the first, the next ones are near it."""

_SIZE = text_to_path.FONT_SCALE
_DECIMALS = re.compile(r"(?<=\.\d\d)\d+")
_CONTENT = re.compile(r"(>[^<\n]+<)")
_glyphs: Any = {}


@lru_cache(maxsize=8192)
def _outline(text: str, weight: Any) -> Path:
    """Outline of a line of text at ``_SIZE`` points."""
    face = get_font(findfont(FontProperties(family=FONT, weight=weight)))
    face.set_size(_SIZE, text_to_path.DPI)
    placed, glyphs, _ = text_to_path.get_glyphs_with_font(face, text, _glyphs)
    corners = [glyphs[name][0].reshape(-1, 2) * scale + (x, y) for name, x, y, scale in placed]
    kinds = [glyphs[name][1] for name, *_ in placed]
    return Path(np.concatenate([np.empty((0, 2)), *corners]), np.concatenate([np.empty(0), *kinds]))


@lru_cache(maxsize=8192)
def _extent(text: str, weight: Any) -> tuple[float, float, float]:
    """Width, height and descent of a line of text at ``_SIZE`` points."""
    font = FontProperties(family=FONT, weight=weight, size=_SIZE)
    return text_to_path.get_text_width_height_descent(text, font, False)


def _scaled(text: str, font: FontProperties, scale: float) -> Any:
    return tuple(scale * size for size in _extent(text, font.get_weight()))


class _Agg(RendererAgg):
    def _scale(self, font: FontProperties) -> float:
        return float(font.get_size_in_points() * self.dpi / 72 / _SIZE)

    def get_text_width_height_descent(self, s: str, prop: FontProperties, ismath: Any) -> Any:
        return _scaled(s, prop, self._scale(prop))

    def draw_text(self, gc: Any, x: float, y: float, s: str, prop: FontProperties, angle: float,
                  ismath: Any = False, mtext: Any = None) -> None:  # fmt: skip
        gc.set_linewidth(0.0)
        place = Affine2D().scale(self._scale(prop)).rotate_deg(angle).translate(x, self.height - y)
        plain: Any = super()
        plain.draw_path(gc, _outline(s, prop.get_weight()), place, gc.get_rgb())


class _SVG(RendererSVG):
    def get_text_width_height_descent(self, s: str, prop: FontProperties, ismath: Any) -> Any:
        return _scaled(s, prop, prop.get_size_in_points() / _SIZE)


_agg: Any = _Agg
_svg: Any = _SVG


def png_bytes(figure: Figure) -> bytes:
    """The figure as opaque PNG at ``DPI`` dots an inch."""
    renderer = _agg(*figure.bbox.size, figure.dpi)
    figure.draw(renderer)
    stream = io.BytesIO()
    image = Image.fromarray(np.asarray(renderer.buffer_rgba())).convert("RGB")
    image.save(stream, format="png", compress_level=2, dpi=(DPI, DPI))
    return stream.getvalue()


def svg_text(figure: Figure) -> str:
    """The figure as SVG text, coordinates cut to 0.01 point."""
    stream = io.StringIO()
    dpi, figure.dpi = figure.dpi, 72
    nameless = {"Date": None, "Creator": None, "Format": None, "Type": None}
    renderer = _svg(*figure.bbox.size, stream, image_dpi=dpi, metadata=nameless)
    figure.draw(renderer)
    renderer.finalize()
    figure.dpi = dpi
    pieces = _CONTENT.split(stream.getvalue())
    pieces[::2] = [_DECIMALS.sub("", tags) for tags in pieces[::2]]
    return "".join(pieces).replace(f"'{FONT}'", FALLBACKS)
