"""The topics of the reference, and how a word is found in them."""

from __future__ import annotations

import argparse
import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from refracmc.errors import Fault, InputError
from refracmc.reference.from_source import SOURCES, commands
from refracmc.reference.text import Heading, Piece, Table, names_in, read_pieces

FOLDER = Path(__file__).parent
GROUPS: Mapping[str, tuple[str, ...]] = {
    "What you state": ("case", "keys", "numbers", "data", "strategies", "triggers", "methods", "screens"),
    "How it is worked out": ("model", "job_rules", "limits", "words"),
    "What comes out": ("measures", "run_files", "tables", "charts", "trials", "manifest"),
    "Commands and what each writes": (
        "commands", "job_files", "json", "search_files", "forecast_files", "hindcast_files",
        "portfolio_files", "difference_files", "cluster", "python",
    ),
}  # fmt: skip
"""The topics in the order of the page; each has a file of its name."""
NAMES = tuple(name for group in GROUPS.values() for name in group)
_LOADS_MUCH = ("charts", "python")
"""Asked last for a name: their source takes long to load."""
_MOST = 4
"""Places of one name that are printed together; with more the reader is asked for a longer name."""


@dataclass(frozen=True)
class Topic:
    """One topic: its name, its title, its pieces."""

    name: str
    title: str
    pieces: tuple[Piece, ...]

    def group(self, table: Table) -> tuple[Piece, ...]:
        """The pieces under the heading that a table stands below."""
        at = self.pieces.index(table)
        heads = [k for k, piece in enumerate(self.pieces) if isinstance(piece, Heading)]
        start = max((k for k in heads if k <= at), default=0)
        stop = min((k for k in heads if k > at), default=len(self.pieces))
        return self.pieces[start:stop]

    def heading(self, table: Table) -> str:
        """The heading that a table stands below; "" where there is none."""
        first = self.group(table)[0]
        return first.text if isinstance(first, Heading) else ""


@dataclass(frozen=True)
class Place:
    """Where a name stands: the name as told and as it may be typed, both with what stands before it, the topic, the
    table, and the row (None: the table as a whole)."""

    name: str
    typed: str
    topic: Topic
    table: Table
    row: tuple[str, ...] | None


def _typed(name: str) -> str:
    """A name as it is compared: space, hyphen and underscore are one, and so are capitals."""
    return re.sub("[ -]", "_", name).lower()


class Reference:
    """All topics, read when asked for; `parser` knows the commands."""

    def __init__(self, parser: argparse.ArgumentParser) -> None:
        self._parser = parser
        self._read: dict[str, Topic] = {}

    def topic(self, name: str) -> Topic:
        """One topic."""
        if name not in self._read:
            title, pieces = read_pieces((FOLDER / f"{name}.md").read_text("utf-8"), self._source)
            self._read[name] = Topic(name, title, tuple(pieces))
        return self._read[name]

    @staticmethod
    def title(name: str) -> str:
        """Title of a topic, without reading the rest of it."""
        with (FOLDER / f"{name}.md").open(encoding="utf-8") as file:
            return file.readline().strip("# \n")

    def _source(self, name: str) -> list[Piece]:
        return commands(self._parser) if name == "commands" else SOURCES[name]()

    @cached_property
    def topics(self) -> tuple[Topic, ...]:
        """All topics in their order."""
        return tuple(self.topic(name) for name in NAMES)

    def places(self, names: Sequence[str] = NAMES) -> Iterator[Place]:
        """Every name of the tables of these topics."""
        for topic in map(self.topic, names):
            for table in topic.pieces:
                if not isinstance(table, Table):
                    continue
                if table.path:
                    yield Place(table.path, _typed(table.path), topic, table, None)
                for row in table.rows:
                    other = table.others.get(row[0])
                    for name in (*names_in(row[0]), *([other] if other else [])):
                        bare = re.sub(r"\[\]|\.<\w+>$", "", name.partition(" ")[0])
                        before = f"{table.path}." if table.path else ""
                        for typed in dict.fromkeys((name, bare)):
                            yield Place(f"{before}{name}", _typed(f"{before}{typed}"), topic, table, row)

    def find(self, words: Sequence[str]) -> Topic | list[Place]:
        """The topic of that name, or the places of a name or of a unique ending of one.

        Raises InputError where there is none, with the nearest ones, and where an ending stands in many places.
        """
        word = " ".join(words).strip("[]`")
        topic = _typed(word)
        if topic in NAMES and not words[0].startswith("["):  # [strategies]: the section, not the topic
            return self.topic(topic)
        for names in ([name for name in NAMES if name not in _LOADS_MUCH], _LOADS_MUCH):
            found = self._matching(_typed(word), names)
            if len(found) > _MOST:
                listed = ", ".join(dict.fromkeys(place.name for place in found[:8]))
                raise InputError(
                    Fault(
                        "explain",
                        f"{word!r} in {len(found)} places",
                        f"a longer name, as {listed}",
                        "write one",
                    )
                )
            if found:
                return found
        raise InputError(self._unknown(word))

    def _matching(self, word: str, names: Sequence[str]) -> list[Place]:
        """Places of that name or with that ending; of the name alone where both are too many."""
        bare = word.removeprefix("wells.")
        exact, ending = {}, {}
        for place in self.places(names):
            full = place.typed
            if full in (word, bare, f"wells.{word}"):
                exact[id(place.table), place.row] = place
            elif full.endswith(f".{word}"):
                ending[id(place.table), place.row] = place
        both = list((exact | ending).values())
        return list(exact.values()) if exact and len(both) > _MOST else both

    def _unknown(self, word: str) -> Fault:
        names = {place.typed for place in self.places()} | set(NAMES)
        ends = {name.rpartition(".")[2]: name for name in sorted(names, reverse=True)}
        near = difflib.get_close_matches(_typed(word), [*names, *ends], n=3, cutoff=0.6)
        near = list(dict.fromkeys(ends.get(name, name) for name in near))
        within = [n for n in NAMES if word.lower() in (FOLDER / f"{n}.md").read_text("utf-8").lower()]
        remedies = [f"did you mean {' or '.join(near)}?"] if near else []
        remedies += [f"it stands in the text of {', '.join(within)}"] if within else []
        remedy = "; ".join(remedies) or "refracmc explain lists the topics"
        return Fault(
            "explain", f"{word!r}", "a topic, a key of the case, or another name of the reference", remedy
        )
