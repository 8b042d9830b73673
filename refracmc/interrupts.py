"""The interrupt from the keyboard: put off where it would break something, remembered where it may be mistaken."""

from __future__ import annotations

import contextlib
import signal
import sys
import threading
from collections.abc import Iterator
from typing import Any

AGAIN = 0.05
"""Seconds until an interrupt comes again that came where none can be raised."""


def _settable() -> bool:
    """Handlers belong to the main thread; one that was not set from Python is left alone."""
    here = threading.current_thread() is threading.main_thread()
    return here and signal.getsignal(signal.SIGINT) is not None


@contextlib.contextmanager
def held() -> Iterator[None]:
    """Put an interrupt off until the end of the block.

    While modules load: compiled ones turn an interrupt into an ImportError, or take the module for absent. While
    processes are forked: a child would die of it with a traceback before it knows to leave it to its parent.
    """
    if not _settable():
        yield
        return
    came: list[Any] = []
    before = signal.signal(signal.SIGINT, lambda number, frame: came.append((number, frame)))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
        if came and callable(before):
            before(*came[0])


@contextlib.contextmanager
def remembered() -> Iterator[None]:
    """KeyboardInterrupt for whatever an interrupt made the block end with: a module being loaded changes its type.

    Where the interpreter would print and ignore it (in a callback of compiled code, in a finaliser), it comes again.
    """
    if not _settable() or signal.getsignal(signal.SIGINT) is not signal.default_int_handler:
        yield
        return
    came = False

    def interrupt(number: int, frame: Any) -> None:
        nonlocal came
        came = True
        raise KeyboardInterrupt

    ignored = sys.unraisablehook

    def come_again(what: sys.UnraisableHookArgs) -> None:
        if not issubclass(what.exc_type, KeyboardInterrupt):
            ignored(what)
            return
        later = threading.Timer(AGAIN, signal.raise_signal, (signal.SIGINT,))
        later.daemon = True
        later.start()

    signal.signal(signal.SIGINT, interrupt)
    sys.unraisablehook = come_again
    try:
        yield
    except Exception:
        if came:
            raise KeyboardInterrupt from None
        raise
    finally:
        sys.unraisablehook = ignored
        signal.signal(signal.SIGINT, signal.default_int_handler)


def ignore_from_now_on() -> None:
    """The work is done and said: what an interrupt would still end is the interpreter's own tidying up."""
    if _settable():
        signal.signal(signal.SIGINT, signal.SIG_IGN)
