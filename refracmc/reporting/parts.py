"""The parts of a page: sections, tables, charts and notes, and how each becomes HTML.

A page is a sequence of :class:`Section`; later work adds sections, never a second page writer. All text is
escaped here and nowhere else; a part holds plain text (a chart: an SVG document made by this package).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

MOST_WELLS = 20
"""Wells whose evidence stands on the page; of further wells the page says where their files are."""
_TAG = re.compile(r"<[^<>]*>")
_STYLE = re.compile(r"<style[^>]*>[^<]*</style>")
_REFERENCE = re.compile(r'(?<= )id="|url\(#|xlink:href="#')


@dataclass(frozen=True, slots=True)
class Note:
    """Paragraphs with an optional title; kind: plain, caution, or verdict-<advice>."""

    paragraphs: tuple[str, ...]
    title: str = ""
    kind: str = "plain"


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of ready text under a head; the first ``left`` columns stand left, numbers right.

    collapsed: shown folded under its caption. strong: (row, column) cells set in bold.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: int = 1
    collapsed: bool = False
    note: str = ""
    strong: frozenset[tuple[int, int]] = frozenset()


@dataclass(frozen=True, slots=True)
class Chart:
    """A drawn chart: key (unique on the page), SVG text, caption."""

    key: str
    svg: str
    caption: str


Part = Note | Table | Chart


@dataclass(frozen=True, slots=True)
class Section:
    """A titled part of the page; anchor: its place in the list of contents (letters, digits, ``-``)."""

    title: str
    anchor: str
    parts: tuple[Part, ...]


_WHOLE = re.compile(r"(?<![\w-])(?:\d{4}-\d\d(?![\w-])|[−\d][\d.,]* ± \d[\d.,]*\d(?: %)?)")
"""Months, and values with their errors: never broken over two lines."""


def _text(text: str) -> str:
    """Escaped text with what must stay on one line marked."""
    return _WHOLE.sub(r'<span class="o">\g<0></span>', escape(text))


def _note(note: Note) -> str:
    title = f"<h3>{_text(note.title)}</h3>" if note.title else ""
    body = "".join(f"<p>{_text(text)}</p>" for text in note.paragraphs)
    return f'<div class="note {escape(note.kind)}">{title}{body}</div>'


def _row(cells: Sequence[str], left: int, strong: frozenset[tuple[int, int]], at: int) -> str:
    made = []
    for k, cell in enumerate(cells):
        text = f"<b>{escape(cell)}</b>" if (at, k) in strong else escape(cell)
        kind = ("l w" if len(cell) > 44 else "l") if k < left else ""
        made.append(f'<td class="{kind}">{text}</td>' if kind else f"<td>{text}</td>")
    return f"<tr>{''.join(made)}</tr>"


def _table(table: Table) -> str:
    for row in table.rows:
        if len(row) != len(table.head):
            raise ValueError(
                f"table {table.caption!r}: a row has {len(row)} cells, the head {len(table.head)}"
            )
    head = "".join(
        f'<th class="l">{escape(name)}</th>' if k < table.left else f"<th>{escape(name)}</th>"
        for k, name in enumerate(table.head)
    )
    body = "\n".join(_row(row, table.left, table.strong, at) for at, row in enumerate(table.rows))
    note = f'<p class="small">{escape(table.note)}</p>' if table.note else ""
    grid = f"<table><thead><tr>{head}</tr></thead><tbody>\n{body}\n</tbody></table>"
    grid = f'<div class="wide">{grid}</div>{note}'
    if table.collapsed:
        return f"<details><summary>{escape(table.caption)}</summary>{grid}</details>"
    return f'<p class="caption">{escape(table.caption)}</p>{grid}'


def inline_svg(svg: str, prefix: str, label: str) -> str:
    """SVG for a page: no prolog, no namespaces, ids behind ``prefix``, ``label`` (escaped) for readers."""
    body = _STYLE.sub("", svg[svg.index("<svg") :])
    opening = body.index(">")
    head = re.sub(r' (xmlns|xmlns:xlink|width|height)="[^"]*"', "", body[:opening])
    rest = _TAG.sub(lambda tag: _REFERENCE.sub(rf"\g<0>{prefix}-", tag.group()), body[opening:])
    return f'{head} role="img" aria-label="{label}"{rest}'.replace(' xlink:href="#', ' href="#')


def _chart(chart: Chart) -> str:
    svg = inline_svg(chart.svg, chart.key, escape(chart.caption, quote=True))
    return f'<figure><div class="wide">{svg}</div><figcaption>{escape(chart.caption)}</figcaption></figure>'


def render(part: Part) -> str:
    """HTML of one part."""
    if isinstance(part, Note):
        return _note(part)
    if isinstance(part, Table):
        return _table(part)
    return _chart(part)


def render_section(section: Section) -> str:
    """HTML of a section with its heading."""
    parts = "\n".join(render(part) for part in section.parts)
    return f'<section id="{escape(section.anchor)}"><h2>{escape(section.title)}</h2>\n{parts}\n</section>'


CSS = """
:root{--ink:#1f262d;--faint:#5d6770;--line:#d6dbdf;--soft:#f4f6f7;--go:#7d2bb0;--stay:#4d565f;--open:#b3610c}
*{box-sizing:border-box}
body{margin:0 auto;max-width:1080px;padding:1.5rem 1.2rem 4rem;color:var(--ink);background:#fff}
body{font:15px/1.45 system-ui,"Segoe UI",Roboto,"Noto Sans",Ubuntu,sans-serif}
h1{font-size:1.7rem;margin:.2rem 0}
h2{font-size:1.3rem;margin:2.6rem 0 .6rem;padding-top:.7rem;border-top:2px solid var(--ink)}
h3{font-size:1.08rem;margin:.1rem 0 .3rem}
p{margin:.3rem 0 .6rem;max-width:95ch}
.sub,.small,figcaption{color:var(--faint)}.small{font-size:.85rem}
nav{margin:1rem 0}nav a{margin-right:1.1rem;color:var(--ink)}
.note{margin:.8rem 0}.note.caution{border:2px solid var(--open);padding:.7rem 1rem;border-radius:4px}
.note[class*=verdict]{border-left:6px solid var(--stay);background:var(--soft);padding:.7rem 1rem}
.note.verdict-refracture{border-left-color:var(--go)}.note.verdict-undecided{border-left-color:var(--open)}
.note[class*=verdict] p:last-child,.note.caution p:last-child{margin-bottom:0}
.caption{margin:1.2rem 0 .3rem;font-weight:600}
.o{white-space:nowrap}
.wide{overflow-x:auto}table{border-collapse:collapse;font-size:.83rem;font-variant-numeric:tabular-nums}
th,td{padding:.22rem .6rem;text-align:right;border-bottom:1px solid var(--line);vertical-align:top}
td{white-space:nowrap}td.w{white-space:normal;min-width:30ch}th.l,td.l{text-align:left}
thead th{border-bottom:1.5px solid var(--ink);font-weight:600;vertical-align:bottom}
details{margin:1rem 0}summary{cursor:pointer;font-weight:600}
figure{margin:1.4rem 0}figure svg{width:100%;height:auto;display:block}
figcaption{font-size:.85rem;margin-top:.2rem}
svg *{stroke-linejoin:round;stroke-linecap:butt}
@media screen and (max-width:760px){
body{padding:1rem .8rem 3rem}figure svg{width:44rem}
}
@media print{
body{max-width:none;font-size:10pt;padding:0}nav{display:none}
figure,.note,tr{break-inside:avoid}h2,h3,.caption{break-after:avoid}
.wide{overflow:visible}table{font-size:7.5pt}th,td{padding:.15rem .35rem}@page{margin:14mm}
}
""".strip()


def render_page(title: str, subtitle: str, sections: Sequence[Section]) -> str:
    """A whole page that stands alone: no scripts, no files, no addresses."""
    contents = "".join(f'<a href="#{escape(s.anchor)}">{escape(s.title)}</a> ' for s in sections)
    body = "\n".join(render_section(section) for section in sections)
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>\n{CSS}\n</style></head><body>\n"
        f'<header><h1>{escape(title)}</h1><p class="sub">{escape(subtitle)}</p></header>\n'
        f"<nav>{contents}</nav>\n<main>\n{body}\n</main>\n</body></html>\n"
    )
