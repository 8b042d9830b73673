"""Folders that a command writes into: told before the work, not after it, where they cannot be used."""

from __future__ import annotations

import os
from pathlib import Path

from refracmc.errors import Fault, InputError

LONGEST_NAME = 255
"""Bytes of a name on the file systems in use."""


def _refused(folder: Path, found: str) -> InputError:
    return InputError(
        Fault(
            str(folder), found, "a folder that this user may write to", "choose another --out or move it away"
        )
    )


WRITTEN = (".csv", ".parquet", ".png", ".svg", ".part")
"""Endings of the files that commands write into such folders."""


def _check_links(folder: Path, out: Path) -> None:
    """No link between `out` and `folder`, and none in the place of a file that may be written there."""
    inside = folder.relative_to(out).parts
    for count in range(1, len(inside) + 1):
        at = out.joinpath(*inside[:count])
        if at.is_symlink():
            raise _refused(at, "a link, which is not followed")
    if folder.is_dir() and os.access(folder, os.R_OK):
        for entry in sorted(folder.iterdir()):
            if entry.suffix in WRITTEN and entry.is_symlink():
                fault = "move it away or choose another --out"
                raise InputError(Fault(str(entry), "a link, which is not followed", "a file", fault))


def check_folder(folder: Path, out: Path) -> None:
    """Raise InputError where a file stands in a folder's place or its parents', or they are read-only, or where a
    link stands inside the output folder `out` (which may be one itself). Nothing is made.
    """
    _check_links(folder, out)
    at = folder
    while not os.path.lexists(at) and at != at.parent:
        if len(os.fsencode(at.name)) > LONGEST_NAME:
            raise _refused(at, f"a name of more than {LONGEST_NAME} bytes")
        at = at.parent
    if not at.is_dir():
        raise _refused(at, "a file")
    if not os.access(at, os.W_OK | os.X_OK):
        raise _refused(at, "a folder that cannot be written")


def make_folder(folder: Path) -> None:
    """Make a folder and its parents; InputError where that is not possible."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise _refused(folder, f"a folder that cannot be made ({problem.strerror})") from None
