"""The starter case: a small commented case with its CSV files, copied where the engineer wants it."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from refracmc.errors import Fault, InputError

STARTER_FILES = ("case.toml", "history.csv", "sleeves.csv", "prices.csv")


def write_starter(directory: str | Path) -> tuple[Path, ...]:
    """Write the starter case into a directory, made if absent; the paths written, the case file first.

    Nothing is overwritten: InputError names every file already there, and then nothing is written.
    """
    folder = Path(directory)
    if folder.exists() and not folder.is_dir():
        raise InputError(Fault(str(folder), "a file", "a directory, or a new one", "name another directory"))
    targets = [folder / name for name in STARTER_FILES]
    standing = [path for path in targets if path.exists() or path.is_symlink()]
    if standing:
        remedy = "name a new directory, or move the file away"
        raise InputError([Fault(str(path), "a file that exists", "a free name", remedy) for path in standing])
    templates = files("refracmc.case") / "templates"
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path in targets:
            with path.open("xb") as target:
                written.append(path)
                target.write((templates / path.name).read_bytes())
    except OSError as problem:
        for path in written:
            path.unlink(missing_ok=True)
        reason = problem.strerror or str(problem)
        found = f"a directory that cannot be written ({reason})"
        raise InputError(Fault(str(folder), found, "a writable directory", "name another one")) from None
    return tuple(targets)
