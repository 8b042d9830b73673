"""The pooled prior: what wells like this one do before its own months are looked at.

Numbers are means and standard deviations over wells, learned from the early months of multistage shale
horizontals of a public data set (see SOURCE), rounded; anything else is marked as an assumption beside it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from refracmc.production.fit_forms import ShapePrior
from refracmc.production.fit_likelihood import ErrorPrior

SOURCE = (
    "Contains data from Secretaría de Energía de la Nación (Argentina), "
    '"Producción de petróleo y gas por pozo (Capítulo IV)" and '
    '"Datos de fractura de pozos de hidrocarburos (Adjunto IV)", datos.energia.gob.ar, '
    "CC BY 4.0; subset, renamed and unit-converted."
)
UNBOUNDED = 99.0


@dataclass(frozen=True)
class Discrepancy:
    """What the curve cannot know, folded into the draws so that the error grows with the horizon.

    level_sd: log sd of a lasting shift of the level; decline_sd: log sd of a factor on the decline at the
    end of history, which widens the forecast with time; carry: share of the last months' residual that
    lasts."""

    level_sd: float = 0.15
    decline_sd: float = 0.25
    carry: float = 0.5


@dataclass(frozen=True)
class UptimePrior:
    """Producing share of future calendar time: mean, strength in months of evidence, months looked back
    at."""

    mean: float = 0.85
    strength: float = 6.0
    look_back: int = 24
    months_per_evidence: float = 4.0


@dataclass(frozen=True)
class PooledPrior:
    """Priors per form, of the errors, the discrepancy and the uptime; `source` says where they come from."""

    shapes: dict[str, ShapePrior]
    form_weights: dict[str, float]
    errors: ErrorPrior
    discrepancy: Discrepancy = field(default_factory=Discrepancy)
    uptime: UptimePrior = field(default_factory=UptimePrior)
    source: str = SOURCE

    def with_terminal_decline(self, low: float, high: float) -> PooledPrior:
        """The same prior with the terminal decline per year given by an 80 % range (low, high)."""
        import math

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


def default_prior() -> PooledPrior:
    """The shipped prior. Terminal decline 5 to 12 % per year (80 %) is common practice without a source;
    the bounds are assumptions that keep the curves decline curves."""
    return PooledPrior(
        shapes={
            "modified_hyperbolic": ShapePrior(
                names=("log decline per year", "b", "log terminal decline per year"),
                mean=(0.5, 0.9, -2.55),
                sd=(0.7, 0.35, 0.34),
                low=(-4.0, 0.0, -5.0),
                high=(4.0, 2.0, 0.0),
            ),
            "stretched_exponential": ShapePrior(
                names=("log tau in days", "n"),
                mean=(6.0, 0.6),
                sd=(1.0, 0.2),
                low=(0.0, 0.15),
                high=(12.0, 1.0),
            ),
            "duong": ShapePrior(
                names=("log a", "m"), mean=(0.2, 1.15), sd=(0.4, 0.08), low=(-3.0, 1.01), high=(2.5, 2.0)
            ),
        },
        form_weights={"modified_hyperbolic": 0.6, "stretched_exponential": 0.25, "duong": 0.15},
        errors=ErrorPrior(log_sd_mean=-2.0, log_sd_sd=0.6, rho_logit_mean=0.3, rho_logit_sd=0.8),
    )
