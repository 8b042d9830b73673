"""A figure as PNG and as SVG, the same bytes each time: no date, no program, fixed names."""

from __future__ import annotations

import io
import re
from pathlib import Path

from matplotlib.figure import Figure

from refracmc.whole_file import write_whole

DPI = 115
FONT = "DejaVu Sans"
FALLBACKS = f"'{FONT}', Verdana, 'Segoe UI', system-ui"
"""Fonts of the SVG: widths are those of the first, the next ones are near it."""

_DECIMALS = re.compile(r"(?<=\.\d\d)\d+")
_CONTENT = re.compile(r"(>[^<\n]+<)")


def png_bytes(figure: Figure) -> bytes:
    """The figure as PNG at ``DPI`` dots an inch."""
    stream = io.BytesIO()
    figure.savefig(
        stream, format="png", dpi=DPI, metadata={"Software": None}, pil_kwargs={"compress_level": 2}
    )
    return stream.getvalue()


def write_picture(figure: Figure, path: Path) -> None:
    """Write the figure as PNG at its own dots an inch, whole or not at all."""
    stream = io.BytesIO()
    figure.savefig(stream, format="png", metadata={"Software": None})
    write_whole(path, stream.getvalue())


def svg_text(figure: Figure) -> str:
    """The figure as SVG text, coordinates cut to 0.01 point."""
    stream = io.StringIO()
    nameless = {"Date": None, "Creator": None, "Format": None, "Type": None}
    figure.savefig(stream, format="svg", metadata=nameless)
    pieces = _CONTENT.split(stream.getvalue())
    pieces[::2] = [_DECIMALS.sub("", tags) for tags in pieces[::2]]
    return "".join(pieces).replace(f"'{FONT}'", FALLBACKS)
