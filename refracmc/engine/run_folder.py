"""The folder of a run: built beside its place and moved there when complete, one run at a time, resumed by its blocks.

An earlier complete run of the same case stays whole until then, and what the user keeps there stays.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from refracmc.errors import Fault, InputError, RunFailure

from .manifest import RUN_ENTRIES, altered, carries_own_digest, file_digests, read_manifest
from .store import KEPT, block_path, read_array, write_json

SCENARIOS = "scenarios"
"""Folder of the runs of the case's scenarios, one a name."""
LOCK_PATIENCE = 2.0
"""Seconds to wait for a lock: the workers of a killed run notice its end and let go."""


def _fault(where: str, found: str, allowed: str, remedy: str) -> InputError:
    return InputError([Fault(where, found, allowed, remedy)])


def read_identity(folder: Path) -> dict[str, Any] | None:
    """What identity.json of a run folder says, or None where it is absent or damaged."""
    try:
        found = json.loads((folder / "identity.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) else None


def _remove(path: Path) -> None:
    """Remove a file, a link itself, or a folder with all it holds."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink()


def _keep_blocks(folder: Path, scenarios: Sequence[str] = ()) -> None:
    """Drop all but block files from what an interrupted run left: the rest is made anew from them.

    scenarios: whose own folders are gone through likewise.
    """
    if not folder.exists():
        return
    for entry in folder.iterdir():
        is_folder = entry.is_dir() and not entry.is_symlink()
        if entry.name == "blocks" and is_folder:
            for path in entry.iterdir():
                if path.name.startswith(".") or path.is_dir():
                    _remove(path)
        elif entry.name == SCENARIOS and is_folder and scenarios:
            for path in entry.iterdir():
                if path.name in scenarios and path.is_dir() and not path.is_symlink():
                    _keep_blocks(path)
                else:
                    _remove(path)
        elif entry.name != "identity.json":
            _remove(entry)


def _has_its_blocks(folder: Path, run: dict[str, Any]) -> bool:
    """Whether every block file of a finished run stands; run: of its manifest. InputError where one was altered."""
    whole = True
    for well in run["wells"]:
        for block in range(len(run["blocks"]["trials"])):
            path = block_path(folder, well["number"], block, KEPT)
            if not path.exists():
                whole = False
            elif read_array(path) is None:
                raise altered(path)
    return whole


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
        """The manifest of a complete run of this identity in which every file stands, or None.

        keep_trials: trials are wanted too. InputError where a file is not as the run wrote it: nothing is touched.
        """
        manifest = read_manifest(self.final)
        if manifest is None:
            return None
        run, stands = manifest["run"], file_digests(self.final)
        for name in sorted(run["files"]):
            if name in stands and stands[name] != run["files"][name]:
                raise altered(self.final / name)
        whole = run["files"].keys() == stands.keys()
        whole = _has_its_blocks(self.final, run) and whole
        for name in run.get("scenarios", ()):
            folder = self.final / SCENARIOS / name
            of_scenario = read_manifest(folder)
            whole = of_scenario is not None and _has_its_blocks(folder, of_scenario["run"]) and whole
        if not whole or read_identity(self.final) != identity or (keep_trials and not run["keep_trials"]):
            return None
        if self.work.exists():
            shutil.rmtree(self.work)
        return manifest

    def of_scenario(self, name: str) -> Path:
        """Where the run of a scenario stands while it is made."""
        return self.work / SCENARIOS / name

    def open(self, identity: dict[str, Any], resume: bool, scenarios: Sequence[str] = ()) -> None:
        """Make the working folder ready: fresh, or holding the blocks that an interrupted run left.

        identity: everything that decides the bytes. Resuming another identity raises InputError.
        """
        if resume:
            self._same_identity(identity)
            _keep_blocks(self.work, scenarios)
        elif self.work.exists():
            shutil.rmtree(self.work)
        made = [(self.work, identity)]
        made += [(self.of_scenario(name), {**identity, "scenario": name}) for name in scenarios]
        for folder, its in made:
            (folder / "blocks").mkdir(parents=True, exist_ok=True)
            write_json(folder / "identity.json", its)

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
                len(inside.parts) == 1 or carries_own_digest(inside) or inside.as_posix() in own
            )
            target = self.final / inside
            if not is_run and not os.path.lexists(target):
                target.parent.mkdir(parents=True, exist_ok=True)
                path.rename(target)
        shutil.rmtree(self._old)
