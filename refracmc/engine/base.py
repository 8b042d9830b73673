"""Streams of one well over a block of trials: the own stream left alone, and the unit stream of a refrac.

Volumes are per forecast month of 365.25/12 days, arrays (trials, months). The own stream continues the
well's posterior (or its type curve) on producing time; the unit stream has a rate of one unit a day at its
start and is scaled later by what the job achieved.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refracmc.production.decline import cumulative, cumulative_mixture
from refracmc.production.secondary import ratio_cumulative

Array = NDArray[np.float64]
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


@dataclass(frozen=True)
class StreamTable:
    """Own streams of many parameter rows: cumulative at month edges (K, T + 1) per phase from the anchor on."""

    total: Array
    others: dict[str, Array]
    running: Array


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
    total = cumulative_mixture(form, slots, uptime[:, None] * edges)
    others = {
        phase: ratio_cumulative(total, ratio.now, ratio.final, ratio.change)
        for phase, ratio in ratios.items()
    }
    return StreamTable(total, others, uptime if running is None else running)


def own_stream(
    main_phase: str, table: StreamTable, row: NDArray[np.intp] | slice, produced_before: float
) -> BaseStream:
    """Own stream of each trial: row (n,) of the table. produced_before: main cumulative at the anchor."""
    total = table.total[row]
    main = np.diff(total, axis=1)
    others = {phase: np.diff(values[row], axis=1) for phase, values in table.others.items()}
    start = total[:, 0]
    oil, gas, water = _by_phase(main_phase, main, others)
    return BaseStream(
        oil, gas, water, main, total - start[:, None], start + produced_before, table.running[row]
    )


def unit_stream(
    main_phase: str,
    slots: Array,
    uptime: Array,
    ratios: dict[str, tuple[Array, Array]],
    change_fraction: Array,
    horizon: int,
) -> UnitStream:
    """Refrac stream of one unit a day at its start.

    slots (4, n) of the modified hyperbolic with rate 1; ratios: phase -> (at the start, at the end), each
    (n,), moving linearly with the share of the stream's own cumulative (to the horizon) until
    `change_fraction` of it, constant after.
    """
    edges = MONTH_DAYS * np.arange(horizon + 1)
    total = cumulative("modified_hyperbolic", slots, uptime[:, None] * edges)
    main = np.diff(total, axis=1)
    change = change_fraction * total[:, -1]
    others = {
        phase: np.diff(ratio_cumulative(total, first, last, change), axis=1)
        for phase, (first, last) in ratios.items()
    }
    return UnitStream(_by_phase(main_phase, main, others), main, total)
