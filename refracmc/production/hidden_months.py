"""Hindcast: hide the later months of every well, forecast them from the earlier ones, and keep both.

Months are calendar months from first production on (the first with any oil or gas). The forecast is the
main-phase cumulative of the hidden months, downtime included. Nothing at or after the date of a well's cut-off reaches
its forecast: the phase is told before it, other wells teach the prior by their months before it, and a finished
forecast of another well teaches only if the months forecast end before it. Scores of such a table are in scores.py."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from refracmc.production.fit import FitRefused, FitSettings, fit_decline, pooled_decline
from refracmc.production.history import History, HistoryProblem, build_history
from refracmc.production.pooling import choose_wells, learn_field, learn_prior
from refracmc.production.posterior import Posterior
from refracmc.production.prior import PooledPrior, default_prior
from refracmc.production.sampler import keyed_generator
from refracmc.production.teachers import Evidence, Teacher

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
CHOICES = {
    "phase": ("auto", "oil", "gas"),
    "undeclared": ("list", "zero"),
    "teach": ("field", "areas", "nobody"),
}


@dataclass(frozen=True)
class HindcastSettings:
    """months_in, months_out; phase auto, oil or gas; undeclared "list" (such wells are listed, not scored)
    or "zero"; draws per well; teach (needs areas): who moves the shipped prior, by months before a well's cut-off:
    "areas" (wells of other areas), "field" (those, and the other wells of its own), or "nobody"."""

    months_in: int
    months_out: int
    phase: str = "auto"
    undeclared: str = "list"
    draws: int = 2048
    particles: int = 512
    seed: int = 20261101
    teach: str = "field"

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
    """The prior for each well, from all months of the file before its cut-off: the shipped one moved by wells of other
    areas and, where settings.teach is "field", by the other wells of its own."""

    def __init__(
        self, frame: pd.DataFrame, settings: HindcastSettings, areas: Mapping[str, str] | None
    ) -> None:
        self.settings = settings
        self.areas = dict(areas or {}) if settings.teach != "nobody" else {}
        self.faults: dict[str, str] = {}
        self._teachers: dict[str, Teacher] = {}
        if self.areas:
            for key, rows in frame.groupby(frame["well_id"].astype(str), sort=True):
                if (name := str(key)) in self.areas:
                    self._add(name, rows)
        self._of_others = cache(self._learn_others)
        self._evidence = cache(self._ask)

    def _add(self, name: str, rows: pd.DataFrame) -> None:
        phase = self.settings.phase
        try:
            history = build_history(rows, name, phase)
        except HistoryProblem as problem:
            self.faults[name] = str(problem)
        else:
            self._teachers[name] = Teacher(history, phase, self.settings.seed)

    def of(self, well: Hidden) -> PooledPrior:
        """The prior a well is forecast with."""
        phase = well.known.main_phase
        if well.area is None or not self.areas:
            return default_prior(phase)
        prior = self._of_others(well.area, well.cut_off, phase)
        if self.settings.teach != "field":
            return prior
        mine = [n for n in self._teachers if self.areas[n] == well.area and n != well.known.well_id]
        return learn_field(self._told(mine, well.cut_off, phase)[1], prior)

    def _learn_others(self, area: str, date: np.datetime64, phase: str) -> PooledPrior:
        others = [n for n in self._teachers if self.areas[n] != area]
        chosen, evidence = self._told(others, date, phase)
        return learn_prior(evidence, default_prior(phase), len({self.areas[name] for name in chosen}))

    def _told(
        self, names: Sequence[str], date: np.datetime64, phase: str
    ) -> tuple[list[str], list[Evidence]]:
        """Wells of the phase chosen to teach at a date, and what they say."""
        chosen = choose_wells([n for n in names if self._teachers[n].phase(date) == phase])
        told = [(name, self._evidence(name, date)) for name in chosen]
        return [n for n, e in told if e is not None], [e for _, e in told if e is not None]

    def _ask(self, name: str, date: np.datetime64) -> Evidence | None:
        return self._teachers[name].evidence(date)
