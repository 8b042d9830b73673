"""The producing share of future calendar time, from the well's own months and the pooled prior."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv

from refracmc.production.fit_pooling import UptimePrior

Array = NDArray[np.float64]


def uptime_draws(uptime: Array, prior: UptimePrior, uniforms: Array) -> Array:
    """Draws (n,) of the mean uptime ahead. uptime (M,): monthly producing shares, NaN where not declared.

    Beta posterior: a prior worth `strength` months, and the declared months of the last `look_back`, each
    worth 1 / months_per_evidence of one because shut-ins last (assumption)."""
    recent = uptime[-prior.look_back :]
    known = recent[np.isfinite(recent)]
    count = len(known) / prior.months_per_evidence
    up = prior.mean * prior.strength + count * (float(known.mean()) if len(known) else 0.0)
    total = prior.strength + count
    mean = min(max(up / total, 1e-3), 1.0 - 1e-3)
    return np.clip(betaincinv(mean * total, (1.0 - mean) * total, uniforms), 1e-4, 1.0)
