"""Streams of one well over a block of trials: the own stream left alone, and the unit stream of a refrac.

Volumes are per forecast month of 365.25/12 days, arrays (trials, months). The own stream continues the
well's posterior (or its type curve) on producing time; the unit stream has a rate of one unit a day at its
start and is scaled later by what the job achieved. `OwnCurve` and `UnitCurve` hold what they follow from:
cumulatives of the main phase at month edges, and the ratios of the others.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from refracmc.production.decline import cumulative_mixture, technical_volume
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


def other_phases(main: str) -> tuple[str, str]:
    """The phases that follow the main one, in the order the kernels take them."""
    return ("gas", "water") if main == "oil" else ("oil", "water")


@dataclass(frozen=True, eq=False)
class StreamTable:
    """Own streams of many parameter rows: main-phase cumulative at month edges (K, T + 1) from the anchor on, and
    the ratios of the other phases, each (K,). technical (K,): main-phase volume from the anchor to the technical
    limit, and no less than to the valuation month. The rest: see `stream_table`."""

    total: Array
    ratios: dict[str, Ratio]
    running: Array
    form: NDArray[np.int8]
    slots: Array
    uptime: Array
    months_before: float
    technical: Array


def stream_table(
    form: NDArray[np.int8],
    slots: Array,
    uptime: Array,
    ratios: dict[str, Ratio],
    months_before: float,
    horizon: int,
    technical_limit: float,
    running: Array | None = None,
) -> StreamTable:
    """Streams of K parameter rows from the valuation month on.

    form (K,), slots (4, K), uptime (K,): decline on producing time, as in production.decline. months_before:
    calendar months from the anchor of that time, where the ratios start too, to the valuation month. technical_limit:
    main phase per producing day. running (K,): uptime of a stream that a job brings, where the well itself may stand
    idle (uptime 0); None: as uptime.
    """
    edges = MONTH_DAYS * (months_before + np.arange(horizon + 1))
    total = cumulative_mixture(form, slots, edges, uptime)
    running = uptime if running is None else running
    technical = np.maximum(technical_volume(form, slots, technical_limit), total[:, 0])
    return StreamTable(total, ratios, running, form, slots, uptime, months_before, technical)


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
    def technical(self) -> Array:
        """Main-phase recovery (n,) from first production to the technical limit, whatever is valued; at least np0."""
        recovery: Array = self.table.technical[self.row] + self.produced_before
        return recovery

    @property
    def running(self) -> Array:
        """Share of calendar time on where the well runs (n,)."""
        running: Array = self.table.running[self.row]
        return running

    @property
    def idle(self) -> NDArray[np.bool_]:
        """Whether the well stands idle for good (n,)."""
        idle: NDArray[np.bool_] = self.table.uptime[self.row] == 0.0
        return idle

    def sums_after(self, resume: IntArray, uptime: Array) -> Array:
        """Main-phase cumulatives (n, T + 1) at the edges of the months from `resume` (n,) on, at another uptime (n,)
        from there; an idle well stays idle."""
        table = self.table
        edges = np.arange(table.total.shape[1])
        start = table.uptime[self.row] * (table.months_before + resume)
        step = np.where(self.idle, 0.0, uptime)
        times = MONTH_DAYS * (start[:, None] + step[:, None] * edges)
        return cumulative_mixture(table.form[self.row], table.slots[:, self.row], times)

    def ratios(self) -> Array:
        """Ratios now, at the end and where it is reached (2, 3, n) of the other phases."""
        made = [self.table.ratios[phase] for phase in other_phases(self.main_phase)]
        return np.array([[part[self.row] for part in (r.now, r.final, r.change)] for r in made])

    def sums(self, rows: NDArray[np.intp] | slice) -> dict[str, Array]:
        """Cumulatives of all phases at month edges (n, T + 1) in some of the trials."""
        return self.phase_sums(self.table.total[self.row[rows]], rows)

    def phase_sums(self, main_sums: Array, rows: NDArray[np.intp] | slice) -> dict[str, Array]:
        """Cumulatives of all phases in some of the trials from those of their main phase, each (rows, K)."""
        at = self.row[rows]
        others = {
            phase: ratio_cumulative(main_sums, ratio.now[at], ratio.final[at], ratio.change[at])
            for phase, ratio in self.table.ratios.items()
        }
        return {self.main_phase: main_sums, **others}


@dataclass(frozen=True, eq=False)
class UnitCurve:
    """Refrac stream of one unit a day at its start: main-phase cumulative (n, T + 1) at month edges; technical (n,):
    its volume to its technical limit; ends: phase -> ratio at the start and at the end, each (n,), moving linearly with
    the stream's own cumulative until `change_fraction` of that volume, constant after."""

    main_phase: str
    total: Array
    technical: Array
    ends: dict[str, tuple[Array, Array]]
    change_fraction: float

    def ratios(self) -> Array:
        """As OwnCurve.ratios."""
        change = self.change_fraction * self.technical
        return np.array([[*self.ends[phase], change] for phase in other_phases(self.main_phase)])

    def sums(self, rows: NDArray[np.intp] | slice) -> dict[str, Array]:
        """As OwnCurve.sums."""
        total = self.total[rows]
        change = self.change_fraction * self.technical[rows]
        others = {
            phase: ratio_cumulative(total, first[rows], last[rows], change)
            for phase, (first, last) in self.ends.items()
        }
        return {self.main_phase: total, **others}


def unit_curve(
    main_phase: str,
    slots: Array,
    uptime: Array,
    ends: dict[str, tuple[Array, Array]],
    change_fraction: float,
    horizon: int,
    technical_limit: Array,
) -> UnitCurve:
    """Refrac stream of one unit a day at its start; slots (4, n) of the modified hyperbolic with rate 1.

    technical_limit (n,): of the well, over its peak rate. So the stream of a whole uplift is counted to the limit
    itself, one of half of it to half the limit: its volume is in proportion to its rate, whatever the job achieved.
    """
    form = np.zeros(uptime.size, dtype=np.int8)
    total = cumulative_mixture(form, slots, MONTH_DAYS * np.arange(horizon + 1), uptime)
    return UnitCurve(main_phase, total, technical_volume(form, slots, technical_limit), ends, change_fraction)
