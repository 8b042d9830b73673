"""Files that are absent, their old selves, or whole: written beside their place and renamed."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO


@contextlib.contextmanager
def whole_file(path: Path, keep: bool = False, sign: str = "") -> Iterator[BinaryIO]:
    """A file beside a place, open to be written; it is renamed into the place if the block ends without a fault.

    keep: a loss of power cannot damage it either. sign: part of the name of the file beside, for files that two
    processes might write at once. OSError names the file; nothing is left beside it then, nor after an interrupt.
    """
    beside = path.with_name(f".{path.name}{sign}.part")
    try:
        with open(beside, "wb") as handle:
            yield handle
            if keep:
                handle.flush()
                os.fsync(handle.fileno())
        os.replace(beside, path)
    except BaseException as fault:
        with contextlib.suppress(OSError):
            beside.unlink()
        if isinstance(fault, OSError):
            raise OSError(fault.errno, fault.strerror, str(path)) from None
        raise


def write_whole(path: Path, *data: bytes | memoryview, keep: bool = False, sign: str = "") -> None:
    """Write bytes as a file that is whole or not there (`whole_file`)."""
    with whole_file(path, keep, sign) as handle:
        for piece in data:
            handle.write(piece)
