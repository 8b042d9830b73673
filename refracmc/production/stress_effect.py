"""What the stages placed before do to a stage: stress changes summed, and their effect as a multiplier.

Sum. Stage s feels those pumped before it: with M and K of `stress.pair_normal` and `stress.pair_contrast`,
before[s, j] = 1 where j comes before s, placed_j the fluid share placed in stage j (0 where it was not
treated) and p per trial,

    dN_s = p sum_j before[s, j] M[s, j] placed_j        dC_s = p sum_j before[s, j] K[s, j] placed_j   [psi]

M and K are symmetric, so each pair of stages counts once in any order: with every placed_j = 1 the sum of
dN (and of dC) over all stages is the same for every order. Order acts only through the nonlinear map.

Map. With L(y) = 1/(1 + exp(-y)), C0 the horizontal contrast before the job (depletion included, see
`stress.depletion_stress_drop`) and everything else a coefficient:

    multiplier_s = exp( effect_strength * [ L((half - (C0 - dC_s))/scale) - L((half - C0)/scale) ]
                        - limit_strength * [ L((dN_s - limit)/limit_scale) - L(-limit/limit_scale) ] )

The first term rewards a smaller remaining contrast (complex fractures; Soliman, East & Adams 2008; Roussel
& Sharma 2011), saturating; a contrast turned negative counts as fully reduced. The second is the penalty of
a closing stress raised towards what the treating pressure can overcome. A strength of 0 gives exactly 1, as
does a stage with none before it. Form and coefficients are an assumption: what order is worth in production
is contested.

References: Soliman, East & Adams (2008), SPE-86992. Roussel & Sharma (2011), SPE-127986.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from refracmc.compiler import compiled, rule

from .elementary import exponential

Array = NDArray[np.float64]
TERMS = (
    "residual_pressure",
    "contrast0",
    "effect_strength",
    "contrast_half",
    "contrast_scale",
    "limit_strength",
    "pressure_limit",
    "limit_scale",
)
"""Fields of a trial's record `g`: psi, and strengths without unit."""


@rule
def logistic(y: float) -> float:
    """1/(1 + exp(-y)) without overflow [ratio]."""
    return 1.0 / (1.0 + exponential(-y))


@rule
def felt(placed: Array, matrix: Array, pressure: float, out: Array) -> None:
    """Stress change (N,) [psi]: the sum of the module text; matrix (N, N): at the second stage per psi in the first."""
    for s in range(out.size):
        out[s] = 0.0
    for j in range(placed.size):
        strength = placed[j] * pressure
        if strength != 0.0:
            row = matrix[j]
            for s in range(out.size):
                out[s] += row[s] * strength


@rule
def multipliers(
    placed: Array, contrast: Array, normal: Array, g: np.record, fall: Array, rise: Array, out: Array
) -> None:
    """Multipliers (N,) of the stages' effect, > 0 [ratio], by the sum and the map of the module text.

    placed (N,) share of fluid placed by stage; contrast, normal (N, N): change at the second stage per psi in the
    first, 0 where that is not before it; fall, rise (N,): room for the changes [psi].
    """
    felt(placed, contrast, g.residual_pressure, fall)
    felt(placed, normal, g.residual_pressure, rise)
    start, limit = (g.contrast_half - g.contrast0) / g.contrast_scale, -g.pressure_limit / g.limit_scale
    base, slack = logistic(start), logistic(limit)
    for s in range(out.size):
        gain = logistic(start + fall[s] / g.contrast_scale) - base
        loss = logistic(limit + rise[s] / g.limit_scale) - slack
        out[s] = exponential(g.effect_strength * gain - g.limit_strength * loss)


@compiled
def _changes(placed: Array, matrix: Array, pressure: Array, out: Array) -> None:
    for t in range(pressure.size):
        felt(placed[t], matrix, pressure[t], out[t])


@compiled
def _each_trial(
    placed: Array, contrast: Array, normal: Array, given: np.recarray, changes: Array, out: Array
) -> None:
    for t in range(given.size):
        multipliers(placed[t], contrast, normal, given[t], changes[0], changes[1], out[t])


def _shares(placed: ArrayLike, *before: ArrayLike) -> tuple[Array, ...]:
    """Shares placed (n, N) and matrices (N, N), those turned so that a row is what one stage does to all others."""
    share = np.ascontiguousarray(placed, dtype=np.float64)
    turned = [np.ascontiguousarray(np.asarray(matrix, dtype=np.float64).T) for matrix in before]
    if share.ndim != 2 or any(matrix.shape != (share.shape[1],) * 2 for matrix in turned):
        raise ValueError(f"placed (n, N) and matrices (N, N) do not fit: {share.shape}, {turned[0].shape}")
    return (share, *turned)


def stress_change(placed: ArrayLike, matrix_before: ArrayLike, residual_pressure: ArrayLike) -> Array:
    """Change at each stage as it is pumped, (n, N) [psi]: residual_pressure * placed @ matrix_before^T.

    placed (n, N) fluid share placed by stage; matrix_before (N, N) = pair matrix * `stress.treated_before`;
    residual_pressure [psi] a number or (n,). ValueError for shapes that do not fit.
    """
    share, matrix = _shares(placed, matrix_before)
    out, pressure = np.empty_like(share), np.empty(share.shape[0])
    pressure[:] = residual_pressure
    _changes(share, matrix, pressure, out)
    return out


def stress_multiplier(
    placed: ArrayLike, normal_before: ArrayLike, contrast_before: ArrayLike, **terms: ArrayLike
) -> Array:
    """Stress multiplier per trial and stage (n, N), by which the engine multiplies the effectiveness e_s [ratio].

    placed (n, N): fluid share placed by stage. normal_before, contrast_before (N, N): `stress.pair_normal` and
    `stress.pair_contrast` times `stress.treated_before(order, N)`. terms: each of TERMS, numbers or (n,); pressures
    and scales (> 0) [psi], strengths without unit, 0 switches one off. Raises ValueError for shapes that do not fit,
    or naming a term that is not finite (or a scale that is not positive).
    """
    share, contrast, normal = _shares(placed, contrast_before, normal_before)
    given = np.recarray(share.shape[0], dtype=[(name, np.float64) for name in TERMS])
    for name in TERMS:
        value = np.asarray(terms[name], dtype=np.float64)
        positive = name.endswith("_scale")
        if value.ndim > 1 or not np.all(np.isfinite(value) & ((value > 0.0) | (not positive))):
            kind = "positive" if positive else "finite"
            raise ValueError(f"{name} must be a {kind} number or (n,) of them")
        given[name] = value
    out = np.empty_like(share)
    _each_trial(share, contrast, normal, given, np.empty((2, share.shape[1])), out)
    return out
