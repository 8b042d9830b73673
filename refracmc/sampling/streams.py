"""Random streams keyed by what they stand for, not by when or where they are drawn.

A stream is named by (seed, variable, scope, block): the variable is the key path of the input in the
case ("response.uplift"), the scope is "" for what all wells share and the well's id for its own, and a
block is a fixed run of `BLOCK_SIZE` trials. Blocks may therefore be drawn in any order, by any number of
workers, again after an interruption, or beside new variables, and every byte stays the same. A part block
is drawn whole and then cut.

The bit generator is PCG64 seeded through NumPy's `SeedSequence` (its hashing keeps streams with nearby keys
apart: M. O'Neill's seed_seq design, as documented by NumPy). `generators` hashes the keys of many streams at once:
its states are those of `SeedSequence`, whose algorithm NumPy holds fixed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Any
from zlib import crc32

import numpy as np
from numpy.random.bit_generator import ISeedSequence
from numpy.typing import NDArray

BLOCK_SIZE = 512
"""Trials in a whole block. A constant of the release: changing it changes every result."""

SMALLEST_UNIFORM = 2.0**-54
LARGEST_UNIFORM = 1.0 - 2.0**-53

FloatArray = NDArray[np.float64]
WordArray = NDArray[np.uint32]
_POOL, _STATE = 4, 8
"""Words of 32 bits in the pool of a `SeedSequence`, and in the state that PCG64 takes from it."""


def _constants(start: int, factor: int, count: int) -> WordArray:
    """start, start factor, start factor^2 .. as words (count,)."""
    made = [start]
    for _ in range(count - 1):
        made.append(made[-1] * factor % 2**32)
    return np.array(made, dtype=np.uint32)


_HASH = _constants(0x43B0D7E5, 0x931E8875, 1 + 7 * _POOL)[:, None]
"""Constants of the words hashed into a pool: four of the seed, twelve of the pool with itself, twelve of the key."""
_OUT = _constants(0x8B51F9DD, 0x58F38DED, 1 + _STATE)[:, None]


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


class _Words(ISeedSequence):
    """A seed sequence whose words are known."""

    def __init__(self, words: NDArray[np.uint64]) -> None:
        self._words = words

    def generate_state(self, n_words: int, dtype: Any = np.uint32) -> NDArray[np.uint64]:
        """The four words of 64 bits that PCG64 asks for."""
        return self._words


def _hashed(words: WordArray, at: int) -> WordArray:
    """`hashmix` of words (4, K) with the constants from `at` on."""
    made = (words ^ _HASH[at : at + _POOL]) * _HASH[at + 1 : at + 1 + _POOL]
    made ^= made >> np.uint32(16)
    return made


def _mixed(left: WordArray, right: WordArray) -> WordArray:
    made = left * np.uint32(0xCA01F9DD) - right * np.uint32(0x4973F715)
    made ^= made >> np.uint32(16)
    return np.asarray(made)


@lru_cache(maxsize=16)
def _pool(seed: int) -> WordArray:
    """The pool (4, 1) once it holds the seed."""
    words = np.array([[seed >> 32 * k & 0xFFFFFFFF] for k in range(_POOL)], dtype=np.uint32)
    pool, at = _hashed(words, 0), _POOL
    for source in range(_POOL):
        for target in range(_POOL):
            if source != target:
                word = (pool[source] ^ _HASH[at]) * _HASH[at + 1]
                word ^= word >> np.uint32(16)
                pool[target] = _mixed(pool[target], word)
                at += 1
    return pool


def _states(seed: int, keys: WordArray) -> NDArray[np.uint64]:
    """States (K, 4) of `SeedSequence(seed, spawn_key=key)` for keys (3, K)."""
    pool = _pool(int(seed))
    for k, words in enumerate(keys):
        pool = _mixed(pool, _hashed(words[None, :], 4 * _POOL + _POOL * k))
    state = np.concatenate([pool, pool]) ^ _OUT[:-1]
    state *= _OUT[1:]
    state ^= state >> np.uint32(16)
    low, high = state[::2].astype(np.uint64), state[1::2].astype(np.uint64)
    return np.ascontiguousarray((low | high << np.uint64(32)).T)


def _check_stream(seed: int, variable: str, block: int) -> None:
    if isinstance(seed, bool) or not 0 <= seed < 2**128:
        raise ValueError(f"seed: found {seed!r}; allowed: an integer from 0 to 2**128 - 1")
    if not variable:
        raise ValueError("variable: found an empty name; allowed: the key path of an input")
    if isinstance(block, bool) or not 0 <= block < 2**32:
        raise ValueError(f"block: found {block!r}; allowed: an integer from 0 to 2**32 - 1")


def generators(seed: int, variables: Sequence[str], scope: str, block: int) -> list[np.random.Generator]:
    """As `generator` for each of the variables: the same streams, in a fraction of the time."""
    if not variables:
        return []
    _check_stream(seed, min(variables), block)
    keys = np.empty((3, len(variables)), dtype=np.uint32)
    keys[0] = [key32(variable) for variable in variables]
    keys[1], keys[2] = key32(scope), int(block)
    known: list[Any] = [_Words(words) for words in _states(seed, keys)]
    return [np.random.Generator(np.random.PCG64(words)) for words in known]


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
    _check_stream(seed, variable, block)
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
