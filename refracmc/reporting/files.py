"""Names of the files of a report."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence


def file_stems(wells: Sequence[str]) -> Mapping[str, str]:
    """Well id -> part of a file name: letters, digits, ``._-`` kept, all else ``_``; doubles get a number."""
    stems: dict[str, str] = {}
    taken: set[str] = set()
    for well in wells:
        stem = re.sub(r"[^A-Za-z0-9._-]", "_", well).strip(".") or "_"
        number, name = 2, stem
        while name.lower() in taken:
            name, number = f"{stem}-{number}", number + 1
        taken.add(name.lower())
        stems[well] = name
    return stems
