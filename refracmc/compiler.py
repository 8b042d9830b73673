"""How the rules of a trial are compiled: one source, plain Python loops, compiled for runs.

Five ways to mark a function, all of the same source:

`compiled`  may be called from Python and may make arrays; everything else it calls is one of the last three
`entry`     may be called from Python, with every array that it and those it calls work on; it makes none
`rule`      called from compiled code alone; neither makes nor returns arrays
`inlined`   as `rule`, written into its one caller: where many arrays are handed over, passing them takes longer than
            the work
`summed`    as `rule`, for sums whose terms may be added in any order

A function is compiled when it is first called, with those it calls; until then the compiler itself is not loaded.
With NUMBA_DISABLE_JIT=1 in the environment all of them run as plain Python, for a debugger and as an oracle of the
compiler.

Compiled code is kept on disk in a folder that carries the digest of all sources it may be made of, so that a change
in any of them is never answered by code made before. Multiplications and additions may be contracted; no other liberty
is taken with the order of operations, but in `summed`.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable
from dis import get_instructions
from functools import cache, cached_property, update_wrapper
from pathlib import Path
from pickle import UnpicklingError
from types import FunctionType
from typing import Any, TypeVar, cast

import numpy as np

__all__ = ["compiled", "entry", "inlined", "rule", "summed"]

F = TypeVar("F", bound=Callable[..., Any])
PACKAGE = Path(__file__).parent
DISABLED = os.environ.get("NUMBA_DISABLE_JIT", "0") not in ("", "0")
SOURCES = ("production", "job", "economics", "engine")
"""Folders with functions that are compiled."""
_ANY = {"cache": True, "error_model": "numpy", "nogil": True, "fastmath": {"contract"}}


def _first(row: Any) -> Any:
    return row[0]


@cache
def references_may_go_uncounted() -> bool:
    """Whether the compiler takes the option that leaves references to arrays uncounted.

    It is not documented. Without it the code is right, and takes more than twice as long.
    """
    try:
        return bool(_Marked(_first, {"cache": True, "_nrt": False})(np.ones(1)) == 1.0)
    except Exception:  # whatever a release of the compiler says of an option it does not know
        return False


@cache
def cache_folder() -> str | None:
    """Folder of compiled code: NUMBA_CACHE_DIR where it is set, else beside the package, else the user's, and in it
    one named by the digest of the package's sources. None where it cannot be written: nothing is kept then."""
    sources = sorted(PACKAGE.rglob("*.py"))
    digest = hashlib.sha256()
    for path in sources:
        if path.parent == PACKAGE or path.relative_to(PACKAGE).parts[0] in SOURCES:
            digest.update(path.name.encode())
            digest.update(path.read_bytes())
    name = f"rules-{digest.hexdigest()[:16]}"
    import numba

    config: Any = numba.config
    stated = config.CACHE_DIR or ""
    for parent in [Path(stated)] if stated else [PACKAGE / "__pycache__", *_of_the_user()]:
        try:
            (parent / name).mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=parent / name):
                pass
        except OSError:
            continue
        if not stated:
            _forget_others(parent, name)
        return str(parent / name)
    return None


def _of_the_user() -> list[Path]:
    """The folder of the user's caches, none where the system knows no such place."""
    try:
        folder = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    except RuntimeError:  # no HOME, and a user without a name
        return []
    return [folder / "refracmc"] if folder.is_absolute() else []


def _forget_others(parent: Path, name: str) -> None:
    """Remove the compiled code of other sources, all but the two used last."""
    others = [path for path in parent.glob("rules-*") if path.name != name]
    others.sort(key=lambda path: path.stat().st_mtime, reverse=True)
    for path in others[2:]:
        shutil.rmtree(path, ignore_errors=True)


def _forget_damaged() -> None:
    """Remove the indices of the compiled code, so that it is made anew and kept in the place of what is there."""
    folder = cache_folder()
    for path in Path(folder).rglob("*.nbi") if folder else ():
        path.unlink(missing_ok=True)


def _njit(function: Callable[..., Any], options: dict[str, Any]) -> Any:
    """Hand a function to the compiler, its code to be kept in `cache_folder`."""
    import numba

    config: Any = numba.config
    folder, stated = cache_folder(), config.CACHE_DIR
    if folder is None:
        return numba.njit(**options | {"cache": False})(function)
    config.CACHE_DIR = folder
    try:
        return numba.njit(**options)(function)
    finally:
        config.CACHE_DIR = stated


class _Marked:
    """A function to be compiled when it is first called, with the marked ones it calls."""

    def __init__(self, function: Callable[..., Any], options: dict[str, Any]) -> None:
        update_wrapper(self, function)
        self._function, self._options = function, options

    def __call__(self, *arguments: Any) -> Any:
        try:
            return self._compiled(*arguments)
        except (EOFError, UnpicklingError):  # code kept on disk is damaged
            _forget_damaged()
        except OSError:  # or cannot be read or written; no rule opens a file
            self._options = self._options | {"cache": False}
            vars(self).pop("_compiled", None)
        return self._compiled(*arguments)

    @cached_property
    def _compiled(self) -> Any:
        own, options = self._function, self._options
        if "_nrt" in options and own is not _first and not references_may_go_uncounted():
            options = {name: value for name, value in options.items() if name != "_nrt"}
        around = dict(own.__globals__)
        for name in {step.argval for step in get_instructions(own) if step.opname == "LOAD_GLOBAL"}:
            if isinstance(called := around.get(name), _Marked):
                around[name] = called._compiled
        copy = FunctionType(own.__code__, around, own.__name__, own.__defaults__, own.__closure__)
        copy.__qualname__, copy.__module__ = own.__qualname__, own.__module__
        return _njit(copy, options)


def _decorate(function: F, options: dict[str, Any]) -> F:
    return function if DISABLED else cast("F", _Marked(function, options))


def _called_from_compiled_code() -> dict[str, Any]:
    """Options of what is kept on disk with its callers, not by itself."""
    return _ANY | {"cache": False, "no_cfunc_wrapper": True, "no_cpython_wrapper": True, "_nrt": False}


def compiled(function: F) -> F:
    """Compile a function that Python calls; it may make arrays."""
    return _decorate(function, dict(_ANY))


def entry(function: F) -> F:
    """Compile a function that Python calls with all arrays it works on; it neither makes nor returns arrays."""
    return _decorate(function, _ANY | {"_nrt": False})


def rule(function: F) -> F:
    """Compile a function that compiled code calls; it neither makes nor returns arrays."""
    return _decorate(function, _called_from_compiled_code())


def inlined(function: F) -> F:
    """As `rule`, written into its caller."""
    return _decorate(function, _called_from_compiled_code() | {"forceinline": True})


def summed(function: F) -> F:
    """As `rule`; terms of its sums may be added in any order."""
    return _decorate(function, _called_from_compiled_code() | {"fastmath": {"contract", "reassoc"}})
