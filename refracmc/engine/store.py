"""Block files on disk: written beside and renamed when whole, checked by digest when read.

A block file is one NumPy array file (readable by numpy.load) followed by the SHA-256 of its name, of the identity of
its run and of what stands before: a file that stands in the place of another is found as an altered one is.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.errors import RunFailure
from refracmc.whole_file import write_whole

from .manifest import read_checked, read_manifest

Array = NDArray[np.float64]
KEPT = "values"
EXTRA = "more"
PARTS = "parts"
INPUTS = "inputs"
PASSING_KINDS = (EXTRA, PARTS, INPUTS)
"""Kinds of block files that serve the making of the run only."""
DIGEST = 32
"""Bytes of the SHA-256 at the end of a block file."""


def write_atomic(path: Path, *data: bytes | memoryview, keep: bool = True) -> None:
    """Write a file of a run as `write_whole` does. RunFailure where it cannot be written."""
    try:
        write_whole(path, *data, keep=keep, sign=f".{os.getpid()}")
    except OSError as fault:
        raise RunFailure(
            f"cannot write {path}: {fault.strerror or fault}. Free space or choose --out; finished blocks are kept: "
            "run again with --resume."
        ) from None


def write_json(path: Path, content: Any) -> None:
    """Write JSON with sorted keys, whole or not at all."""
    write_atomic(path, (json.dumps(content, indent=2, sort_keys=True) + "\n").encode())


def _seal(path: Path) -> hashlib._Hash:
    """The digest of a block file, begun with which one it is: its name, and what its run is made of."""
    digest = hashlib.sha256(path.name.encode())
    with contextlib.suppress(OSError):
        digest.update((path.parent.parent / "identity.json").read_bytes())
    return digest


def _is_sealed(path: Path, data: bytes) -> bool:
    digest = _seal(path)
    digest.update(memoryview(data)[:-DIGEST])
    return len(data) > DIGEST and digest.digest() == data[-DIGEST:]


def write_array(path: Path, array: Array | Sequence[Array], *, keep: bool = True) -> None:
    """Write the NumPy file format of an array, then its digest, as `write_atomic` does.

    A sequence of arrays of one shape is written as the array that stacks them.
    """
    pieces = [np.ascontiguousarray(piece) for piece in ([array] if isinstance(array, np.ndarray) else array)]
    about = np.lib.format.header_data_from_array_1_0(pieces[0])
    if not isinstance(array, np.ndarray):
        about["shape"] = (len(pieces), *pieces[0].shape)
    if any(piece.shape != pieces[0].shape or piece.dtype != pieces[0].dtype for piece in pieces):
        raise ValueError("pieces of one array: found different shapes or types; allowed: one")
    head = io.BytesIO()
    np.lib.format.write_array_header_1_0(head, about)
    data: list[bytes | memoryview] = [
        head.getvalue(),
        *(piece.reshape(-1).view(np.uint8).data for piece in pieces),
    ]
    digest = _seal(path)
    for part in data:
        digest.update(part)
    write_atomic(path, *data, digest.digest(), keep=keep)


def read_array(path: Path) -> Array | None:
    """The array of a block file, or None where it is absent, truncated, altered or another's."""
    try:
        data = path.read_bytes()
    except (FileNotFoundError, IsADirectoryError):
        return None
    if not _is_sealed(path, data):
        return None
    try:
        array: Array = np.load(io.BytesIO(data[:-DIGEST]), allow_pickle=False)
    except (ValueError, EOFError):
        return None
    return array


def damaged(path: Path) -> RunFailure:
    """What to say of a block file that is not there, or not as it was written."""
    return RunFailure(f"{path}: block file absent, damaged or another's; run again with --resume.")


_HEAD = 1 << 12
"""Bytes that hold the head of a block file."""
_WRITTEN: dict[str, int] = {}
"""Signatures of the block files that the run of this process has written, by path."""


def _signature(found: os.stat_result) -> int:
    """Which file, how long, and when its bytes and its entry were changed last, as one number."""
    return hash((found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns))


def remember(signatures: dict[str, int] | None = None) -> None:
    """Take these files as just written from their arrays (see `write_block`); None: forget all."""
    if signatures is None:
        _WRITTEN.clear()
    else:
        _WRITTEN.update(signatures)


def check_file(path: Path, shape: tuple[int, ...]) -> int:
    """Compare a block file with its digest and shape; returns where its numbers begin. Raises RunFailure.

    The bytes of a file that this run wrote, and that nothing has touched since, are not compared again.
    """
    try:
        with open(path, "rb", buffering=0) as handle:
            whole = _WRITTEN.get(str(path)) != _signature(os.fstat(handle.fileno()))
            data = handle.readall() if whole else handle.read(_HEAD)
    except OSError:
        raise damaged(path) from None
    if whole and not _is_sealed(path, data):
        raise damaged(path)
    head = io.BytesIO(data[:_HEAD])
    np.lib.format.read_magic(head)
    found, fortran, kind = np.lib.format.read_array_header_1_0(head)
    if found != shape or fortran or kind != np.float64:
        raise damaged(path)
    return head.tell()


def block_path(folder: Path, well: int, block: int, kind: str) -> Path:
    """Where the block `block` of well number `well` (from 0, in the order of the case) is kept."""
    return folder / "blocks" / f"well{well:04d}-block{block:05d}.{kind}.npy"


def write_block(
    folder: Path, well: int, block: int, arrays: Mapping[str, Array | Sequence[Array]]
) -> dict[str, int]:
    """Write the files of one block; the file named KEPT comes last and marks the block as done.

    The others go when the run is complete: what a loss of power does to them their digests tell. Returns what
    `remember` takes, so that what this run has written is not read once more for its digest.
    """
    signatures = {}
    for kind in sorted(arrays, key=lambda name: name == KEPT):
        path = block_path(folder, well, block, kind)
        write_array(path, arrays[kind], keep=kind == KEPT)
        signatures[str(path)] = _signature(os.stat(path))
    return signatures


def read_block(folder: Path, well: int, block: int) -> dict[str, Array] | None:
    """All files of a block, or None if any is absent or damaged."""
    found = {kind: read_array(block_path(folder, well, block, kind)) for kind in (KEPT, *PASSING_KINDS)}
    if any(value is None for value in found.values()):
        return None
    return {kind: value for kind, value in found.items() if value is not None}


def read_values(folder: Path, well: int, blocks: int) -> Array:
    """Kept measures of a finished run, (measures, strategies, trials); manifest.json names both axes.

    Raises RunFailure where a block file is absent or damaged, InputError where the run is not as it was written.
    """
    if read_manifest(folder) is not None:
        read_checked(folder, "identity.json")
    parts = []
    for block in range(blocks):
        array = read_array(block_path(folder, well, block, KEPT))
        if array is None:
            raise damaged(block_path(folder, well, block, KEPT))
        parts.append(array)
    return np.concatenate(parts, axis=2)
