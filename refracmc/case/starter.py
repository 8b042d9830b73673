"""The starter cases: commented cases with their CSV files, one well or many, written where the engineer wants them."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from refracmc.errors import Fault, InputError

STARTER_FILES = ("case.toml", "history.csv", "sleeves.csv", "prices.csv")


def _contents(wells: int | None) -> dict[str, bytes]:
    """The files of a case by name, the case file first; wells: None for the one well of the starter case."""
    templates = files("refracmc.case") / "templates"
    if wells is None:
        return {name: (templates / name).read_bytes() for name in STARTER_FILES}
    from refracmc.case.invented_wells import MOST_WELLS, invented_field

    if not 1 <= wells <= MOST_WELLS:
        raise InputError(Fault("--count", f"{wells}", f"1 to {MOST_WELLS:,} wells", "correct the number"))
    return {
        "case.toml": (templates / "many_wells.toml").read_bytes(),
        **{name: text.encode("utf-8") for name, text in invented_field(wells).items()},
        "prices.csv": (templates / "prices.csv").read_bytes(),
    }


def write_starter(directory: str | Path, wells: int | None = None) -> tuple[Path, ...]:
    """Write a starter case into a directory, made if absent; the paths written, the case file first.

    wells: so many invented wells as a table; None: the one well of the starter case. Nothing is overwritten: InputError
    names every file already there, and then nothing is written.
    """
    contents = _contents(wells)
    folder = Path(directory)
    if folder.exists() and not folder.is_dir():
        raise InputError(Fault(str(folder), "a file", "a directory, or a new one", "name another directory"))
    targets = [folder / name for name in contents]
    standing = [path for path in targets if path.exists() or path.is_symlink()]
    if standing:
        remedy = "name a new directory, or move the file away"
        raise InputError([Fault(str(path), "a file that exists", "a free name", remedy) for path in standing])
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path in targets:
            with path.open("xb") as target:
                written.append(path)
                target.write(contents[path.name])
    except OSError as problem:
        for path in written:
            path.unlink(missing_ok=True)
        reason = problem.strerror or str(problem)
        found = f"a directory that cannot be written ({reason})"
        raise InputError(Fault(str(folder), found, "a writable directory", "name another one")) from None
    return tuple(targets)
