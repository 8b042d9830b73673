"""Partial pooling: the shipped prior moved towards what the wells at hand show, by as much as they are many.

Empirical Bayes (Efron & Morris 1975, J. Am. Stat. Assoc. 70): every well gives an estimate of its decline
and b with a variance, of its uptime against the expected one, and of how far a forecast made from its early
months came out wrong. Their means over wells replace the shipped ones, which count as `PRIOR_WELLS` wells.
Histories handed in must already end at the cut-off: nothing later can reach the prior through here."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import digamma, expit, polygamma

from refracmc.production.fit import FitRefused, check_fittable, make_target, sample_form
from refracmc.production.history import History, clean
from refracmc.production.prior import PooledPrior, default_prior
from refracmc.production.sampler import Generator, keyed_generator
from refracmc.production.uptime import expected_uptime, uptime_state

Array = NDArray[np.float64]

PRIOR_WELLS = 30.0  # assumption: the shipped prior counts as much as this many wells
PRIOR_AREAS = 7.0  # the areas the shipped prior was learned from
MAX_WELLS = 60  # wells used for one prior; more change it by less than its own error
PARTICLES = 128
WIDEN = (
    2.5  # wells are asked under a prior this much wider than the one they move, or they would only repeat it
)
BACKTEST_MONTHS = (12, 24, 36)
BACKTEST_LEAST = 12
BACKTEST_MOST = 24
FORM = "modified_hyperbolic"


@dataclass(frozen=True)
class Evidence:
    """What one well says. shape_mean, shape_variance (2,): log decline per year and b, NaN where it was not
    fitted; uptime_gap, uptime_weight: mean of logit uptime less the expected one and the inverse of its
    variance; idle_gap, idle_weight: idle windows less the expected number, and its variance."""

    shape_mean: Array
    shape_variance: Array
    uptime_gap: float
    uptime_weight: float
    idle_gap: float
    idle_weight: float


def well_evidence(history: History, base: PooledPrior, seed: int = 0) -> Evidence:
    """Evidence of one well, from the months in `history` only."""
    generator = keyed_generator(seed, "pool", history.well_id)
    nothing = np.full(2, np.nan)
    mean, variance = nothing, nothing
    fitted = _fit(history, base, generator)
    if fitted is not None:
        mean, variance = fitted[:2].mean(axis=1), fitted[:2].var(axis=1)
    uptime: list[tuple[float, float]] = []
    idle = idle_weight = 0.0
    for months in BACKTEST_MONTHS:
        ahead = min(len(history) - months, BACKTEST_MOST)
        if ahead < BACKTEST_LEAST:
            break
        head = history.head(months)
        window = slice(months, months + ahead)
        shares = history.uptime[window]
        if np.isnan(shares).any():
            continue
        realised = float(shares @ history.days_in_month[window] / history.days_in_month[window].sum())
        chance, expected, spread = _expected_uptime(head, base)
        idle += float(realised == 0.0) - chance
        idle_weight += chance * (1.0 - chance)
        if realised == 0.0:
            continue
        logit = float(np.log(np.clip(realised, 0.01, 0.99) / (1.0 - np.clip(realised, 0.01, 0.99))))
        uptime.append((logit - expected, 1.0 / (spread + base.uptime.mean_area_sd**2)))
    weight = sum(w for _, w in uptime) / max(len(uptime), 1)
    gap = float(np.mean([g for g, _ in uptime])) if uptime else 0.0
    return Evidence(mean, variance, gap, weight, idle, idle_weight)


def _fit(history: History, base: PooledPrior, generator: Generator) -> Array | None:
    """Particles (d, n) of the hyperbolic form, or None if refused."""
    cleaned = clean(history)
    try:
        check_fittable(history, cleaned)
    except FitRefused:
        return None
    hyper = base.shapes[FORM]
    wide = replace(hyper, sd=(*(WIDEN * v for v in hyper.sd[:2]), *hyper.sd[2:]))
    target = make_target(FORM, cleaned, replace(base, shapes={**base.shapes, FORM: wide}))
    return sample_form(target, PARTICLES, generator).x


def _expected_uptime(history: History, base: PooledPrior) -> tuple[float, float, float]:
    """Chance of standing idle, and mean and variance of the logit of the uptime if not, at the end of a
    history."""
    logit, precision, idle = expected_uptime(uptime_state(history), base.uptime)
    mean = float(expit(logit))
    alpha, beta = mean * precision, (1.0 - mean) * precision
    expected = float(digamma(alpha) - digamma(beta))
    spread = float(polygamma(1, alpha) + polygamma(1, beta))
    return float(expit(idle)), expected, spread


def learn_prior(evidence: Sequence[Evidence], base: PooledPrior, areas: int = 1) -> PooledPrior:
    """The base prior moved by the evidence of other wells (areas: number of their areas); with none it is
    the base prior itself.

    Uptime differs between areas more than wells tell: its shift is kept by areas / (areas + PRIOR_AREAS).
    """
    if not evidence:
        return base
    hyper = base.shapes[FORM]
    mean, sd = list(hyper.mean), list(hyper.sd)
    for k in range(2):
        fitted = np.array(
            [(e.shape_mean[k], e.shape_variance[k]) for e in evidence if np.isfinite(e.shape_mean[k])]
        )
        if len(fitted):
            mean[k], sd[k] = _normal_means(fitted[:, 0], fitted[:, 1], hyper.mean[k], hyper.sd[k])
    gaps = np.array([e.uptime_gap for e in evidence])
    weights = np.array([e.uptime_weight for e in evidence])
    area_precision = base.uptime.mean_area_sd**-2
    trust = areas / (areas + PRIOR_AREAS)
    shift = trust * float(np.clip((gaps @ weights) / (weights.sum() + area_precision), -1.0, 1.0))
    idle = sum(e.idle_gap for e in evidence) / (
        sum(e.idle_weight for e in evidence) + base.uptime.idle_area_sd**-2
    )
    idle = trust * float(np.clip(idle, -1.0, 1.0))
    uptime = replace(
        base.uptime,
        mean=(base.uptime.mean[0] + shift, *base.uptime.mean[1:]),
        idle=(base.uptime.idle[0] + idle, *base.uptime.idle[1:]),
    )
    shapes = {**base.shapes, FORM: replace(hyper, mean=tuple(mean), sd=tuple(sd))}
    return replace(
        base,
        shapes=shapes,
        uptime=uptime,
        source=f"{base.source} Moved by {len(evidence)} wells of the case.",
    )


def _normal_means(posterior: Array, variance: Array, mean: float, sd: float) -> tuple[float, float]:
    """Mean and sd over wells from their posteriors under N(mean, (WIDEN sd)^2), the old ones counting as
    PRIOR_WELLS."""
    asked = (WIDEN * sd) ** -2
    precision = 1.0 / np.maximum(variance, 1e-8) - asked
    telling = precision > 0.5 * asked  # a well whose own months say next to nothing is left out
    if not telling.any():
        return mean, sd
    data = (posterior / np.maximum(variance, 1e-8) - mean * asked)[telling] / precision[telling]
    precision = precision[telling]
    mu, spread = mean, sd * sd
    for _ in range(20):
        weight = 1.0 / (spread + 1.0 / precision)
        pull = PRIOR_WELLS / (spread + sd * sd)
        mu = float((data @ weight + mean * pull) / (weight.sum() + pull))
        own = spread / (spread + 1.0 / precision)
        within = own / precision + (own * (data - mu)) ** 2
        spread = float((within.sum() + PRIOR_WELLS * sd * sd) / (len(data) + PRIOR_WELLS))
    return mu, float(np.sqrt(spread))


def pool_histories(histories: Sequence[History], seed: int = 0, areas: int = 1) -> dict[str, PooledPrior]:
    """Prior per main phase learned from the wells of a case (areas: number of areas they lie in), for
    FitSettings."""
    found: dict[str, PooledPrior] = {}
    for phase in sorted({h.main_phase for h in histories}):
        mine = {h.well_id: h for h in histories if h.main_phase == phase and len(h) >= BACKTEST_LEAST}
        base = default_prior(phase)
        found[phase] = learn_prior(
            [well_evidence(mine[n], base, seed) for n in choose_wells(list(mine))], base, areas
        )
    return found


def choose_wells(names: Sequence[str], limit: int = MAX_WELLS) -> list[str]:
    """At most `limit` (number of) wells, the same ones whatever their order: by a hash of the name."""
    return sorted(sorted(names, key=lambda n: (zlib.crc32(n.encode()), n))[:limit])
