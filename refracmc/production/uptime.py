"""The producing share of future calendar time: will the well stand idle throughout, and if not, how much of
it runs.

A hurdle: with probability pi the well produces nothing; otherwise its mean uptime is beta distributed. Both
depend on the well's own months (how long it has been shut, recent uptime, size of its rate, age) with
coefficients learned over many wells, and carry an effect of the area that an unseen area's wells share."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, expit

from refracmc.production.history import MCF_PER_BBL_OF_ENERGY, History

Array = NDArray[np.float64]

UPTIME_REFERENCE = 0.85
LOG_RATE_REFERENCE = 6.0  # log of about 400 barrels of oil equivalent per day
LOG_RATE_RANGE = (0.0, 8.0)  # beyond these the coefficients were not learned


@dataclass(frozen=True)
class UptimePrior:
    """Coefficients of the hurdle model, each on (constant, ...) as named.

    mean: logit of the mean uptime on (1, uptime of the last 12 months less 0.85, of the last 3 less 0.85,
    log rate less 6); idle: logit of the chance of no production on (1, log(1 + months shut in), log rate
    less 6, log(age in years)); precision: log of the beta precision on (1, log rate less 6). Rate: oil plus
    gas in barrels of oil equivalent per producing day over the last three producing months. mean_area_sd,
    idle_area_sd: standard deviation between areas of the two constants. bulk: usual producing share of a
    month with production, used only where a history has no days on."""

    mean: tuple[float, float, float, float]
    idle: tuple[float, float, float, float]
    precision: tuple[float, float]
    mean_area_sd: float = 0.35
    idle_area_sd: float = 0.6
    bulk: float = 0.87


@dataclass(frozen=True)
class UptimeState:
    """Where a well stands at the end of its history: months shut in, log rate (boe/d), uptime of the last 3
    and 12 months, log of its age in years; has_days: whether days on were declared at all."""

    shut: float
    log_rate: float
    recent: float
    year: float
    log_age: float
    has_days: bool


def uptime_state(history: History) -> UptimeState:
    """Read the state from a history. A well that never produced counts as shut in all along, at a low
    rate."""
    uptime, calendar = history.uptime, history.days_in_month
    volume = np.nan_to_num(history.volume())
    producing = np.flatnonzero(volume > 0)
    age = float(np.log(max(len(history), 1) / 12.0))
    if not len(producing):
        return UptimeState(float(len(history)), LOG_RATE_REFERENCE - 3.0, 0.0, 0.0, age, True)
    last = producing[-3:]
    boe = (
        np.nan_to_num(history.oil[last]).sum()
        + np.nan_to_num(history.gas[last]).sum() / MCF_PER_BBL_OF_ENERGY
    )
    days = np.maximum(uptime[last] * calendar[last], 1.0).sum()
    return UptimeState(
        shut=float(months_shut(history.volume())),
        log_rate=float(np.clip(np.log(max(boe / days, 1e-6)), *LOG_RATE_RANGE)),
        recent=_mean_known(uptime[-3:], UPTIME_REFERENCE),
        year=_mean_known(uptime[-12:], UPTIME_REFERENCE),
        log_age=age,
        has_days=bool(np.isfinite(history.days_on).any()),
    )


def months_shut(volume: Array) -> int:
    """Declared zero months since the last producing one; months not declared do not count."""
    after = volume[np.flatnonzero(np.nan_to_num(volume) > 0)[-1] + 1 :]
    return int(np.isfinite(after).sum())


def _mean_known(values: Array, otherwise: float) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else otherwise


def expected_uptime(state: UptimeState, prior: UptimePrior) -> tuple[float, float, float]:
    """Logit of the mean uptime (share of calendar time) of a well that runs, its beta precision, and logit of the
    chance that it stands idle."""
    rate = state.log_rate - LOG_RATE_REFERENCE
    a, c = prior.mean, prior.idle
    mean = (
        a[0] + a[1] * (state.year - UPTIME_REFERENCE) + a[2] * (state.recent - UPTIME_REFERENCE) + a[3] * rate
    )
    precision = float(np.exp(np.clip(prior.precision[0] + prior.precision[1] * rate, -1.0, 4.0)))
    idle = float(c[0] + c[1] * np.log1p(state.shut) + c[2] * rate + c[3] * state.log_age)
    return mean, precision, idle


def idle_draws(state: UptimeState, prior: UptimePrior, uniforms: Array, normals: Array) -> NDArray[np.bool_]:
    """Whether the well stands idle for good, by draw (n,), at the chance that its months give; uniforms and normals
    (n,)."""
    idle: NDArray[np.bool_] = uniforms < expit(
        expected_uptime(state, prior)[2] + prior.idle_area_sd * normals
    )
    return idle


def uptime_draws(
    state: UptimeState, prior: UptimePrior, uniforms: Array, normals: Array, hurdle: bool = True
) -> tuple[Array, Array]:
    """Draws (n,) of the mean uptime (share of calendar time) ahead, exactly 0 where the well stands idle,
    and of the uptime if it ran.

    uniforms (2, n), normals (2, n). The second is what a well brought back by a job would run at. hurdle: false for a
    well that runs in every draw.
    """
    logit_mean, precision, _ = expected_uptime(state, prior)
    mean = np.clip(expit(logit_mean + prior.mean_area_sd * normals[0]), 0.02, 0.98)
    running = betaincinv(mean * precision, (1.0 - mean) * precision, uniforms[1])
    if not state.has_days:
        running = np.minimum(running / prior.bulk, 1.0)
    running = np.clip(running, 1e-3, 1.0)
    if not hurdle:
        return running.copy(), running
    return np.where(idle_draws(state, prior, uniforms[0], normals[1]), 0.0, running), running


def uptime_told(
    state: UptimeState, prior: UptimePrior, draws: tuple[Array, Array], uniforms: Array, normals: Array
) -> dict[str, float]:
    """The well's own uptime beside what many wells taught, by name (shares of calendar time, chances, months).

    draws: of `uptime_draws`, with its uniforms and normals. uptime_own_year, uptime_own_quarter: of the last 12 and 3
    months; months_shut: declared zeros at the end; uptime_running: mean ahead if it runs, by the learned regression on
    those; uptime_ahead: the mean, idle draws in it as 0; idle_chance: share of idle draws; idle_chance_learned: what it
    would be for a well of its rate and age that is not shut in at the end.
    """
    ahead, running = draws
    alike = idle_draws(replace(state, shut=0.0), prior, uniforms[0], normals[1])
    idle = float((ahead == 0.0).mean())
    return {
        "uptime_own_year": state.year,
        "uptime_own_quarter": state.recent,
        "months_shut": state.shut,
        "uptime_running": float(running.mean()),
        "uptime_ahead": float(ahead.mean()),
        "idle_chance": idle,
        "idle_chance_learned": min(float(alike.mean()), idle),
    }
