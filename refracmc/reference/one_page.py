"""The whole reference as one self-contained HTML page."""

from __future__ import annotations

import re
from collections.abc import Sequence

from refracmc.reference.text import names_in
from refracmc.reference.topics import FOLDER, GROUPS, Topic


def _marked(text: str) -> str:
    """Names and stress of a text as HTML, all else escaped."""
    from markupsafe import Markup, escape

    def name(found: re.Match[str]) -> str:
        long = found[1] if len(found[1]) < 40 else re.sub(r"([./])(?=\w)", r"\1<wbr>", found[1])
        return f"<code>{long}</code>"

    html = re.sub(r"`([^`]+)`", name, str(escape(text)))
    return Markup(re.sub(r"\*\*(.+?)\*\*", r"<strong>\1</strong>", html))


def page(topics: Sequence[Topic], release: str) -> str:
    """The page; every topic and every name of a table has an anchor, its full name."""
    import jinja2

    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader(FOLDER), autoescape=True, trim_blocks=True, lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )  # fmt: skip
    made.filters["marked"] = _marked
    made.filters["name"] = lambda cell: names_in(cell)[0].partition(" ")[0]
    made.tests["piece"] = lambda piece, name: type(piece).__name__ == name
    return made.get_template("reference.html").render(topics=topics, groups=GROUPS, release=release)
