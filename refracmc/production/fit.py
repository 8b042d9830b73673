"""Fit a decline to one well's history: a joint posterior of form, parameters, uptime and secondary ratios.

The curve, its autocorrelated heavy-tailed errors and the pooled prior give the parameters
(likelihood.py, sampler.py, weighted_points.py); several forms are averaged by their evidence; what a curve cannot know
is added as a discrepancy (posterior.py, prior.py); uptime is its own process (uptime.py). The draws
ARE the forecast: no other spread is added downstream.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from refracmc.production.forms import form_code, form_of
from refracmc.production.history import CleanHistory, History, clean
from refracmc.production.likelihood import Target
from refracmc.production.posterior import (
    ACCEPTANCE_LIMIT,
    DAYS_PER_MONTH,
    R_HAT_LIMIT,
    SET_ROWS,
    FitRefused,
    Posterior,
    assemble,
    finish,
)
from refracmc.production.prior import PooledPrior, default_prior
from refracmc.production.sampler import Generator, Sample, keyed_generator, sample

__all__ = [
    "DAYS_PER_MONTH",
    "SET_ROWS",
    "FitRefused",
    "FitSettings",
    "Posterior",
    "check_fittable",
    "fit_decline",
    "make_target",
    "pooled_decline",
    "sample_form",
]

Array = NDArray[np.float64]

MIN_MONTHS = 4  # fewer producing months than this cannot be fitted
MIN_AFTER_PEAK = 3


@dataclass(frozen=True)
class FitSettings:
    """draws: posterior draws kept, in sets of 512, or one set of them all if they are fewer; particles: sampler
    particles per form, which the points of the sets are proposed by; forms: names to average, None
    for all of the prior's; terminal_decline_per_year: 80 % range or None for the prior's; b_max: bound on b
    or None; idle_hurdle: whether the well may stand idle for good."""

    draws: int = 2048
    particles: int = 512
    forms: tuple[str, ...] | None = None
    terminal_decline_per_year: tuple[float, float] | None = None
    b_max: float | None = None
    prior: PooledPrior | None = None
    idle_hurdle: bool = True

    def resolved_prior(self, phase: str) -> PooledPrior:
        """The pooled prior with the engineer's own terminal decline, bound on b and choice of forms."""
        prior = self.prior or default_prior(phase)
        if self.terminal_decline_per_year is not None:
            prior = prior.with_terminal_decline(*self.terminal_decline_per_year)
        if self.b_max is not None:
            prior = prior.with_b_max(self.b_max)
        if self.forms is not None:
            unknown = set(self.forms) - set(prior.shapes)
            if unknown or not self.forms:
                raise ValueError(f"forms are {sorted(unknown)}; allowed: {sorted(prior.shapes)}")
            prior = replace(
                prior, form_weights={f: prior.form_weights.get(f, form_of(f).weight) for f in self.forms}
            )
        return prior


def fit_decline(history: History, settings: FitSettings | None = None, seed: int = 0) -> Posterior:
    """Posterior of the decline of one well: rates in bbl/d or Mcf/d per producing day, times in days.

    Deterministic for a seed. Raises FitRefused with the reason.
    """
    chosen = settings or FitSettings()
    prior = chosen.resolved_prior(history.main_phase)
    cleaned = clean(history)
    check_fittable(history, cleaned)
    return _fit(history, cleaned, prior, chosen, seed)


def pooled_decline(history: History, settings: FitSettings | None = None, seed: int = 0) -> Posterior:
    """What the pooled prior says of a well that cannot be fitted, updated by the few months there are, if
    any.

    Never refuses: a well that never produced gets the rates of wells like it and a high chance of staying
    idle."""
    chosen = settings or FitSettings()
    prior = chosen.resolved_prior(history.main_phase)
    cleaned = clean(history)
    if not cleaned.used.any():
        volume = history.volume()
        some = np.isfinite(cleaned.rate) & (cleaned.rate > 0) & (np.nan_to_num(volume) > 0)
        if not some.any():
            return _never_produced(history, prior, *_sets(history, chosen, seed))
        best = int(np.nanargmax(np.where(some, cleaned.rate, np.nan)))
        use = some & (np.arange(len(volume)) >= best)
        cleaned = replace(cleaned, used=use, weights=np.where(use, 0.2, 0.0), segment=best)
    return _fit(history, cleaned, prior, chosen, seed)


def _sets(history: History, settings: FitSettings, seed: int) -> tuple[int, list[Generator]]:
    """Draws of a set, and a generator for each: a set is the same however many there are."""
    sets = max(settings.draws // SET_ROWS, 1)
    generators = [keyed_generator(seed, "fit", history.well_id, f"set {k}") for k in range(sets)]
    return settings.draws // sets, generators


def _fit(
    history: History, cleaned: CleanHistory, prior: PooledPrior, settings: FitSettings, seed: int
) -> Posterior:
    generator = keyed_generator(seed, "fit", history.well_id)
    samples: dict[str, tuple[Target, Sample]] = {}
    for form in prior.form_weights:
        target = make_target(form, cleaned, prior)
        samples[form] = (target, sample_form(target, settings.particles, generator))
    used = np.flatnonzero(cleaned.used)
    gap_to_end = float(len(history) - 1 - used[-1]) + 0.5
    rows, generators = _sets(history, settings, seed)
    return assemble(history, used, gap_to_end, prior, samples, rows, generators, settings.idle_hurdle)


def _never_produced(
    history: History, prior: PooledPrior, rows: int, generators: Sequence[Generator]
) -> Posterior:
    """Curves of the pooled prior from first production on, at the pooled rate."""
    slots = np.concatenate([_pooled_curves(history, prior, rows, g) for g in generators], axis=1)
    form = np.full(slots.shape[1], form_code("modified_hyperbolic"), dtype=np.int8)
    diagnostics = {
        "r_hat": 1.0,
        "acceptance": 1.0,
        "ess": float(rows),
        "form_weights": {"modified_hyperbolic": 1.0},
        "flags": ["no month of production: pooled prior alone"],
    }
    return finish(history, prior, form, slots, diagnostics, generators)


def _pooled_curves(history: History, prior: PooledPrior, draws: int, generator: Generator) -> Array:
    """Slots (4, draws) of the pooled prior."""
    shape = prior.shapes["modified_hyperbolic"]
    mean, sd = np.array(shape.mean)[:, None], np.array(shape.sd)[:, None]
    x = np.clip(
        mean + sd * generator.standard_normal((len(mean), draws)),
        np.array(shape.low)[:, None],
        np.array(shape.high)[:, None],
    )
    level = prior.log_rate[0] + prior.log_rate[1] * generator.standard_normal(draws)
    slots = form_of("modified_hyperbolic").slots_at_end(x, level, 0.0)
    other = history.gas if history.main_phase == "oil" else history.oil
    without = int((np.nan_to_num(other) > 0).sum())
    if (
        without
    ):  # the well flows, only not this phase: rule of succession (Laplace) for the phase ever showing
        slots[0] *= generator.random(draws) < 1.0 / (without + 2.0)
    return slots


def check_fittable(history: History, cleaned: CleanHistory) -> None:
    """Raise FitRefused if the history has too few producing months, none, or no decline to see."""
    volume = np.nan_to_num(history.volume())
    if not (volume > 0).any():
        raise FitRefused(f"no {history.main_phase} volume in any month (all zeros)")
    producing = int((volume > 0).sum())
    if producing < MIN_MONTHS:
        raise FitRefused(f"{producing} producing months; at least {MIN_MONTHS} are needed")
    used = int(cleaned.used.sum())
    if used < MIN_AFTER_PEAK:
        raise FitRefused(
            f"rising all along: {used} usable months from the best rate on; {MIN_AFTER_PEAK} are needed"
        )


def make_target(form: str, cleaned: CleanHistory, prior: PooledPrior) -> Target:
    """The log posterior of one form for a cleaned history; the segment's clock starts with its first
    month."""
    used = np.flatnonzero(cleaned.used)
    start = float(cleaned.time_days[used[0]]) - 15.0
    gap = np.ones(len(used))
    gap[1:] = np.diff(used)
    return Target(
        form,
        prior.shapes[form],
        prior.errors,
        cleaned.time_days[used] - start,
        np.log(cleaned.rate[used]),
        cleaned.weights[used],
        gap,
        max(cleaned.end_days - start, float(cleaned.time_days[used[-1]]) - start),
    )


def sample_form(target: Target, particles: int, generator: Generator) -> Sample:
    """Sample one form; once more with twice the particles (number of) and moves if the populations
    disagree."""
    mean, sd = target.prior_moments
    for attempt in range(2):
        n = particles * (1 + attempt)
        start = mean[:, None] + sd[:, None] * generator.standard_normal((len(mean), n))
        low, high = np.array(target.shape.low)[:, None], np.array(target.shape.high)[:, None]
        d = len(low)
        for _ in range(50):
            outside = ~target.inside(start)
            if not outside.any():
                break
            count = int(outside.sum())
            start[:d, outside] = mean[:d, None] + sd[:d, None] * generator.standard_normal((d, count))
        start[:d] = np.clip(start[:d], low, high)
        result = sample(
            target.log_prior,
            target.log_likelihood,
            start,
            generator,
            moves=3 + attempt,
            final_moves=6 * (1 + attempt),
        )
        if result.r_hat.max() < R_HAT_LIMIT and result.acceptance > ACCEPTANCE_LIMIT:
            break
    return result
