"""Files that are absent, their old selves, or whole: written beside their place and renamed."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path


def write_whole(path: Path, *data: bytes | memoryview, keep: bool = False, sign: str = "") -> None:
    """Write bytes into a file beside its place and rename it when whole.

    keep: a loss of power cannot damage it either. sign: part of the name of the file beside, for files that two
    processes might write at once. OSError names the file; nothing is left beside it then, nor after an interrupt.
    """
    beside = path.with_name(f".{path.name}{sign}.part")
    try:
        with open(beside, "wb", buffering=0) as handle:
            for piece in data:
                left = memoryview(piece)
                while left:
                    left = left[handle.write(left) :]
            if keep:
                os.fsync(handle.fileno())
        os.replace(beside, path)
    except BaseException as fault:
        with contextlib.suppress(OSError):
            beside.unlink()
        if isinstance(fault, OSError):
            raise OSError(fault.errno, fault.strerror, str(path)) from None
        raise
