"""The manifest of a finished run and the digests it carries: what was altered or exchanged since is found."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path, PurePath
from typing import Any

from refracmc.errors import Fault, InputError

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
        "wells",
        "scenarios",
    ]
)
"""What a run writes into its folder; anything else found there is the user's and is kept."""


def file_digests(folder: Path) -> dict[str, str]:
    """SHA-256 of every file a run wrote but its block files and the manifest, by path inside the folder."""
    found = {}
    for entry in sorted(RUN_ENTRIES - {"blocks", "manifest.json"}):
        at = folder / entry
        files = [at] if at.is_file() else sorted(path for path in at.rglob("*") if path.is_file())
        for path in files:
            if carries_own_digest(path.relative_to(folder)):
                continue
            with open(path, "rb") as handle:
                found[path.relative_to(folder).as_posix()] = hashlib.file_digest(handle, "sha256").hexdigest()
    return found


def carries_own_digest(inside: PurePath) -> bool:
    """Whether a file of a run, by its path inside the folder, is a block file or the manifest, of a scenario's too."""
    parts = inside.parts[2:] if inside.parts[0] == "scenarios" else inside.parts
    return parts == ("manifest.json",) or (parts[:1] == ("blocks",) and inside.suffix == ".npy")


def sealed(manifest: dict[str, Any]) -> dict[str, Any]:
    """A manifest with the digest of its plain JSON, keys sorted, as its key `host.manifest_sha256`."""
    host = {key: value for key, value in manifest["host"].items() if key != "manifest_sha256"}
    text = json.dumps({**manifest, "host": host}, sort_keys=True, separators=(",", ":"))
    return {**manifest, "host": {**host, "manifest_sha256": hashlib.sha256(text.encode()).hexdigest()}}


def altered(path: Path) -> InputError:
    """What to say of a file of a finished run that is not as the run wrote it."""
    fault = Fault(
        str(path),
        "a file of a finished run that was altered or exchanged",
        "the file as the run wrote it",
        "restore it, or run without --resume to start afresh",
    )
    return InputError([fault])


def read_manifest(folder: Path) -> dict[str, Any] | None:
    """The manifest of a finished run, None where there is none. InputError where it is not as the run wrote it."""
    path = folder / "manifest.json"
    try:
        manifest: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        is_own = manifest["host"]["manifest_sha256"] == sealed(manifest)["host"]["manifest_sha256"]
    except OSError:
        return None
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
        is_own = False
    if not is_own:
        raise altered(path)
    return manifest


def read_checked(folder: Path, name: str) -> bytes:
    """A file of a finished run. InputError where it, or the manifest, is absent or not as the run wrote it."""
    manifest, path = read_manifest(folder), folder / name
    data = path.read_bytes() if path.is_file() else b""
    if manifest is None or manifest["run"]["files"].get(name) != hashlib.sha256(data).hexdigest():
        raise altered(path if manifest else folder / "manifest.json")
    return data
