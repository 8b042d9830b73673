"""The pieces a text of the reference is made of, and how they are read from a Markdown file.

The files of this folder use a small part of Markdown: headings, paragraphs, lists of one level, tables, fenced
code, `names` and **stress**. A line ``{{ name }}`` stands for what the source says of it
(:data:`refracmc.reference.from_source.SOURCES`).
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Title:
    """What a topic is called."""

    text: str


@dataclass(frozen=True)
class Heading:
    """A heading within a topic."""

    text: str


@dataclass(frozen=True)
class Paragraph:
    """Running text."""

    text: str


@dataclass(frozen=True)
class Listing:
    """A list of short texts."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class Code:
    """Lines to be typed or kept as they are."""

    text: str


@dataclass(frozen=True)
class Table:
    """Rows of named things, the names in the first cell.

    path: what stands before a name of it, ``job.cost`` for a key of that section; "" in a file's own tables.
    brief: the columns a terminal shows of the whole table; empty: all.
    others: further names of a row, by its first cell (SI spellings).
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    path: str = ""
    brief: tuple[int, ...] = ()
    others: Mapping[str, str] = field(default_factory=dict)


Piece = Title | Heading | Paragraph | Listing | Code | Table
_CELLS = re.compile(r"(?<!\\)\|")


def names_in(cell: str) -> list[str]:
    """The names in backticks of a first cell; where it has none, those that commas part."""
    return re.findall(r"`([^`]+)`", cell) or cell.split(", ")


def plain(text: str) -> str:
    """The text without the marks of names and stress."""
    return re.sub(r"\*\*(.+?)\*\*", r"\1", text).replace("`", "")


def _cells(line: str) -> tuple[str, ...]:
    return tuple(cell.strip().replace("\\|", "|") for cell in _CELLS.split(line.strip())[1:-1])


def _groups(lines: list[str]) -> Iterator[list[str]]:
    """Lines that stand together: parted by blank lines outside fenced code."""
    group: list[str] = []
    fenced = False
    for line in lines:
        if line.startswith("```"):
            fenced = not fenced
        if line.strip() or fenced:
            group.append(line)
        elif group:
            yield group
            group = []
    if group:
        yield group


def read_pieces(text: str, source: Callable[[str], list[Piece]]) -> tuple[str, list[Piece]]:
    """Title (the first line, a heading) and pieces of a file; `source` gives what a ``{{ name }}`` stands for."""
    first, *lines = text.splitlines()
    pieces: list[Piece] = []
    for group in _groups(lines):
        start = group[0]
        if start.startswith("```"):
            pieces.append(Code("\n".join(group[1:-1])))
        elif start.startswith("{{"):
            pieces += source(start.strip("{} "))
        elif start.startswith("#"):
            pieces.append(Heading(start.lstrip("# ")))
        elif start.startswith("    "):
            pieces.append(Code(textwrap.dedent("\n".join(group))))
        elif start.startswith("|"):
            above = pieces[-1].text if pieces and isinstance(pieces[-1], Heading) else ""
            path = above.strip("[]") if above.startswith("[") else ""  # [[wells]]: its keys are wells.id ...
            pieces.append(Table(_cells(start), tuple(_cells(line) for line in group[2:]), path))
        elif start.startswith("- "):
            items = " ".join(line.strip() if line.startswith(" ") else f"\0{line[2:]}" for line in group)
            pieces.append(Listing(tuple(item.strip() for item in items.split("\0")[1:])))
        else:
            pieces.append(Paragraph(" ".join(line.strip() for line in group)))
    return first.lstrip("# "), pieces
