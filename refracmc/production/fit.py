"""Fit a decline to one well's history: a joint posterior of form, parameters, uptime and secondary ratios.

The curve, its autocorrelated heavy-tailed errors and the pooled prior give the parameters
(fit_likelihood.py, fit_sampler.py); several forms are averaged by their evidence; what a curve cannot know
is added as a discrepancy that grows with the horizon (fit_pooling.py). The draws ARE the forecast: no other
spread is added downstream."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from refracmc.production.decline import FORMS, cumulative_mixture
from refracmc.production.fit_forms import slots_at_end
from refracmc.production.fit_likelihood import Target, carried_residual
from refracmc.production.fit_pooling import PooledPrior, default_prior
from refracmc.production.fit_sampler import Sample, sample
from refracmc.production.fit_secondary import Ratio, secondary_ratios
from refracmc.production.fit_uptime import uptime_draws
from refracmc.production.history import PHASES, CleanHistory, History, clean

Array = NDArray[np.float64]

DAYS_PER_MONTH = 30.4375
TECHNICAL_MONTHS = 360
MIN_MONTHS = 4  # fewer producing months than this cannot be fitted
MIN_AFTER_PEAK = 3
R_HAT_LIMIT = 1.05
ACCEPTANCE_LIMIT = 0.08


class FitRefused(ValueError):
    """A history no decline can be fitted to; the message is the reason."""


@dataclass(frozen=True)
class FitSettings:
    """draws: posterior draws kept (K); particles: sampler particles per form; forms: names to average, None
    for all of the prior's; terminal_decline_per_year: 80 % range or None for the prior's; b_max: bound on b
    or None."""

    draws: int = 2048
    particles: int = 1024
    forms: tuple[str, ...] | None = None
    terminal_decline_per_year: tuple[float, float] | None = None
    b_max: float | None = None
    prior: PooledPrior = field(default_factory=default_prior)

    def resolved_prior(self) -> PooledPrior:
        """The pooled prior with the engineer's own terminal decline, bound on b and choice of forms."""
        prior = self.prior
        if self.terminal_decline_per_year is not None:
            prior = prior.with_terminal_decline(*self.terminal_decline_per_year)
        if self.b_max is not None:
            prior = prior.with_b_max(self.b_max)
        if self.forms is not None:
            unknown = set(self.forms) - set(prior.shapes)
            if unknown or not self.forms:
                raise ValueError(f"forms are {sorted(unknown)}; allowed: {sorted(prior.shapes)}")
            prior = replace(prior, form_weights={f: prior.form_weights[f] for f in self.forms})
        return prior


@dataclass(frozen=True)
class Posterior:
    """Draws of the forecast, sorted ascending by technical EUR; K draws.

    form (K,) int8, index into decline.FORMS; slots (4, K), clock at the end of history in producing days;
    uptime (K,), mean producing share of calendar time ahead; secondary: phase -> (r_now, r_final,
    x_change), each (K,); technical_eur (K,): history plus 360 months at the draw's uptime [main phase
    unit]; diagnostics: r_hat, acceptance, ess, form weights, flags (list of text, empty when all is well).
    """

    form: NDArray[np.int8]
    slots: Array
    uptime: Array
    secondary: Mapping[str, Ratio]
    technical_eur: Array
    diagnostics: Mapping[str, Any]

    def cumulative(self, months: Array) -> Array:
        """Main-phase volume (K, H) within the next `months` (H,) calendar months of 30.4375 days."""
        tau = (
            self.uptime[:, None]
            * DAYS_PER_MONTH
            * np.atleast_1d(np.asarray(months, dtype=np.float64))[None, :]
        )
        return cumulative_mixture(self.form, self.slots, tau)

    def summary(self) -> list[dict[str, Any]]:
        """One row per form and parameter: weight of the form, P90, P50, P10 (exceedance) and mean."""
        rows: list[dict[str, Any]] = []
        names = {
            "modified_hyperbolic": ("rate_per_d", "decline_per_year", "b", "terminal_decline_per_year"),
            "stretched_exponential": ("rate0_per_d", "tau_days", "n", "t_offset_days"),
            "duong": ("q1_per_d", "a", "m", "t_offset_days"),
        }
        for code, form in enumerate(FORMS):
            members = self.form == code
            if not members.any():
                continue
            for k, name in enumerate(names.get(form, ("slot_1", "slot_2", "slot_3", "slot_4"))):
                rows.append(_row(form, float(members.mean()), name, self.slots[k, members]))
        rows.append(_row("all", 1.0, "uptime", self.uptime))
        rows.append(_row("all", 1.0, "technical_eur", self.technical_eur))
        return rows


def _row(form: str, weight: float, name: str, values: Array) -> dict[str, Any]:
    p90, p50, p10 = (float(v) for v in np.quantile(values, [0.1, 0.5, 0.9]))
    return {"form": form, "weight": weight, "parameter": name, "mean": float(values.mean())} | {
        "p90": p90,
        "p50": p50,
        "p10": p10,
    }


def fit_decline(history: History, settings: FitSettings | None = None, seed: int = 0) -> Posterior:
    """Posterior of the decline of one well. Deterministic for a seed. Raises FitRefused with the reason."""
    chosen = settings or FitSettings()
    prior = chosen.resolved_prior()
    cleaned = clean(history)
    check_fittable(history, cleaned)
    generator = np.random.Generator(
        np.random.PCG64(
            np.random.SeedSequence(seed, spawn_key=(zlib.crc32(b"fit"), zlib.crc32(history.well_id.encode())))
        )
    )
    samples: dict[str, tuple[Target, Sample]] = {}
    for form in prior.form_weights:
        target = make_target(form, cleaned, prior)
        samples[form] = (target, _sample_well(target, chosen.particles, generator))
    return _assemble(history, cleaned, prior, samples, chosen.draws, generator)


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


def _sample_well(target: Target, particles: int, generator: np.random.Generator) -> Sample:
    """Sample one form; once more with twice the particles and moves if the two populations disagree."""
    mean, sd = target.prior_moments()
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


def _assemble(
    history: History,
    cleaned: CleanHistory,
    prior: PooledPrior,
    samples: Mapping[str, tuple[Target, Sample]],
    draws: int,
    generator: np.random.Generator,
) -> Posterior:
    """Mix the forms by evidence, add the discrepancy, draw uptime and ratios, sort by technical EUR."""
    names = list(samples)
    log_weight = np.array([np.log(prior.form_weights[f]) + samples[f][1].log_evidence for f in names])
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    counts = np.floor(weight * draws).astype(int)
    short = draws - int(counts.sum())
    counts[np.argsort(-(weight * draws - counts), kind="stable")[:short]] += 1
    form = np.zeros(draws, dtype=np.int8)
    slots = np.zeros((4, draws))
    at = 0
    last_gap = float(len(history) - 1 - np.flatnonzero(cleaned.used)[-1]) + 0.5
    for name, count in zip(names, counts, strict=True):
        if not count:
            continue
        target, result = samples[name]
        x = result.x[:, generator.permutation(np.arange(count) % result.x.shape[1])]
        d = len(target.shape.mean)
        rho = 1.0 / (1.0 + np.exp(-x[d + 2]))
        last = carried_residual(target.residuals(x)[:, -1], last_gap, rho)
        shift = prior.discrepancy.carry * last + prior.discrepancy.level_sd * generator.standard_normal(count)
        part = slots_at_end(name, x[:d], x[d] + shift, target.end)
        widen = np.exp(prior.discrepancy.decline_sd * generator.standard_normal(count))
        if name == "modified_hyperbolic":
            part[1] *= widen
        form[at : at + count] = FORMS.index(name)
        slots[:, at : at + count] = part
        at += count
    up = uptime_draws(history.uptime, prior.uptime, ndtr(generator.standard_normal(draws)))
    horizon = (up * DAYS_PER_MONTH * TECHNICAL_MONTHS)[:, None]
    further = cumulative_mixture(form, slots, horizon)[:, 0]
    normals = {p: generator.standard_normal((2, draws)) for p in PHASES}
    ratios = secondary_ratios(history, further, normals)
    order = np.argsort(further, kind="stable")
    results = [s for _, s in samples.values()]
    diagnostics = _diagnose(results, dict(zip(names, (float(w) for w in weight), strict=True)))
    return Posterior(
        form[order],
        slots[:, order],
        up[order],
        {p: (a[order], b[order], c[order]) for p, (a, b, c) in ratios.items()},
        history.cumulative[history.main_phase] + further[order],
        diagnostics,
    )


def _diagnose(results: list[Sample], weights: dict[str, float]) -> dict[str, Any]:
    """Worst diagnostics over the forms that carry weight, and flags in words."""
    heavy = [r for r, w in zip(results, weights.values(), strict=True) if w > 0.05]
    r_hat = max(float(r.r_hat.max()) for r in heavy)
    acceptance = min(r.acceptance for r in heavy)
    flags = []
    if r_hat >= R_HAT_LIMIT:
        flags.append(f"the two sampler populations disagree (R-hat {r_hat:.3f}, limit {R_HAT_LIMIT})")
    if acceptance <= ACCEPTANCE_LIMIT:
        flags.append(f"few sampler moves accepted ({acceptance:.2f}, limit {ACCEPTANCE_LIMIT})")
    return {
        "r_hat": r_hat,
        "acceptance": acceptance,
        "ess": min(r.ess for r in heavy),
        "form_weights": weights,
        "flags": flags,
    }
