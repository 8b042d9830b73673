"""What a well teaches the prior of others: the decline of its first months, and how forecasts made from them came out.

A well is fitted after each of CUTS months, by those months alone, and forecast 12 and 24 months ahead. Such a forecast
is finished in the month after the last one forecast; from then on its error may teach. So what is known at a date
(:meth:`Teacher.evidence`) holds no month at or after that date, whatever the file holds."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import digamma, expit, polygamma

from refracmc.production.decline import cumulative_mixture
from refracmc.production.fit import DAYS_PER_MONTH, FitRefused, check_fittable, make_target, sample_form
from refracmc.production.forms import form_code, form_of
from refracmc.production.history import History, clean, tell_main_phase
from refracmc.production.likelihood import Target
from refracmc.production.posterior import expected_level
from refracmc.production.prior import PooledPrior, default_prior
from refracmc.production.sampler import Generator, keyed_generator
from refracmc.production.uptime import expected_uptime, uptime_state

Array = NDArray[np.float64]

CUTS = (12, 24, 36, 48, 60)
AHEAD = (24, 12)  # the longest finished one counts
PARTICLES = 512
WIDEN = (
    2.5  # wells are asked under a prior this much wider than the one they move, or they would only repeat it
)
FORM = "modified_hyperbolic"
LEAST_UPTIME = 0.1  # a well that hardly ran says nothing of its rate
LARGEST_GAP = 1.2  # a log error beyond this counts as this


@dataclass(frozen=True)
class Outcome:
    """How one finished forecast came out.

    year: calendar year it was made in; uptime_gap: logit of the realised uptime less the expected one, NaN where the
    well stood idle, uptime_weight: inverse of its variance; idle_gap: idle (1 or 0) less its chance, idle_weight:
    variance of that; level_gap: log of the volume over the median forecast at the realised uptime, NaN where the well
    hardly ran."""

    year: int
    uptime_gap: float
    uptime_weight: float
    idle_gap: float
    idle_weight: float
    level_gap: float


@dataclass(frozen=True)
class Evidence:
    """What one well of a main phase says. shape_mean, shape_variance (2,): log decline per year and b, under the
    shipped prior WIDEN times as wide, NaN where it was not fitted; outcomes: its finished forecasts."""

    phase: str
    shape_mean: Array
    shape_variance: Array
    outcomes: tuple[Outcome, ...] = ()

    def mean_of(self, name: str) -> float:
        """Mean of a number of the outcomes over those that have it; 0 without any."""
        values = np.array([getattr(outcome, name) for outcome in self.outcomes])
        known = values[np.isfinite(values)]
        return float(known.mean()) if len(known) else 0.0


class Teacher:
    """A well whose months teach; what it was once asked is kept.

    phase: auto tells the main phase from the months known at a date; else that of the history stands."""

    def __init__(self, history: History, phase: str = "auto", seed: int = 0) -> None:
        self.history, self._auto, self._seed = history, phase == "auto", seed
        self._fitted = cache(self._fit)
        self._outcome = cache(self._come_out)

    def cuts(self, date: np.datetime64) -> tuple[int, ...]:
        """The cuts (months) that lie before the month `date`."""
        known = min(len(self.history), int((date - self.history.dates[0]).astype(int)))
        return tuple(months for months in CUTS if months <= known)

    def phase(self, date: np.datetime64) -> str | None:
        """Main phase as told before the month `date`; None with too few months."""
        cuts = self.cuts(date)
        return self._head(cuts[-1]).main_phase if cuts else None

    def evidence(self, date: np.datetime64) -> Evidence | None:
        """What the months before the month `date` say; None with too few."""
        cuts, phase = self.cuts(date), self.phase(date)
        if phase is None:
            return None
        known = int((date - self.history.dates[0]).astype(int))
        outcomes = []
        for months in cuts:
            if self._head(months).main_phase != phase:
                continue
            for ahead in AHEAD:
                if months + ahead <= min(known, len(self.history)):
                    outcomes.append(self._outcome(months, ahead))
                    break
        mean, variance, *_ = self._fitted(cuts[-1])
        return Evidence(phase, mean, variance, tuple(outcome for outcome in outcomes if outcome is not None))

    def _head(self, months: int) -> History:
        head = self.history.head(months)
        if not self._auto:
            return head
        main = tell_main_phase(head.oil, head.gas)
        return head if main == head.main_phase else replace(self.history, main_phase=main).head(months)

    def _fit(self, months: int) -> tuple[Array, Array, Target | None, Array, Array]:
        """Mean and variance of the shape, the target, particles, and their weights under the shipped prior."""
        head = self._head(months)
        nothing = np.full(2, np.nan)
        refused = (nothing, nothing, None, np.empty((0, 0)), np.empty(0))
        if head.segment_start is not None and head.segment_start > head.dates[-1]:
            return refused
        cleaned = clean(head)
        try:
            check_fittable(head, cleaned)
        except FitRefused:
            return refused
        base = default_prior(head.main_phase)
        hyper = base.shapes[FORM]
        wide = replace(hyper, sd=(*(WIDEN * v for v in hyper.sd[:2]), *hyper.sd[2:]))
        target = make_target(FORM, cleaned, replace(base, shapes={**base.shapes, FORM: wide}))
        x = sample_form(target, PARTICLES, self._generator(months)).x
        mean, sd = np.array(hyper.mean[:2])[:, None], np.array(hyper.sd[:2])[:, None]
        far = (x[:2] - mean) / sd
        log_weight = (-0.5 * far**2 * (1.0 - WIDEN**-2)).sum(axis=0)
        weight = np.exp(log_weight - log_weight.max())
        return x[:2].mean(axis=1), x[:2].var(axis=1), target, x, weight / weight.sum()

    def _generator(self, months: int) -> Generator:
        return keyed_generator(self._seed, "teach", self.history.well_id, str(months))

    def _come_out(self, months: int, ahead: int) -> Outcome | None:
        """Outcome of the forecast of `ahead` months after `months`; None where a month of them is not declared."""
        head, whole = self._head(months), self.history
        window = slice(months, months + ahead)
        volume = whole.volume(head.main_phase)[window]
        shares = replace(whole, main_phase=head.main_phase).uptime[window]
        if np.isnan(shares).any():
            return None
        days = whole.days_in_month[window]
        realised = float(shares @ days / days.sum())
        base = default_prior(head.main_phase)
        chance, expected, spread = logit_uptime(head, base)
        gap = np.nan
        if realised > 0.0:
            cut = np.clip(realised, 0.01, 0.99)
            gap = float(np.log(cut / (1.0 - cut))) - expected
        year = int(str(head.dates[-1] + 1)[:4])
        weight = 1.0 / (spread + base.uptime.mean_area_sd**2)
        level = self._level_gap(months, float(volume.sum()), DAYS_PER_MONTH * ahead * realised)
        if realised < LEAST_UPTIME:
            level = np.nan
        return Outcome(year, gap, weight, float(realised == 0.0) - chance, chance * (1.0 - chance), level)

    def _level_gap(self, months: int, actual: float, days: float) -> float:
        """Log of the actual volume over the median forecast of as many producing days; NaN without a fit."""
        _, _, target, x, weight = self._fitted(months)
        if target is None or actual <= 0.0:
            return np.nan
        head = self._head(months)
        d, discrepancy = len(target.shape.mean), default_prior(head.main_phase).discrepancy
        gap_to_end = float(len(head) - 1 - np.flatnonzero(clean(head).used)[-1]) + 0.5
        level = expected_level(target, x, discrepancy, gap_to_end, months)
        slots = form_of(FORM).slots_at_end(x[:d], level, target.end)
        codes = np.full(x.shape[1], form_code(FORM), dtype=np.int8)
        volume = cumulative_mixture(codes, slots, np.array([days]))[:, 0]
        order = np.argsort(volume, kind="stable")
        middle = volume[order][int(np.searchsorted(np.cumsum(weight[order]), 0.5))]
        return float(np.clip(np.log(actual / max(middle, 1e-9)), -LARGEST_GAP, LARGEST_GAP))


def logit_uptime(history: History, base: PooledPrior) -> tuple[float, float, float]:
    """Chance of standing idle, and mean and variance of the logit of the uptime if not, at the end of a
    history."""
    logit, precision, idle = expected_uptime(uptime_state(history), base.uptime)
    mean = float(expit(logit))
    alpha, beta = mean * precision, (1.0 - mean) * precision
    expected = float(digamma(alpha) - digamma(beta))
    spread = float(polygamma(1, alpha) + polygamma(1, beta))
    return float(expit(idle)), expected, spread
