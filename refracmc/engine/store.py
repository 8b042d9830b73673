"""Block files on disk: written beside and renamed when whole, checked by digest when read.

A block file is one NumPy array file (readable by numpy.load) followed by the SHA-256 of its name, of the identity of
its run and of what stands before: a file that stands in the place of another is found as an altered one is.
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
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from filelock import FileLock, Timeout
from numpy.typing import NDArray

from refracmc.errors import Fault, InputError, RunFailure

Array = NDArray[np.float64]
KEPT = "values"
EXTRA = "more"
PARTS = "parts"
INPUTS = "inputs"
PASSING_KINDS = (EXTRA, PARTS, INPUTS)
"""Kinds of block files that serve the making of the run only."""
DIGEST = 32
"""Bytes of the SHA-256 at the end of a block file."""
LOCK_PATIENCE = 2.0
"""Seconds to wait for a lock: the workers of a killed run notice its end and let go."""
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


def _fault(where: str, found: str, allowed: str, remedy: str) -> InputError:
    return InputError([Fault(where, found, allowed, remedy)])


def write_atomic(path: Path, *data: bytes | memoryview, keep: bool = True) -> None:
    """Write bytes so that `path` is absent, its old self, or whole; without `keep` a loss of power may damage it."""
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with open(beside, "wb", buffering=0) as handle:
            for piece in data:
                left = memoryview(piece)
                while left:
                    left = left[handle.write(left) :]
            if keep:
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

    Raises RunFailure where a block file is absent or damaged.
    """
    parts = []
    for block in range(blocks):
        array = read_array(block_path(folder, well, block, KEPT))
        if array is None:
            raise damaged(block_path(folder, well, block, KEPT))
        parts.append(array)
    return np.concatenate(parts, axis=2)


def read_identity(folder: Path) -> dict[str, Any] | None:
    """What identity.json of a run folder says, or None where it is absent or damaged."""
    try:
        found = json.loads((folder / "identity.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) else None


def file_digests(folder: Path) -> dict[str, str]:
    """SHA-256 of every file a run wrote but its block files and the manifest, by path inside the folder."""
    found = {}
    for entry in sorted(RUN_ENTRIES - {"blocks", "manifest.json"}):
        at = folder / entry
        files = [at] if at.is_file() else sorted(path for path in at.rglob("*") if path.is_file())
        for path in files:
            with open(path, "rb") as handle:
                found[path.relative_to(folder).as_posix()] = hashlib.file_digest(handle, "sha256").hexdigest()
    return found


def _remove(path: Path) -> None:
    """Remove a file, a link itself, or a folder with all it holds."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink()


class RunFolder:
    """One case's place on disk: `final` when complete, `work` until then."""

    def __init__(self, out: Path, name: str) -> None:
        self.out, self.final = out, out / name
        self.work = out / f".{name}.partial"
        self._old = out / f".{name}.replaced"
        self._lock = out / f".{name}.lock"

    @contextlib.contextmanager
    def locked(self) -> Iterator[None]:
        """Hold the folder. Raises RunFailure where another run holds it, InputError where it cannot be used."""
        for place, kind, is_kind in (
            (self.final, "a folder", os.path.isdir),
            (self.work, "a folder", os.path.isdir),
            (self._old, "a folder", os.path.isdir),
            (self._lock, "a lock file", os.path.isfile),
        ):
            if os.path.islink(place) or (os.path.lexists(place) and not is_kind(place)):
                found = "a link" if os.path.islink(place) else "a folder" if place.is_dir() else "a file"
                raise _fault(str(place), found, f"{kind}, or a free name", "move it or choose another --out")
        lock = FileLock(self._lock, timeout=LOCK_PATIENCE)
        try:
            self.out.mkdir(parents=True, exist_ok=True)
            lock.acquire()
        except Timeout:
            raise RunFailure(
                f"{self.final}: another run is writing into it now; wait for it to end or choose another --out."
            ) from None
        except OSError as fault:
            raise _fault(
                str(self.out),
                f"an output folder that cannot be written ({fault.strerror})",
                "a folder that this user may write to",
                "choose another --out or change its permissions",
            ) from None
        try:
            self._settle()
            yield
        finally:
            with contextlib.suppress(OSError):
                self._lock.unlink()  # while it is held: who waits for it sees that it is gone, and makes a new one
            lock.release()

    def _settle(self) -> None:
        """Complete the exchange of an old run for a new one where a kill came between its steps."""
        if self._old.exists():
            if not self.final.exists():
                self._old.rename(self.final)
            else:
                self._keep_foreign()

    def finished(self, identity: dict[str, Any], keep_trials: bool) -> dict[str, Any] | None:
        """The manifest of a complete run of this identity in which every file is whole, or None.

        keep_trials: trials are wanted too.
        """
        try:
            manifest: dict[str, Any] = json.loads((self.final / "manifest.json").read_text(encoding="utf-8"))
            run = manifest["run"]
            wells, blocks = [well["number"] for well in run["wells"]], range(len(run["blocks"]["trials"]))
            if keep_trials and not run["keep_trials"]:
                return None
            if read_identity(self.final) != identity or run["files"] != file_digests(self.final):
                return None
        except (OSError, ValueError, KeyError, TypeError):
            return None
        whole = all(
            read_array(block_path(self.final, well, block, KEPT)) is not None
            for well in wells
            for block in blocks
        )
        if whole and self.work.exists():
            shutil.rmtree(self.work)
        return manifest if whole else None

    def open(self, identity: dict[str, Any], resume: bool) -> None:
        """Make the working folder ready: fresh, or holding the blocks that an interrupted run left.

        identity: everything that decides the bytes. Resuming another identity raises InputError.
        """
        if resume:
            self._same_identity(identity)
            self._only_blocks()
        elif self.work.exists():
            shutil.rmtree(self.work)
        (self.work / "blocks").mkdir(parents=True, exist_ok=True)
        write_json(self.work / "identity.json", identity)

    def _same_identity(self, identity: dict[str, Any]) -> None:
        for folder, what in ((self.work, "an interrupted"), (self.final, "a finished")):
            stored = read_identity(folder)
            if stored is None:
                continue
            changed = sorted(key for key in {*identity, *stored} if stored.get(key) != identity.get(key))
            if changed:
                raise _fault(
                    str(self.final),
                    f"{what} run that differs from this one in: {', '.join(changed)}",
                    "the same case, inputs, seed, trials and release as the run to resume",
                    "restore them, or run without --resume to start afresh",
                )
            return
        if self.work.exists():
            shutil.rmtree(self.work)  # blocks of nobody knows what

    def _only_blocks(self) -> None:
        """Drop all but block files from what an interrupted run left: the rest is made anew from them."""
        if not self.work.exists():
            return
        for entry in self.work.iterdir():
            if entry.name == "blocks" and entry.is_dir():
                for path in entry.iterdir():
                    if path.name.startswith(".") or path.is_dir():
                        _remove(path)
            elif entry.name != "identity.json":
                _remove(entry)

    def finish(self) -> None:
        """Put the complete run in its place; an earlier one is replaced only now, foreign files stay."""
        if self.final.exists():
            self.final.rename(self._old)
        self.work.rename(self.final)
        self._keep_foreign()

    def _keep_foreign(self) -> None:
        """Bring over what the earlier folder holds beside its run's own files, and remove the rest."""
        if not self._old.exists():
            return
        try:
            own = set(json.loads((self._old / "manifest.json").read_text())["run"]["files"])
        except (OSError, ValueError, KeyError, TypeError):
            own = set()  # no run's folder, or nobody knows any more: what the new run has no file for stays
        for path in sorted(path for path in self._old.rglob("*") if not path.is_dir() or path.is_symlink()):
            inside = path.relative_to(self._old)
            is_run = inside.parts[0] in RUN_ENTRIES and (
                len(inside.parts) == 1
                or (inside.parts[0] == "blocks" and inside.suffix == ".npy")
                or inside.as_posix() in own
            )
            target = self.final / inside
            if not is_run and not os.path.lexists(target):
                target.parent.mkdir(parents=True, exist_ok=True)
                path.rename(target)
        shutil.rmtree(self._old)
