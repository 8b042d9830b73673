"""Fixed values and distributions over listed values, sampled by inverse transform.

All are sorted, so a larger u never gives a smaller value and rank dependence keeps its meaning.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from refracmc.sampling.distribution_base import Distribution, FloatArray, as_array, short


@dataclass(frozen=True, slots=True)
class Fixed(Distribution):
    """A certain value."""

    kind: ClassVar[str] = "fixed"
    value: float

    def ppf(self, u: ArrayLike) -> FloatArray:
        return np.full(np.shape(u), self.value)

    def cdf(self, x: ArrayLike) -> FloatArray:
        return np.where(as_array(x) >= self.value, 1.0, 0.0)

    def steps(self) -> FloatArray:
        return np.array([0.0, 1.0])

    def mean(self) -> float:
        return self.value

    def variance(self) -> float:
        return 0.0

    def support(self) -> tuple[float, float]:
        return self.value, self.value

    def describe(self) -> str:
        return f"fixed {short(self.value)}"

    @property
    def is_fixed(self) -> bool:
        return True


@dataclass(frozen=True, slots=True)
class Bernoulli(Distribution):
    """1 with chance p, else 0. ppf(u) = 1 where u >= 1 - p, so a larger u never gives the smaller value."""

    kind: ClassVar[str] = "bernoulli"
    p: float

    def ppf(self, u: ArrayLike) -> FloatArray:
        return np.where(as_array(u) >= 1.0 - self.p, 1.0, 0.0)

    def cdf(self, x: ArrayLike) -> FloatArray:
        x = as_array(x)
        return np.where(x >= 1.0, 1.0, np.where(x >= 0.0, 1.0 - self.p, 0.0))

    def steps(self) -> FloatArray:
        return np.unique([0.0, 1.0 - self.p, 1.0])

    def mean(self) -> float:
        return self.p

    def variance(self) -> float:
        return self.p * (1.0 - self.p)

    def support(self) -> tuple[float, float]:
        return (0.0 if self.p < 1.0 else 1.0), (1.0 if self.p > 0.0 else 0.0)

    def describe(self) -> str:
        return f"bernoulli, chance {short(self.p)}"


@dataclass(frozen=True, slots=True)
class Discrete(Distribution):
    """Listed values with chances proportional to weights; sorted, so a larger u never gives a smaller value.

    `values` strictly ascending, `weights` positive (normalised here); `of` builds one from any order.
    """

    kind: ClassVar[str] = "discrete"
    values: tuple[float, ...]
    weights: tuple[float, ...]
    _cumulative: FloatArray = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        cumulative = np.cumsum(np.asarray(self.weights, dtype=np.float64))
        object.__setattr__(self, "_cumulative", cumulative / cumulative[-1])

    @classmethod
    def of(cls, values: ArrayLike, weights: ArrayLike) -> Discrete:
        """Sorts, adds the weights of equal values, drops weights of zero."""
        distinct, place = np.unique(as_array(values), return_inverse=True)
        total = np.bincount(place, weights=as_array(weights), minlength=distinct.size)
        kept = total > 0.0
        return cls(tuple(distinct[kept].tolist()), tuple(total[kept].tolist()))

    def ppf(self, u: ArrayLike) -> FloatArray:
        place = np.searchsorted(self._cumulative, as_array(u), side="right")
        return np.asarray(self.values)[np.minimum(place, len(self.values) - 1)]

    def cdf(self, x: ArrayLike) -> FloatArray:
        return np.append(0.0, self._cumulative)[np.searchsorted(self.values, as_array(x), side="right")]

    def steps(self) -> FloatArray:
        return np.unique(np.append(0.0, self._cumulative))

    def mean(self) -> float:
        return float(np.average(self.values, weights=self.weights))

    def variance(self) -> float:
        return float(np.average((np.asarray(self.values) - self.mean()) ** 2, weights=self.weights))

    def support(self) -> tuple[float, float]:
        return self.values[0], self.values[-1]

    def describe(self) -> str:
        shares = np.asarray(self.weights) / sum(self.weights)
        shown = [f"{short(v)} ({s:.0%})" for v, s in zip(self.values, shares, strict=True)]
        return "discrete, " + ", ".join(shown[:6]) + (", ..." if len(shown) > 6 else "")


@dataclass(frozen=True, slots=True)
class Empirical(Distribution):
    """Observed values, each equally likely; no smoothing: ppf(u) is the value of rank floor(u K) of K."""

    kind: ClassVar[str] = "empirical"
    values: tuple[float, ...]
    _sorted: FloatArray = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_sorted", np.sort(np.asarray(self.values, dtype=np.float64)))

    def ppf(self, u: ArrayLike) -> FloatArray:
        place = (as_array(u) * self._sorted.size).astype(np.intp)
        return self._sorted[np.clip(place, 0, self._sorted.size - 1)]

    def cdf(self, x: ArrayLike) -> FloatArray:
        return np.searchsorted(self._sorted, as_array(x), side="right") / self._sorted.size

    def steps(self) -> FloatArray:
        jumps = np.flatnonzero(np.diff(self._sorted)) + 1
        return np.concatenate([[0.0], jumps / self._sorted.size, [1.0]])

    def mean(self) -> float:
        return float(self._sorted.mean())

    def variance(self) -> float:
        return float(self._sorted.var())

    def support(self) -> tuple[float, float]:
        return float(self._sorted[0]), float(self._sorted[-1])

    def describe(self) -> str:
        return f"empirical, {self._sorted.size} values, {self._percentile_text()}"
