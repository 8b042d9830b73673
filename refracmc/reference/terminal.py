"""Pieces of the reference as plain text of a given width."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from refracmc.reference.text import Code, Heading, Listing, Paragraph, Piece, Table, Title, plain

_GAP = 2
_LEAST_LAST = 30
"""Characters the last column of a table needs at least; with less its rows stand as short records."""


def _wrap(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        plain(text), width, initial_indent=first, subsequent_indent=rest, break_long_words=False,
        break_on_hyphens=False,
    ) or [""]  # fmt: skip


def _widths(cells: Sequence[Sequence[str]], width: int) -> list[int] | None:
    """Width of every column, or None where the last would be too narrow; no word is cut."""
    columns = [[plain(row[k]) for row in cells] for k in range(len(cells[0]))]
    widths = [max(map(len, column)) for column in columns]
    least = [max((len(word) for text in column for word in text.split()), default=1) for column in columns]
    free = width - _GAP * (len(widths) - 1)
    last = min(widths[-1], _LEAST_LAST)
    while sum(widths[:-1]) > free - last:
        wide = [k for k in range(len(widths) - 1) if widths[k] > least[k]]
        if not wide:
            return None
        widths[max(wide, key=lambda k: widths[k])] -= 1
    widths[-1] = min(widths[-1], free - sum(widths[:-1]))
    return widths


def _grid(cells: Sequence[Sequence[str]], widths: Sequence[int]) -> list[str]:
    lines = []
    for row in cells:
        parts = [_wrap("" if cell == "-" else cell, size) for cell, size in zip(row, widths, strict=True)]
        for k in range(max(map(len, parts))):
            words = [part[k] if k < len(part) else "" for part in parts]
            lines.append((" " * _GAP).join(w.ljust(s) for w, s in zip(words, widths, strict=True)).rstrip())
    return lines


def record(head: Sequence[str], row: Sequence[str], width: int) -> list[str]:
    """One row of a table, a line (or more) a cell; cells that say nothing are left out."""
    pairs = [(name, cell) for name, cell in zip(head[1:], row[1:], strict=True) if cell not in ("", "-")]
    if not pairs:
        return []
    size = max(len(name) for name, _ in pairs) + _GAP
    return [
        line for name, cell in pairs for line in _wrap(cell, width, f"  {name.ljust(size)}", " " * (size + 2))
    ]


def table(piece: Table, width: int) -> list[str]:
    """A table as columns where they fit, else its rows as records."""
    shown = piece.brief or tuple(range(len(piece.head)))
    cells = [tuple(row[k] for k in shown) for row in (piece.head, *piece.rows)]
    widths = _widths(cells, width)
    if widths is not None:
        rule = (" " * _GAP).join("-" * size for size in widths)
        return [*_grid(cells[:1], widths), rule, *_grid(cells[1:], widths)]
    lines = []
    for row in cells[1:]:
        lines += _wrap(row[0], width, "", "  ")
        inner = [
            (name, cell) for name, cell in zip(cells[0][1:], row[1:], strict=True) if cell not in ("", "-")
        ]
        for name, cell in inner:
            lines += _wrap(cell if len(inner) == 1 else f"{name}: {cell}", width, "    ", "    ")
    return lines


def text(pieces: Sequence[Piece], width: int) -> str:
    """All pieces, a blank line between them."""
    parts = []
    for piece in pieces:
        if isinstance(piece, Title | Heading):
            lines = _wrap(piece.text, width)
            parts.append([*lines, ("=" if isinstance(piece, Title) else "-") * max(map(len, lines))])
        elif isinstance(piece, Paragraph):
            parts.append(_wrap(piece.text, width))
        elif isinstance(piece, Listing):
            parts.append([line for item in piece.items for line in _wrap(item, width, "- ", "  ")])
        elif isinstance(piece, Code):
            parts.append([f"    {line}".rstrip() for line in piece.text.splitlines()])
        else:
            parts.append(table(piece, width))
    return "\n\n".join("\n".join(part) for part in parts)
