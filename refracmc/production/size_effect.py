"""What the size of a job makes of its response.

    x    = xp^w xf^(1 - w)                     xp, xf: proppant and fluid over the reference; w = ep / (ep + ef)
    f(x) = (1 - e^(-k x)) / (1 - e^-k)         k / (e^k - 1) = ep + ef

f(0) = 0, f(1) = 1, and f is increasing and concave. ep and ef are the elasticities of the response to proppant and to
fluid at the reference. A power x^e has the same elasticity there, but a slope without bound at nothing: it makes the
first dollar of proppant the best of all. f rises from nothing by a bounded slope, and stays below 1/(1 - e^-k) however
much is pumped. Form: assumption; that returns diminish is common ground, their rate is not.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import lambertw

Array = NDArray[np.float64]


def curvature(elasticity: ArrayLike) -> Array:
    """k of the module text (n,), dimensionless, from the elasticity at the reference, 0 <= e < 1; infinite at 0.

    (k + e) e^-(k + e) = e e^-e, the branch of it that is not k = 0 (Corless and others 1996, the Lambert W function).
    """
    e = np.asarray(elasticity, dtype=np.float64)
    if not np.all((e >= 0.0) & (e < 1.0)):
        raise ValueError("the elasticity of the response to job size must be from 0 to below 1")
    return np.asarray(-e - lambertw(-e * np.exp(-e), -1).real)


def size_effect(
    proppant: float, fluid: float, proppant_elasticity: ArrayLike, fluid_elasticity: ArrayLike
) -> Array:
    """Response of a job as a ratio to that of the reference job (n,); proppant, fluid: ratios to the reference, from 0.

    Elasticities (n,), from 0, together below 1: see `curvature`. A job without proppant gives nothing where
    the elasticity to proppant is above 0, nor does one without fluid where that to fluid is.
    """
    ep, ef = np.asarray(proppant_elasticity, np.float64), np.asarray(fluid_elasticity, np.float64)
    total = ep + ef
    weight = np.divide(ep, total, out=np.full_like(total, 0.5), where=total > 0.0)
    x = np.power(proppant, weight) * np.power(fluid, 1.0 - weight)
    k = curvature(total)
    with np.errstate(invalid="ignore"):  # no elasticity at all times no job: inf * 0
        return np.where(x > 0.0, np.expm1(-k * x) / np.expm1(-k), 0.0)
