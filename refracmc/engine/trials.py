"""Trials of one well read back from its block files a few rows at a time, so that any number of them fits.

A row is one measure of one strategy over all trials. It lies in every block file as one piece, so that it is read
without the rest of the file. Each file is read whole once before, to check its digest.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from refracmc.job.cost import COST_PARTS
from refracmc.measures import EXTRA_MEASURES, KEPT_MEASURES, PER_TRIAL

from . import store
from .draws import may_fail_to_respond
from .plan import WellOutline, WellPlan

Array = NDArray[np.float64]
RECOVERY = "forecast: recovery without a refrac"
RESPONDED = "response: the well responds"
"""1, or 0 where it does not."""
HELD_BYTES = 32 << 20
"""Rows of one measure held at a time: one row at least."""


class Rows(Protocol):
    """Rows by number, each (n,): an array (S, n), or what stands on disk."""

    def __len__(self) -> int: ...

    def __getitem__(self, row: int, /) -> Array: ...


class StoredRows:
    """Rows (n,) of a well by number: those of a measure by the strategy, 0 being `nothing`, or those of its inputs."""

    def __init__(
        self, files: Sequence[tuple[Path, int]], first: int, count: int, sizes: Sequence[int]
    ) -> None:
        """files: block files with the place where the numbers begin; first: row in them that has the number 0."""
        self._files, self._first, self._count, self._sizes = files, first, count, sizes
        self._start, self._held = 0, np.empty((0, 0))

    def __len__(self) -> int:
        return self._count

    def __getitem__(self, row: int) -> Array:
        row += self._count if row < 0 else 0
        if not 0 <= row < self._count:
            raise IndexError(row)
        if not self._start <= row < self._start + len(self._held):
            step = max(1, HELD_BYTES // (8 * sum(self._sizes)))
            self._held = np.empty((0, 0))
            self._start = row - row % step
            self._held = self.rows(self._start, min(self._start + step, self._count))
        found: Array = self._held[row - self._start]
        return found

    def rows(self, start: int, stop: int, blocks: range | None = None) -> Array:
        """Rows start .. stop - 1, (stop - start, n); of the trials of some blocks where these are given."""
        blocks = range(len(self._sizes)) if blocks is None else blocks
        found = np.empty((stop - start, sum(self._sizes[block] for block in blocks)))
        at = 0
        for block in blocks:
            (path, begin), size = self._files[block], self._sizes[block]
            piece = np.empty((stop - start, size))
            place = begin + 8 * (self._first + start) * size
            with open(path, "rb", buffering=0) as handle:
                handle.seek(place)
                if handle.readinto(piece.data.cast("B")) != piece.nbytes:
                    raise store.damaged(path)
            found[:, at : at + size] = piece
            at += size
        return found

    def whole(self) -> Array:
        """All rows, (S, n)."""
        return self.rows(0, self._count)


@dataclass(frozen=True, eq=False)
class WellResults:
    """Trials of one well on disk: measure -> its rows; cost part -> (S - 1, 2) sums of x and x^2; a row for each of
    its `input_names`."""

    plan: WellPlan
    measures: Mapping[str, StoredRows]
    parts: dict[str, Array]
    inputs: StoredRows
    sizes: list[int]


def input_names(plan: WellPlan) -> list[str]:
    """Rows of the files of inputs: those that differ from trial to trial, then RESPONDED where the well may not respond
    and RECOVERY where a history was fitted."""
    names = [variable.name for variable in plan.variables if not variable.distribution.is_fixed]
    if may_fail_to_respond(plan):
        names.append(RESPONDED)
    return names if plan.posterior is None else [*names, RECOVERY]


def read_results(plan: WellPlan, folder: Path, sizes: list[int]) -> WellResults:
    """A well's trials, to be read row by row. Raises RunFailure where a block is absent or damaged."""
    measures = stored_measures(plan, folder, sizes)
    parts = np.zeros((len(COST_PARTS), len(plan.strategies), 2))
    for block in range(len(sizes)):
        path = store.block_path(folder, plan.number, block, store.PARTS)
        sums = store.read_array(path)
        if sums is None:
            raise store.damaged(path)
        parts += sums
    inputs = stored_inputs(plan, folder, sizes)
    return WellResults(plan, measures, dict(zip(COST_PARTS, parts, strict=True)), inputs, sizes)


def stored_measures(plan: WellOutline, folder: Path, sizes: Sequence[int]) -> dict[str, StoredRows]:
    """Every measure of a well. Raises RunFailure where a block is absent or damaged."""
    count = 1 + len(plan.strategies)
    made = {
        **_measures(plan.number, count, folder, sizes, store.KEPT),
        **_measures(plan.number, count, folder, sizes, store.EXTRA),
    }
    return {name: made[name] for name in PER_TRIAL}


def kept_measures(number: int, count: int, folder: Path, sizes: Sequence[int]) -> dict[str, StoredRows]:
    """The measures that a finished run keeps of well `number` with `count` strategies, `nothing` among them. Raises
    RunFailure where a block is absent or damaged."""
    return _measures(number, count, folder, sizes, store.KEPT)


def _measures(
    number: int, count: int, folder: Path, sizes: Sequence[int], kind: str
) -> dict[str, StoredRows]:
    """Measures of one kind of block file."""
    names = KEPT_MEASURES if kind == store.KEPT else EXTRA_MEASURES
    files = _files(number, folder, sizes, kind, (len(names), count))
    return {name: StoredRows(files, k * count, count, sizes) for k, name in enumerate(names)}


def stored_inputs(plan: WellPlan, folder: Path, sizes: Sequence[int]) -> StoredRows:
    """A row for each of the `input_names` of a well. Raises RunFailure where a block is absent or damaged."""
    count = len(input_names(plan))
    files = _files(plan.number, folder, sizes, store.INPUTS, (count,))
    return StoredRows(files, 0, count, sizes)


def _files(
    number: int, folder: Path, sizes: Sequence[int], kind: str, rows: tuple[int, ...]
) -> list[tuple[Path, int]]:
    """The block files of a kind, with the place where the numbers begin; rows: their shape but for the trials."""
    files = []
    for block, size in enumerate(sizes):
        path = store.block_path(folder, number, block, kind)
        files.append((path, store.check_file(path, (*rows, size))))
    return files
