"""A command line whose disk fills up: from the n-th write on, nothing more can be written under a folder.

    python -m benchmarks.full_disk N HOW COUNT FOLDER run case.toml --out FOLDER ...

Writes are files opened to be written, renamed or removed for another, and folders made, by the command and its
workers together; COUNT is a file that gets their number in the end. HOW is `open` (the write itself is refused, as
where no room is left for a name) or `bytes` (the file takes a few bytes, then no more). N = 0: never full.
"""

from __future__ import annotations

import errno
import mmap
import os
import resource
import runpy
import signal
import struct
import sys
from pathlib import Path

MOST_BYTES = 700
"""A file that is begun on a full disk takes up to so many, by its number."""


class FillingDisk:
    """An audit hook that counts the writes under a folder, in memory that forked workers share."""

    def __init__(self, folder: Path, full_at: int, how: str) -> None:
        self.folder, self.full_at, self.how = os.path.abspath(folder), full_at, how
        self.shared = mmap.mmap(-1, 8)

    @property
    def count(self) -> int:
        """Writes so far."""
        return int(struct.unpack("q", self.shared[:8])[0])

    def __call__(self, event: str, arguments: tuple[object, ...]) -> None:
        """Refuse a write, or cut it short, once the disk is full."""
        if event == "open":
            path, _, flags = arguments
            writes = isinstance(flags, int) and flags & (os.O_WRONLY | os.O_RDWR)
        else:
            path, writes = (arguments or (None,))[0], event in ("os.rename", "os.mkdir")
        if not writes or not isinstance(path, str | os.PathLike):
            return
        if not os.path.abspath(path).startswith(self.folder):
            return
        self.shared[:8] = struct.pack("q", self.count + 1)
        if not self.full_at or self.count < self.full_at:
            return
        if self.how == "bytes":
            resource.setrlimit(
                resource.RLIMIT_FSIZE,
                (self.full_at * 37 % MOST_BYTES, resource.getrlimit(resource.RLIMIT_FSIZE)[1]),
            )
        else:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), os.fspath(path))


def main() -> None:
    """Run from the command line."""
    full_at, how, count, folder, *words = sys.argv[1:]
    disk = FillingDisk(Path(folder), int(full_at), how)
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    sys.addaudithook(disk)
    sys.argv = ["refracmc", *words]
    try:
        runpy.run_module("refracmc", run_name="__main__")
    finally:
        Path(count).write_text(str(disk.count))


if __name__ == "__main__":
    main()
