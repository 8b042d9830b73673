"""Random streams keyed by what they stand for, not by when or where they are drawn.

A stream is named by (seed, variable, scope, block): the variable is the key path of the input in the
case ("response.uplift"), the scope is "" for what all wells share and the well's id for its own, and a
block is a fixed run of `BLOCK_SIZE` trials. Blocks may therefore be drawn in any order, by any number of
workers, again after an interruption, or beside new variables, and every byte stays the same. A part block
is drawn whole and then cut.

The bit generator is PCG64 seeded through NumPy's `SeedSequence` (its hashing keeps streams with nearby keys
apart: M. O'Neill's seed_seq design, as documented by NumPy).
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

BLOCK_SIZE = 512
"""Trials in a whole block. A constant of the release: changing it changes every result."""

SMALLEST_UNIFORM = 2.0**-54
LARGEST_UNIFORM = 1.0 - 2.0**-53

FloatArray = NDArray[np.float64]


@lru_cache(maxsize=65536)
def key32(text: str) -> int:
    """CRC-32 of the UTF-8 bytes of `text`: the same on every machine and in every process."""
    return crc32(text.encode("utf-8"))


def check_keys(texts: Iterable[str]) -> None:
    """Refuse two different names with the same 32-bit key, which would share one stream.

    Raises ValueError naming both. For 2,000 well ids the chance of a collision is about 1 in 2,000.
    """
    seen: dict[int, str] = {}
    for text in texts:
        other = seen.setdefault(key32(text), text)
        if other != text:
            raise ValueError(
                f"the names {other!r} and {text!r} have the same 32-bit key and would share random numbers; "
                "rename one of them"
            )


def generator(seed: int, variable: str, scope: str, block: int) -> np.random.Generator:
    """A fresh generator for one variable, scope and block.

    Parameters
    ----------
    seed : integer, 0 <= seed < 2**128
    variable : key path of the input, not empty
    scope : "" for what all wells share, else the well's id
    block : 0, 1, ... 2**32 - 1

    Raises ValueError if the seed, the variable or the block is outside its range.
    """
    if isinstance(seed, bool) or not 0 <= seed < 2**128:
        raise ValueError(f"seed: found {seed!r}; allowed: an integer from 0 to 2**128 - 1")
    if not variable:
        raise ValueError("variable: found an empty name; allowed: the key path of an input")
    if isinstance(block, bool) or not 0 <= block < 2**32:
        raise ValueError(f"block: found {block!r}; allowed: an integer from 0 to 2**32 - 1")
    key = (key32(variable), key32(scope), int(block))
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(int(seed), spawn_key=key)))


def open_uniforms(source: np.random.Generator, shape: int | tuple[int, ...]) -> FloatArray:
    """Uniforms strictly inside (0, 1), so that no inverse transform meets an infinite end.

    The generator's [0, 1) grid is kept; its one possible 0 becomes 2**-54.
    """
    uniforms = source.random(shape)
    return np.maximum(uniforms, SMALLEST_UNIFORM, out=uniforms)


def block_sizes(trials: int) -> tuple[int, ...]:
    """Trials in each block: all `BLOCK_SIZE` except possibly the last. Raises ValueError below 1."""
    if isinstance(trials, bool) or trials < 1:
        raise ValueError(f"trials: found {trials!r}; allowed: an integer of at least 1")
    whole, rest = divmod(int(trials), BLOCK_SIZE)
    return (BLOCK_SIZE,) * whole + ((rest,) if rest else ())


def blocks_of(trials: int) -> list[int]:
    """Trials in each block: whole blocks, then what is left."""
    whole, left = divmod(trials, BLOCK_SIZE)
    return [BLOCK_SIZE] * whole + ([left] if left else [])
