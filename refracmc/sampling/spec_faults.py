"""Faults of stated distributions, and the reading of a column of numbers."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from pathlib import Path

from refracmc.errors import Fault
from refracmc.input_file import MOST_OF_TABLE, read_input


class SpecError(ValueError):
    """All problems of one distribution; the text has one line for each."""

    def __init__(self, problems: Sequence[Fault]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(p) for p in self.problems))


def listing(names: Iterable[str]) -> str:
    return ", ".join(names)


def shown(value: object) -> str:
    """A value as an engineer would write it in the case."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return repr(value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def nearest(word: str, allowed: Iterable[str], otherwise: str) -> str:
    """A hint with the nearest allowed name, or `otherwise`."""
    close = get_close_matches(word.lower(), list(allowed), n=1, cutoff=0.6)
    return f"did you mean {close[0]!r}?" if close else otherwise


def is_number(text: str) -> bool:
    """True for the text of a finite number."""
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def read_column(path: Path, name: str, column: str | None, where: str) -> list[float]:
    """Finite numbers of one CSV column: the only one, or the one headed `column`.

    A first row that is not a number is the heading. `name` is how the case calls the file. Raises SpecError
    with every bad row.
    """
    problems: list[Fault] = []
    try:
        text = read_input(path, MOST_OF_TABLE).decode("utf-8-sig")
    except (OSError, ValueError) as error:
        reason = (
            "not UTF-8 text" if isinstance(error, UnicodeDecodeError) else getattr(error, "strerror", error)
        )
        fault = Fault(f"{where}.file", f"{name!r} ({reason})", "a readable text file", "correct the name")
        raise SpecError([fault]) from None
    rows = [(i, row) for i, row in enumerate(csv.reader(text.splitlines()), 1) if any(c.strip() for c in row)]
    heading: list[str] = []
    if rows and (column is not None or not is_number(rows[0][1][0])):
        heading = [c.strip() for c in rows.pop(0)[1]]
    place = 0
    if column is not None:
        if column not in heading:
            allowed = f"in {name!r}: {listing(heading)}"
            hint = nearest(column, heading, "correct the heading")
            raise SpecError([Fault(f"{where}.column", shown(column), allowed, hint)])
        place = heading.index(column)
    elif any(len(row) > 1 for _, row in rows):
        allowed = "one column, or column = one of its headings"
        raise SpecError([Fault(f"{where}.file", f"several columns in {name!r}", allowed, "add column")])
    out: list[float] = []
    for number, row in rows:
        cell = row[place].strip() if place < len(row) else ""
        if is_number(cell):
            out.append(float(cell))
        else:
            found = f"{cell!r} in {name!r}, row {number}"
            problems.append(Fault(f"{where}.file", found, "a finite number", "correct this row"))
    if not rows:
        problems.append(
            Fault(f"{where}.file", f"no numbers in {name!r}", "at least one number", "fill the file")
        )
    if problems:
        raise SpecError(problems)
    return out
