"""What a prior can be learned from: every well cut at some months, fitted once, with the months that followed.

The fits are made under a wide prior, so that any narrower one can be asked of the same particles by importance
weights: nothing is fitted twice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from refracmc.production.fit import FitRefused, check_fittable, make_target, sample_form
from refracmc.production.forms import form_code
from refracmc.production.history import HistoryProblem, build_history, clean
from refracmc.production.likelihood import ErrorPrior, Target, carried_residual, recent_residual
from refracmc.production.posterior import anchored
from refracmc.production.prior import PooledPrior, default_prior
from refracmc.production.sampler import Generator, keyed_generator
from refracmc.production.uptime import UptimeState, uptime_state

Array = NDArray[np.float64]

MONTHS_IN = (12, 24, 36)
MONTHS_OUT = (12, 24, 36, 60)
PARTICLES = 512
# Means and sds asked under, as in prior.py: wide, and the answer does not hang on them (assumptions)
SHAPES = {
    "oil": ((0.8, 0.5), (1.2, 0.2), (5.5, 0.7), (0.5, 0.2)),
    "gas": ((0.2, 0.5), (0.9, 0.2), (6.0, 0.8), (0.6, 0.2)),
}
ERRORS = ErrorPrior(log_sd_mean=-2.0, log_sd_sd=0.6, rho_logit_mean=1.0, rho_logit_sd=1.2)


@dataclass(frozen=True)
class Window:
    """One well cut after months_in months.

    volume, uptime, days (H,), up to 60 months: main-phase volume, producing share and calendar days of the
    months that followed, NaN where not declared; fits: per form the target, particles (d + 3, n) and log
    evidence under the wide prior, empty where the fit was refused; gap: months from the middle of the last
    month fitted to the cut; peak: best rate per day so far; share: producing share of months with
    production."""

    well: str
    area: str
    phase: str
    months_in: int
    cut_off: np.datetime64
    state: UptimeState
    volume: Array
    uptime: Array
    days: Array
    fits: Mapping[str, tuple[Target, Array, float]]
    gap: float
    peak: float
    share: float

    def declared(self, months: int, before: np.datetime64 | None) -> bool:
        """Whether the `months` after the cut are all declared and, if a month is given, all lie before it."""
        if len(self.volume) < months or not np.isfinite(self.volume[:months]).all():
            return False
        return before is None or self.cut_off + months <= before

    def realised_uptime(self, months: int) -> float:
        """Producing share of the calendar time of the `months` after the cut."""
        days = self.days[:months]
        return float(self.uptime[:months] @ days / days.sum())


def wide_prior(phase: str) -> PooledPrior:
    """The prior the windows are fitted under: nothing learned in it but its bounds and assumptions."""
    base = default_prior(phase)
    numbers = SHAPES[phase]
    pairs = {"modified_hyperbolic": numbers[:2], "stretched_exponential": numbers[2:]}
    shapes = dict(base.shapes)
    for form, pair in pairs.items():
        mean, sd = zip(*pair, strict=True)
        s = shapes[form]
        shapes[form] = replace(s, mean=(*mean, *s.mean[2:]), sd=(*sd, *s.sd[2:]))
    return replace(base, shapes=shapes, errors=ERRORS)


def read_windows(frame: pd.DataFrame, areas: Mapping[str, str], seed: int) -> list[Window]:
    """The windows of all wells with an area and at least 12 months after a cut."""
    priors = {phase: wide_prior(phase) for phase in ("oil", "gas")}
    found: list[Window] = []
    for key, rows in frame.groupby(frame["well_id"].astype(str), sort=True):
        name = str(key)
        if name not in areas:
            continue
        try:
            whole = build_history(rows, name, "oil")
        except HistoryProblem:
            continue
        dates = pd.to_datetime(rows["date"]).to_numpy().astype("datetime64[M]")
        for months in MONTHS_IN:
            if len(whole) < months + min(MONTHS_OUT):
                break
            cut = whole.dates[0] + months
            known = build_history(rows[dates < cut], name, "auto")
            ahead = slice(months, months + max(MONTHS_OUT))
            after = replace(whole, main_phase=known.main_phase)
            producing = np.nan_to_num(known.volume()) > 0
            cleaned = clean(known)
            fits: dict[str, tuple[Target, Array, float]] = {}
            gap = 0.5
            try:
                check_fittable(known, cleaned)
            except FitRefused:
                pass
            else:
                generator = keyed_generator(seed, "prior", name, str(months))
                for form in priors[known.main_phase].form_weights:
                    target = make_target(form, cleaned, priors[known.main_phase])
                    result = sample_form(target, PARTICLES, generator)
                    fits[form] = (target, result.x, result.log_evidence)
                gap = float(len(known) - 1 - np.flatnonzero(cleaned.used)[-1]) + 0.5
            found.append(
                Window(
                    well=name,
                    area=areas[name],
                    phase=known.main_phase,
                    months_in=months,
                    cut_off=cut,
                    state=uptime_state(known),
                    volume=after.volume()[ahead],
                    uptime=after.uptime[ahead],
                    days=after.days_in_month[ahead],
                    fits=fits,
                    gap=gap,
                    peak=known.peak_rate_per_d,
                    share=float(known.uptime[producing].mean()) if producing.any() else np.nan,
                )
            )
    return found


def log_normal_ratio(x: Array, mean: Array, sd: Array, mean_old: Array, sd_old: Array) -> Array:
    """Log of the ratio of two normal densities at x; all broadcast."""
    out = -0.5 * ((x - mean) / sd) ** 2 + 0.5 * ((x - mean_old) / sd_old) ** 2
    return np.asarray(out - np.log(sd) + np.log(sd_old))


def learned_rows(target: Target) -> list[int]:
    """Rows of a particle array whose prior is learned: two of the shape, error size and autocorrelation."""
    d = len(target.shape.mean)
    return [0, 1, d + 1, d + 2]


def moments(prior: PooledPrior, form: str) -> tuple[Array, Array]:
    """Prior mean and sd (4,) of the learned rows."""
    s, e = prior.shapes[form], prior.errors
    mean = np.array([*s.mean[:2], e.log_sd_mean, e.rho_logit_mean])
    return mean, np.array([*s.sd[:2], e.log_sd_sd, e.rho_logit_sd])


def reweighted(window: Window, prior: PooledPrior, n: int, generator: Generator) -> list[tuple[str, Array]]:
    """About n particles of the window's posterior under another prior: (form, (d + 3, k)) with k by
    evidence."""
    parts, log_evidence = {}, {}
    for form, (target, x, evidence) in window.fits.items():
        new, old = moments(prior, form), moments(wide_prior(window.phase), form)
        rows = x[learned_rows(target)]
        log_w = log_normal_ratio(
            rows, new[0][:, None], new[1][:, None], old[0][:, None], old[1][:, None]
        ).sum(axis=0)
        top = float(log_w.max())
        w = np.exp(log_w - top)
        log_evidence[form] = np.log(prior.form_weights[form]) + evidence + top + np.log(w.mean())
        parts[form] = w / w.sum()
    best = max(log_evidence.values())
    total = sum(np.exp(v - best) for v in log_evidence.values())
    out = []
    for form, w in parts.items():
        k = round(n * float(np.exp(log_evidence[form] - best) / total))
        if k:
            edges = np.cumsum(w)
            edges[-1] = 1.0
            chosen = np.searchsorted(edges, (np.arange(k) + generator.random()) / k)
            out.append((form, window.fits[form][1][:, chosen]))
    return out


def curves(
    window: Window, prior: PooledPrior, n: int, generator: Generator
) -> tuple[NDArray[np.int8], Array, Array]:
    """Form codes (k,), slots (4, k) at the end of history and carried log residual (k,) of about n draws, as
    the fit makes them but without any shift of the level."""
    plain = replace(prior.discrepancy, level_mean=0.0, level_sd=0.0, carry=0.0)
    codes, slots, last = [], [], []
    for form, x in reweighted(window, prior, n, generator):
        target = window.fits[form][0]
        rho = np.minimum(1.0 / (1.0 + np.exp(-x[-1])), 0.99)
        last.append(carried_residual(recent_residual(target, x), window.gap, rho))
        slots.append(anchored(target, x, plain, window.gap, window.months_in, generator))
        codes.append(np.full(x.shape[1], form_code(form), dtype=np.int8))
    return np.concatenate(codes), np.concatenate(slots, axis=1), np.concatenate(last)
