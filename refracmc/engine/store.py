"""Block files on disk: written beside and renamed when whole, checked by digest when read.

A block file is one NumPy array file (readable by numpy.load) followed by the SHA-256 of what stands before.
A run is built in a hidden folder beside its final place and moved there when complete, so that an earlier
complete run of the same case stays whole until then. A lock keeps two runs out of one folder.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.errors import Fault, InputError, RunFailure

Array = NDArray[np.float64]
KEPT = "values"
EXTRA = "more"
PARTS = "parts"
_DIGEST = 32
RUN_ENTRIES = frozenset(
    [
        "blocks",
        "charts",
        "tables",
        "identity.json",
        "manifest.json",
        "summary.csv",
        "summary.parquet",
        "inputs.parquet",
        "results.parquet",
        "report.html",
    ]
)
"""What a run writes into its folder; anything else found there is the user's and is kept."""


def write_atomic(path: Path, data: bytes) -> None:
    """Write bytes so that `path` is either absent, its old self, or whole."""
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with open(beside, "wb") as handle:
            handle.write(data)
            handle.flush()
            os.fsync(handle.fileno())
        os.replace(beside, path)
    except OSError as fault:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise RunFailure(
            f"cannot write {path}: {fault.strerror or fault}. Free space or choose --out."
        ) from None


def write_json(path: Path, content: Any) -> None:
    """Write JSON with sorted keys, whole or not at all."""
    write_atomic(path, (json.dumps(content, indent=2, sort_keys=True) + "\n").encode())


def array_bytes(array: Array) -> bytes:
    """NumPy file format of an array, then the SHA-256 of it."""
    buffer = io.BytesIO()
    np.save(buffer, np.ascontiguousarray(array), allow_pickle=False)
    data = buffer.getvalue()
    return data + hashlib.sha256(data).digest()


def read_array(path: Path) -> Array | None:
    """The array of a block file, or None where it is absent, truncated or altered."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return None
    body, digest = data[:-_DIGEST], data[-_DIGEST:]
    if len(data) <= _DIGEST or hashlib.sha256(body).digest() != digest:
        return None
    array: Array = np.load(io.BytesIO(body), allow_pickle=False)
    return array


def block_path(folder: Path, well: int, block: int, kind: str) -> Path:
    """Where the block `block` of well number `well` (from 0, in the order of the case) is kept."""
    return folder / "blocks" / f"well{well:04d}-block{block:05d}.{kind}.npy"


def write_block(folder: Path, well: int, block: int, arrays: dict[str, Array]) -> None:
    """Write the files of one block; the file named KEPT comes last and marks the block as done."""
    for kind in sorted(arrays, key=lambda name: name == KEPT):
        write_atomic(block_path(folder, well, block, kind), array_bytes(arrays[kind]))


def read_block(folder: Path, well: int, block: int) -> dict[str, Array] | None:
    """All files of a block, or None if any is absent or damaged."""
    found = {kind: read_array(block_path(folder, well, block, kind)) for kind in (KEPT, EXTRA, PARTS)}
    if any(value is None for value in found.values()):
        return None
    return {kind: value for kind, value in found.items() if value is not None}


def read_values(folder: Path, well: int, blocks: int) -> Array:
    """Kept measures of a finished run, (measures, strategies, trials); manifest.json names both axes.

    Raises RunFailure where a block file is absent or damaged.
    """
    parts = []
    for block in range(blocks):
        array = read_array(block_path(folder, well, block, KEPT))
        if array is None:
            where = block_path(folder, well, block, KEPT)
            raise RunFailure(f"{where}: block file absent or damaged; run the case again with --resume.")
        parts.append(array)
    return np.concatenate(parts, axis=2)


def read_identity(folder: Path) -> dict[str, Any] | None:
    """What identity.json of a run folder says, or None where it is absent or damaged."""
    try:
        found = json.loads((folder / "identity.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) else None


class RunFolder:
    """One case's place on disk: `final` when complete, `work` until then."""

    def __init__(self, out: Path, name: str) -> None:
        self.out, self.final = out, out / name
        self.work = out / f".{name}.partial"
        self._old = out / f".{name}.replaced"
        self._lock = out / f".{name}.lock"

    @contextlib.contextmanager
    def locked(self) -> Iterator[None]:
        """Hold the folder; a second run into it is refused."""
        import fcntl

        try:
            self.out.mkdir(parents=True, exist_ok=True)
            handle = open(self._lock, "a+")  # noqa: SIM115  (closed below, after the lock is released)
        except OSError as fault:
            raise InputError(
                [
                    Fault(
                        where=str(self.out),
                        found=f"an output folder that cannot be written ({fault.strerror})",
                        allowed="a folder that this user may write to",
                        remedy="choose another --out or change its permissions",
                    )
                ]
            ) from None
        with handle:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                raise InputError(
                    [
                        Fault(
                            where=str(self.final),
                            found="another run that is writing into it now",
                            allowed="one run at a time into one output folder",
                            remedy="wait for it to end or choose another --out",
                        )
                    ]
                ) from None
            try:
                yield
            finally:
                with contextlib.suppress(OSError):
                    self._lock.unlink()

    def open(self, identity: dict[str, Any], resume: bool) -> None:
        """Make the working folder ready: fresh, or holding what an interrupted run left.

        identity: everything that decides the bytes. Resuming another identity raises InputError.
        """
        if self._old.exists() and not self.final.exists():
            self._old.rename(self.final)
        source = self._resumable() if resume else None
        if source is not None:
            stored = read_identity(source) or {}
            changed = sorted(key for key in identity if stored.get(key) != identity[key])
            if changed:
                raise InputError(
                    [
                        Fault(
                            where=str(self.final),
                            found=f"an interrupted run that differs from this one in: {', '.join(changed)}",
                            allowed="the same case, inputs, seed, trials and release as the run to resume",
                            remedy="restore them, or run without --resume to start afresh",
                        )
                    ]
                )
            if source == self.final:
                self._copy_blocks()
        elif self.work.exists():
            shutil.rmtree(self.work)
        try:
            (self.work / "blocks").mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise RunFailure(f"cannot write {self.work}: {fault.strerror}") from None
        write_json(self.work / "identity.json", identity)

    def _resumable(self) -> Path | None:
        for folder in (self.work, self.final):
            if read_identity(folder) is not None:
                return folder
        return None

    def _copy_blocks(self) -> None:
        (self.work / "blocks").mkdir(parents=True, exist_ok=True)
        for path in sorted((self.final / "blocks").glob("*.npy")):
            shutil.copy2(path, self.work / "blocks" / path.name)

    def finish(self) -> None:
        """Put the complete run in its place; an earlier one is replaced only now, foreign files stay."""
        if self._old.exists():
            shutil.rmtree(self._old)
        if self.final.exists():
            self.final.rename(self._old)
        self.work.rename(self.final)
        if self._old.exists():
            for entry in self._old.iterdir():
                if entry.name not in RUN_ENTRIES and not (self.final / entry.name).exists():
                    shutil.move(str(entry), str(self.final / entry.name))
            shutil.rmtree(self._old)
