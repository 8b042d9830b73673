"""What a page is made of (sections of notes, tables and charts) and how it becomes HTML.

The HTML stands in ``templates/page.html``, which escapes all text by itself; a chart is an SVG document made by this
package.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

MOST_WELLS = 20
"""Wells whose evidence stands on the page; of further wells the page says where their files are."""


@dataclass(frozen=True, slots=True)
class Note:
    """Paragraphs with an optional title; kind: plain, caution, or verdict-<advice>."""

    paragraphs: tuple[str, ...]
    title: str = ""
    kind: str = "plain"


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of ready text under a head; the first ``left`` columns stand left, numbers right.

    collapsed: shown folded under its caption. strong: (row, column) cells set in bold. Raises ValueError where a row
    has more or fewer cells than the head.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: int = 1
    collapsed: bool = False
    note: str = ""
    strong: frozenset[tuple[int, int]] = frozenset()

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.head):
                raise ValueError(
                    f"table {self.caption!r}: a row has {len(row)} cells, the head {len(self.head)}"
                )


@dataclass(frozen=True, slots=True)
class DrawnChart:
    """A chart of the page: key, caption, SVG text (empty where there was nothing to draw)."""

    key: str
    caption: str
    svg: str


Block = Note | Table | DrawnChart


@dataclass(frozen=True, slots=True)
class Section:
    """A titled part of the page; anchor: its place in the list of contents (letters, digits, ``-``)."""

    title: str
    anchor: str
    blocks: tuple[Block, ...]


_UNBROKEN = re.compile(
    r"(?<![\w-])(?:\d{4}-\d\d(?![\w-])|(?:US\$ )?[−\d][\d.,]* ± \d[\d.,]*\d(?: %)?|P[159]0 [−\d][\d.,]*\d)"
)
"""Months, values with their errors, percentiles: never broken over two lines."""
_TAG = re.compile(r"<[^<>]*>")
_STYLE = re.compile(r"<style[^>]*>[^<]*</style>")
_REFERENCE = re.compile(r'(?<= )id="|url\(#|xlink:href="#')


def _unbroken(text: str) -> Markup:
    """Text with what must stay on one line marked."""
    return Markup(_UNBROKEN.sub(r'<span class="o">\g<0></span>', str(escape(text))))


def inline_svg(svg: str, prefix: str) -> Markup:
    """SVG of this package for a page: no prolog, no namespaces, no size, ids behind ``prefix``."""
    body = _STYLE.sub("", svg[svg.index("<svg") :])
    opening = body.index(">")
    head = re.sub(r' (xmlns|xmlns:xlink|width|height)="[^"]*"', "", body[:opening])
    rest = _TAG.sub(lambda tag: _REFERENCE.sub(rf"\g<0>{prefix}-", tag.group()), body[opening:])
    return Markup((head + rest).replace(' xlink:href="#', ' href="#'))


def render_page(title: str, subtitle: str, sections: Sequence[Section]) -> str:
    """A whole page that stands alone: no scripts, no files, no addresses."""
    templates = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    templates.filters |= {"unbroken": _unbroken, "inline": inline_svg}
    return templates.get_template("page.html").render(
        title=title,
        subtitle=subtitle,
        sections=[(s, [(type(b).__name__, b) for b in s.blocks]) for s in sections],
    )
