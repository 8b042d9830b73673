"""`refracmc explain`: the reference on the terminal, or as one page."""

from __future__ import annotations

import argparse
import shutil
from collections.abc import Sequence
from pathlib import Path

from refracmc import __version__
from refracmc.errors import Fault, InputError
from refracmc.reference import terminal
from refracmc.reference.text import Piece, Title
from refracmc.reference.topics import GROUPS, NAMES, Place, Reference, Topic
from refracmc.whole_file import write_whole

_WIDEST = 110


def explain(words: Sequence[str], parser: argparse.ArgumentParser, width: int | None = None) -> str:
    """What is said of a topic or a name; without words the list of topics. width: characters of a line.

    Raises InputError for a word that stands nowhere.
    """
    columns = width or min(shutil.get_terminal_size((_WIDEST, 24)).columns, _WIDEST) - 1
    reference = Reference(parser)
    if not words:
        return _topics(reference, columns)
    found = reference.find(words)
    if isinstance(found, Topic):
        return terminal.text([Title(found.title), *found.pieces], columns)
    parts = [_place(place, columns) for place in found]
    same = {
        k
        for k in range(1, len(found))
        if found[k].row and found[k].name == found[k - 1].name and found[k].table is found[k - 1].table
    }
    return "\n".join(
        part.partition("\n")[2] if k in same else f"\n{part}" for k, part in enumerate(parts)
    ).strip()


def _topics(reference: Reference, width: int) -> str:
    size = max(map(len, NAMES)) + 2
    lines = []
    for group, names in GROUPS.items():
        lines += [group, *(f"  {name.ljust(size)}{reference.title(name)}" for name in names), ""]
    lines += ["refracmc explain TOPIC prints one. Any name of it can be asked for too:"]
    lines += [
        f"  refracmc explain {name}" for name in ("job.close_chance", "close_chance", "alternating", "npv")
    ]
    lines += ["refracmc explain --html FILE writes all of it as one page."]
    return "\n".join(lines)


def _place(place: Place, width: int) -> str:
    if place.row is None:
        pieces: Sequence[Piece] = place.topic.group(place.table)
        return terminal.text(pieces, width)
    table = place.topic.heading(place.table)
    title = f"{place.name}  ({place.topic.name}{f', {table}' if '.csv' in table else ''})"
    return "\n".join([title, *terminal.record(place.table.head, place.row, width)])


def write_page(file: str, parser: argparse.ArgumentParser) -> Path:
    """Write the reference as one HTML page, whole or not at all. Raises InputError where it cannot stand there."""
    from refracmc.reference.one_page import page

    path = Path(file)
    if path.is_dir():
        raise InputError(
            Fault("explain --html", f"{file!r}, a folder", "the name of a file", "name a file in it")
        )
    if path.exists() and not path.is_file():
        raise InputError(
            Fault("explain --html", f"{file!r}, a pipe, socket or device", "a file", "name another")
        )
    if not path.parent.is_dir():
        raise InputError(
            Fault(
                "explain --html",
                f"{file!r}",
                "a file in a folder that exists",
                f"make the folder {path.parent}",
            )
        )
    try:
        write_whole(path, page(Reference(parser).topics, __version__).encode())
    except OSError as error:
        raise InputError(
            Fault(
                "explain --html", f"{file!r}: {error.strerror}", "a file that can be written", "name another"
            )
        ) from None
    return path
