"""Rank correlation between inputs.

The stated figure is Spearman's rank correlation rho. Both methods work on normal scores, whose linear
correlation must then be r = 2 sin(pi rho / 6) (Pearson 1907; Kruskal 1958, JASA 53, 814-861), so that

    rho = (6 / pi) asin(r / 2).

Iman and Conover (1982, Communications in Statistics B11(3), doi:10.1080/03610918208812265) reorder the values
a block already has: marginals stay bit for bit, stratification included. The Gaussian copula transforms the
uniforms themselves, and keeps the smoothness that Sobol points need.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from refracmc.sampling.spec_faults import listing, nearest
from refracmc.sampling.streams import BLOCK_SIZE, LARGEST_UNIFORM, SMALLEST_UNIFORM, generator, open_uniforms

FloatArray = NDArray[np.float64]

SMALLEST_EIGENVALUE = 1e-6
"""A correlation matrix with an eigenvalue below this counts as not positive definite."""
_OFFERED_EIGENVALUE = 1e-4


class CorrelationError(ValueError):
    """A matrix that is no correlation matrix; `nearest` is the one offered instead (None if malformed)."""

    def __init__(self, text: str, offered: FloatArray | None = None) -> None:
        self.nearest = offered
        super().__init__(text)


def pearson_for_rank(rank_correlation: ArrayLike) -> FloatArray:
    """Linear correlation of normal scores that gives this Spearman correlation."""
    return np.asarray(2.0 * np.sin(np.pi / 6.0 * np.asarray(rank_correlation, dtype=np.float64)))


def rank_for_pearson(correlation: ArrayLike) -> FloatArray:
    """Spearman correlation of two normals with this linear correlation."""
    return np.asarray(6.0 / np.pi * np.arcsin(0.5 * np.asarray(correlation, dtype=np.float64)))


def rank_matrix(names: Sequence[str], pairs: Iterable[tuple[str, str, float]]) -> FloatArray:
    """Matrix (d, d) of stated pairs (name, name, rank correlation); pairs not stated are 0.

    Raises ValueError for an unknown name (with the nearest), a pair of one name, or a pair stated twice.
    Does not check the matrix as a whole: see `check_correlation`.
    """
    place = {name: i for i, name in enumerate(names)}
    matrix = np.eye(len(names))
    seen: set[frozenset[str]] = set()
    for a, b, value in pairs:
        for name in (a, b):
            if name not in place:
                hint = nearest(name, names, "correct the name")
                raise ValueError(f"rank correlation: found {name!r}; allowed: {listing(names)}; {hint}")
        if a == b:
            raise ValueError(f"rank correlation: found {a!r} with itself; allowed: two different inputs")
        if frozenset((a, b)) in seen:
            raise ValueError(f"rank correlation: found {a!r} with {b!r} twice; allowed: each pair once")
        seen.add(frozenset((a, b)))
        matrix[place[a], place[b]] = matrix[place[b], place[a]] = value
    return matrix


def nearest_correlation(matrix: ArrayLike, smallest_eigenvalue: float = 0.0) -> FloatArray:
    """The correlation matrix nearest to a symmetric one in the Frobenius norm.

    Alternating projections with Dykstra's correction (Higham 2002, IMA Journal of Numerical Analysis 22(3),
    doi:10.1093/imanum/22.3.329) onto the matrices with eigenvalues of at least `smallest_eigenvalue`
    (below 1) and onto those with unit diagonal, until the iterate moves by less than 1e-12. Raises ValueError
    if that takes more than 100,000 steps.
    """
    y = np.array(matrix, dtype=np.float64)
    correction = np.zeros_like(y)
    for _ in range(100_000):
        start = y - correction
        values, vectors = np.linalg.eigh(start)
        x = (vectors * np.maximum(values, smallest_eigenvalue)) @ vectors.T
        correction = x - start
        previous, y = y, 0.5 * (x + x.T)
        np.fill_diagonal(y, 1.0)
        if np.max(np.abs(y - previous)) < 1e-12:
            return np.asarray(y)
    raise ValueError("nearest correlation matrix: no convergence in 100,000 steps")


def check_correlation(matrix: ArrayLike, names: Sequence[str]) -> None:
    """Refuses a matrix (d, d) of rank correlations that no inputs can have.

    Checked: shape, symmetry, unit diagonal, range, and that both the matrix and the linear correlations of
    the normal scores that it asks for are positive definite. Raises CorrelationError (a ValueError) that
    lists the pairs of the nearest valid matrix, rounded to four digits and itself valid.
    """
    m = np.asarray(matrix, dtype=np.float64)
    d = len(names)
    if m.shape != (d, d):
        raise CorrelationError(
            f"rank correlations: found shape {m.shape}; allowed: ({d}, {d}), one row a name"
        )
    faults = []
    for i in range(d):
        if m[i, i] != 1.0:
            faults.append(f"{names[i]} with itself: found {m[i, i]:g}; allowed: 1")
        for j in range(i):
            if not -1.0 <= m[i, j] <= 1.0:
                faults.append(f"{names[i]} with {names[j]}: found {m[i, j]:g}; allowed: -1 to 1")
            elif m[i, j] != m[j, i]:
                faults.append(
                    f"{names[i]} with {names[j]}: found {m[i, j]:g} and {m[j, i]:g}; allowed: equal"
                )
    if faults:
        raise CorrelationError("rank correlations: " + "\n".join(faults))
    if _is_valid(m):
        return
    offered = _offer(m)
    changed = [
        f"{names[i]} with {names[j]}: {m[i, j]:g} -> {offered[i, j]:g}"
        for i in range(d)
        for j in range(i)
        if m[i, j] != offered[i, j]
    ]
    raise CorrelationError(
        "rank correlations: found a matrix that is not positive definite (no inputs can have these "
        f"correlations together); the nearest valid matrix has {'; '.join(changed)}",
        offered,
    )


def _is_valid(rank: FloatArray) -> bool:
    both = np.stack([rank, pearson_for_rank(rank)])
    return rank.size == 0 or bool(np.linalg.eigvalsh(both).min() > SMALLEST_EIGENVALUE)


def _offer(rank: FloatArray) -> FloatArray:
    """Nearest valid matrix of rank correlations to four digits, drawn towards 0 where rounding needs it."""
    nearest_scores = nearest_correlation(pearson_for_rank(rank), _OFFERED_EIGENVALUE)
    for shrink in (0.0, 1e-4, 1e-3, 1e-2, 1e-1, 1.0):
        offered = np.round((1.0 - shrink) * rank_for_pearson(nearest_scores), 4)
        offered += 0.0
        np.fill_diagonal(offered, 1.0)
        if _is_valid(offered):
            break
    return offered


def dependence_uniforms(seed: int, names: Sequence[str], scope: str, block: int) -> FloatArray:
    """Uniforms (512, d) that order the scores of `iman_conover`, one plain stream for each name."""
    columns = [open_uniforms(generator(seed, f"dependence: {n}", scope, block), BLOCK_SIZE) for n in names]
    return np.stack(columns, axis=1) if columns else np.empty((BLOCK_SIZE, 0))


def iman_conover(columns: ArrayLike, rank_correlation: ArrayLike, score_uniforms: ArrayLike) -> FloatArray:
    """Reorders each column so that the rank correlations are as asked; its set of values stays bit for bit.

    Parameters
    ----------
    columns : (n, d) values or uniforms; their order among rows is not used
    rank_correlation : (d, d), valid by `check_correlation`
    score_uniforms : (n, d) uniforms that set the random order of the normal scores (van der Waerden scores
        ndtri(i / (n + 1)), whose own chance correlation is removed as in the paper)

    Raises ValueError if n <= d or the shapes differ.
    """
    x = np.asarray(columns, dtype=np.float64)
    u = np.asarray(score_uniforms, dtype=np.float64)
    n, d = x.shape
    if u.shape != x.shape or n <= d:
        raise ValueError(
            f"columns: found {x.shape} with scores {u.shape}; allowed: equal, more rows than columns"
        )
    wanted = np.linalg.cholesky(pearson_for_rank(rank_correlation))
    scores = np.empty_like(x)
    np.put_along_axis(scores, np.argsort(u, axis=0, kind="stable"), _normal_scores(n)[:, None], axis=0)
    own = np.linalg.cholesky(scores.T @ scores / np.mean(scores[:, 0] ** 2) / n) if d else np.empty((0, 0))
    scores = scores @ (wanted @ np.linalg.inv(own)).T
    out = np.empty_like(x)
    np.put_along_axis(out, np.argsort(scores, axis=0, kind="stable"), np.sort(x, axis=0), axis=0)
    return out


def _normal_scores(n: int) -> FloatArray:
    return np.asarray(ndtri(np.arange(1.0, n + 1.0) / (n + 1.0)))


def gaussian_copula(uniforms: ArrayLike, rank_correlation: ArrayLike) -> FloatArray:
    """Uniforms (n, d) with the rank correlations asked, from independent ones (n, d); the first column stays.

    rank_correlation (d, d) valid by `check_correlation`.
    """
    u = np.asarray(uniforms, dtype=np.float64)
    if u.shape[1] == 0:
        return u.copy()
    out = ndtr(ndtri(u) @ np.linalg.cholesky(pearson_for_rank(rank_correlation)).T)
    out[:, 0] = u[:, 0]
    return np.clip(out, SMALLEST_UNIFORM, LARGEST_UNIFORM)
