"""What a decline form is: four slots a trial, its curve, and how the fit sees it.

Time is PRODUCING time in days since the anchor: the end of history, or first production for a type curve. Rates are
per producing day, volumes bbl or Mcf, nominal declines per year of 365.25 days.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DAYS_PER_YEAR = 365.25


@dataclass(frozen=True)
class Slot:
    """One number of a form: its name in tables and messages, unit, meaning, whether it must be above zero, and below
    what it is taken for zero."""

    name: str
    unit: str
    meaning: str
    above_zero: bool = False
    negligible: float = 0.0


@dataclass(frozen=True)
class ShapePrior:
    """Independent normal priors on the coordinates of a form's shape in the fit: names, means, sds and bounds, each
    (d,)."""

    names: tuple[str, ...]
    mean: tuple[float, ...]
    sd: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


class DeclineForm(ABC):
    """A form of decline. Slots come checked, (4, n), times t >= 0, (K,) or (n, K); results have shape (n, K).

    The fit writes a form as log rate against that at the start of the segment it fits, with a shape (d, n): the
    coordinates of `priors`, by main phase. `weight` is the share of a form before a fit; one that is `optional` is
    averaged only where the engineer names it.
    """

    name: ClassVar[str]
    slots: ClassVar[tuple[Slot, ...]]
    priors: ClassVar[Mapping[str, ShapePrior]]
    weight: ClassVar[float]
    optional: ClassVar[bool] = False

    @abstractmethod
    def rate(self, slots: Array, t: Array) -> Array:
        """Rate [bbl/d or Mcf/d]."""

    @abstractmethod
    def cumulative(self, slots: Array, t: Array, uptime: Array | None = None) -> Array:
        """Volume [bbl or Mcf] from the anchor to t; with uptime (n,), shares, to producing times uptime x t."""

    @abstractmethod
    def ultimate(self, slots: Array) -> Array:
        """Volume [bbl or Mcf] from the anchor to infinite time, (n,); inf where it has no bound."""

    @abstractmethod
    def days_to_rate(self, slots: Array, rate: Array) -> Array:
        """Producing days (n,) from the anchor until the rate has fallen to `rate` (n,) > 0 for good; 0 where it is
        never above, inf where it never falls so far."""

    @abstractmethod
    def decline_per_year(self, slots: Array, t: Array) -> Array:
        """Nominal decline -(dq/dt)/q per year."""

    @abstractmethod
    def log_shape(self, shape: Array, t: Array) -> Array:
        """Log of rate(t)/rate(0) of shapes (d, n) at days t (K,) since the start of the segment: (K, n)."""

    @abstractmethod
    def slots_at_end(self, shape: Array, log_rate: Array, end: float) -> Array:
        """Slots (4, n) of curves with shapes (d, n) and log rates (n,) at `end`, days of the segment, where their clock
        starts."""

    def steeper(self, slots: Array, factor: Array) -> Array:
        """Slots of the curves with `factor` (n,) times the decline at the anchor, at the same rate; as they are where
        a form leaves that to its own spread."""
        return slots


def producing_times(t: Array, uptime: Array | None) -> Array:
    """Producing days (n, K) or (K,) of calendar days t at shares uptime (n,) of producing time."""
    return t if uptime is None else uptime[:, None] * t
