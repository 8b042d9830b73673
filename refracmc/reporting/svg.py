"""A sheet as SVG text: text stays text, coordinates to 0.01 point, nothing in it that changes from run to run."""

from __future__ import annotations

import re
from html import escape

import numpy as np
from numpy.typing import NDArray

from refracmc.reporting.glyphs import CROSSES, OUTLINES, lines_of
from refracmc.reporting.sheet import Area, Dots, Shape, Sheet, Stroke, Words

Array = NDArray[np.float64]
FONTS = "'DejaVu Sans', Verdana, 'Segoe UI', system-ui, sans-serif"
_ANCHOR = {"left": "", "center": ' text-anchor="middle"', "right": ' text-anchor="end"'}


def _n(value: float) -> str:
    """A number to 0.01, without zeros at its end."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _path(places: Array, height: float, close: bool) -> str:
    at = places.copy()
    at[:, 1] = height - at[:, 1]
    points = " ".join(f"{_n(x)} {_n(y)}" for x, y in at.tolist())
    return f"M{points}{'Z' if close else ''}"


def _dots(shape: Dots, height: float) -> str:
    """One path for all marks of a series."""
    made = []
    if shape.marker == "o":
        half, whole = _n(shape.size / 2), _n(shape.size)
        arc = f"a{half} {half} 0 1 0 {whole} 0a{half} {half} 0 1 0 -{whole} 0Z"
        made = [f"M{_n(x - shape.size / 2)} {_n(height - y)}{arc}" for x, y in shape.places.tolist()]
    else:
        outlines = OUTLINES.get(shape.marker) or CROSSES[shape.marker]
        made = [
            _path(place + shape.size * outline, height, shape.marker in OUTLINES)
            for place in shape.places
            for outline in outlines
        ]
    face = "none" if shape.marker in CROSSES else shape.face
    edge = f' stroke="{shape.colour}" stroke-width="{_n(shape.edge)}"' if shape.edge else ""
    return f'<path d="{"".join(made)}" fill="{face}"{edge}/>'


def _shape(shape: Shape, height: float) -> str:
    if isinstance(shape, Dots):
        return _dots(shape, height) if len(shape.places) else ""
    parts = shape.lines if isinstance(shape, Stroke) else shape.polygons
    if not parts:
        return ""
    places = "".join(_path(part, height, isinstance(shape, Area)) for part in parts)
    alpha = "" if shape.alpha == 1.0 else f' opacity="{_n(shape.alpha)}"'
    if isinstance(shape, Area):
        return f'<path d="{places}" fill="{shape.colour}"{alpha}/>'
    dash = " ".join(_n(length * shape.width) for length in shape.dash)
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    width = "" if shape.width == 1.0 else f' stroke-width="{_n(shape.width)}"'
    return f'<path d="{places}" fill="none" stroke="{shape.colour}"{width}{dashed}{alpha}/>'


def _words(words: Words, height: float) -> str:
    made = []
    weight = ' font-weight="bold"' if words.bold else ""
    look = f'{_ANCHOR[words.across]}{weight} font-size="{_n(words.size)}" fill="{words.colour}"'
    for line, x, y in lines_of(words):
        at = f'x="{_n(x)}" y="{_n(height - y)}"'
        turn = f' transform="rotate(-90 {_n(x)} {_n(height - y)})"' if words.upright else ""
        made.append(f"<text {at}{turn}{look}>{escape(line, quote=False)}</text>")
    return "\n".join(made)


def svg_text(sheet: Sheet) -> str:
    """The sheet as an SVG document."""
    width, height = _n(sheet.width), _n(sheet.height)
    made = [
        '<?xml version="1.0" encoding="utf-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}pt" height="{height}pt" '
        f'viewBox="0 0 {width} {height}" font-family="{FONTS}" stroke-linejoin="round">',
        f'<path d="M0 0H{width}V{height}H0Z" fill="#ffffff"/>',
    ]
    for k, panel in enumerate(sheet.panels):
        left, bottom, right, top = panel.box
        made.append(
            f'<clipPath id="p{k}"><rect x="{_n(left)}" y="{_n(sheet.height - top)}" width="{_n(right - left)}" '
            f'height="{_n(top - bottom)}"/></clipPath>\n<g clip-path="url(#p{k})">'
        )
        made += [_shape(shape, sheet.height) for shape in panel.shapes()]
        made.append("</g>")
    made += [_shape(shape, sheet.height) for shape in sheet.own_shapes]
    made += [_words(words, sheet.height) for words in sheet.words()]
    return "\n".join(text for text in (*made, "</svg>\n") if text)


_TAG = re.compile(r"<[^<>]*>")
_STYLE = re.compile(r"<style[^>]*>[^<]*</style>")
_REFERENCE = re.compile(r'(?<= )id="|url\(#|xlink:href="#')


def inline_svg(svg: str, prefix: str, label: str) -> str:
    """SVG for a page: no prolog, no namespaces, ids behind ``prefix``, ``label`` (escaped) for readers."""
    body = _STYLE.sub("", svg[svg.index("<svg") :])
    opening = body.index(">")
    head = re.sub(r' (xmlns|xmlns:xlink|width|height)="[^"]*"', "", body[:opening])
    rest = _TAG.sub(lambda tag: _REFERENCE.sub(rf"\g<0>{prefix}-", tag.group()), body[opening:])
    return f'{head} role="img" aria-label="{label}"{rest}'.replace(' xlink:href="#', ' href="#')
