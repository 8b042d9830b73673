"""Work on rows of (trials, months) arrays: sums of stretches, sums of windows, reused buffers.

Every function gives a row the same bits whatever the other rows hold and however many there are.
"""

from __future__ import annotations

import threading

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]


class _Scratch(threading.local):
    def __init__(self) -> None:
        self.buffers: dict[str, Array] = {}


_SCRATCH = _Scratch()


def scratch(name: str, size: int) -> Array:
    """A reused buffer of this thread, dimensionless (fresh pages would cost as much as the arithmetic)."""
    buffer = _SCRATCH.buffers.get(name)
    if buffer is None or buffer.size < size:
        buffer = np.empty(size)
        _SCRATCH.buffers[name] = buffer
    return buffer[:size]


def segment_sums(x: Array, first: IntArray | int, stop: IntArray) -> Array:
    """Sum of columns first..stop-1 of each row of x, in units of x.

    x (n, T), C order; first, stop (n,) or an int, 0 <= first, stop <= T. An empty segment gives 0. The bits
    of a row do not depend on the other rows.
    """
    n, width = x.shape
    if n == 0:
        return np.zeros(0)
    flat = np.ascontiguousarray(x).reshape(-1)
    edges = np.empty((n, 2), dtype=np.intp)
    offset = np.arange(n) * width
    edges[:, 0] = offset + first
    edges[:, 1] = offset + stop
    empty = edges[:, 0] >= edges[:, 1]
    whole = (edges[:, 1] == flat.size) & ~empty
    np.minimum(edges, flat.size - 1, out=edges)
    sums: Array = np.ascontiguousarray(np.add.reduceat(flat, edges.reshape(-1))[::2])
    if whole[-1]:
        sums[-1] = np.add.reduceat(flat, edges[-1, :1])[0]
    sums[empty] = 0.0
    return sums


def count_true(marks: BoolArray) -> IntArray:
    """Number of true columns of each row; marks (n, T) -> (n,)."""
    count: IntArray = marks.view(np.uint8).sum(axis=1, dtype=np.uint16).astype(np.intp)
    return count


def last_true(marks: BoolArray) -> IntArray:
    """Last true column (dimensionless) of each row; T - 1 where there is none; marks (n, T) -> (n,).

    Eight columns are looked at as one word; the columns of the last word that has any are looked at in turn.
    """
    n, width = marks.shape
    count = -(-width // 8)
    if width % 8 or not marks.flags.c_contiguous:
        padded = np.zeros((n, 8 * count), dtype=np.bool_)
        padded[:, :width] = marks
    else:
        padded = marks
    any_true = padded.view(np.uint64) != 0
    rows = np.arange(n)
    word = count - 1 - np.argmax(any_true[:, ::-1], axis=1)
    inside = padded.reshape(n, count, 8)[rows, word][:, ::-1]
    found = np.argmax(inside, axis=1)
    last: IntArray = np.where(inside[rows, found], 8 * word + 7 - found, width - 1)
    return last
