"""What a page is made of (sections of notes, tables and charts) and how it becomes HTML.

The HTML stands in ``templates/page.html``, which escapes all text by itself; a chart is an SVG document made by this
package.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

MOST_WELLS = 5
"""Wells that stand on one page; with more, the page is of all wells together and each well has a page of its own."""


@dataclass(frozen=True, slots=True)
class Note:
    """Paragraphs with an optional title; kind: plain, caution, or verdict-<advice>."""

    paragraphs: tuple[str, ...]
    title: str = ""
    kind: str = "plain"


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of ready text under a head; the first ``left`` columns stand left, numbers right.

    collapsed: shown folded under its caption. strong: (row, column) cells set in bold. links: address of the first cell
    of each row. keys: what each cell is sorted by, "" for a missing value; with them the reader may sort and filter the
    rows. foot: rows under the others that stay there, the first cell in the place of the first ``left``. Raises
    ValueError where a row has more or fewer cells than the head asks for, or links or keys are not of every row.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: int = 1
    collapsed: bool = False
    note: str = ""
    strong: frozenset[tuple[int, int]] = frozenset()
    links: tuple[str, ...] = ()
    keys: tuple[tuple[float | str, ...], ...] = ()
    foot: tuple[tuple[str, ...], ...] = ()

    def __post_init__(self) -> None:
        for name in ("links", "keys"):
            if len(getattr(self, name)) not in (0, len(self.rows)):
                raise ValueError(f"table {self.caption!r}: {name} are not of every row")
        wide, folded = len(self.head), len(self.head) - self.left + 1
        for row, cells in (
            *((row, wide) for row in (*self.rows, *self.keys)),
            *((row, folded) for row in self.foot),
        ):
            if len(row) != cells:
                raise ValueError(f"table {self.caption!r}: a row has {len(row)} cells, the head {cells}")


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


@cache
def _templates() -> Environment:
    made = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.filters |= {"unbroken": _unbroken, "inline": inline_svg}
    return made


def render_page(
    title: str, subtitle: str, sections: Sequence[Section], back: tuple[str, str] | None = None
) -> str:
    """A whole page that stands alone: no addresses but those of other pages in its folder, and no script but one that
    sorts and filters, where a table has keys.

    back: address and words of a link before the list of contents.
    """
    tables = (block for section in sections for block in section.blocks if isinstance(block, Table))
    return (
        _templates()
        .get_template("page.html")
        .render(
            title=title,
            subtitle=subtitle,
            sections=[(s, [(type(b).__name__, b) for b in s.blocks]) for s in sections],
            back=back,
            sortable=any(table.keys for table in tables),
        )
    )
