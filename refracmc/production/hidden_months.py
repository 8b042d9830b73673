"""Hindcast: hide the later months of every well, forecast them from the earlier ones, and keep both.

Months are calendar months from first production on (the first with any oil or gas). The forecast is the
main-phase cumulative of the hidden months, downtime included. Nothing after a well's cut-off reaches its
forecast: the phase is told before it, and a prior learned from other wells takes only wells of OTHER areas
and months before the cut-off. Scores of such a table are in scores.py."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from refracmc.production.fit import FitRefused, FitSettings, fit_decline, pooled_decline
from refracmc.production.history import History, HistoryProblem, build_history
from refracmc.production.pooling import Evidence, choose_wells, learn_prior, well_evidence
from refracmc.production.posterior import Posterior
from refracmc.production.prior import PooledPrior, default_prior
from refracmc.production.sampler import keyed_generator

Array = NDArray[np.float64]
Months = NDArray[np.datetime64]

COLUMNS = (
    "well_id",
    "phase",
    "months_in",
    "months_out",
    "actual",
    "mean",
    "p90",
    "p50",
    "p10",
    "used",
    "reason",
)
MORE_COLUMNS = ("pit", "crps", "area", "cut_off")
LEAST = {"months_in": 3, "months_out": 1}
CHOICES = {"phase": ("auto", "oil", "gas"), "undeclared": ("list", "zero")}


@dataclass(frozen=True)
class HindcastSettings:
    """months_in, months_out; phase auto, oil or gas; undeclared "list" (such wells are listed, not scored)
    or "zero"; draws per well; pool: learn the prior from wells of other areas as well (needs areas)."""

    months_in: int
    months_out: int
    phase: str = "auto"
    undeclared: str = "list"
    draws: int = 2048
    particles: int = 512
    seed: int = 20261101
    pool: bool = True

    def __post_init__(self) -> None:
        problems = [
            f"{name.replace('_', ' ')} is {getattr(self, name)}; allowed: {least} or more"
            for name, least in LEAST.items()
            if getattr(self, name) < least
        ]
        problems += [
            f"{name} is {getattr(self, name)!r}; allowed: {', '.join(allowed)}"
            for name, allowed in CHOICES.items()
            if getattr(self, name) not in allowed
        ]
        if problems:
            raise ValueError("; ".join(problems))


@dataclass(frozen=True)
class Hidden:
    """One well ready to be forecast: what is known, what is hidden (NaN where not declared), and where it
    lies."""

    known: History
    hidden: Array
    area: str | None
    cut_off: np.datetime64


@dataclass(frozen=True)
class Hindcast:
    """Result: the table (one row per well, COLUMNS then MORE_COLUMNS), and per well the draws (K,) and the
    split."""

    table: pd.DataFrame
    draws: Mapping[str, Array]
    wells: Mapping[str, Hidden]
    faults: Mapping[str, str] = field(default_factory=dict)


def split_wells(
    frame: pd.DataFrame, settings: HindcastSettings, areas: Mapping[str, str] | None = None
) -> tuple[dict[str, Hidden], dict[str, tuple[str, str]]]:
    """Split every well at its cut-off (months from first production). Returns the wells long enough, and of
    the others (phase, reason)."""
    ready: dict[str, Hidden] = {}
    left: dict[str, tuple[str, str]] = {}
    total = settings.months_in + settings.months_out
    names = frame["well_id"].astype(str)
    for well, rows in frame.groupby(names, sort=True):
        name = str(well)
        try:
            whole = build_history(rows, name, "oil" if settings.phase == "auto" else settings.phase)
        except HistoryProblem as problem:
            left[name] = ("", "; ".join(problem.problems))
            continue
        cut = whole.dates[0] + settings.months_in
        if len(whole) < total:
            left[name] = ("", f"{len(whole)} months since first production; {total} are needed")
            continue
        dates = pd.to_datetime(rows["date"]).to_numpy().astype("datetime64[M]")
        known = build_history(rows[dates < cut], name, settings.phase)
        window = slice(settings.months_in, total)
        hidden = np.asarray(whole.volume(known.main_phase)[window])
        ready[name] = Hidden(known, hidden, (areas or {}).get(name), cut)
    return ready, left


def fitted_posterior(well: Hidden, prior: PooledPrior, settings: HindcastSettings) -> tuple[Posterior, str]:
    """Posterior of the known months, and the reason the pooled prior stood in ("" if it did not)."""
    fit = FitSettings(draws=settings.draws, particles=settings.particles, prior=prior)
    try:
        return fit_decline(well.known, fit, settings.seed), ""
    except FitRefused as refused:
        return pooled_decline(well.known, fit, settings.seed), f"pooled prior: {refused}"


def fitted_draws(well: Hidden, prior: PooledPrior, settings: HindcastSettings) -> tuple[Array, str]:
    """Draws (K,) of the hidden cumulative (bbl or Mcf), and the reason the pooled prior stood in ("" if it
    did not)."""
    posterior, reason = fitted_posterior(well, prior, settings)
    return posterior.cumulative(np.array([float(settings.months_out)]))[:, 0], reason


def run(
    frame: pd.DataFrame,
    settings: HindcastSettings,
    areas: Mapping[str, str] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Hindcast:
    """Hindcast every well of a tidy frame (well_id, date, oil_bbl, gas_mcf, water_bbl, days_on)."""
    ready, left = split_wells(frame, settings, areas)
    priors = Priors(frame, settings, areas)
    rows: list[dict[str, object]] = []
    draws: dict[str, Array] = {}
    for done, (name, well) in enumerate(ready.items()):
        sample, reason = fitted_draws(well, priors.of(well), settings)
        draws[name] = sample
        rows.append(table_row(name, well, sample, reason, settings))
        if progress is not None:
            progress(done + 1, len(ready))
    for name, (phase, reason) in left.items():
        rows.append(_unused_row(name, phase, reason, settings))
    table = pd.DataFrame(rows, columns=[*COLUMNS, *MORE_COLUMNS])
    return Hindcast(
        table.sort_values("well_id", kind="stable", ignore_index=True), draws, ready, dict(priors.faults)
    )


def table_row(
    name: str, well: Hidden, sample: Array, reason: str, settings: HindcastSettings
) -> dict[str, object]:
    """One row of the table from draws (K,): percentiles by exceedance, randomised probability integral and
    CRPS."""
    undeclared = int(np.isnan(well.hidden).sum())
    scored = undeclared == 0 or settings.undeclared == "zero"
    actual = float(np.nansum(well.hidden)) if scored else np.nan
    notes = [reason] if reason else []
    if undeclared:
        ruled = "taken as zero" if scored else "not scored"
        notes.append(f"{undeclared} hidden months not declared: {ruled}")
    p90, p50, p10 = np.quantile(sample, [0.1, 0.5, 0.9])
    pit = crps = np.nan
    if scored:
        below, equal = float(np.mean(sample < actual)), float(np.mean(sample == actual))
        pit = below + float(keyed_generator(settings.seed, "pit", name).random()) * equal
        crps = crps_of(sample, actual)
    return {
        "well_id": name,
        "phase": well.known.main_phase,
        "months_in": settings.months_in,
        "months_out": settings.months_out,
        "actual": actual,
        "mean": float(sample.mean()),
        "p90": float(p90),
        "p50": float(p50),
        "p10": float(p10),
        "used": scored,
        "reason": "; ".join(notes),
        "pit": pit,
        "crps": crps,
        "area": well.area or "",
        "cut_off": str(well.cut_off),
    }


def _unused_row(name: str, phase: str, reason: str, settings: HindcastSettings) -> dict[str, object]:
    row: dict[str, object] = dict.fromkeys([*COLUMNS, *MORE_COLUMNS], np.nan)
    row.update(well_id=name, phase=phase, months_in=settings.months_in, months_out=settings.months_out)
    row.update(used=False, reason=reason, area="", cut_off="")
    return row


def crps_of(sample: Array, actual: float) -> float:
    """Continuous ranked probability score of draws: E|X - y| - E|X - X'|/2 (Gneiting & Raftery 2007), exact
    for them."""
    ordered = np.sort(sample)
    n = len(ordered)
    pairs = float((2.0 * np.arange(1, n + 1) - n - 1) @ ordered) / (n * n)
    return float(np.abs(ordered - actual).mean()) - pairs


class Priors:
    """The prior for each well: shipped, or moved by wells of other areas and their months before its cut-off.

    A prior is learned once per area and calendar year of the cut-off, from months before that year began,
    so it never holds a month at or after a cut-off in the year."""

    def __init__(
        self, frame: pd.DataFrame, settings: HindcastSettings, areas: Mapping[str, str] | None
    ) -> None:
        self.settings = settings
        self.areas = dict(areas or {}) if settings.pool else {}
        self.faults: dict[str, str] = {}
        self._rows: dict[str, pd.DataFrame] = {}
        if self.areas:
            names = frame["well_id"].astype(str)
            self._rows = {str(n): r for n, r in frame.groupby(names, sort=True) if str(n) in self.areas}
        self._prior = cache(self._learn)
        self._history = cache(self._read)
        self._evidence = cache(self._ask)

    def of(self, well: Hidden) -> PooledPrior:
        """The prior a well is forecast with."""
        phase = well.known.main_phase
        if well.area is None or not self.areas:
            return default_prior(phase)
        return self._prior(well.area, int(well.cut_off.astype("datetime64[Y]").astype(int)) + 1970, phase)

    def _learn(self, area: str, year: int, phase: str) -> PooledPrior:
        others = [n for n in self._rows if self.areas[n] != area and self._may_teach(n, year, phase)]
        chosen = choose_wells(others)
        evidence = [self._evidence(name, year, phase) for name in chosen]
        return learn_prior(evidence, default_prior(phase), len({self.areas[name] for name in chosen}))

    def _may_teach(self, name: str, year: int, phase: str) -> bool:
        """Whether a well is of the phase and has 12 producing months before the year."""
        history = self._history(name, year)
        return history is not None and history.main_phase == phase

    def _ask(self, name: str, year: int, phase: str) -> Evidence:
        history = self._history(name, year)
        assert history is not None
        return well_evidence(history, default_prior(phase), self.settings.seed)

    def _read(self, name: str, year: int) -> History | None:
        rows = self._rows[name]
        dates = pd.to_datetime(rows["date"], errors="coerce").to_numpy().astype("datetime64[M]")
        before = rows[dates < np.datetime64(f"{year}-01", "M")]
        if len(before) < 12:
            return None
        try:
            history = build_history(before, name, self.settings.phase)
        except HistoryProblem as problem:
            self.faults[name] = str(problem)
            return None
        return history if int((np.nan_to_num(history.volume()) > 0).sum()) >= 12 else None
