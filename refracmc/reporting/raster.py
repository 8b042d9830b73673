"""A sheet as PNG bytes: shapes by Matplotlib's Agg, words by Pillow in Matplotlib's own DejaVu Sans.

Words are drawn four times larger and averaged, and each line of text is drawn once in a process: charts share most
of their words. Settings of Matplotlib that a user may have changed are put aside while a sheet is drawn.
"""

from __future__ import annotations

import math
import struct
import zlib
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.backend_bases import GraphicsContextBase
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.path import Path as Outline
from matplotlib.transforms import Affine2D, Bbox, IdentityTransform
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from refracmc.reporting.glyphs import CROSSES, OUTLINES, lines_of
from refracmc.reporting.sheet import INCH, Area, Box, Dots, Shape, Sheet, Words

Array = NDArray[np.float64]
Bytes = NDArray[np.uint8]
DPI = 115
_FINER = 4
_SAME = IdentityTransform()
_Renderer: Any = RendererAgg
_SETTINGS: dict[Any, Any] = {
    name: mpl.rcParamsDefault[name]
    for name in ("path.simplify", "path.simplify_threshold", "path.snap", "path.sketch", "path.effects",
                 "agg.path.chunksize")
}  # fmt: skip
"""All settings that reach what is drawn here."""


@lru_cache(maxsize=64)
def _font(size: float, bold: bool) -> Any:
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    path = Path(mpl.get_data_path()) / "fonts" / "ttf" / name
    return ImageFont.truetype(str(path), round(size * DPI / INCH * _FINER))


@lru_cache(maxsize=4096)
def _mask(line: str, size: float, bold: bool) -> tuple[Bytes, int, float]:
    """Ink of a line of text (rows, columns), rows above its foot, and its width in pixels."""
    font = _font(size, bold)
    width = float(font.getlength(line)) / _FINER
    left, top, right, bottom = font.getbbox(line, anchor="ls")
    above = max(math.ceil(-top / _FINER), 0)
    columns, rows = max(math.ceil(right / _FINER), 1), above + max(math.ceil(bottom / _FINER), 0)
    if right <= left or bottom <= top or not rows:
        return np.zeros((0, 0), dtype=np.uint8), 0, width
    large = Image.new("L", (columns * _FINER, rows * _FINER))
    ImageDraw.Draw(large).text((0, above * _FINER), line, fill=255, font=font, anchor="ls")
    cells = np.asarray(large, dtype=np.float32).reshape(rows, _FINER, columns, _FINER).mean(axis=(1, 3))
    return np.rint(cells).astype(np.uint8), above, width


def _rgb(colour: str) -> tuple[float, float, float]:
    return (int(colour[1:3], 16) / 255, int(colour[3:5], 16) / 255, int(colour[5:7], 16) / 255)


def _outline(parts: Sequence[Array], close: bool, scale: float) -> Outline:
    lengths = [len(part) + close for part in parts]
    codes = np.full(sum(lengths), Outline.LINETO, dtype=Outline.code_type)
    vertices = np.empty((sum(lengths), 2))
    at = 0
    for part, length in zip(parts, lengths, strict=True):
        codes[at] = Outline.MOVETO
        vertices[at : at + len(part)] = part
        if close:
            codes[at + length - 1] = Outline.CLOSEPOLY
            vertices[at + length - 1] = part[0]
        at += length
    return Outline(vertices * scale, codes)


def _context(renderer: Any, colour: str, alpha: float, width: float, clip: Box | None) -> Any:
    """How a shape is drawn; the renderer takes widths and dashes in points, all places in pixels."""
    context: GraphicsContextBase = renderer.new_gc()
    context.set_foreground((*_rgb(colour), alpha), isRGBA=True)
    context.set_linewidth(width)
    context.set_capstyle("butt")
    context.set_joinstyle("round")
    if clip is not None:
        context.set_clip_rectangle(Bbox.from_extents(*(edge * DPI / INCH for edge in clip)))
    return context


def _draw(renderer: Any, shape: Shape, clip: Box | None) -> None:
    scale = DPI / INCH
    if isinstance(shape, Dots):
        if not len(shape.places):
            return
        context = _context(renderer, shape.colour, 1.0, shape.edge, clip)
        if shape.marker == "o":
            marker, face = Outline.unit_circle(), shape.face
            size = Affine2D().scale(scale * shape.size / 2)
        else:
            filled = shape.marker in OUTLINES
            marker = _outline(OUTLINES[shape.marker] if filled else CROSSES[shape.marker], filled, 1.0)
            face = shape.face if filled else ""
            size = Affine2D().scale(scale * shape.size)
        places = Outline(shape.places * scale)
        renderer.draw_markers(context, marker, size, places, _SAME, _rgb(face) if face else None)
    elif isinstance(shape, Area):
        if shape.polygons:
            context = _context(renderer, shape.colour, shape.alpha, 0.0, clip)
            path = _outline(shape.polygons, True, scale)
            renderer.draw_path(context, path, _SAME, (*_rgb(shape.colour), shape.alpha))
    elif shape.lines:
        context = _context(renderer, shape.colour, shape.alpha, shape.width, clip)
        if shape.dash:
            context.set_dashes(0, [length * shape.width for length in shape.dash])
        renderer.draw_path(context, _outline(shape.lines, False, scale), _SAME, None)


def _write(pixels: Bytes, words: Words, height: float) -> None:
    """Lay the ink of some words over the picture (rows, columns, 3)."""
    scale = DPI / INCH
    colour = np.array(_rgb(words.colour)) * 255.0
    for line, x, y in lines_of(words):
        ink, above, width = _mask(line, words.size, words.bold)
        back = {"left": 0.0, "center": width / 2, "right": width}[words.across]
        column, row = x * scale, (height - y) * scale
        if words.upright:
            ink = np.rot90(ink)
            left, top = round(column) - above, round(row + back) - ink.shape[0]
        else:
            left, top = round(column - back), round(row) - above
        rows = slice(max(top, 0), max(min(top + ink.shape[0], pixels.shape[0]), 0))
        columns = slice(max(left, 0), max(min(left + ink.shape[1], pixels.shape[1]), 0))
        part = pixels[rows, columns]
        seen = ink[rows.start - top :, columns.start - left :][: part.shape[0], : part.shape[1], None] / 255.0
        part[:] = np.rint(part + (colour - part) * seen)


def _png(pixels: Bytes) -> bytes:
    """RGB pixels as a PNG file without filters: flat colours need none."""
    rows, columns, _ = pixels.shape
    raw = np.zeros((rows, 1 + 3 * columns), dtype=np.uint8)
    raw[:, 1:] = pixels.reshape(rows, -1)
    metre = round(DPI / 0.0254)
    made = [b"\x89PNG\r\n\x1a\n"]
    for kind, content in (
        (b"IHDR", struct.pack(">IIBBBBB", columns, rows, 8, 2, 0, 0, 0)),
        (b"pHYs", struct.pack(">IIB", metre, metre, 1)),
        (b"IDAT", zlib.compress(raw.tobytes(), 3)),
        (b"IEND", b""),
    ):
        made.append(struct.pack(">I", len(content)) + kind + content)
        made.append(struct.pack(">I", zlib.crc32(kind + content)))
    return b"".join(made)


def png_bytes(sheet: Sheet) -> bytes:
    """The sheet as a PNG file, opaque, without date or program."""
    with mpl.rc_context(_SETTINGS):
        pixels = _shapes(sheet)
    for words in sheet.words():
        _write(pixels, words, sheet.height)
    return _png(pixels)


def _shapes(sheet: Sheet) -> Bytes:
    """Pixels (rows, columns, 3) with everything but the words."""
    scale = DPI / INCH
    renderer: Any = _Renderer(int(sheet.width * scale), int(sheet.height * scale), DPI)
    paper = Area((np.array([(-9, -9), (9e4, -9), (9e4, 9e4), (-9, 9e4)], dtype=float),), "#ffffff")
    _draw(renderer, paper, None)
    for panel in sheet.panels:
        for shape in panel.shapes():
            _draw(renderer, shape, panel.box)
    for shape in sheet.own_shapes:
        _draw(renderer, shape, None)
    return np.array(np.asarray(renderer.buffer_rgba())[:, :, :3])
