"""Streams of one well over a block of trials: the own stream left alone, and the unit stream of a refrac.

Volumes are per forecast month of 365.25/12 days, arrays (trials, months). The own stream continues the
well's posterior (or its type curve) on producing time; the unit stream has a rate of one unit a day at its
start and is scaled later by what the job achieved. `OwnCurve` and `UnitCurve` hold what they follow from:
cumulatives of the main phase at month edges, and the ratios of the others.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from refracmc.production.decline import cumulative_mixture
from refracmc.production.secondary import ratio_cumulative

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
MONTH_DAYS = 365.25 / 12.0


@dataclass(frozen=True)
class Ratio:
    """Volume of a second phase per unit of the main phase, as a function of main-phase cumulative; each (n,)."""

    now: Array
    final: Array
    change: Array


@dataclass(frozen=True)
class BaseStream:
    """oil, gas, water (n, T) in bbl, Mcf, bbl; `main` is one of them; cumulative (n, T+1) of `main` from month 0.

    np0 (n,): main-phase cumulative up to the valuation month; running (n,): share of calendar time on where the
    well runs, which a well that stands idle would have again after a job.
    """

    oil: Array
    gas: Array
    water: Array
    main: Array
    cumulative: Array
    np0: Array
    running: Array

    @property
    def technical(self) -> Array:
        """Main-phase recovery to the horizon with no economic limit (n,)."""
        return self.np0 + self.cumulative[:, -1]

    def rows(self, part: slice | NDArray[np.intp]) -> BaseStream:
        """The same stream for some of the trials."""
        return BaseStream(
            self.oil[part],
            self.gas[part],
            self.water[part],
            self.main[part],
            self.cumulative[part],
            self.np0[part],
            self.running[part],
        )


@dataclass(frozen=True)
class UnitStream:
    """Refrac stream of unit initial rate: phases (oil, gas, water) (n, T), cumulative (n, T+1) of the main one."""

    phases: tuple[Array, Array, Array]
    main: Array
    cumulative: Array

    def rows(self, part: slice | NDArray[np.intp]) -> UnitStream:
        """The same stream for some of the trials."""
        oil, gas, water = self.phases
        return UnitStream((oil[part], gas[part], water[part]), self.main[part], self.cumulative[part])


def _by_phase(main_phase: str, main: Array, others: dict[str, Array]) -> tuple[Array, Array, Array]:
    volumes = {main_phase: main, **others}
    return volumes["oil"], volumes["gas"], volumes["water"]


def other_phases(main: str) -> tuple[str, str]:
    """The phases that follow the main one, in the order the kernels take them."""
    return ("gas", "water") if main == "oil" else ("oil", "water")


@dataclass(frozen=True, eq=False)
class StreamTable:
    """Own streams of many parameter rows: main-phase cumulative at month edges (K, T + 1) from the anchor on, and
    the ratios of the other phases, each (K,)."""

    total: Array
    ratios: dict[str, Ratio]
    running: Array

    @cached_property
    def others(self) -> dict[str, Array]:
        """Cumulatives (K, T + 1) of the other phases."""
        return {
            phase: ratio_cumulative(self.total, ratio.now, ratio.final, ratio.change)
            for phase, ratio in self.ratios.items()
        }


def stream_table(
    form: NDArray[np.int8],
    slots: Array,
    uptime: Array,
    ratios: dict[str, Ratio],
    months_before: float,
    horizon: int,
    running: Array | None = None,
) -> StreamTable:
    """Streams of K parameter rows from the valuation month on.

    form (K,), slots (4, K), uptime (K,): decline on producing time, as in production.decline. months_before:
    calendar months from the anchor of that time, where the ratios start too, to the valuation month. running
    (K,): uptime of a stream that a job brings, where the well itself may stand idle (uptime 0); None: as uptime.
    """
    edges = MONTH_DAYS * (months_before + np.arange(horizon + 1))
    total = cumulative_mixture(form, slots, edges, uptime)
    return StreamTable(total, ratios, uptime if running is None else running)


@dataclass(frozen=True, eq=False)
class OwnCurve:
    """Own stream of each trial: row (n,) of a table. produced_before: main cumulative at the anchor."""

    main_phase: str
    table: StreamTable
    row: IntArray
    produced_before: float

    @cached_property
    def np0(self) -> Array:
        """Main-phase cumulative (n,) up to the valuation month."""
        produced: Array = self.table.total[self.row, 0] + self.produced_before
        return produced

    @property
    def to_horizon(self) -> Array:
        """Main-phase volume (n,) from the valuation month to the horizon, with no economic limit."""
        volume: Array = self.table.total[self.row, -1] - self.table.total[self.row, 0]
        return volume

    @property
    def running(self) -> Array:
        """Share of calendar time on where the well runs (n,)."""
        running: Array = self.table.running[self.row]
        return running

    def ratios(self) -> Array:
        """Ratios now, at the end and where it is reached (2, 3, n) of the other phases."""
        made = [self.table.ratios[phase] for phase in other_phases(self.main_phase)]
        return np.array([[part[self.row] for part in (r.now, r.final, r.change)] for r in made])

    def rows(self, part: slice | NDArray[np.intp]) -> OwnCurve:
        """The same for some of the trials."""
        return replace(self, row=self.row[part])

    def stream(self) -> BaseStream:
        """The volumes by month."""
        total = self.table.total[self.row]
        main = np.diff(total, axis=1)
        others = {phase: np.diff(values[self.row], axis=1) for phase, values in self.table.others.items()}
        oil, gas, water = _by_phase(self.main_phase, main, others)
        return BaseStream(oil, gas, water, main, total - total[:, :1], self.np0, self.running)


@dataclass(frozen=True, eq=False)
class UnitCurve:
    """Refrac stream of one unit a day at its start: main-phase cumulative (n, T + 1) at month edges; ends: phase ->
    ratio at the start and at the end, each (n,), moving linearly with the share of the stream's own cumulative (to
    the horizon) until `change_fraction` of it, constant after."""

    main_phase: str
    total: Array
    ends: dict[str, tuple[Array, Array]]
    change_fraction: float

    def ratios(self) -> Array:
        """As OwnCurve.ratios."""
        change = self.change_fraction * self.total[:, -1]
        return np.array([[*self.ends[phase], change] for phase in other_phases(self.main_phase)])

    def rows(self, part: slice | NDArray[np.intp]) -> UnitCurve:
        """The same for some of the trials."""
        ends = {phase: (first[part], last[part]) for phase, (first, last) in self.ends.items()}
        return replace(self, total=self.total[part], ends=ends)

    def stream(self) -> UnitStream:
        """The volumes by month."""
        main = np.diff(self.total, axis=1)
        change = self.change_fraction * self.total[:, -1]
        others = {
            phase: np.diff(ratio_cumulative(self.total, first, last, change), axis=1)
            for phase, (first, last) in self.ends.items()
        }
        return UnitStream(_by_phase(self.main_phase, main, others), main, self.total)


def unit_curve(
    main_phase: str,
    slots: Array,
    uptime: Array,
    ends: dict[str, tuple[Array, Array]],
    change_fraction: float,
    horizon: int,
) -> UnitCurve:
    """Refrac stream of one unit a day at its start; slots (4, n) of the modified hyperbolic with rate 1."""
    total = cumulative_mixture(
        np.zeros(uptime.size, dtype=np.int8), slots, MONTH_DAYS * np.arange(horizon + 1), uptime
    )
    return UnitCurve(main_phase, total, ends, change_fraction)
