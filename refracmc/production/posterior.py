"""The posterior of a well's decline: the draws the engine forecasts with, and how fitted particles become them.

Forms are averaged by their evidence. What no curve can know is added as a discrepancy. Uptime and the ratios of the
other phases are drawn beside them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

from refracmc.production.decline import cumulative_mixture
from refracmc.production.forms import FORMS, form_code, form_of
from refracmc.production.history import PHASES, History
from refracmc.production.likelihood import Target, averaged_noise_sd, carried_residual
from refracmc.production.prior import Discrepancy, PooledPrior
from refracmc.production.sampler import Generator, Sample, stratified
from refracmc.production.secondary import Ratio, secondary_ratios
from refracmc.production.uptime import uptime_draws, uptime_state, uptime_told

Array = NDArray[np.float64]

DAYS_PER_MONTH = 30.4375
TECHNICAL_MONTHS = 360
R_HAT_LIMIT = 1.05
ACCEPTANCE_LIMIT = 0.08


class FitRefused(ValueError):
    """A history no decline can be fitted to; the message is the reason."""


@dataclass(frozen=True)
class Posterior:
    """Draws of the forecast, sorted ascending by technical EUR; K draws.

    form (K,) int8, index into forms.FORMS; slots (4, K), clock at the end of history in producing days;
    uptime (K,), mean producing share of calendar time ahead, exactly 0 where the well stands idle for good;
    running_uptime (K,): the uptime it would run at if it ran, for a stream a job brings (None: as uptime);
    secondary: phase -> (r_now, r_final, x_change), each (K,); technical_eur (K,): history plus 360 months
    at the draw's uptime [main phase unit]; diagnostics: r_hat, acceptance, ess, form weights, flags (list
    of text, empty when all is well)."""

    form: NDArray[np.int8]
    slots: Array
    uptime: Array
    secondary: Mapping[str, Ratio]
    technical_eur: Array
    diagnostics: Mapping[str, Any]
    running_uptime: Array | None = None

    def cumulative(self, months: Array) -> Array:
        """Main-phase volume (K, H) within the next `months` (H,) calendar months of 30.4375 days."""
        days = DAYS_PER_MONTH * np.atleast_1d(np.asarray(months, dtype=np.float64))
        return cumulative_mixture(self.form, self.slots, days, self.uptime)

    def summary(self) -> list[dict[str, Any]]:
        """One row per form and parameter: weight of the form, P90, P50, P10 (exceedance) and mean."""
        rows: list[dict[str, Any]] = []
        for code, name in enumerate(FORMS):
            members = self.form == code
            if members.any():
                for slot, values in zip(form_of(name).slots, self.slots[:, members], strict=True):
                    rows.append(_row(name, float(members.mean()), slot.name, values))
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


def assemble(
    history: History,
    used: NDArray[np.int64],
    gap_to_end: float,
    prior: PooledPrior,
    samples: Mapping[str, tuple[Target, Sample]],
    draws: int,
    generator: Generator,
    hurdle: bool = True,
) -> Posterior:
    """Mix the forms by evidence, add the discrepancy, draw uptime and ratios, sort by technical EUR.

    used (K,): months fitted; gap_to_end: months from the middle of the last of them to the end of history; hurdle:
    whether the well may stand idle for good.
    """
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
    for name, count in zip(names, counts, strict=True):
        if not count:
            continue
        target, result = samples[name]
        x = result.x[:, generator.permutation(np.arange(count) % result.x.shape[1])]
        part = anchored(target, x, prior.discrepancy, gap_to_end, len(history), generator)
        form[at : at + count] = form_code(name)
        slots[:, at : at + count] = part
        at += count
    results = [s for _, s in samples.values()]
    diagnostics = diagnose(results, dict(zip(names, (float(w) for w in weight), strict=True)))
    diagnostics["fitted_index"] = used
    diagnostics["fitted_log_rate"] = fitted_curve(samples, dict(zip(names, counts, strict=True)))
    return finish(history, prior, form, slots, diagnostics, generator, hurdle)


def fitted_curve(samples: Mapping[str, tuple[Target, Sample]], counts: Mapping[str, int]) -> Array:
    """P90, P50 and P10 (3, K) of the fitted log rate (per producing day) at the months used, before
    discrepancy."""
    curves = []
    for name, (target, result) in samples.items():
        if counts[name]:
            take = result.x[:, np.arange(min(int(counts[name]), 256)) % result.x.shape[1]]
            curves.append(target.y - target.residuals(take))
    return np.asarray(np.quantile(np.concatenate(curves), [0.1, 0.5, 0.9], axis=0))


def finish(
    history: History,
    prior: PooledPrior,
    form: NDArray[np.int8],
    slots: Array,
    diagnostics: Mapping[str, Any],
    generator: Generator,
    hurdle: bool = True,
) -> Posterior:
    """Add uptime and ratios to curves anchored at the end of history, and sort by technical EUR."""
    draws, state = len(form), uptime_state(history)
    uniforms = np.stack([stratified(generator, draws) for _ in range(2)])
    deviates = ndtri(np.stack([stratified(generator, draws) for _ in range(2)]))
    up, running = uptime_draws(state, prior.uptime, uniforms, deviates, hurdle)
    diagnostics = {
        **diagnostics,
        "taught": prior.taught,
        **uptime_told(state, prior.uptime, (up, running), uniforms, deviates),
    }
    horizon = (up * DAYS_PER_MONTH * TECHNICAL_MONTHS)[:, None]
    further = cumulative_mixture(form, slots, horizon)[:, 0]
    normals = {p: generator.standard_normal((2, draws)) for p in PHASES}
    ratios = secondary_ratios(history, further, normals)
    order = np.argsort(further, kind="stable")
    return Posterior(
        form[order],
        slots[:, order],
        up[order],
        {p: (a[order], b[order], c[order]) for p, (a, b, c) in ratios.items()},
        history.cumulative[history.main_phase] + further[order],
        diagnostics,
        running[order],
    )


def anchored(
    target: Target,
    x: Array,
    discrepancy: Discrepancy,
    gap_to_end: float,
    months: int,
    generator: Generator,
) -> Array:
    """Slots (4, n) at the end of history of fitted particles x (d + 3, n), with the discrepancy folded in;
    gap_to_end and months in months.

    The t errors are of a LOG rate, whose exponential has no mean: quantiles at the middles of equal strata
    bound them, so that no single draw carries the mean."""
    d, n = len(target.shape.mean), x.shape[1]
    rho = np.minimum(1.0 / (1.0 + np.exp(-x[d + 2])), 0.99)
    last = carried_residual(target.residuals(x)[:, -1], gap_to_end, rho)
    lasting = discrepancy.level_mean + discrepancy.level_sd * stdtrit(
        discrepancy.level_df, stratified(generator, n)
    )
    noise = averaged_noise_sd(np.exp(x[d + 1]), rho, discrepancy.noise_months)
    ahead = noise * ndtri(stratified(generator, n))
    level = x[d] + discrepancy.carry * last + discrepancy.settled(months) * lasting + ahead
    widen = np.exp(discrepancy.decline_sd * ndtri(stratified(generator, n)))
    form = form_of(target.form)
    return form.steeper(form.slots_at_end(x[:d], level, target.end), widen)


def diagnose(results: list[Sample], weights: dict[str, float]) -> dict[str, Any]:
    """Worst diagnostics over the forms that carry weight (share above 0.05), and flags in words."""
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
