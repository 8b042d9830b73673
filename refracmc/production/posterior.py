"""The posterior of a well's decline: the draws the engine forecasts with, and how fitted particles become them.

Draws come in sets, independent of each other given the particles, each a sample of the whole posterior: points weighted
by prior and likelihood (weighted_points.py), the forms by their evidence with them, picked in proportion. What no curve
can know is added as a discrepancy. Uptime and the ratios of the other phases are drawn beside them. A block of trials
takes its rows from one set, so that blocks differ by what another seed would change in the fit as well.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

from refracmc.production.decline import cumulative_mixture
from refracmc.production.forms import FORMS, form_code, form_of
from refracmc.production.history import PHASES, History
from refracmc.production.likelihood import Target, averaged_noise_sd, carried_residual, recent_residual
from refracmc.production.prior import Discrepancy, PooledPrior
from refracmc.production.sampler import Generator, Sample, stratified, stratified_within, systematic
from refracmc.production.secondary import Ratio, secondary_ratios
from refracmc.production.uptime import uptime_draws, uptime_state, uptime_told
from refracmc.production.weighted_points import Proposal

Array = NDArray[np.float64]

DAYS_PER_MONTH = 30.4375
TECHNICAL_MONTHS = 360
SET_ROWS = 512
"""Draws of a set, as many as a block has trials."""
POINTS = 1024
"""Weighted points of each form that a set is picked from."""
LEAST_EFFECTIVE = 50.0
"""Effective points of a set below which the fit is flagged (assumption)."""
R_HAT_LIMIT = 1.05
ACCEPTANCE_LIMIT = 0.08
CUT = 1.0 / 2048.0
"""Chance beyond which the t of the lasting shift is cut on either side: the exponential of a t has no mean."""
_REFERENCE_UPTIME = 0.85


class FitRefused(ValueError):
    """A history no decline can be fitted to; the message is the reason."""


@dataclass(frozen=True)
class Posterior:
    """Draws of the forecast: K draws in sets of equal size, each sorted ascending by technical EUR.

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
    sets: int = 1

    @property
    def set_rows(self) -> int:
        """Draws of a set."""
        return len(self.form) // self.sets

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
    rows: int,
    generators: Sequence[Generator],
    hurdle: bool = True,
) -> Posterior:
    """Sets of `rows` draws, one a generator: forms by evidence, discrepancy, uptime and ratios.

    used (K,): months fitted; gap_to_end: months from the middle of the last of them to the end of history; hurdle:
    whether the well may stand idle for good.
    """
    proposals = {name: Proposal.of(target, result.x) for name, (target, result) in samples.items()}
    made = []
    for generator in generators:
        picked = _pick(proposals, prior, rows, generator)
        parts = [
            anchored(proposals[name].target, x, prior.discrepancy, gap_to_end, len(history), generator)
            for name, x in picked.points.items()
        ]
        form = np.concatenate([np.full(x.shape[1], form_code(name)) for name, x in picked.points.items()])
        made.append((form.astype(np.int8), np.concatenate(parts, axis=1), picked))
    picks = [picked for _, _, picked in made]
    weights = {name: float(np.mean([p.weights[name] for p in picks])) for name in samples}
    diagnostics = diagnose([s for _, s in samples.values()], weights, min(p.effective for p in picks))
    diagnostics["fitted_index"] = used
    diagnostics["fitted_log_rate"] = fitted_curve(samples, weights)
    form = np.concatenate([form for form, _, _ in made])
    slots = np.concatenate([slots for _, slots, _ in made], axis=1)
    return finish(history, prior, form, slots, diagnostics, generators, hurdle)


@dataclass(frozen=True)
class _Picked:
    """Points of a set by form (d + 3, n), weights of the forms, and effective number of the points picked from."""

    points: Mapping[str, Array]
    weights: Mapping[str, float]
    effective: float


def _pick(proposals: Mapping[str, Proposal], prior: PooledPrior, rows: int, generator: Generator) -> _Picked:
    """Pick `rows` points of all forms by their weights, those of a form in the order of the volume ahead: neighbours
    are alike, so that little hangs on which of them is picked."""
    found, logs = {}, []
    for name, proposal in proposals.items():
        x, log_weights = proposal.points(POINTS, generator)
        some = np.flatnonzero(np.isfinite(log_weights))
        volume = _volume_ahead(proposal.target, x[:, some])
        known = np.isfinite(volume)  # else a curve beyond the largest number
        order = some[known][np.argsort(volume[known], kind="stable")]
        found[name] = x[:, order]
        logs.append(log_weights[order] + np.log(prior.form_weights[name]))
    together = np.concatenate(logs)
    weights = np.exp(together - together.max())
    weights /= weights.sum()
    chosen = systematic(weights, rows, float(generator.random()))
    at, points, by_form = 0, {}, {}
    for name, x in found.items():
        mine = chosen[(chosen >= at) & (chosen < at + x.shape[1])] - at
        by_form[name] = float(weights[at : at + x.shape[1]].sum())
        if len(mine):
            points[name] = x[:, mine]
        at += x.shape[1]
    return _Picked(points, by_form, float(1.0 / np.square(weights).sum()))


def _volume_ahead(target: Target, x: Array) -> Array:
    """Main-phase volume (n,) that the curves of points x (d + 3, n) give in 360 months at an uptime of 0.85."""
    d, days = len(target.shape.mean), np.array([_REFERENCE_UPTIME * DAYS_PER_MONTH * TECHNICAL_MONTHS])
    form = form_of(target.form)
    with np.errstate(over="ignore", invalid="ignore"):
        return form.cumulative(form.slots_at_end(x[:d], x[d], target.end), days)[:, 0]


def fitted_curve(samples: Mapping[str, tuple[Target, Sample]], weights: Mapping[str, float]) -> Array:
    """P90, P50 and P10 (3, K) of the fitted log rate (per producing day) at the months used, before
    discrepancy; weights of the forms."""
    curves = []
    for name, (target, result) in samples.items():
        take = result.x[:, : round(weights[name] * result.x.shape[1])]
        if take.size:
            curves.append(target.y - target.residuals(take))
    return np.asarray(np.quantile(np.concatenate(curves), [0.1, 0.5, 0.9], axis=0))


def finish(
    history: History,
    prior: PooledPrior,
    form: NDArray[np.int8],
    slots: Array,
    diagnostics: Mapping[str, Any],
    generators: Sequence[Generator],
    hurdle: bool = True,
) -> Posterior:
    """Add uptime and ratios to curves anchored at the end of history, and sort each set by technical EUR; generators:
    one a set."""
    sets, state = len(generators), uptime_state(history)
    rows = len(form) // sets
    drawn = [np.stack([stratified(g, rows) for _ in range(4)]) for g in generators]
    uniforms, normal = np.split(np.concatenate(drawn, axis=1), 2)
    deviates = ndtri(normal)
    up, running = uptime_draws(state, prior.uptime, uniforms, deviates, hurdle)
    diagnostics = {
        **diagnostics,
        "taught": prior.taught,
        **uptime_told(state, prior.uptime, (up, running), uniforms, deviates),
    }
    horizon = (up * DAYS_PER_MONTH * TECHNICAL_MONTHS)[:, None]
    further = cumulative_mixture(form, slots, horizon)[:, 0]
    noise = [g.standard_normal((len(PHASES), 2, rows)) for g in generators]
    normals = dict(zip(PHASES, np.concatenate(noise, axis=2), strict=True))
    ratios = secondary_ratios(history, further, normals)
    within = np.argsort(further.reshape(sets, rows), axis=1, kind="stable")
    order = (within + rows * np.arange(sets)[:, None]).ravel()
    return Posterior(
        form[order],
        slots[:, order],
        up[order],
        {p: (a[order], b[order], c[order]) for p, (a, b, c) in ratios.items()},
        history.cumulative[history.main_phase] + further[order],
        diagnostics,
        running[order],
        sets,
    )


def _lag_one(target: Target, x: Array) -> Array:
    """Correlation (n,) of the errors of neighbouring months."""
    return np.asarray(np.minimum(1.0 / (1.0 + np.exp(-x[len(target.shape.mean) + 2])), 0.99))


def expected_level(
    target: Target, x: Array, discrepancy: Discrepancy, gap_to_end: float, months: int
) -> Array:
    """Log rate (n,) at the end of history that particles x (d + 3, n) give, with what lasts of the last months'
    residuals and the mean shift of the level; gap_to_end and months in months."""
    recent = carried_residual(recent_residual(target, x), gap_to_end, _lag_one(target, x))
    level: Array = x[len(target.shape.mean)] + discrepancy.carry * recent
    return level + discrepancy.settled(months) * discrepancy.level_mean


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

    The t errors are of a LOG rate, whose exponential has no mean: they are cut at `CUT`, and one is drawn in each of
    equal strata, so that no single draw carries the mean."""
    d, n = len(target.shape.mean), x.shape[1]
    lasting = discrepancy.level_sd * stdtrit(discrepancy.level_df, stratified_within(generator, n, CUT))
    noise = averaged_noise_sd(np.exp(x[d + 1]), _lag_one(target, x), discrepancy.noise_months)
    ahead = noise * ndtri(stratified(generator, n))
    level = expected_level(target, x, discrepancy, gap_to_end, months)
    level += discrepancy.settled(months) * lasting + ahead
    widen = np.exp(discrepancy.decline_sd * ndtri(stratified(generator, n)))
    form = form_of(target.form)
    return form.steeper(form.slots_at_end(x[:d], level, target.end), widen)


def diagnose(results: list[Sample], weights: dict[str, float], effective: float) -> dict[str, Any]:
    """Worst diagnostics over the forms that carry weight (share above 0.05), and flags in words; effective: number of
    points of the set that has the fewest."""
    heavy = [r for r, w in zip(results, weights.values(), strict=True) if w > 0.05]
    r_hat = max(float(r.r_hat.max()) for r in heavy)
    acceptance = min(r.acceptance for r in heavy)
    flags = []
    if r_hat >= R_HAT_LIMIT:
        flags.append(f"the two sampler populations disagree (R-hat {r_hat:.3f}, limit {R_HAT_LIMIT})")
    if acceptance <= ACCEPTANCE_LIMIT:
        flags.append(f"few sampler moves accepted ({acceptance:.2f}, limit {ACCEPTANCE_LIMIT})")
    if effective < LEAST_EFFECTIVE:
        flags.append(f"few points carry the weight ({effective:.0f} effective, limit {LEAST_EFFECTIVE:.0f})")
    return {
        "r_hat": r_hat,
        "acceptance": acceptance,
        "ess": effective,
        "form_weights": weights,
        "flags": flags,
    }
