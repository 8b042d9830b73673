"""The pooled prior: what wells like this one do before its own months are looked at.

Numbers are learned from multistage shale horizontals of a public data set (see SOURCE), all months of it;
anything else is marked as an assumption beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from refracmc.production.forms import FORMS, form_of
from refracmc.production.forms.decline_form import ShapePrior
from refracmc.production.likelihood import ErrorPrior
from refracmc.production.uptime import UptimePrior

SOURCE = (
    "Contains data from Secretaría de Energía de la Nación (Argentina), "
    '"Producción de petróleo y gas por pozo (Capítulo IV)" and '
    '"Datos de fractura de pozos de hidrocarburos (Adjunto IV)", datos.energia.gob.ar, '
    "CC BY 4.0; subset, renamed and unit-converted."
)


@dataclass(frozen=True)
class Discrepancy:
    """What the curve cannot know, folded into the draws.

    level_mean, level_sd: log mean and sd of a lasting shift of the level against the fitted curve after a
    long history (Student-t with level_df degrees of freedom); decline_sd: log sd of a factor on the decline at the end
    of history, so that the error grows with the horizon; carry: share of the last months' mean residual that lasts;
    noise_months: months over which the autocorrelated noise of the months ahead averages out;
    settle_months: months after which the level's own spread no longer covers the errors made."""

    level_mean: float
    level_sd: float
    decline_sd: float
    carry: float = 0.0
    level_df: float = 5.0
    noise_months: float = 100.0
    settle_months: float = 12.0

    def settled(self, months: int) -> float:
        """Share of the level's shift, mean and spread, after `months` of history: sqrt(1 - settle/months). An
        early posterior is as wide as the errors made; later it narrows, and they do not (measured by
        hindcasts, the form is an assumption)."""
        return math.sqrt(max(0.0, 1.0 - self.settle_months / max(months, 1)))


@dataclass(frozen=True)
class PooledPrior:
    """Priors per form, of the errors, the discrepancy and the uptime; `source` says where they come from.

    log_rate: mean and sd of the log of the peak rate (main phase per day), for wells with no month of their
    own; taught: which wells of a field moved it and how much, in words."""

    shapes: dict[str, ShapePrior]
    form_weights: dict[str, float]
    errors: ErrorPrior
    discrepancy: Discrepancy
    uptime: UptimePrior
    log_rate: tuple[float, float]
    source: str = SOURCE
    taught: str = "the shipped prior alone: no well of the field taught it"

    def with_terminal_decline(self, low: float, high: float) -> PooledPrior:
        """The same prior with the terminal decline per year given by an 80 % range (low, high)."""
        hyper = self.shapes["modified_hyperbolic"]
        middle = 0.5 * (math.log(low) + math.log(high))
        spread = max((math.log(high) - math.log(low)) / 2.5631, 1e-3)
        changed = replace(hyper, mean=(*hyper.mean[:2], middle), sd=(*hyper.sd[:2], spread))
        return replace(self, shapes={**self.shapes, "modified_hyperbolic": changed})

    def with_b_max(self, b_max: float) -> PooledPrior:
        """The same prior with b bounded above."""
        hyper = self.shapes["modified_hyperbolic"]
        changed = replace(hyper, high=(hyper.high[0], b_max, hyper.high[2]))
        return replace(self, shapes={**self.shapes, "modified_hyperbolic": changed})


# Moments over the wells of SOURCE; discrepancy and chance of standing idle chosen on their hindcasts, assumptions where
# these hardly tell. benchmarks/prior_by_area.py learns such numbers without an area and scores that area with them.
# Mean uptime: slopes of benchmarks/area_effects.py (gas within areas, oil over areas), constants such that the mean of
# the logit is that of the 301 gas wells of 11 areas and the 272 oil wells of 12.
ERRORS = {"oil": ErrorPrior(-1.88, 0.42, 0.75, 0.60), "gas": ErrorPrior(-2.07, 0.34, 1.50, 0.50)}
DISCREPANCY = {
    "oil": Discrepancy(level_mean=0.085, level_sd=0.21, decline_sd=0.25, settle_months=10.0),
    "gas": Discrepancy(level_mean=0.01, level_sd=0.30, decline_sd=0.15, carry=0.35, noise_months=200.0),
}
UPTIME = {
    "oil": UptimePrior((1.68, 3.33, 0.86, -0.14), (-5.40, 2.03, -0.33, 0.78), (2.30, 0.24)),
    "gas": UptimePrior((1.04, 1.35, 0.83, 0.10), (-4.92, 2.03, -0.33, 0.78), (1.28, 0.24), mean_area_sd=0.5),
}
LOG_RATE = {"oil": (6.99, 0.40), "gas": (9.22, 0.56)}


def default_prior(phase: str = "oil") -> PooledPrior:
    """The shipped prior for a main phase (no unit). Shapes, each in the file of its form, and errors are moments over
    266 oil and 220 gas wells of the source, found by expectation-maximisation over the wells' own posteriors and
    rounded."""
    if phase not in ERRORS:
        raise ValueError(f"phase is {phase!r}; allowed: {sorted(ERRORS)}")
    forms = [form_of(name) for name in FORMS]
    return PooledPrior(
        shapes={form.name: form.priors[phase] for form in forms},
        form_weights={form.name: form.weight for form in forms if not form.optional},
        errors=ERRORS[phase],
        discrepancy=DISCREPANCY[phase],
        uptime=UPTIME[phase],
        log_rate=LOG_RATE[phase],
    )
