"""The decline of a well of the case: its fit, and the prior that neighbours may have moved."""

from __future__ import annotations

from collections.abc import Mapping

from refracmc.case.validated_case import Case, WellCase
from refracmc.production.fit import SET_ROWS, FitSettings, Posterior, fit_decline
from refracmc.production.prior import PooledPrior
from refracmc.sampling.streams import blocks_of

Priors = Mapping[str, PooledPrior]
"""Prior of the fits by main phase."""
LEAST_SETS = 4
"""Sets of draws of a fit, of which each block of trials has its own: more where a run has more blocks."""


def pooled_priors(case: Case) -> Priors:
    """Priors that teachers, and with `fit.pool` the wells of the case, have moved, by phase; empty without either.

    They teach by their months before the end of the case's histories. A well of the case is then one of those that
    move its prior (empirical Bayes). All count as wells of one field (assumption).
    """
    if not case.fit.pool and not case.teachers:
        return {}
    from refracmc.production.pooling import field_priors
    from refracmc.production.teachers import Teacher

    seed = case.sampling.seed
    own = [well.history for well in case.wells if well.forecast == "history" and well.history is not None]
    teachers = [Teacher(history, "auto", seed) for history in case.teachers]
    if case.fit.pool:
        teachers += [Teacher(history, history.main_phase, seed) for history in own]
    return field_priors(teachers, max(history.dates[-1] for history in own) + 1) if own else {}


def fit_well(case: Case, well: WellCase, priors: Priors | None = None) -> Posterior | None:
    """Posterior of the well's decline, or None where a type curve stands in its place. Raises FitRefused.

    priors: those of `pooled_priors`, found here where not given.
    """
    if well.forecast == "type_curve":
        return None
    assert well.history is not None
    known = pooled_priors(case) if priors is None else priors
    own = well.fit.settings() if well.fit is not None else {}
    blocks = len(blocks_of(case.sampling.trials))
    settings = FitSettings(
        **own,
        draws=max(blocks, LEAST_SETS) * SET_ROWS,
        prior=known.get(well.main_phase),
        idle_hurdle=case.fit.idle_hurdle,
    )
    return fit_decline(well.history, settings, seed=case.sampling.seed)
