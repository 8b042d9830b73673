"""Oil and gas prices per month: a deck, a deck times an uncertain level, or a process around the deck.

The deck is the expected path: every process multiplies it by a factor whose mean is one in each month. Month
0 is the valuation month; its price is known, so the factor of a process there is 1 and shock column 0 is not
used: column i drives the step from month i - 1 to month i. Steps are exact for dt = 1/12 year.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
PriceModel = Literal["deck", "deck_with_level", "geometric_brownian", "mean_reverting"]
PRICE_MODELS: tuple[PriceModel, ...] = get_args(PriceModel)
PROCESSES = ("geometric_brownian", "mean_reverting")
DT = 1.0 / 12.0
_MAX_EXPONENT = 200.0
_ROWS = 64


@dataclass(frozen=True, eq=False)
class Deck:
    """Expected benchmark prices: oil (T,) US$/bbl and gas (T,) US$/Mcf, month 0 = valuation month."""

    oil: Array
    gas: Array

    def __post_init__(self) -> None:
        if self.oil.ndim != 1 or self.oil.shape != self.gas.shape or self.oil.size == 0:
            raise ValueError(f"deck needs equal 1-D arrays, got oil {self.oil.shape}, gas {self.gas.shape}")
        for name, values in (("oil", self.oil), ("gas", self.gas)):
            if not np.isfinite(values).all():
                month = int(np.flatnonzero(~np.isfinite(values))[0])
                raise ValueError(f"deck {name} price of month {month} is {values[month]}; it must be finite")

    @property
    def months(self) -> int:
        """T."""
        return self.oil.size

    @classmethod
    def flat(cls, oil: float, gas: float, months: int) -> Deck:
        """The same prices in every month."""
        return cls(np.full(months, float(oil)), np.full(months, float(gas)))

    @classmethod
    def from_table(
        cls,
        table_months: Sequence[str] | ArrayLike,
        oil: ArrayLike,
        gas: ArrayLike,
        valuation_month: str | np.datetime64,
        months: int,
    ) -> Deck:
        """A deck from a monthly table, held flat at its last row past its end.

        table_months: "YYYY-MM" or datetime64, one row a month without gaps, covering the valuation month;
        rows before it are not used. Raises ValueError naming the row otherwise.
        """
        calendar = np.asarray(table_months, dtype="datetime64[M]")
        oil_table, gas_table = np.asarray(oil, dtype=np.float64), np.asarray(gas, dtype=np.float64)
        if (
            calendar.ndim != 1
            or calendar.size == 0
            or not calendar.shape == oil_table.shape == gas_table.shape
        ):
            raise ValueError(
                f"a price table needs one oil and one gas price per month, got {calendar.shape} months, "
                f"{oil_table.shape} oil, {gas_table.shape} gas"
            )
        steps = np.diff(calendar).astype(np.int64)
        if (steps != 1).any():
            row = int(np.flatnonzero(steps != 1)[0]) + 1
            raise ValueError(f"price table row {row + 1} is {calendar[row]}, after {calendar[row - 1]}")
        start = np.asarray(valuation_month, dtype="datetime64[M]")
        first = int((start - calendar[0]).astype(np.int64))
        if not 0 <= first < calendar.size:
            raise ValueError(
                f"price table runs {calendar[0]} to {calendar[-1]}, without the valuation month {start}"
            )
        rows = np.minimum(first + np.arange(months), calendar.size - 1)
        return cls(oil_table[rows], gas_table[rows])


@dataclass(frozen=True, eq=False)
class PricePaths:
    """Benchmark prices of n trials, oil and gas (n, T), and the factors on the deck they came from.

    oil_multiplier, gas_multiplier: (n, T), price / deck. The process terms are (oil, gas) pairs per year,
    kept for the prices expected ahead.
    """

    oil: Array
    gas: Array
    oil_multiplier: Array
    gas_multiplier: Array
    model: PriceModel
    deck: Deck
    volatility: tuple[float, float] = (0.0, 0.0)
    reversion: tuple[float, float] = (0.0, 0.0)


def price_paths(
    model: PriceModel,
    deck: Deck,
    level_oil: Array | None,
    level_gas: Array | None,
    shocks_oil: Array | None,
    shocks_gas: Array | None,
    vol: tuple[float, float] = (0.0, 0.0),
    reversion: tuple[float, float] = (0.0, 0.0),
    correlation: float = 0.0,
    trials: int | None = None,
) -> PricePaths:
    """Prices of n trials.

    model: "deck"; "deck_with_level" (deck x level_oil (n,), level_gas (n,)); "geometric_brownian"
    (deck x exp(x - vol^2 t / 2), x a Brownian motion of volatility vol); "mean_reverting" (Schwartz 1997,
    J. Finance 52(3), one factor: deck x exp(x - var x / 2), x an Ornstein-Uhlenbeck process from 0 with speed
    `reversion`, var x_t = vol^2 (1 - e^{-2kt}) / (2k)). Levels are used by "deck_with_level" only, shocks by
    the processes only: independent standard normals (n, T). correlation: of the two driving Brownian motions;
    the gas shock is c z_oil + sqrt(1 - c^2) z_gas with c the correlation, adjusted exactly where the two
    reversion speeds k, g differ: c = correlation D(k + g) / sqrt(D(2k) D(2g)), D(a) = (1 - e^{-a/12}) / a.
    vol, reversion: (oil, gas), per sqrt(year) and per year. trials: n for "deck". Returns (n, T) arrays.
    Raises ValueError for a bad model or shape, negative vol or reversion, |correlation| > 1.
    """
    if model not in PRICE_MODELS:
        raise ValueError(f"unknown price model {model!r}; one of {', '.join(PRICE_MODELS)}")
    if min(*vol, *reversion) < 0.0 or not -1.0 <= correlation <= 1.0:
        raise ValueError(
            f"need vol >= 0, reversion >= 0, |correlation| <= 1; got {vol}, {reversion}, {correlation}"
        )
    months = deck.months
    if model == "deck":
        if trials is None:
            given = next((x for x in (level_oil, level_gas, shocks_oil, shocks_gas) if x is not None), None)
            if given is None:
                raise ValueError("the number of trials is not given")
            trials = len(given)
        factor_oil, factor_gas = np.ones((trials, months)), np.ones((trials, months))
        vol, reversion = (0.0, 0.0), (0.0, 0.0)
    elif model == "deck_with_level":
        if (
            level_oil is None
            or level_gas is None
            or level_oil.shape != level_gas.shape
            or level_oil.ndim != 1
        ):
            raise ValueError("deck_with_level needs level_oil and level_gas of the same shape (n,)")
        factor_oil = np.repeat(level_oil[:, None], months, axis=1)
        factor_gas = np.repeat(level_gas[:, None], months, axis=1)
        vol, reversion = (0.0, 0.0), (0.0, 0.0)
    else:
        if shocks_oil is None or shocks_gas is None or shocks_oil.shape != shocks_gas.shape:
            raise ValueError("a price process needs shocks_oil and shocks_gas of the same shape (n, T)")
        if shocks_oil.ndim != 2 or shocks_oil.shape[1] != months:
            raise ValueError(f"shocks are {shocks_oil.shape}, the deck has {months} months")
        speeds = reversion if model == "mean_reverting" else (0.0, 0.0)
        share = _shock_correlation(correlation, speeds)
        mixed = shocks_oil * share
        mixed += shocks_gas * np.sqrt(1.0 - share * share)
        factor_oil = _process_factor(shocks_oil, vol[0], speeds[0])
        factor_gas = _process_factor(mixed, vol[1], speeds[1])
        reversion = speeds
    return PricePaths(
        factor_oil * deck.oil, factor_gas * deck.gas, factor_oil, factor_gas, model, deck, vol, reversion
    )


def _decay_time(rate: float, time: ArrayLike) -> Array:
    """(1 - exp(-rate * time)) / rate, exact as rate -> 0."""
    years = np.asarray(time, dtype=np.float64)
    return years if rate == 0.0 else np.asarray(-np.expm1(-rate * years) / rate)


def log_variance(volatility: float, reversion: float, time: ArrayLike) -> Array:
    """Variance of the log factor after `time` years: vol^2 (1 - e^{-2kt}) / (2k), vol^2 t for k = 0."""
    return volatility * volatility * _decay_time(2.0 * reversion, time)


def _shock_correlation(correlation: float, speeds: tuple[float, float]) -> float:
    """Correlation of the two exact monthly innovations whose Brownian motions have `correlation`."""
    k, g = speeds
    joint = float(_decay_time(k + g, DT))
    own = float(_decay_time(2.0 * k, DT)) * float(_decay_time(2.0 * g, DT))
    return float(np.clip(correlation * joint / np.sqrt(own), -1.0, 1.0))


def _process_factor(shocks: Array, volatility: float, reversion: float) -> Array:
    """exp(x_i - var_i / 2), (n, T), with x_0 = 0 and x_i = e^{-k dt} x_{i-1} + sd z_i.

    The recursion is a running sum of e^{k dt j} z_j in stretches short enough not to overflow.
    """
    n, months = shocks.shape
    deviation = float(np.sqrt(log_variance(volatility, reversion, DT)))
    state = np.zeros((n, months))
    stretch = months if reversion == 0.0 else max(1, int(_MAX_EXPONENT / (reversion * DT)))
    start = 1
    while start < months:
        stop = min(months, start + stretch)
        growth = np.exp(reversion * DT * np.arange(1, stop - start + 1))
        part = state[:, start:stop]
        np.multiply(shocks[:, start:stop], deviation * growth, out=part)
        part[:, 0] += state[:, start - 1]
        np.cumsum(part, axis=1, out=part)
        part /= growth
        start = stop
    state -= 0.5 * log_variance(volatility, reversion, DT * np.arange(months))
    np.exp(state, out=state)
    return state


def expected_mean_ahead(paths: PricePaths, months: int = 12) -> tuple[Array, Array]:
    """Mean over months i..i+months-1 (cut at T) of the price expected from month i's price; oil, gas (n, T).

    With d_j the deck, M_i the factor of month i and tau = (j - i)/12: "deck" and "deck_with_level": the exact
    future mean, M_i d_j. Geometric Brownian: M_i d_j. Mean reverting: d_j exp(p x_i - p^2 var_i / 2) with
    p = e^{-k tau}, x_i = log M_i + var_i / 2, the conditional mean (equal to the Schwartz 1997 forward).
    """
    if months < 1:
        raise ValueError(f"months must be at least 1, got {months}")
    pairs = zip(
        (paths.deck.oil, paths.deck.gas),
        (paths.oil_multiplier, paths.gas_multiplier),
        paths.volatility,
        paths.reversion,
        strict=True,
    )
    oil, gas = (_mean_ahead(deck, factor, vol, speed, months) for deck, factor, vol, speed in pairs)
    return oil, gas


def _mean_ahead(deck: Array, factor: Array, volatility: float, reversion: float, months: int) -> Array:
    """One product. The sum over tau of w_tau exp(p_tau x) is taken as exp(q x) times a polynomial in x, q the
    middle of the p: exact to rounding for |x| within ten standard deviations, with one exponential. The polynomial
    meets the sum at Chebyshev points of that range, so that it needs fewer terms than a power series.
    """
    total_months = deck.size
    index = np.arange(total_months)
    count = np.minimum(index + months, total_months) - index
    if reversion == 0.0 or volatility == 0.0:
        mean = np.array([deck[i : i + months].mean() for i in range(total_months)], dtype=np.float64)
        held: Array = factor * mean
        return held
    variance = log_variance(volatility, reversion, DT * index)
    fade = np.exp(-reversion * DT * np.arange(months))
    middle = 0.5 * float(fade[0] + fade[-1])
    ahead = np.zeros((months, total_months))
    for k in range(months):
        ahead[k, : total_months - k] = deck[k:]
    ahead *= np.exp(-0.5 * fade[:, None] ** 2 * variance) / count
    widest = 10.0 * float(np.sqrt(variance[-1]))
    reach = widest * float(fade[0] - middle)
    degree, rest = 1, reach * reach / 4.0  # 2 (reach/2)^(degree + 1) / (degree + 1)! remains
    while rest > 1e-17 * np.exp(-reach):
        degree += 1
        rest *= 0.5 * reach / (degree + 1.0)
    points = np.cos(np.pi * (np.arange(degree + 1) + 0.5) / (degree + 1))
    found = np.exp(np.outer(points * widest, fade - middle)) @ ahead
    chebyshev = np.polynomial.chebyshev.chebvander(points, degree).T @ found * (2.0 / (degree + 1))
    chebyshev[0] *= 0.5
    powers = np.zeros(
        (degree + 1, degree + 1)
    )  # column k: the Chebyshev polynomial k in powers of x / widest
    powers[0, 0] = powers[1, 1] = 1.0
    for k in range(2, degree + 1):
        powers[1:, k] = 2.0 * powers[:-1, k - 1]
        powers[:, k] -= powers[:, k - 2]
    coefficients = powers @ chebyshev / widest ** np.arange(degree + 1.0)[:, None]
    total = np.empty_like(factor)
    for start in range(0, factor.shape[0], _ROWS):
        state = np.log(factor[start : start + _ROWS])
        state += 0.5 * variance
        part = total[start : start + _ROWS]
        part[:] = coefficients[-1]
        for line in coefficients[-2::-1]:
            part *= state
            part += line
        state *= middle
        np.exp(state, out=state)
        part *= state
    return total


def schwartz_forward(
    spot: ArrayLike, reversion: float, volatility: float, log_mean: float, time: ArrayLike
) -> Array:
    """Forward price, Schwartz (1997), J. Finance 52(3), 923-973, one-factor model.

    ln F = e^{-kT} ln S + (1 - e^{-kT}) a* + vol^2 / (4k) (1 - e^{-2kT}); k > 0 per year, T years, a* the
    risk-adjusted long-run mean of the log price.
    """
    if reversion <= 0.0:
        raise ValueError(f"reversion must be above 0, got {reversion}")
    years = np.asarray(time, dtype=np.float64)
    fade = np.exp(-reversion * years)
    log_forward = fade * np.log(np.asarray(spot, dtype=np.float64)) + (1.0 - fade) * log_mean
    return np.exp(log_forward + volatility * volatility / (4.0 * reversion) * (1.0 - fade * fade))


def service_cost_index(
    oil_multiplier: Array,
    beta: Array | float,
    lag_months: int,
    sd: float,
    z: Array,
    chosen: Sequence[int] | None = None,
) -> Array:
    """Service cost index: exp(beta log(M_{i - lag}) + sd z - sd^2 / 2); (n, T), or (M, n) of M chosen months.

    oil_multiplier (n, T): oil price over deck; before the valuation month it is 1. beta (n,) or a number, z
    (n,) standard normal, one draw a trial. The mean is one where the oil price is the deck.
    """
    if lag_months < 0 or sd < 0.0:
        raise ValueError(f"need lag_months >= 0 and sd >= 0, got {lag_months} and {sd}")
    level = sd * z - 0.5 * sd * sd
    slope = np.broadcast_to(np.asarray(beta, dtype=np.float64), z.shape)
    if chosen is not None:
        late = [k for k, month in enumerate(chosen) if month >= lag_months]
        made = np.tile(level, (len(chosen), 1))
        made[late] += slope * np.log(oil_multiplier.T[[chosen[k] - lag_months for k in late]])
        return np.exp(made)
    n, months = oil_multiplier.shape
    index = np.zeros((n, months))
    if lag_months < months:
        np.log(oil_multiplier[:, : months - lag_months], out=index[:, lag_months:])
    index *= slope[:, None]
    index += level[:, None]
    np.exp(index, out=index)
    return index
