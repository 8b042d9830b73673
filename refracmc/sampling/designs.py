"""Designs of the uniforms of one block: plain, Latin hypercube or scrambled Sobol.

plain
    Independent uniforms, one stream for each variable.
latin_hypercube
    Each variable meets every one of the block's 512 equal strata once, in its own random order with its own
    jitter (McKay, Beckman and Conover 1979, Technometrics 21(2), doi:10.2307/1268522). Each variable has a
    stream of its own: adding one changes no other.
sobol
    The first 512 points of the Sobol sequence (direction numbers of Joe and Kuo 2008, as shipped with SciPy),
    scrambled anew for each scope and block by Owen's nested uniform scrambling (1995), exact: the first nine
    binary digits by the random tree, the rest random, since each of the 512 strata holds one point. A
    variable's dimension is its place in a stable registry of names, and its scrambling is its own stream. The
    points of a scope are then taken in a random order, which makes scopes independent of each other (Latin
    supercube sampling, Owen 1998, ACM TOMACS 8(1), doi:10.1145/272991.273010).

In the last two, blocks are independent replicates and rows of a block are exchangeable, so a cut block is a
random part of a whole one; the estimators rely on both.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from refracmc.sampling.spec_faults import listing, nearest
from refracmc.sampling.streams import (
    BLOCK_SIZE,
    check_keys,
    generator,
    open_uniforms,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

Design = Literal["plain", "latin_hypercube", "sobol"]
DESIGNS: tuple[str, ...] = get_args(Design)

MOST_SOBOL_NAMES = 21201
_DIGITS = 9
_ROWS_STREAM = "design: order of sobol rows"


def check_design(design: str) -> None:
    """Raises ValueError, with the nearest name, unless `design` is one of `DESIGNS`."""
    if design not in DESIGNS:
        hint = nearest(str(design), DESIGNS, "state one of them")
        raise ValueError(f"design: found {design!r}; allowed: {listing(DESIGNS)}; {hint}")


@lru_cache(maxsize=256)
def _checked(names: tuple[str, ...]) -> tuple[str, ...]:
    doubled = sorted({n for n in names if names.count(n) > 1})
    if doubled:
        raise ValueError(f"names: found {listing(doubled)} more than once; allowed: each name once")
    check_keys(names)
    return names


@lru_cache(maxsize=64)
def _places(registry: tuple[str, ...], later: tuple[str, ...] = ()) -> dict[str, int]:
    if len(registry) > MOST_SOBOL_NAMES:
        raise ValueError(f"registry: found {len(registry)} names; allowed: {MOST_SOBOL_NAMES} for sobol")
    first = sorted(set(_checked(registry)) - set(later))
    return {name: i for i, name in enumerate((*first, *later))}


def _inside(place: NDArray[np.integer], jitter: FloatArray, size: int) -> FloatArray:
    """(place + jitter) / size, kept strictly inside stratum `place` of `size` against rounding."""
    grain = size * 2.0**-52
    return np.asarray((place + (grain + jitter * (1.0 - 4.0 * grain))) / size)


def latin_hypercube_column(source: np.random.Generator, size: int) -> FloatArray:
    """`size` uniforms (size,), one in each of `size` equal strata of (0, 1), in random order."""
    return _inside(source.permutation(size), source.random(size), size)


def _latin_hypercube(sources: list[np.random.Generator], names: tuple[str, ...]) -> dict[str, FloatArray]:
    """As `latin_hypercube_column` for each source, in one pass."""
    stratum = np.empty((len(sources), BLOCK_SIZE), dtype=np.int64)
    jitter = np.empty((len(sources), BLOCK_SIZE))
    for i, source in enumerate(sources):
        stratum[i] = source.permutation(BLOCK_SIZE)
        source.random(out=jitter[i])
    return dict(zip(names, _inside(stratum, jitter, BLOCK_SIZE), strict=True))


@lru_cache(maxsize=16)
def _sobol_strata(dimensions: int) -> IntArray:
    """Stratum 0..511 of the first 512 Sobol points, one row for each dimension (dimensions, 512)."""
    from scipy.stats.qmc import Sobol

    points = Sobol(dimensions, scramble=False).random_base2(_DIGITS)
    strata = np.ascontiguousarray((points * BLOCK_SIZE).astype(np.int64).T)
    strata.setflags(write=False)
    return strata


def _scrambled(strata: IntArray, random: FloatArray) -> FloatArray:
    """Nested uniform scrambling of strata (d, 512) by uniforms (d, 1023): 511 for the tree, 512 inside."""
    flips = (random[:, : BLOCK_SIZE - 1] >= 0.5).astype(np.int64)
    image = np.zeros((len(strata), 1), dtype=np.int64)
    for level in range(_DIGITS):
        width = 1 << level
        flip = flips[:, width - 1 : 2 * width - 1]
        children = np.empty((len(strata), width, 2), dtype=np.int64)
        children[:, :, 0] = 2 * image + flip
        children[:, :, 1] = 2 * image + 1 - flip
        image = children.reshape(len(strata), -1)
    return _inside(np.take_along_axis(image, strata, axis=1), random[:, BLOCK_SIZE - 1 :], BLOCK_SIZE)


def block_uniforms(
    seed: int,
    names: Sequence[str],
    scope: str,
    block: int,
    design: str = "latin_hypercube",
    registry: Iterable[str] | None = None,
    later: Iterable[str] = (),
) -> dict[str, FloatArray]:
    """Uniforms in (0, 1) of a whole block: {name: (512,)} in the order of `names`.

    Parameters
    ----------
    seed, scope, block : see `streams.generator`
    names : variables to draw, each once
    design : one of `DESIGNS`
    registry : for sobol, every name that may ever be drawn in this scope; a name's dimension is its place
        among them sorted, so keep the registry the same over cases and releases and a variable's numbers do
        not depend on which others are drawn. Default: `names`.
    later : names of the registry whose places follow those of all others, in the order given; a new name goes
        to its end, so that it moves no other

    Raises ValueError for an unknown design, a repeated name, or a name missing from the registry.
    """
    check_design(design)
    wanted = _checked(tuple(names))
    if not wanted:
        return {}
    if design == "plain":
        return {n: open_uniforms(generator(seed, n, scope, block), BLOCK_SIZE) for n in wanted}
    if design == "latin_hypercube":
        return _latin_hypercube([generator(seed, n, scope, block) for n in wanted], wanted)
    places = _places(tuple(registry) if registry is not None else wanted, tuple(later))
    missing = [n for n in wanted if n not in places]
    if missing:
        hint = nearest(missing[0], places, "add it to the registry")
        raise ValueError(f"names: found {listing(missing)}; allowed: names of the registry; {hint}")
    order = generator(seed, _ROWS_STREAM, scope, block).permutation(BLOCK_SIZE)
    strata = _sobol_strata(len(places))[[places[n] for n in wanted]][:, order]
    random = np.stack([generator(seed, n, scope, block).random(2 * BLOCK_SIZE - 1) for n in wanted])
    return dict(zip(wanted, _scrambled(strata, random), strict=True))
