"""A well's monthly production history: reading it into arrays, telling its main phase, and cleaning it for
a fit.

Volumes are per calendar month (oil and water bbl, gas Mcf). NaN is a month that was not declared, 0 is a
declared zero. Nothing is dropped in silence: every month carries the reasons for which it was changed or
set aside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Months = NDArray[np.datetime64]

PHASES = ("oil", "gas", "water")
COLUMNS = {"oil": "oil_bbl", "gas": "gas_mcf", "water": "water_bbl"}
MCF_PER_BBL_OF_ENERGY = 6.0  # common practice: 6 Mcf of gas carry about the energy of one barrel of oil
PHASE_MONTHS = 12  # main phase is told from the first 12 producing months
SHORT_MONTH_DAYS = 5.0  # assumption: the rate of a month with fewer producing days is not representative
PEAK_MONTHS = 3


class HistoryProblem(ValueError):
    """A history that cannot be read. `problems` lists every fault found, with row numbers (first data row =
    1)."""

    def __init__(self, well_id: str, problems: list[str]) -> None:
        self.well_id = well_id
        self.problems = tuple(problems)
        super().__init__(f"well {well_id}: " + "; ".join(problems))


@dataclass(frozen=True)
class History:
    """Monthly volumes of one well, one entry per calendar month without gaps, from first production on.

    dates (M,) month starts (datetime64[M]); oil, water [bbl/month], gas [Mcf/month], days_on [days/month],
    all (M,), NaN where not declared; main_phase "oil" or "gas"; cumulative: declared volume per phase [bbl,
    Mcf]; peak_rate_per_d: mean rate on producing days over the best three consecutive producing months of
    the main phase (volume of the three over their producing days) [bbl/d or Mcf/d], one observed number,
    never an extrapolated one; notes (M,): the reasons a month was flagged, "" where there is none; excluded
    (M,): months the engineer set aside; segment_start: month the engineer wants the fit to start at, or
    None."""

    well_id: str
    dates: Months
    oil: Array
    gas: Array
    water: Array
    days_on: Array
    main_phase: str
    cumulative: Mapping[str, float]
    peak_rate_per_d: float
    notes: tuple[str, ...]
    excluded: Mask
    segment_start: np.datetime64 | None = None

    def volume(self, phase: str | None = None) -> Array:
        """Monthly volume (M,) of a phase; the main phase when none is named."""
        name = phase or self.main_phase
        if name not in PHASES:
            raise ValueError(f"phase is {name!r}; allowed: oil, gas, water")
        values: Array = getattr(self, name)
        return values

    @property
    def days_in_month(self) -> Array:
        """Calendar days of each month (M,)."""
        return days_in_month(self.dates)

    @property
    def uptime(self) -> Array:
        """Producing share of each month (M,): 0 where the main phase is a declared zero, NaN if not
        declared."""
        volume = self.volume()
        days = np.where(np.isnan(self.days_on) & (volume > 0), self.days_in_month, self.days_on)
        share = np.clip(days / self.days_in_month, 0.0, 1.0)
        return np.where(np.isnan(volume), np.nan, np.where(volume > 0, share, 0.0))

    def __len__(self) -> int:
        return len(self.dates)

    def head(self, months: int) -> History:
        """The history as it was known after its first `months` calendar months (phase kept, totals
        recomputed)."""
        keep = slice(0, months)
        parts = {p: np.asarray(getattr(self, p)[keep]) for p in PHASES}
        return _assemble(
            self.well_id,
            self.dates[keep],
            parts,
            self.days_on[keep],
            self.main_phase,
            list(self.notes[keep]),
            self.excluded[keep],
            self.segment_start,
        )


@dataclass(frozen=True)
class CleanHistory:
    """What a fit sees. Arrays (M,) over the months of the history.

    time_days: producing days from first production to the middle of each month; rate: main phase per
    producing day; weights: 1 for a full month, less for one with few producing days (precision of its
    rate), 0 where not used; used: months in the fit; reasons: why a month is not ("" if used); segment:
    index of the first month of the segment fitted; end_days: producing days up to the end of the history.
    """

    time_days: Array
    rate: Array
    weights: Array
    used: Mask
    reasons: tuple[str, ...]
    segment: int
    end_days: float


def days_in_month(dates: Months) -> Array:
    """Calendar days of each month of `dates` (datetime64[M])."""
    months = dates.astype("datetime64[M]")
    span = (months + 1).astype("datetime64[D]") - months.astype("datetime64[D]")
    return np.asarray(span.astype(np.int64), dtype=np.float64)


def tell_main_phase(oil: Array, gas: Array) -> str:
    """Main phase by energy of the first 12 producing months: oil where 6 Mcf x oil (bbl) >= gas (Mcf)."""
    producing = np.flatnonzero((np.nan_to_num(oil) > 0) | (np.nan_to_num(gas) > 0))[:PHASE_MONTHS]
    oil_sum, gas_sum = float(np.nansum(oil[producing])), float(np.nansum(gas[producing]))
    return "oil" if oil_sum * MCF_PER_BBL_OF_ENERGY >= gas_sum else "gas"


def peak_rate(volume: Array, days_on: Array, calendar_days: Array) -> float:
    """Best mean rate over three consecutive producing months, per producing day (fewer months if there are
    fewer)."""
    days = np.where(np.isnan(days_on) | (days_on <= 0), calendar_days, days_on)
    producing = np.nan_to_num(volume) > 0
    v, d = volume[producing], days[producing]
    if not len(v):
        return 0.0
    width = min(PEAK_MONTHS, len(v))
    ones = np.ones(width)
    return float(np.max(np.convolve(v, ones, "valid") / np.convolve(d, ones, "valid")))


def build_history(
    frame: pd.DataFrame,
    well_id: str,
    phase: str = "auto",
    overrides: Mapping[str, Any] | None = None,
) -> History:
    """Read one well's rows of the tidy format (well_id, date, oil_bbl, gas_mcf, water_bbl, days_on) into a
    History.

    Rows of other wells are ignored; a frame without the column well_id is taken as this well's. Months may
    come in any order; months missing between the first and the last become undeclared ones, with a note.
    Leading months before the first volume are cut. `phase`: auto, oil or gas. `overrides`: segment_start
    ("2016-05"), exclude (list of months), both optional. Raises HistoryProblem with all faults."""
    import pandas as pd

    problems: list[str] = []
    changes = dict(overrides or {})
    unknown = set(changes) - {"segment_start", "exclude"}
    if unknown:
        problems.append(f"unknown overrides {sorted(unknown)}; allowed: segment_start, exclude")
    if phase not in ("auto", "oil", "gas"):
        problems.append(f"main phase is {phase!r}; allowed: auto, oil, gas")
    missing = [c for c in ("date", "oil_bbl", "gas_mcf") if c not in frame.columns]
    if missing:
        raise HistoryProblem(well_id, [*problems, f"missing columns {missing}"])
    rows = frame
    if "well_id" in frame.columns:
        rows = frame[frame["well_id"].astype(str) == str(well_id)]
    if not len(rows):
        raise HistoryProblem(well_id, [*problems, "no rows"])
    numbers = np.arange(1, len(rows) + 1)
    dates = pd.to_datetime(rows["date"], errors="coerce").to_numpy().astype("datetime64[M]")
    problems += [f"row {n}: date not readable" for n in numbers[np.isnat(dates)]]
    columns: dict[str, Array] = {}
    for name in ("oil_bbl", "gas_mcf", "water_bbl", "days_on"):
        if name not in rows.columns:
            columns[name] = np.full(len(rows), np.nan)
            continue
        values = pd.to_numeric(rows[name], errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
        unread = np.isnan(values) & rows[name].notna().to_numpy()
        problems += [f"row {n}: {name} is not a number" for n in numbers[unread]]
        bad = (values < 0) | np.isinf(values)
        problems += [
            f"row {n}: {name} is {v:g}; allowed: 0 or more"
            for n, v in zip(numbers[bad], values[bad], strict=True)
        ]
        columns[name] = values
    if problems:
        raise HistoryProblem(well_id, problems + _doubled(dates, numbers))
    return history_of(well_id, dates, columns, phase, changes)


def _doubled(dates: Months, numbers: NDArray[np.int64]) -> list[str]:
    """Words on months that stand twice; numbers: rows of the dates."""
    fine = ~np.isnat(dates)
    order = np.argsort(dates[fine], kind="stable")
    ordered, rows = dates[fine][order], numbers[fine][order]
    twice = np.flatnonzero(np.diff(ordered.astype(np.int64)) == 0) + 1
    return [f"row {rows[k]}: month {ordered[k]} stands twice" for k in twice]


def history_of(
    well_id: str, dates: Months, columns: Mapping[str, Array], phase: str, changes: Mapping[str, Any]
) -> History:
    """History from checked arrays: dates (n,) datetime64[M] in any order; columns: oil_bbl, gas_mcf, water_bbl,
    days_on, each (n,), NaN where not declared; phase and changes as in :func:`build_history`.

    Raises HistoryProblem where a month stands twice or the segment starts outside the history."""
    problems = _doubled(dates, np.arange(1, len(dates) + 1))
    if problems:
        raise HistoryProblem(well_id, problems)
    order = np.argsort(dates, kind="stable")
    sorted_dates = dates[order]

    first, last = sorted_dates[0], sorted_dates[-1]
    months = np.arange(first, last + 1, dtype="datetime64[M]")
    place = (sorted_dates - first).astype(np.int64)
    full = {name: np.full(len(months), np.nan) for name in columns}
    for name, values in columns.items():
        full[name][place] = values[order]
    present = np.zeros(len(months), dtype=bool)
    present[place] = True
    calendar = days_in_month(months)
    notes = [[] if here else ["no row: taken as not declared"] for here in present]
    over = full["days_on"] > calendar + 0.05
    for k in np.flatnonzero(over):
        notes[k].append(f"days on {full['days_on'][k]:g} cut to the month's {calendar[k]:g}")
    full["days_on"] = np.where(over, calendar, full["days_on"])
    flows = (np.nan_to_num(full["oil_bbl"]) > 0) | (np.nan_to_num(full["gas_mcf"]) > 0)
    start = int(np.argmax(flows)) if flows.any() else 0
    main = phase if phase != "auto" else tell_main_phase(full["oil_bbl"], full["gas_mcf"])
    excluded = np.zeros(len(months), dtype=bool)
    for text in changes.get("exclude") or ():
        excluded |= months == np.datetime64(str(text)[:7], "M")
    segment = changes.get("segment_start")
    begin = None if segment is None else np.datetime64(str(segment)[:7], "M")
    if begin is not None and not (months[start] <= begin <= last):
        raise HistoryProblem(
            well_id, [f"segment start {begin} lies outside the history {months[start]} to {last}"]
        )
    cut = slice(start, None)
    return _assemble(
        str(well_id),
        months[cut],
        {p: full[c][cut] for p, c in COLUMNS.items()},
        full["days_on"][cut],
        main,
        ["; ".join(n) for n in notes][cut],
        excluded[cut],
        begin,
    )


def _assemble(
    well_id: str,
    dates: Months,
    parts: Mapping[str, Array],
    days_on: Array,
    main: str,
    notes: list[str],
    excluded: Mask,
    segment: np.datetime64 | None,
) -> History:
    volume = parts[main]
    return History(
        well_id=well_id,
        dates=dates,
        oil=parts["oil"],
        gas=parts["gas"],
        water=parts["water"],
        days_on=days_on,
        main_phase=main,
        cumulative={p: float(np.nansum(v)) for p, v in parts.items()},
        peak_rate_per_d=peak_rate(volume, days_on, days_in_month(dates)),
        notes=tuple(notes),
        excluded=excluded,
        segment_start=segment,
    )


def clean(history: History) -> CleanHistory:
    """Turn a history into what a fit may use: rates on producing days, a producing-time clock, and a mask
    with reasons.

    Not used: months not declared, declared zeros, months with fewer than 5 producing days, months before
    the peak (build-up and flowback) or before the segment start, and those the engineer excluded. The
    producing clock stands still in a month of zero volume and runs by the days on in the others; a month
    not declared runs by the median uptime of the declared producing ones."""
    volume = history.volume()
    calendar = history.days_in_month
    producing = np.nan_to_num(volume) > 0
    share = history.uptime
    usual = float(np.median(share[producing])) if producing.any() else 0.0
    days = np.where(np.isnan(volume), usual * calendar, share * calendar)
    no_days = producing & (np.nan_to_num(days) <= 0)
    days = np.where(no_days, calendar, days)
    ends = np.cumsum(days)
    middle = ends - 0.5 * days
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = np.where(producing, volume / days, np.nan)
    segment = segment_index(history, rate)
    reasons = list(history.notes)
    index = np.arange(len(volume))
    checks: tuple[tuple[Mask, str], ...] = (
        (np.isnan(volume), "not declared"),
        (volume == 0, "declared zero"),
        (no_days, "volume on no producing days"),
        (producing & ~no_days & (days < SHORT_MONTH_DAYS), f"fewer than {SHORT_MONTH_DAYS:g} producing days"),
        (index < segment, "before the segment fitted"),
        (history.excluded, "excluded by the engineer"),
    )
    unused = np.zeros(len(volume), dtype=bool)
    for mask, text in checks:
        unused |= mask
        for k in np.flatnonzero(mask):
            reasons[k] = f"{reasons[k]}; {text}" if reasons[k] else text
    weights = np.where(unused, 0.0, np.clip(days / 15.0, 0.2, 1.0))
    return CleanHistory(middle, rate, weights, ~unused, tuple(reasons), segment, float(ends[-1]))


def segment_index(history: History, rate: Array) -> int:
    """First month of the segment to fit: the engineer's, else the month of the best rate smoothed over
    three months, those he excluded left out."""
    if history.segment_start is not None:
        return int(np.argmax(history.dates >= history.segment_start))
    full = np.isfinite(rate) & (history.uptime * history.days_in_month >= SHORT_MONTH_DAYS)
    good = np.flatnonzero(full & ~history.excluded)
    if len(good) < PEAK_MONTHS:
        return int(good[0]) if len(good) else 0
    smooth = np.convolve(rate[good], np.ones(PEAK_MONTHS) / PEAK_MONTHS, "valid")
    best = int(np.argmax(smooth))
    return int(good[best + int(np.argmax(rate[good[best : best + PEAK_MONTHS]]))])
