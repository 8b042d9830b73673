"""The decline of a well of the case: its fit, and the prior that the wells of the case may have moved."""

from __future__ import annotations

from collections.abc import Mapping

from refracmc.case.validated_case import Case, WellCase
from refracmc.production.fit import FitSettings, Posterior, fit_decline
from refracmc.production.prior import PooledPrior

Priors = Mapping[str, PooledPrior]
"""Prior of the fits by main phase."""


def pooled_priors(case: Case) -> Priors:
    """Priors that the wells of the case have moved, by phase; empty where each fit stands alone.

    A well is one of those that move its prior (empirical Bayes). All wells count as one area (assumption).
    """
    if not case.fit.pool:
        return {}
    from refracmc.production.pooling import pool_histories

    histories = [
        well.history for well in case.wells if well.forecast == "history" and well.history is not None
    ]
    return pool_histories(histories, case.sampling.seed)


def fit_well(case: Case, well: WellCase, priors: Priors | None = None) -> Posterior | None:
    """Posterior of the well's decline, or None where a type curve stands in its place. Raises FitRefused.

    priors: those of `pooled_priors`, found here where not given.
    """
    if well.forecast == "type_curve":
        return None
    assert well.history is not None
    known = pooled_priors(case) if priors is None else priors
    own = well.fit.settings() if well.fit is not None else {}
    settings = FitSettings(**own, prior=known.get(well.main_phase), idle_hurdle=case.fit.idle_hurdle)
    return fit_decline(well.history, settings, seed=case.sampling.seed)
