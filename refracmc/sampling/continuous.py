"""Continuous distributions with named parameters, frozen, sampled by inverse transform.

A truncated distribution is renormalised: its ppf is the base's at u restricted to the part kept. Closed forms
of truncated moments: Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions (1994, 1995).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betainc, ndtr, ndtri

from refracmc.sampling.beta_table import beta_ppf
from refracmc.sampling.distribution_base import Distribution, FloatArray, as_array, short

P10_NORMAL = float(ndtri(0.9))
"""Standard normal value exceeded with chance 0.10: 1.2816."""


def _phi(z: float) -> float:
    return 0.0 if math.isinf(z) else math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)


@dataclass(frozen=True, slots=True)
class Normal(Distribution):
    """Normal with mean and standard deviation sd > 0."""

    kind: ClassVar[str] = "normal"
    mean_value: float
    sd_value: float

    @classmethod
    def from_p90_p10(cls, p90: float, p10: float) -> Normal:
        """P90 is the low value."""
        return cls(0.5 * (p90 + p10), (p10 - p90) / (2.0 * P10_NORMAL))

    def ppf(self, u: ArrayLike) -> FloatArray:
        return self.mean_value + self.sd_value * ndtri(as_array(u))

    def cdf(self, x: ArrayLike) -> FloatArray:
        return np.asarray(ndtr((as_array(x) - self.mean_value) / self.sd_value))

    def mean(self) -> float:
        return self.mean_value

    def variance(self) -> float:
        return self.sd_value**2

    def support(self) -> tuple[float, float]:
        return -math.inf, math.inf

    def describe(self) -> str:
        return f"normal, mean {short(self.mean_value)}, {self._percentile_text()}"

    def restricted_moments(self, low: float, high: float) -> tuple[float, float]:
        a, b = (low - self.mean_value) / self.sd_value, (high - self.mean_value) / self.sd_value
        mass = float(ndtr(b) - ndtr(a))
        shift = (_phi(a) - _phi(b)) / mass
        edge = ((0.0 if math.isinf(a) else a * _phi(a)) - (0.0 if math.isinf(b) else b * _phi(b))) / mass
        return self.mean_value + self.sd_value * shift, self.sd_value**2 * (1.0 + edge - shift**2)


@dataclass(frozen=True, slots=True)
class LogNormal(Distribution):
    """exp(log_mean + log_sd Z) with standard normal Z; log_sd > 0. The median is exp(log_mean)."""

    kind: ClassVar[str] = "lognormal"
    log_mean: float
    log_sd: float

    @classmethod
    def from_p90_p10(cls, p90: float, p10: float) -> LogNormal:
        """P90 is the low value; both above 0."""
        return cls(0.5 * (math.log(p90) + math.log(p10)), math.log(p10 / p90) / (2.0 * P10_NORMAL))

    @classmethod
    def from_mean_sd(cls, mean: float, sd: float) -> LogNormal:
        """Mean and standard deviation of the value itself, not of its logarithm."""
        ratio = sd / mean
        log_variance = math.log1p(ratio**2) if ratio < 1e100 else 2.0 * math.log(ratio)
        return cls(math.log(mean) - 0.5 * log_variance, math.sqrt(log_variance))

    def ppf(self, u: ArrayLike) -> FloatArray:
        with np.errstate(over="ignore"):  # beyond the largest number: inf
            return np.asarray(np.exp(self.log_mean + self.log_sd * ndtri(as_array(u))))

    def cdf(self, x: ArrayLike) -> FloatArray:
        x = as_array(x)
        with np.errstate(divide="ignore"):
            logs = np.log(np.maximum(x, 0.0))
        return np.asarray(ndtr((logs - self.log_mean) / self.log_sd))

    def mean(self) -> float:
        return math.exp(self.log_mean + 0.5 * self.log_sd**2)

    def variance(self) -> float:
        return math.expm1(self.log_sd**2) * self.mean() ** 2

    def support(self) -> tuple[float, float]:
        return 0.0, math.inf

    def describe(self) -> str:
        return f"lognormal, mean {short(self.mean())}, {self._percentile_text()}"

    def restricted_moments(self, low: float, high: float) -> tuple[float, float]:
        a = (math.log(low) - self.log_mean) / self.log_sd if low > 0.0 else -math.inf
        b = (math.log(high) - self.log_mean) / self.log_sd
        s = self.log_sd
        mass = float(ndtr(b) - ndtr(a))
        first = self.mean() * float(ndtr(b - s) - ndtr(a - s)) / mass
        second = self.mean() ** 2 * math.exp(s * s) * float(ndtr(b - 2 * s) - ndtr(a - 2 * s)) / mass
        return first, max(0.0, second - first**2)


@dataclass(frozen=True, slots=True)
class Uniform(Distribution):
    """Equal density from low to high, low < high."""

    kind: ClassVar[str] = "uniform"
    low: float
    high: float

    def ppf(self, u: ArrayLike) -> FloatArray:
        return self.low + (self.high - self.low) * as_array(u)

    def cdf(self, x: ArrayLike) -> FloatArray:
        return np.clip((as_array(x) - self.low) / (self.high - self.low), 0.0, 1.0)

    def mean(self) -> float:
        return 0.5 * (self.low + self.high)

    def variance(self) -> float:
        return (self.high - self.low) ** 2 / 12.0

    def support(self) -> tuple[float, float]:
        return self.low, self.high

    def describe(self) -> str:
        return f"uniform, {short(self.low)} to {short(self.high)}"

    def restricted_moments(self, low: float, high: float) -> tuple[float, float]:
        kept = Uniform(max(low, self.low), min(high, self.high))
        return kept.mean(), kept.variance()


@dataclass(frozen=True, slots=True)
class Triangular(Distribution):
    """Triangle over low <= mode <= high, low < high."""

    kind: ClassVar[str] = "triangular"
    low: float
    mode: float
    high: float

    def ppf(self, u: ArrayLike) -> FloatArray:
        u = as_array(u)
        width = self.high - self.low
        below = self.low + np.sqrt(np.maximum(u, 0.0) * (width * (self.mode - self.low)))
        above = self.high - np.sqrt(np.maximum(1.0 - u, 0.0) * (width * (self.high - self.mode)))
        return np.where(u * width < self.mode - self.low, below, above)

    def cdf(self, x: ArrayLike) -> FloatArray:
        x = np.clip(as_array(x), self.low, self.high)
        width = self.high - self.low
        rise, fall = self.mode - self.low, self.high - self.mode
        below = (x - self.low) ** 2 / (width * rise) if rise > 0 else np.zeros_like(x)
        above = 1.0 - (self.high - x) ** 2 / (width * fall) if fall > 0 else np.ones_like(x)
        return np.where(x < self.mode, below, above)

    def mean(self) -> float:
        return (self.low + self.mode + self.high) / 3.0

    def variance(self) -> float:
        a, m, b = self.low, self.mode, self.high
        return ((b - a) ** 2 - (m - a) * (b - m)) / 18.0

    def support(self) -> tuple[float, float]:
        return self.low, self.high

    def describe(self) -> str:
        return f"triangular, low {short(self.low)}, mode {short(self.mode)}, high {short(self.high)}"

    def restricted_moments(self, low: float, high: float) -> tuple[float, float]:
        # The density is linear on either side of the mode, so 3-point Gauss-Legendre is exact to x^2.
        nodes, weights = np.polynomial.legendre.leggauss(3)
        a, b = max(low, self.low), min(high, self.high)
        edges = [a, min(max(self.mode, a), b), b]
        mass = first = second = 0.0
        for start, stop in pairwise(edges):
            if stop <= start:
                continue
            x = 0.5 * (start + stop) + 0.5 * (stop - start) * nodes
            rising = stop <= self.mode
            density = (
                (x - self.low) / (self.mode - self.low)
                if rising
                else (self.high - x) / (self.high - self.mode)
            )
            w = density * weights * (stop - start)
            y = x - self.mode
            mass, first, second = mass + w.sum(), first + (w * y).sum(), second + (w * y * y).sum()
        centre = first / mass
        return float(self.mode + centre), float(second / mass - centre**2)


@dataclass(frozen=True, slots=True)
class Beta(Distribution):
    """Beta with shapes alpha, beta > 0 stretched from [0, 1] to [low, high]."""

    kind: ClassVar[str] = "beta"
    alpha: float
    beta: float
    low: float = 0.0
    high: float = 1.0

    def ppf(self, u: ArrayLike) -> FloatArray:
        return self.low + (self.high - self.low) * beta_ppf(self.alpha, self.beta, as_array(u))

    def cdf(self, x: ArrayLike) -> FloatArray:
        y = np.clip((as_array(x) - self.low) / (self.high - self.low), 0.0, 1.0)
        return np.asarray(betainc(self.alpha, self.beta, y))

    def mean(self) -> float:
        return self.low + (self.high - self.low) * self.alpha / (self.alpha + self.beta)

    def variance(self) -> float:
        a, b = self.alpha, self.beta
        return (self.high - self.low) ** 2 * a * b / ((a + b) ** 2 * (a + b + 1.0))

    def support(self) -> tuple[float, float]:
        return self.low, self.high

    def describe(self) -> str:
        return f"beta, {short(self.low)} to {short(self.high)}, {self._percentile_text()}"

    def restricted_moments(self, low: float, high: float) -> tuple[float, float]:
        a, b, width = self.alpha, self.beta, self.high - self.low
        ends = np.clip((np.array([low, high]) - self.low) / width, 0.0, 1.0)
        mass, first, second = (float(np.diff(betainc(a + k, b, ends))[0]) for k in range(3))
        first *= a / ((a + b) * mass)
        second *= a * (a + 1.0) / ((a + b) * (a + b + 1.0) * mass)
        return self.low + width * first, width**2 * max(0.0, second - first**2)


@dataclass(frozen=True, slots=True)
class Pert(Distribution):
    """Beta-PERT over low <= mode <= high: mean (low + 4 mode + high)/6.

    alpha = 1 + 4 (mode-low)/(high-low), alpha + beta = 6, so the variance is (mean-low)(high-mean)/7 and not
    ((high-low)/6)^2. Source: Vose, Risk Analysis (2008).
    """

    kind: ClassVar[str] = "pert"
    low: float
    mode: float
    high: float
    _beta: Beta = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        share = (self.mode - self.low) / (self.high - self.low)
        object.__setattr__(self, "_beta", Beta(1.0 + 4.0 * share, 5.0 - 4.0 * share, self.low, self.high))

    @property
    def alpha(self) -> float:
        return self._beta.alpha

    @property
    def beta(self) -> float:
        return self._beta.beta

    def ppf(self, u: ArrayLike) -> FloatArray:
        return self._beta.ppf(u)

    def cdf(self, x: ArrayLike) -> FloatArray:
        return self._beta.cdf(x)

    def mean(self) -> float:
        return self._beta.mean()

    def variance(self) -> float:
        return self._beta.variance()

    def support(self) -> tuple[float, float]:
        return self.low, self.high

    def describe(self) -> str:
        return f"pert, low {short(self.low)}, mode {short(self.mode)}, high {short(self.high)}"

    def restricted_moments(self, low: float, high: float) -> tuple[float, float]:
        return self._beta.restricted_moments(low, high)


@dataclass(frozen=True, slots=True)
class Truncated(Distribution):
    """A continuous base restricted to [low, high] and renormalised (either end may be infinite).

    Raises ValueError if less than a millionth of the base is kept.
    """

    kind: ClassVar[str] = "truncated"
    base: Distribution
    low: float
    high: float
    _start: float = field(init=False, repr=False, compare=False)
    _kept: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        start, stop = (float(c) for c in self.base.cdf(np.array([self.low, self.high])))
        if not stop - start >= 1e-6:
            raise ValueError(
                f"{self.base.describe()}, truncated from {short(self.low)} to {short(self.high)} keeps "
                f"{max(stop - start, 0.0):.2g} of itself"
            )
        object.__setattr__(self, "_start", start)
        object.__setattr__(self, "_kept", stop - start)

    def ppf(self, u: ArrayLike) -> FloatArray:
        return np.clip(self.base.ppf(self._start + self._kept * as_array(u)), self.low, self.high)

    def cdf(self, x: ArrayLike) -> FloatArray:
        return np.clip((self.base.cdf(x) - self._start) / self._kept, 0.0, 1.0)

    def mean(self) -> float:
        return self.base.restricted_moments(self.low, self.high)[0]

    def variance(self) -> float:
        return self.base.restricted_moments(self.low, self.high)[1]

    def support(self) -> tuple[float, float]:
        low, high = self.base.support()
        return max(low, self.low), min(high, self.high)

    def describe(self) -> str:
        ends = [f"at least {short(self.low)}"] if math.isfinite(self.low) else []
        ends += [f"at most {short(self.high)}"] if math.isfinite(self.high) else []
        return f"{self.base.describe()}, truncated to {' and '.join(ends) or 'nothing'}"
