"""How the numbers of a prior are learned from windows of wells (prior_windows.py).

1. Shapes and errors: means and spreads over wells by expectation-maximisation over their posteriors.
2. Uptime: penalised likelihood of the hurdle model with an effect of each area, and the spread of those effects.
3. Discrepancy: each area is forecast with what the OTHER areas taught in 1 and 2, and the shift, the spread and
   the settling time are those that suit these forecasts, each area counting alike. So the spread holds what an
   unseen area does differently. With one area only there is nothing to leave out; it is then
   forecast with itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import betaln, expit, log_expit, ndtri, stdtrit

from benchmarks.prior_windows import (
    MONTHS_OUT,
    Window,
    curves,
    learned_rows,
    log_normal_ratio,
    moments,
    wide_prior,
)
from refracmc.production.decline import cumulative_mixture
from refracmc.production.posterior import DAYS_PER_MONTH
from refracmc.production.prior import Discrepancy, PooledPrior
from refracmc.production.sampler import keyed_generator, stratified
from refracmc.production.scores import LEVELS as NAMED_LEVELS
from refracmc.production.scores import NOMINAL
from refracmc.production.uptime import LOG_RATE_REFERENCE, UPTIME_REFERENCE, UptimePrior, uptime_draws

Array = NDArray[np.float64]
Month = np.datetime64 | None

DRAWS = 256
ROUNDS = 25
HELD_WELLS = 5.0  # assumption: half the wide prior's spread counts as this many wells
SLOPES = (1.5, 1.5, 0.5)  # prior sds of uptime slopes: weak, assumption
AREA_SD = 0.35  # assumption, counting as one area: spread between areas of a logit
LEVELS = tuple(level for level, _ in NAMED_LEVELS)
LONG = 24  # months in: the wells the program is for have years of history
SPREAD = (0.02, 0.5)  # the level's spread is sought between these
SETTLE_MOST = 12.0  # the shortest history learned from
START = (0.02, -1.7, 8.0)  # level mean, log level sd, settling months: where the search begins, weakly held
HELD = (0.1, 0.7, 4.0)


def shapes_and_errors(windows: Sequence[Window], phase: str, before: Month = None) -> PooledPrior:
    """A prior with shapes, errors and rate learned, each well by its longest window."""
    base = wide_prior(phase)
    longest: dict[str, Window] = {}
    for w in windows:
        usable = w.phase == phase and w.fits and (before is None or w.cut_off <= before)
        if usable and (w.well not in longest or w.months_in > longest[w.well].months_in):
            longest[w.well] = w
    chosen = list(longest.values())
    shapes = dict(base.shapes)
    errors = base.errors
    for form in base.form_weights:
        old_mean, old_sd = moments(wide_prior(phase), form)
        stacks = [w.fits[form][1][learned_rows(w.fits[form][0])] for w in chosen]
        least = min(s.shape[1] for s in stacks)
        x = np.stack([s[:, :: s.shape[1] // least][:, :least] for s in stacks])
        mean, sd = old_mean, old_sd
        for _ in range(ROUNDS):
            ratio = log_normal_ratio(x, mean[:, None], sd[:, None], old_mean[:, None], old_sd[:, None])
            weight = ratio.sum(axis=1)
            weight = np.exp(weight - weight.max(axis=1, keepdims=True))
            weight = (weight / weight.sum(axis=1, keepdims=True))[:, None, :]
            own = (weight * x).sum(axis=2)
            spread = (weight * x * x).sum(axis=2) - own**2
            mean = own.mean(axis=0)
            told = (spread + (own - mean) ** 2).sum(axis=0) + HELD_WELLS * (0.5 * old_sd) ** 2
            sd = np.sqrt(told / (len(chosen) + HELD_WELLS))
        s = shapes[form]
        shapes[form] = replace(
            s,
            mean=(float(mean[0]), float(mean[1]), *s.mean[2:]),
            sd=(float(sd[0]), float(sd[1]), *s.sd[2:]),
        )
        if form == "modified_hyperbolic":
            errors = replace(
                errors,
                log_sd_mean=float(mean[2]),
                log_sd_sd=float(sd[2]),
                rho_logit_mean=float(mean[3]),
                rho_logit_sd=float(sd[3]),
            )
    rate = np.log([w.peak for w in chosen])
    return replace(base, shapes=shapes, errors=errors, log_rate=(float(rate.mean()), float(rate.std())))


def uptime_priors(windows: Sequence[Window], before: Month = None) -> dict[str, UptimePrior]:
    """The hurdle model of both phases: constants and precision by phase, slopes shared, effects of areas."""
    rows, counts = [], {}
    for w in windows:
        for months in MONTHS_OUT:
            if w.declared(months, before) and np.isfinite(w.uptime[:months]).all():
                rows.append((w, w.realised_uptime(months)))
                counts[w.well] = counts.get(w.well, 0) + 1
    phases = sorted({w.phase for w, _ in rows})
    areas = sorted({w.area for w, _ in rows})
    phase = np.array([phases.index(w.phase) for w, _ in rows])
    area = np.array([areas.index(w.area) for w, _ in rows])
    realised = np.array([u for _, u in rows])
    idle, y = realised == 0.0, np.clip(realised, 0.01, 0.99)
    states = [w.state for w, _ in rows]
    year = np.array([s.year for s in states]) - UPTIME_REFERENCE
    recent = np.array([s.recent for s in states]) - UPTIME_REFERENCE
    rate = np.array([s.log_rate for s in states]) - LOG_RATE_REFERENCE
    shut = np.log1p(np.array([s.shut for s in states]))
    age = np.array([s.log_age for s in states])
    weight = np.array([1.0 / counts[w.well] for w, _ in rows])
    p, k = len(phases), len(areas)
    # constants of mean, precision, idle by phase; slopes of mean, precision, idle; effects of areas twice
    centre = np.array(
        [1.0] * p + [1.5] * p + [-4.0] * p + [1.0, 1.0, 0.0, 0.0, 1.0, 0.0, 0.0] + [0.0] * 2 * k
    )
    held = np.array([2.0] * p + [1.0] * p + [2.0] * p + [*SLOPES, 0.5, *SLOPES] + [1.0] * 2 * k)
    at = 3 * p

    def cost(x: Array, between: Array) -> float:
        mean = expit(x[phase] + x[at] * year + x[at + 1] * recent + x[at + 2] * rate + x[at + 7 + area]).clip(
            0.02, 0.98
        )
        precision = np.exp(np.clip(x[p + phase] + x[at + 3] * rate, -1.0, 4.0))
        a, b = mean * precision, (1.0 - mean) * precision
        running = (a - 1.0) * np.log(y) + (b - 1.0) * np.log1p(-y) - betaln(a, b)
        stop = x[2 * p + phase] + x[at + 4] * shut + x[at + 5] * rate + x[at + 6] * age + x[at + 7 + k + area]
        value = -(weight * np.where(idle, log_expit(stop), log_expit(-stop) + running)).sum()
        scale = held.copy()
        scale[at + 7 :] = np.repeat(between, k)
        return float(value + 0.5 * (((x - centre) / scale) ** 2).sum())

    x, between = centre.copy(), np.full(2, AREA_SD)
    step = 0.05
    for _ in range(5):
        x = minimize(cost, x, args=(between,), method="L-BFGS-B").x
        bend = []
        for j in range(at + 7, len(x)):
            e = np.zeros(len(x))
            e[j] = step
            bend.append((cost(x + e, between) - 2 * cost(x, between) + cost(x - e, between)) / step**2)
        effects = (x[at + 7 :] ** 2 + 1.0 / np.maximum(bend, 1e-6)).reshape(2, k).sum(axis=1)
        # constants of the phases took p of the k degrees of freedom
        between = np.sqrt((effects + AREA_SD**2) / (k - min(p, k - 1) + 1))
    found = {}
    for i, name in enumerate(phases):
        found[name] = UptimePrior(
            mean=(float(x[i]), *(float(v) for v in x[at : at + 3])),
            idle=(float(x[2 * p + i]), *(float(v) for v in x[at + 4 : at + 7])),
            precision=(float(x[p + i]), float(x[at + 3])),
            mean_area_sd=float(between[0]),
            idle_area_sd=float(between[1]),
            bulk=float(np.mean([w.share for w in windows if np.isfinite(w.share)])),
        )
    return found


class Learner:
    """Priors learned from windows without some areas; what was learned once is kept.

    before: only months before this one teach anything (None: all)."""

    def __init__(self, windows: Sequence[Window], seed: int, before: Month = None) -> None:
        self.windows, self.seed, self.before = windows, seed, before
        self._uptime: dict[frozenset[str], dict[str, UptimePrior]] = {}
        self._bases: dict[tuple[frozenset[str], str], PooledPrior] = {}

    def base(self, without: frozenset[str], phase: str) -> PooledPrior:
        """Steps 1 and 2, from all areas but those named."""
        rest = [w for w in self.windows if w.area not in without]
        if without not in self._uptime:
            self._uptime[without] = uptime_priors(rest, self.before)
        if (without, phase) not in self._bases:
            prior = shapes_and_errors(rest, phase, self.before)
            self._bases[without, phase] = replace(prior, uptime=self._uptime[without][phase])
        return self._bases[without, phase]

    def prior(self, phase: str, without: str = "") -> PooledPrior:
        """All three steps, from all areas but the one named."""
        gone = frozenset({without} - {""})
        teaching = [w for w in self.windows if w.phase == phase and w.area not in gone and w.fits]
        areas = sorted({w.area for w in teaching})
        forecasts = []
        for area in areas:
            prior = self.base(gone | {area} if len(areas) > 1 else gone, phase)
            own = [f for w in teaching if w.area == area and (f := self._forecast(w, prior))]
            if own:
                forecasts.append(own)
        found = self.base(gone, phase)
        return replace(found, discrepancy=discrepancy(forecasts, found.discrepancy))

    def _forecast(self, window: Window, prior: PooledPrior) -> Forecast | None:
        months = [m for m in MONTHS_OUT if window.declared(m, self.before)]
        if not months:
            return None
        generator = keyed_generator(self.seed, "learn", window.well, str(window.months_in))
        codes, slots, last = curves(window, prior, DRAWS, generator)
        n = len(codes)
        uptime, _ = uptime_draws(
            window.state,
            prior.uptime,
            np.stack([stratified(generator, n) for _ in range(2)]),
            ndtri(np.stack([stratified(generator, n) for _ in range(2)])),
        )
        ahead = uptime[:, None] * DAYS_PER_MONTH * np.array(months, dtype=np.float64)
        volume = cumulative_mixture(codes, slots, ahead)
        lasting = stdtrit(prior.discrepancy.level_df, stratified(generator, n))
        actual = np.array([window.volume[:m].sum() for m in months])
        return window.months_in, volume, last, lasting, actual


# months in, volumes (n, H) without shift of level, carried residual (n,), unit lasting shift (n,), actual (H,)
Forecast = tuple[int, Array, Array, Array, Array]


def carried_share(forecasts: Sequence[Forecast]) -> float:
    """Share of the last residual that lasts: slope of the log error of the median on it, errors beyond e-fold
    cut."""
    last = np.array([np.mean(f[2]) for f in forecasts])
    error = np.array(
        [np.mean(np.log((f[4] + 1.0) / (np.median(f[1], axis=0) + 1.0)).clip(-1, 1)) for f in forecasts]
    )
    left = last - last.mean()
    return float(np.clip(left @ error / (left @ left), 0.0, 1.0))


def discrepancy(by_area: Sequence[Sequence[Forecast]], base: Discrepancy) -> Discrepancy:
    """Shift, spread and settling of the level from forecasts of areas not seen (per area; at least one).

    The shift is that of the least pinball loss at P90, P50, P10, of logs of volume over the median forecast
    plus a twentieth, so that every well counts alike and one standing idle counts no more than a bad one.
    Spread and settling then make the bands hold 80 % after LONG months in or more, and after fewer. Every area
    and months in counts alike."""
    forecasts = [f for part in by_area for f in part]
    carry = carried_share(forecasts)
    months = np.array([f[0] for f in forecasts for _ in f[4]], dtype=np.float64)
    width = min(len(f[2]) for f in forecasts)
    volume = np.concatenate([f[1][:width].T for f in forecasts])
    last = np.concatenate([np.tile(f[2][:width], (len(f[4]), 1)) for f in forecasts])
    lasting = np.concatenate([np.tile(f[3][:width], (len(f[4]), 1)) for f in forecasts])
    actual = np.concatenate([f[4] for f in forecasts])
    weight = np.concatenate([np.full(len(f[4]), 1.0 / len(f[4])) for f in forecasts])
    area = np.concatenate([np.full(sum(len(f[4]) for f in part), k) for k, part in enumerate(by_area)])
    cell = np.unique(np.stack([area, months]), axis=1, return_inverse=True)[1].reshape(-1)
    weight /= np.bincount(cell, weight)[cell]
    weight /= weight.sum()
    middle = np.maximum(np.median(volume, axis=1), 1.0)
    y = np.log(actual / middle + 0.05)
    places = [round(level * width) for level in LEVELS]

    def quantiles(mean: float, sd: float, settle: float) -> Array:
        settled = np.sqrt(np.maximum(1.0 - settle / months, 0.0))[:, None]
        shifted = volume * np.exp(carry * last + settled * (mean + sd * lasting))
        return np.asarray(np.log(np.partition(shifted, places, axis=1)[:, places] / middle[:, None] + 0.05))

    def cost(x: Array) -> float:
        if not 0.0 <= x[2] <= SETTLE_MOST:
            return 1e3 + abs(x[2])
        error = y[:, None] - quantiles(x[0], np.exp(x[1]), x[2])
        loss = sum(np.maximum(a * error[:, j], (a - 1.0) * error[:, j]) for j, a in enumerate(LEVELS))
        pull = sum(((v - s) / h) ** 2 for v, s, h in zip(x, START, HELD, strict=True))
        return float((weight * loss).sum() + 0.02 * pull / len(forecasts))

    first = np.array(START)
    corners = [first, *(first + np.eye(3) * np.array([0.05, 0.4, 3.0]))]
    options = {"xatol": 0.005, "fatol": 1e-6, "initial_simplex": corners, "maxfev": 80}
    x = minimize(cost, first, method="Nelder-Mead", options=options).x
    sd, settle = float(np.exp(x[1])), float(x[2])
    early, late = months < LONG, months >= LONG

    def held(which: NDArray[np.bool_]) -> float:
        q = quantiles(x[0], sd, settle)
        inside = (y >= q[:, 0]) & (y <= q[:, 2])
        return float((weight * inside)[which].sum() / weight[which].sum())

    for _ in range(3):  # each moves the other a little
        if late.any():
            least, most = SPREAD
            for _ in range(10):
                sd = 0.5 * (least + most)
                least, most = (sd, most) if held(late) < NOMINAL else (least, sd)
        if early.any():
            least, most = 0.0, SETTLE_MOST
            for _ in range(10):
                settle = 0.5 * (least + most)
                least, most = (least, settle) if held(early) < NOMINAL else (settle, most)
    return replace(base, level_mean=float(x[0]), level_sd=sd, carry=carry, settle_months=settle)
