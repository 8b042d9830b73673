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


def check_folder(folder: Path) -> None:
    """Raise InputError where a file stands in a folder's place or its parents', or they are read-only.

    Nothing is made.
    """
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
