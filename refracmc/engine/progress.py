"""Progress on standard error: one moving line on a terminal, a line per tenth elsewhere, or nothing."""

from __future__ import annotations

import sys
import time
from typing import TextIO


class Silent:
    """Does nothing, with the same interface."""

    def start(self, label: str, total: int, done: int = 0) -> None:
        """Begin a stage of `total` steps, `done` of which are there already."""

    def step(self) -> None:
        """One more step is done."""

    def note(self, text: str) -> None:
        """Say one line."""


class Progress(Silent):
    """Share done, and the time still needed at the pace so far."""

    def __init__(self, stream: TextIO | None = None) -> None:
        self._stream = stream or sys.stderr
        self._terminal = self._stream.isatty()
        self._label, self._total, self._done, self._first, self._shown = "", 0, 0, 0, -1
        self._begin = time.monotonic()

    def start(self, label: str, total: int, done: int = 0) -> None:
        """Begin a stage of `total` steps, `done` of which are there already."""
        self._label, self._total, self._done, self._first = label, total, done, done
        self._shown, self._begin = -1, time.monotonic()
        self._show()

    def step(self) -> None:
        """One more step is done."""
        self._done += 1
        self._show()

    def note(self, text: str) -> None:
        """Say one line."""
        print(text, file=self._stream, flush=True)

    def _show(self) -> None:
        if not self._total:
            return
        share = int(100 * self._done / self._total)
        mark = share if self._terminal else share // 10
        if mark == self._shown:
            return
        self._shown = mark
        spent = time.monotonic() - self._begin
        fresh = self._done - self._first
        left = f", about {spent / fresh * (self._total - self._done):.0f} s left" if fresh else ""
        text = f"{self._label}: {self._done} of {self._total} ({share} %){left}"
        if self._terminal:
            end = "\n" if self._done == self._total else ""
            print(f"\r{text:<78}", end=end, file=self._stream, flush=True)
        else:
            print(text, file=self._stream, flush=True)
