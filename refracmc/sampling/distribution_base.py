"""What every distribution offers.

    ppf(u)      values at the non-exceedance probabilities u in (0, 1), elementwise, deterministic
    cdf(x)      chance of a value <= x
    steps()     where a distribution over listed values jumps
    mean(), variance(), sd(), support()
    describe()  one line for tables, percentiles by exceedance (P90 is the low one)

The unit of a distribution is the unit of the input it stands for.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def as_array(x: ArrayLike) -> FloatArray:
    return np.asarray(x, dtype=np.float64)


def short(x: float) -> str:
    """A number for a line of text: four significant digits, large ones with their thousands apart."""
    text = f"{x:.4g}"
    return f"{float(text):,.0f}" if 1e4 <= abs(x) < 1e12 else text


class Distribution(ABC):
    """What every input distribution offers; see the module's text for the meaning of each member."""

    kind: ClassVar[str]
    __slots__ = ()

    @abstractmethod
    def ppf(self, u: ArrayLike) -> FloatArray: ...

    @abstractmethod
    def cdf(self, x: ArrayLike) -> FloatArray: ...

    @abstractmethod
    def mean(self) -> float: ...

    @abstractmethod
    def variance(self) -> float: ...

    @abstractmethod
    def support(self) -> tuple[float, float]:
        """Lowest and highest possible value (infinite where unbounded)."""

    @abstractmethod
    def describe(self) -> str: ...

    @property
    def is_fixed(self) -> bool:
        """True where the value is certain."""
        return False

    def steps(self) -> FloatArray:
        """Ends (k + 1,) of the k intervals of u, from 0 to 1, in each of which the value is one; empty where it is
        continuous."""
        return np.empty(0)

    def sd(self) -> float:
        return math.sqrt(self.variance())

    def p90_p50_p10(self) -> tuple[float, float, float]:
        """Values exceeded with chance 0.90, 0.50 and 0.10."""
        low, middle, high = self.ppf(np.array([0.1, 0.5, 0.9]))
        return float(low), float(middle), float(high)

    def restricted_moments(self, low: float, high: float) -> tuple[float, float]:
        """Mean and variance of the distribution truncated to [low, high] (continuous kinds only)."""
        raise NotImplementedError(f"{self.kind} is truncated by dropping values, not by moments")

    def _percentile_text(self) -> str:
        p90, p50, p10 = self.p90_p50_p10()
        return f"P90 {short(p90)}, P50 {short(p50)}, P10 {short(p10)}"
