"""Reading a file that the user names: whole, and only where it is a file of a size that it can be meant to have."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

MOST_OF_CASE = 16 << 20
"""Bytes of the largest case file."""
MOST_OF_TABLE = 512 << 20
"""Bytes of the largest table or list of numbers."""


def read_input(path: Path, most: int) -> bytes:
    """The bytes of a file; OSError, told before it is opened, for a pipe or device, or for more than `most` bytes."""
    found = os.stat(path)
    if stat.S_ISDIR(found.st_mode):
        raise IsADirectoryError(errno.EISDIR, "a directory", str(path))
    if not stat.S_ISREG(found.st_mode):
        raise OSError(errno.EINVAL, "a pipe, socket or device is no file", str(path))
    if found.st_size <= most:
        with open(path, "rb") as handle:
            data = handle.read(most + 1)
        if len(data) <= most:
            return data
    size = f"{found.st_size / 1e6:,.0f} MB" if found.st_size > most else "more"
    raise OSError(errno.EFBIG, f"{size}, where {most / 1e6:,.0f} MB is the most", str(path))
