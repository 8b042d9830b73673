"""How the tests read what the project says of itself: the Markdown files and the reference of `refracmc explain`."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from refracmc import cli
from refracmc.reference.text import Heading, Table, names_in
from refracmc.reference.topics import FOLDER, Reference

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
NOTES = (ROOT / "DEVELOPERS.md").read_text("utf-8")


@cache
def reference() -> Reference:
    return Reference(cli.command_line())


def topic_text(topic: str) -> str:
    """The text of a topic as its file has it."""
    return (FOLDER / f"{topic}.md").read_text("utf-8")


def rows(topic: str, heading: str | None = None) -> list[tuple[str, ...]]:
    """Rows of the tables of a topic, below a heading of it where one is named."""
    found, under = [], heading is None
    for piece in reference().topic(topic).pieces:
        if isinstance(piece, Heading) and heading is not None:
            under = piece.text == heading
        elif isinstance(piece, Table) and under:
            found += piece.rows
    assert found, (topic, heading)
    return found


def names(topic: str, heading: str | None = None) -> list[str]:
    """Names in the first cells of these rows."""
    return [name for row in rows(topic, heading) for name in names_in(row[0])]


def headings(topic: str) -> list[str]:
    """Headings of a topic in their order."""
    return [piece.text for piece in reference().topic(topic).pieces if isinstance(piece, Heading)]


def fenced(text: str, language: str) -> list[str]:
    """The fenced blocks of one language."""
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.DOTALL | re.MULTILINE)


def calls(text: str) -> list[list[str]]:
    """Every call of refracmc in the shell blocks of a text, as words."""
    lines = [line for block in fenced(text, "bash") for line in block.splitlines()]
    parts = [part.strip() for line in lines for part in line.split("&&")]
    return [shlex.split(part) for part in parts if part.startswith("refracmc ")]


PLACEHOLDERS = {
    "mean_cost_parts_usd": "<part>",
    "mean_days_by_kind": "<kind>",
    "exposed_stages": "<sleeve>",
    "cost_usd": "<part>",
    "measures": "<name>",
    "luck": "<name>",
    "ratios": "<phase>",
    "input_files_sha256": "<file>",
    "files": "<file>",
    "refused": "<well>",
}
"""Tables of a JSON whose keys are names of things, and how the reference writes these keys."""
STATISTICS = {"mean", "se", "p90", "p90_se", "p50", "p50_se", "p10", "p10_se"}


def paths_of(value: Any, at: str = "") -> Iterator[str]:
    """Dotted path of everything in a JSON, containers included."""
    if at:
        yield at
    if isinstance(value, dict):
        named = PLACEHOLDERS.get(at.rpartition(".")[2])
        if set(value) == STATISTICS:
            named = "<statistic>"
        if named and not value:
            yield from (f"{at}.{named}", f"{at}.{named}[]")
        for key, inner in value.items():
            yield from paths_of(inner, f"{at}.{named or key}" if at else named or key)
    elif isinstance(value, list):
        if not value or not isinstance(value[0], dict):
            yield f"{at}[]"
        for inner in value:
            yield from paths_of(inner, f"{at}[]") if isinstance(inner, dict) else ()


def differences(told: list[str], found: set[str]) -> tuple[list[str], list[str]]:
    """Names told that do not exist, and leaves found that are not told (a container needs no row of its own)."""
    stems = {name.removesuffix("[]") for name in told}
    parents = {path for path in found for other in found if other.startswith((f"{path}.", f"{path}["))}
    missing = [p for p in found - parents if p not in told and p.removesuffix("[]") not in stems]
    return sorted(name for name in told if name not in found), sorted(missing)


def change(case: Path, pattern: str, text: str) -> None:
    """Replace the one place of a case file that a pattern fits."""
    whole, count = re.subn(pattern, text, case.read_text("utf-8"), count=1)
    assert count == 1
    case.write_text(whole, "utf-8")
