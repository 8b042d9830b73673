"""The tables of README.md that are made from the source, and how its other tables are read.

    python -m tests.system.readme_tables

writes the made tables anew between their marks, ``<!-- made: name -->`` and ``<!-- end: name -->``. Every other
table of the README is written by hand; test_documents.py holds its names against the source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from refracmc.case import units
from refracmc.case.key_table import KeyRow, key_rows
from refracmc.reporting.columns import columns_markdown
from refracmc.reporting.job_columns import job_columns_markdown
from refracmc.sampling.distributions import _OPTIONAL, KINDS

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
_MARKED = re.compile(r"(<!-- made: (\w+) -->\n).*?(<!-- end: \2 -->)", re.DOTALL)
_UNTRUNCATED = ("fixed", "bernoulli")


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def _table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(map(_cell, row)) + " |" for row in rows]
    return "\n".join(lines)


def keys_markdown() -> str:
    """One table a section: every key with its unit, range, default, source and meaning."""
    parts = []
    sections: dict[str, list[KeyRow]] = {}
    for row in key_rows():
        sections.setdefault(row.path.rpartition(".")[0], []).append(row)
    for name, members in sections.items():
        rows = [
            (
                f"`{row.path.removeprefix(name + '.')}`" + (" \\*" if row.uncertain else ""),
                row.unit or "-",
                row.allowed.removesuffix(", or a distribution") or "-",
                row.default,
                row.source or "-",
                row.meaning,
            )
            for row in members
        ]
        parts.append(
            f"#### [{name}]\n\n" + _table(("key", "unit", "allowed", "default", "source", "meaning"), rows)
        )
    return "\n\n".join(parts)


def kinds_markdown() -> str:
    """The kinds of distribution with the keys that state them."""
    rows = []
    for kind, sets in KINDS.items():
        ways = "; or ".join(", ".join(f"`{key}`" for key in keys) for keys in sets)
        more = [*_OPTIONAL.get(kind, ()), *(() if kind in _UNTRUNCATED else ("min", "max"))]
        rows.append((f"`{kind}`", ways, ", ".join(f"`{key}`" for key in more) or "-"))
    return _table(("dist", "keys that state it", "may be added"), rows)


def twins_markdown() -> str:
    """Key endings in field units, their SI twins and the factor to field units."""
    rows = [(f"`{field}`", f"`{si}`", f"{factor:.9g}") for field, si, factor in units._SI_TWINS]
    return _table(("key ends in", "may be written", "multiplied by"), rows)


MADE = {
    "keys": keys_markdown,
    "kinds": kinds_markdown,
    "twins": twins_markdown,
    "columns": lambda: columns_markdown().strip().replace("<", "&lt;"),
    "job_columns": lambda: job_columns_markdown().strip().replace("<", "&lt;"),
}


def filled(text: str) -> str:
    """The README with its made tables as the source has them."""
    return _MARKED.sub(lambda found: found[1] + "\n" + MADE[found[2]]() + "\n\n" + found[3], text)


def marks(text: str) -> list[str]:
    """Names of the made tables that a text holds."""
    return [found[2] for found in _MARKED.finditer(text)]


def part(text: str, heading: str) -> str:
    """What stands under a heading (its text without #), up to the next heading of its level or above."""
    found = re.search(rf"^(#+) {re.escape(heading)}$", text, re.MULTILINE)
    if found is None:
        raise KeyError(f"no heading {heading!r}")
    rest = text[found.end() :]
    ends = re.search(rf"^#{{1,{len(found[1])}}} ", rest, re.MULTILINE)
    return rest[: ends.start()] if ends else rest


def rows(text: str) -> list[list[str]]:
    """Cells of every table row of a text, heads and rules left out."""
    lines = text.splitlines()
    found = []
    for k, line in enumerate(lines):
        below = lines[k + 1] if k + 1 < len(lines) else ""
        if line.startswith("|") and not line.startswith("|---") and not below.startswith("|---"):
            found.append([cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]])
    return found


def names(text: str) -> list[str]:
    """Every name in backticks in the first cell of the table rows of a text."""
    return [name for row in rows(text) for name in re.findall(r"`([^`]+)`", row[0])]


def blocks(text: str, language: str) -> list[str]:
    """The fenced blocks of one language."""
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.DOTALL | re.MULTILINE)


PLACEHOLDERS = {
    "mean_cost_parts_usd": "<part>",
    "cost_usd": "<part>",
    "measures": "<name>",
    "luck": "<name>",
    "ratios": "<phase>",
    "input_files_sha256": "<file>",
    "files": "<file>",
    "refused": "<well>",
}
"""Tables of a JSON whose keys are names of things, and how the README writes these keys."""


def paths_of(value: Any, at: str = "") -> Iterator[str]:
    """Dotted path of everything in a JSON, containers included."""
    if at:
        yield at
    if isinstance(value, dict):
        named = PLACEHOLDERS.get(at.rpartition(".")[2])
        if named and {"mean", "se", "p90", "p50", "p10"} <= set(value):
            named = None
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


def shorten(case: Path, pattern: str, text: str) -> None:
    whole, count = re.subn(pattern, text, case.read_text("utf-8"), count=1)
    assert count == 1
    case.write_text(whole, "utf-8")


def main() -> None:
    README.write_text(filled(README.read_text("utf-8")), "utf-8")


if __name__ == "__main__":
    main()
