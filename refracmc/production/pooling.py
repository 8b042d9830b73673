"""Partial pooling: the shipped prior moved towards what other wells show, by as much as they are many.

Empirical Bayes (Efron & Morris 1975, J. Am. Stat. Assoc. 70). Means over wells of decline and b replace the shipped
ones, which count as `PRIOR_WELLS` wells. How finished forecasts came out moves the uptime, and the level of the curve:
by all wells of other areas, and by those of the field itself, whose part is an effect of the area told apart from the
luck of a year. What a well says at a date is in teachers.py: nothing later can reach the prior through here."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from refracmc.production.prior import PooledPrior, default_prior
from refracmc.production.teachers import FORM, WIDEN, Evidence, Teacher
from refracmc.production.uptime import UPTIME_REFERENCE

Array = NDArray[np.float64]

PRIOR_WELLS = 30.0  # assumption: the shipped prior counts as much as this many wells
PRIOR_AREAS = 12.0  # the areas of a phase the shipped prior was learned from
MAX_WELLS = 60  # wells used for one prior; more change it by less than its own error


@dataclass(frozen=True)
class Spread:
    """Standard deviations between areas, between years of an area, and between wells of a year."""

    areas: float
    years: float
    wells: float

    def effect_of_area(self, values: Array, years: Array, expected: float = 0.0) -> tuple[float, float]:
        """Mean and variance of an area's effect from values (n,) of wells in years (n,); expected: its mean before."""
        weight, total = self.areas**-2, expected * self.areas**-2
        for year in np.unique(years):
            own = values[years == year]
            precision = 1.0 / (self.years**2 + self.wells**2 / len(own))
            weight += precision
            total += precision * float(own.mean())
        return total / weight, 1.0 / weight


# Of the logit of uptime and the log of the level: by benchmarks/area_effects.py, between areas and years moved by what
# forecast areas left out best (areas of gas differ by .86 and years by .75, of oil by 1.0 and .4).
UPTIME_SPREAD = {"oil": Spread(0.5, 0.5, 0.7), "gas": Spread(0.6, 1.0, 1.06)}
LEVEL_SPREAD = Spread(0.1, 0.1, 0.3)


def learn_prior(evidence: Sequence[Evidence], base: PooledPrior, areas: int = 1) -> PooledPrior:
    """The base prior moved by the evidence of wells of other areas (areas: number of them); with none it is
    the base prior itself.

    Uptime differs between areas more than wells tell: its shift is kept by areas / (areas + PRIOR_AREAS).
    """
    if not evidence:
        return base
    gaps = np.array([e.mean_of("uptime_gap") for e in evidence])
    weights = np.array([e.mean_of("uptime_weight") for e in evidence])
    trust = areas / (areas + PRIOR_AREAS)
    area_precision = base.uptime.mean_area_sd**-2
    shift = trust * float(np.clip((gaps @ weights) / (weights.sum() + area_precision), -1.0, 1.0))
    uptime = replace(
        base.uptime,
        mean=(base.uptime.mean[0] + shift, *base.uptime.mean[1:]),
        idle=(base.uptime.idle[0] + trust * _idle_shift(evidence, base), *base.uptime.idle[1:]),
    )
    return replace(_shapes_moved(evidence, base), uptime=uptime)


def learn_field(evidence: Sequence[Evidence], base: PooledPrior) -> PooledPrior:
    """A prior moved by wells of the field itself: their shapes, their uptime, and the level their finished forecasts
    missed (a log, no unit). With none it is the base prior itself."""
    if not evidence:
        return base
    phase = evidence[0].phase
    outcomes = [outcome for e in evidence for outcome in e.outcomes]
    years = np.array([outcome.year for outcome in outcomes])
    gaps = np.array([outcome.uptime_gap for outcome in outcomes])
    levels = np.array([outcome.level_gap for outcome in outcomes])
    ran, told = np.isfinite(gaps), np.isfinite(levels)
    shipped, spread = default_prior(phase).uptime, UPTIME_SPREAD[phase]
    expected = base.uptime.mean[0] - shipped.mean[0]
    effect, variance = spread.effect_of_area(np.clip(gaps[ran], -3.0, 3.0), years[ran], expected)
    left = (variance + spread.years**2) / (spread.areas**2 + spread.years**2)
    uptime = replace(
        base.uptime,
        mean=(shipped.mean[0] + effect, *base.uptime.mean[1:]),
        idle=(base.uptime.idle[0] + 0.5 * _idle_shift(evidence, base), *base.uptime.idle[1:]),
        mean_area_sd=base.uptime.mean_area_sd * float(np.sqrt(left)),
    )
    level, _ = LEVEL_SPREAD.effect_of_area(levels[told], years[told])
    discrepancy = replace(base.discrepancy, level_mean=base.discrepancy.level_mean + level)
    moved = replace(_shapes_moved(evidence, base), uptime=uptime, discrepancy=discrepancy)
    return replace(moved, taught=_in_words(len(evidence), years, default_prior(phase), moved))


def _in_words(wells: int, years: Array, shipped: PooledPrior, moved: PooledPrior) -> str:
    """Who taught the prior of a field, and how much: the numbers moved beside the shipped ones."""
    forecasts = f"{len(years)} finished forecasts"
    if len(years):
        forecasts += f" of theirs made {years.min()} to {years.max()}"
    decline, b = ([prior.shapes[FORM].mean[k] for prior in (moved, shipped)] for k in range(2))
    runs = [1.0 / (1.0 + np.exp(-prior.uptime.mean[0])) for prior in (moved, shipped)]
    level = np.exp(moved.discrepancy.level_mean - shipped.discrepancy.level_mean) - 1.0
    return (
        f"{wells} wells of the field and {forecasts}; a well that ran {UPTIME_REFERENCE} of the time runs "
        f"{runs[0]:.2f} (shipped prior {runs[1]:.2f}), volume per producing day {level:+.0%}, initial decline "
        f"{np.exp(decline[0]):.2f} ({np.exp(decline[1]):.2f}) per year, b {b[0]:.2f} ({b[1]:.2f})"
    )


def _idle_shift(evidence: Sequence[Evidence], base: PooledPrior) -> float:
    """Shift of the logit of the chance of standing idle that wells stood idle more often than expected."""
    outcomes = [outcome for e in evidence for outcome in e.outcomes]
    known = sum(outcome.idle_weight for outcome in outcomes) + base.uptime.idle_area_sd**-2
    return float(np.clip(sum(outcome.idle_gap for outcome in outcomes) / known, -1.0, 1.0))


def _shapes_moved(evidence: Sequence[Evidence], base: PooledPrior) -> PooledPrior:
    """The prior with decline and b of its main form moved by the wells' own."""
    hyper, shipped = base.shapes[FORM], default_prior(evidence[0].phase).shapes[FORM]
    mean, sd = list(hyper.mean), list(hyper.sd)
    for k in range(2):
        fitted = np.array(
            [(e.shape_mean[k], e.shape_variance[k]) for e in evidence if np.isfinite(e.shape_mean[k])]
        )
        if len(fitted):
            own = _without(fitted, shipped.mean[k], WIDEN * shipped.sd[k])
            mean[k], sd[k] = _normal_means(*own, hyper.mean[k], hyper.sd[k])
    moved = replace(hyper, mean=tuple(mean), sd=tuple(sd))
    source = f"{base.source} Moved by {len(evidence)} wells."
    return replace(base, shapes={**base.shapes, FORM: moved}, source=source)


def _without(posterior: Array, mean: float, sd: float) -> tuple[Array, Array]:
    """What wells' own months say, means and precisions, of posteriors (n, 2), mean and variance, under N(mean, sd^2);
    wells whose own months say next to nothing are left out."""
    variance = np.maximum(posterior[:, 1], 1e-8)
    precision = 1.0 / variance - sd**-2
    telling = precision > 0.5 * sd**-2
    data = (posterior[:, 0] / variance - mean * sd**-2)[telling] / precision[telling]
    return data, precision[telling]


def _normal_means(data: Array, precision: Array, mean: float, sd: float) -> tuple[float, float]:
    """Mean and sd over wells from what each says with its precision, the old ones counting as PRIOR_WELLS."""
    if not len(data):
        return mean, sd
    mu, spread = mean, sd * sd
    for _ in range(20):
        weight = 1.0 / (spread + 1.0 / precision)
        pull = PRIOR_WELLS / (spread + sd * sd)
        mu = float((data @ weight + mean * pull) / (weight.sum() + pull))
        own = spread / (spread + 1.0 / precision)
        within = own / precision + (own * (data - mu)) ** 2
        spread = float((within.sum() + PRIOR_WELLS * sd * sd) / (len(data) + PRIOR_WELLS))
    return mu, float(np.sqrt(spread))


def field_priors(teachers: Sequence[Teacher], date: np.datetime64) -> dict[str, PooledPrior]:
    """Prior per main phase as the wells of a field have taught it by their months before the month `date`."""
    by_phase: dict[str, dict[str, Teacher]] = {}
    for teacher in teachers:
        phase = teacher.phase(date)
        if phase is not None:
            by_phase.setdefault(phase, {})[teacher.history.well_id] = teacher
    found: dict[str, PooledPrior] = {}
    for phase, mine in sorted(by_phase.items()):
        told = [mine[name].evidence(date) for name in choose_wells(list(mine))]
        found[phase] = learn_field([e for e in told if e is not None], default_prior(phase))
    return found


def choose_wells(names: Sequence[str], limit: int = MAX_WELLS) -> list[str]:
    """At most `limit` (number of) wells, the same ones whatever their order: by a hash of the name."""
    return sorted(sorted(names, key=lambda n: (zlib.crc32(n.encode()), n))[:limit])
