"""On which line of a TOML file each key stands.

`tomllib` says what a file states and not where. This walk says where, and what it has walked past is held against what
tomllib read: where the two do not have the same keys and list items, no line is given at all.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from refracmc.case import units
from refracmc.case.faults import KeyPath, path_text
from refracmc.errors import Fault

_BLANK = re.compile(r"[ \t]*")
_APART = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_STRINGS = (
    re.compile(r'"""(?:[^\\"]|\\[\s\S]|"{1,2}(?!"))*"{3,5}'),
    re.compile(r"'''(?:[^']|'{1,2}(?!'))*'{3,5}"),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)
_PLAIN = re.compile(r"[^,\]}#=\n\"'\[{]+")
"""Numbers, truth values and dates, which may have a blank within them."""


class _Lost(Exception):
    """The walk does not understand what it sees."""


class _Walk:
    """One pass over a text that tomllib has read; `lines` by key path, list items by their position."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.counted, self.line = 0, 1  # up to where line breaks were counted
        self.lines: dict[KeyPath, int] = {}
        self.tables: dict[KeyPath, int] = {}  # arrays of tables: how many so far

    def walk(self) -> None:
        """All of the file: heads of tables and pairs of a key and a value."""
        head: KeyPath = ()
        while True:
            self._skip(_APART)
            if self.at >= len(self.text):
                return
            if self.text.startswith("[", self.at):
                head = self._head()
            else:
                self._pair(head)
            self._skip(_BLANK)
            if self.at < len(self.text) and self.text[self.at] not in "\r\n#":
                raise _Lost

    def _skip(self, pattern: re.Pattern[str]) -> None:
        found = pattern.match(self.text, self.at)
        self.at = self.at if found is None else found.end()

    def _take(self, mark: str) -> bool:
        if not self.text.startswith(mark, self.at):
            return False
        self.at += len(mark)
        return True

    def _line(self) -> int:
        self.line += self.text.count("\n", self.counted, self.at)
        self.counted = self.at
        return self.line

    def _string(self) -> str | None:
        """Step over a string, None where there is none; its text as written."""
        if self.text[self.at : self.at + 1] not in ('"', "'"):
            return None
        for pattern in _STRINGS:
            found = pattern.match(self.text, self.at)
            if found is not None:
                self.at = found.end()
                return found.group()
        raise _Lost

    def _key(self) -> list[str]:
        """A key, dotted or not."""
        names = []
        while True:
            self._skip(_BLANK)
            written = self._string()
            if written is None:
                bare = _BARE.match(self.text, self.at)
                if bare is None:
                    raise _Lost
                self.at = bare.end()
                names.append(bare.group())
            else:
                names.append(tomllib.loads(f"key = {written}")["key"])
            self._skip(_BLANK)
            if not self._take("."):
                return names

    def _head(self) -> KeyPath:
        """[table] or [[array of tables]]: the path of what stands below it."""
        line, listed = self._line(), self._take("[[")
        if not listed:
            self._take("[")
        *names, last = self._key()
        if not self._take("]]" if listed else "]"):
            raise _Lost
        path: KeyPath = ()
        for name in names:
            path = (*path, name)
            self.lines.setdefault(path, line)
            if path in self.tables:  # what is said of an array of tables is said of its last one
                path = (*path, self.tables[path] - 1)
        path = (*path, last)
        if listed:
            self.lines.setdefault(path, line)
            self.tables[path] = self.tables.get(path, 0) + 1
            path = (*path, self.tables[path] - 1)
        self.lines[path] = line
        return path

    def _pair(self, head: KeyPath) -> None:
        line, path = self._line(), head
        for name in self._key():
            path = (*path, name)
            self.lines.setdefault(path, line)
        if not self._take("="):
            raise _Lost
        self._skip(_BLANK)
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        if self._string() is not None:
            return
        if self._take("["):
            self._list(path)
        elif self._take("{"):
            self._inline(path)
        else:
            found = _PLAIN.match(self.text, self.at)
            if found is None:
                raise _Lost
            self.at = found.end()

    def _list(self, path: KeyPath) -> None:
        count = 0
        self._skip(_APART)
        while not self._take("]"):
            self.lines[*path, count] = self._line()
            self._value((*path, count))
            count += 1
            self._skip(_APART)
            if not self._take(",") and not self.text.startswith("]", self.at):
                raise _Lost
            self._skip(_APART)

    def _inline(self, path: KeyPath) -> None:
        self._skip(_APART)
        while not self._take("}"):
            self._pair(path)
            self._skip(_APART)
            if not self._take(",") and not self.text.startswith("}", self.at):
                raise _Lost
            self._skip(_APART)


def _paths(value: Any, path: KeyPath = ()) -> Iterator[KeyPath]:
    """Every key path of a file as read, list items included."""
    parts = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for part, item in parts:
        yield (*path, part)
        yield from _paths(item, (*path, part))


def key_lines(text: str, raw: Mapping[str, Any]) -> dict[KeyPath, int]:
    """Line, from 1, of every key and list item of a TOML text; empty where that is not sure.

    raw: what tomllib read of it. The line of a table or a list item is that of its head, or of the first key that
    names it.
    """
    walk = _Walk(text)
    try:
        walk.walk()
        known = set(_paths(dict(raw)))
    except (_Lost, RecursionError, tomllib.TOMLDecodeError):
        return {}
    return walk.lines if walk.lines.keys() == known else {}


class LineFinder:
    """Names the lines of a case file in faults. The file is searched for lines when first asked."""

    def __init__(self, file: str, text: str, raw: Mapping[str, Any]) -> None:
        self.file, self.text, self.raw = file, text, raw
        self._lines: dict[str, int | None] | None = None

    def with_line(self, fault: Fault) -> Fault:
        """The fault with the line of its key; of a key that is missing, with that of the head of its table.

        Where a well does not state the key itself the line is that of the section it shares. No line where there is
        none to be sure of, or where the fault is one of another file.
        """
        start = f"{self.file}: "
        if fault.line is not None or not fault.where.startswith(start):
            return fault
        return replace(fault, line=self._line(fault.where.removeprefix(start)))

    def _line(self, key: str) -> int | None:
        if self._lines is None:
            self._lines = self._by_text()
        keys = [key]
        well = max((name for name in self._wells() if key.startswith(f"{name}.")), key=len, default=None)
        if well is not None:
            keys.append(key.removeprefix(f"{well}."))
        for name in keys:
            for spelled in (name, _twin(name)):
                if spelled in self._lines:
                    return self._lines[spelled]
        shorter = key
        while shorter:
            shorter = shorter[: max(shorter.rfind("."), shorter.rfind("["), 0)]
            if shorter in self._lines:
                return self._lines[shorter]
        return None

    def _wells(self) -> dict[str, int]:
        """Position of each well by what its keys begin with in a fault."""
        tables = self.raw.get("wells")
        found: dict[str, int] = {}
        for k, table in enumerate(tables if isinstance(tables, list) else ()):
            if isinstance(table, dict) and isinstance(table.get("id"), str):
                found.setdefault(f"wells.{table['id']}", k)
        return found

    def _by_text(self) -> dict[str, int | None]:
        """Lines by key path as faults write it; None where two keys are written the same."""
        lines: dict[str, int | None] = {}
        names: dict[KeyPath, str] = {("wells", k): name for name, k in self._wells().items()}
        for path, line in key_lines(self.text, self.raw).items():
            texts = [path_text(path)]
            if path[:2] in names:
                texts.append(path_text((names[path[:2]], *path[2:])))
            for text in texts:
                lines[text] = line if lines.get(text, line) == line else None
        return lines


def _twin(key: str) -> str:
    """A key path with its last name in the other units."""
    above, dot, last = key.rpartition(".")
    twin = units.si_twin(last)
    return key if twin is None else f"{above}{dot}{twin[0]}"
