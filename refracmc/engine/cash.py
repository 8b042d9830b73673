"""Value every strategy of one well over a chunk of trials.

Structure first: a strategy's streams are the well's own stream and one unit stream, each scaled by a number
per trial and moved by the days the job shuts the well in. Margins (volume times net price, less volume
costs) are therefore folded once per chunk (own stream) and once per date (unit stream); a strategy costs a
handful of multiply-adds over (trials, months). Buffers are reused; arrays are (trials, months), C order.

All money here is the working-interest share, US$; month i is discounted by (1 + r)^-((i + 0.5)/12).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from refracmc.economics.limits import clear_after, exact_limit, look_ahead_limit
from refracmc.economics.measures import BREAKEVEN_BOUND, IRR_CEILING, irr_unique
from refracmc.production.response import RefracScale, refrac_scale

from .base import BaseStream, UnitStream

Array = NDArray[np.float64]
IntArray = NDArray[np.intp]

MONTH_DAYS = 365.25 / 12.0
PER_TRIAL = (
    "npv",
    "incremental_npv",
    "irr",
    "payout_months",
    "eur",
    "incremental_eur",
    "breakeven_price",
    "job_days",
    "job_cost",
    "capex",
    "discounted_capex",
    "effective_share",
    "executed",
    "capped",
)
"""Columns that the kernel fills per strategy and trial, in this order."""


@dataclass(frozen=True)
class Money:
    """Prices and terms of one chunk: what a volume is worth in each month.

    price_* (n, T): net revenue per unit volume less the volume costs, WI share; water is negative.
    fixed (n, T): fixed cost per month while on production; holding (n, T): while suspended.
    main_factor (n, T): revenue per unit benchmark price of the main phase (NRI and tax factors).
    ahead_* (n, T) or None: the same net prices at the mean of the next twelve months expected from month i's
    price; None means the path is known and the exact optimum applies.
    """

    price_oil: Array
    price_gas: Array
    price_water: Array
    fixed: Array
    holding: Array
    abandonment: Array
    main_price: Array
    main_factor: Array
    discount: Array
    working: float
    ahead: tuple[Array, Array, Array] | None = None
    tax_rate: float = 0.0
    expensed: float = 0.0
    depreciation: dict[int, Array] = field(default_factory=dict)

    def rows(self, part: slice | NDArray[np.intp]) -> Money:
        """The same money for some of the trials."""
        cut = {
            name: getattr(self, name)[part]
            for name in (
                "price_oil",
                "price_gas",
                "price_water",
                "fixed",
                "holding",
                "abandonment",
                "main_price",
                "main_factor",
            )
        }
        oil_gas_water = None
        if self.ahead is not None:
            oil, gas, water = self.ahead
            oil_gas_water = (oil[part], gas[part], water[part])
        return replace(self, **cut, ahead=oil_gas_water)


@dataclass(frozen=True)
class JobOutcome:
    """What the rest of the model needs of a simulated job; every member is (n,)."""

    days: Array
    cost: Array
    kept_share: Array
    effective_share: Array
    stages_effective: Array
    lost: NDArray[np.bool_]


@dataclass(frozen=True)
class ResponseTerms:
    """Refrac response inputs of a chunk, each (n,)."""

    uplift: Array
    q_peak: Array
    depletion_exponent: Array
    kept_fraction: Array
    acceleration_fraction: Array
    ultimate: Array


@dataclass(frozen=True)
class Valued:
    """What became of one strategy: its streams' scales, lag weights, life (months from the job, inclusive) and,
    where asked for, its after-tax flows from the job month on (n, K)."""

    response: RefracScale
    weights: dict[int, Array]
    life: IntArray
    flows: Array | None


@dataclass(frozen=True)
class NothingBranch:
    """The well left alone: net cash after its life is zero; `limit` is the last producing month or -1."""

    limit: IntArray
    net: Array
    flows: Array
    npv: Array
    npv_to: Array
    produced: Array


def look_ahead_sums(volume: Array, months: int = 12) -> Array:
    """Sum of months i..i+months-1, cut at the horizon, for every month i; volume (n, T) -> (n, T)."""
    n, horizon = volume.shape
    total = np.zeros((n, horizon + 1))
    np.cumsum(volume, axis=1, out=total[:, 1:])
    stop = np.minimum(np.arange(horizon) + months, horizon)
    return np.take(total, stop, axis=1) - total[:, :-1]


class CashKernel:
    """One well, one chunk of trials: the branch left alone, then any strategy of any date."""

    def __init__(self, base: BaseStream, unit: UnitStream, money: Money, terms: ResponseTerms) -> None:
        self.base, self.unit, self.money, self.terms = base, unit, money, terms
        self.n, self.horizon = base.main.shape
        self.rows = np.arange(self.n)
        self.prices = (money.price_oil, money.price_gas, money.price_water)
        self._fixed_ahead = None if money.ahead is None else look_ahead_sums(money.fixed)
        self._margins: dict[int, Array] = {}
        self._main_pv: dict[tuple[int, int], Array] = {}
        unit_value = money.main_factor * money.discount
        self.main_values = (unit_value, unit_value * money.main_price)
        self._scratch = np.empty((self.n, self.horizon))
        self._work = np.empty((self.n, self.horizon))
        self.nothing = self._leave_alone()

    # ---- the well left alone -------------------------------------------------------------------------
    def _leave_alone(self) -> NothingBranch:
        money, base = self.money, self.base
        net = self._own_margin(0) - money.fixed
        if self._fixed_ahead is None:
            limit = exact_limit(net * money.discount, -1)
        else:
            limit = look_ahead_limit(self._ahead_own(0, 0, None) - self._fixed_ahead, -1)
        clear_after(net, limit)
        flows = net.copy()
        month = np.minimum(limit + 1, self.horizon - 1)
        flows[self.rows, month] -= money.abandonment[self.rows, month]
        after_tax = flows * (1.0 - money.tax_rate)
        npv_to = np.zeros((self.n, self.horizon + 1))
        np.cumsum(net * ((1.0 - money.tax_rate) * money.discount), axis=1, out=npv_to[:, 1:])
        npv = (after_tax * money.discount).sum(axis=1)
        produced = base.cumulative[self.rows, limit + 1]
        return NothingBranch(limit, net, after_tax, npv, npv_to, produced)

    def _own_margin(self, lag: int) -> Array:
        """Margin of the own stream delivered `lag` months late, per calendar month (n, T)."""
        if lag not in self._margins:
            total = np.zeros((self.n, self.horizon))
            stop = self.horizon - lag
            for volume, price in zip(
                (self.base.oil, self.base.gas, self.base.water), self.prices, strict=True
            ):
                total[:, lag:] += volume[:, :stop] * price[:, lag:]
            self._margins[lag] = total
        return self._margins[lag]

    def _own_main_pv(self, lag: int, kind: int) -> Array:
        """Prefix sums (n, T + 1) of the own main-phase volume, `lag` months late, times main_values[kind]."""
        if (lag, kind) not in self._main_pv:
            total = np.zeros((self.n, self.horizon + 1))
            moved = self.base.main[:, : self.horizon - lag] * self.main_values[kind][:, lag:]
            np.cumsum(moved, axis=1, out=total[:, 1 + lag :])
            self._main_pv[lag, kind] = total
        return self._main_pv[lag, kind]

    def _ahead_own(self, month: int, lag: int, resume: IntArray | None) -> Array:
        """Look-ahead margin of the own stream from `month` on, delivered `lag` late, (n, T - month)."""
        assert self.money.ahead is not None
        total = np.zeros((self.n, self.horizon - month))
        for volume, price in zip(
            (self.base.oil, self.base.gas, self.base.water), self.money.ahead, strict=True
        ):
            total += look_ahead_sums(_late(_from(volume, month, resume), lag)) * price[:, month:]
        return total

    # ---- a date and its strategies -------------------------------------------------------------------
    def date(self, month: int, lease_holding_months: int) -> DateKernel:
        """Everything that the strategies of one refrac month share."""
        return DateKernel(self, month, lease_holding_months)


def _from(volume: Array, month: int, resume: IntArray | None) -> Array:
    """Own stream from the month it resumes, on the calendar from `month` on; (n, T - month)."""
    if resume is None:
        return volume[:, month:]
    columns = resume[:, None] + np.arange(volume.shape[1] - month)
    return np.take_along_axis(volume, columns, axis=1)


def _late(stream: Array, lag: int) -> Array:
    if lag == 0:
        return stream
    moved = np.zeros_like(stream)
    if lag < stream.shape[1]:
        moved[:, lag:] = stream[:, :-lag]
    return moved


class DateKernel:
    """Shared arrays of one refrac month, and the valuation of one job outcome on them."""

    def __init__(self, well: CashKernel, month: int, lease_holding_months: int) -> None:
        self.well, self.month = well, month
        self.keep_flows = False
        self.columns = well.horizon - month
        limit = well.nothing.limit
        idle = np.maximum(month - 1 - limit, 0)
        self.executed = idle <= lease_holding_months
        self.suspended = idle > 0
        self.any_suspended = bool(self.suspended.any())
        self.resume = np.minimum(limit + 1, month)
        self._resume_or_none = self.resume if self.any_suspended else None
        base = well.base
        self.at_job = base.np0 + base.cumulative[well.rows, self.resume]
        self.remaining = base.cumulative[:, -1] - base.cumulative[well.rows, self.resume]
        self._own: dict[int, Array] = {}
        self._new: dict[int, Array] = {}
        self._own_ahead: dict[int, Array] = {}
        self._new_ahead: dict[int, Array] = {}
        self._main_pv: dict[tuple[int, int], tuple[Array, Array]] = {}
        money = well.money
        self.first_column = int(self.resume.min()) if self.any_suspended else month
        before = np.zeros((well.n, month - self.first_column))
        if self.any_suspended:
            calendar = np.arange(self.first_column, month)
            held = self.suspended[:, None] & (calendar > limit[:, None])
            kept = well.nothing.net[:, self.first_column : month]
            before = np.where(held, -money.holding[:, self.first_column : month], kept)
        self.before = before * (1.0 - money.tax_rate)
        self.pv_before = well.nothing.npv_to[well.rows, self.first_column] + (
            self.before * money.discount[self.first_column : month]
        ).sum(axis=1)

    def _own_margin(self, lag: int) -> Array:
        if lag not in self._own:
            well = self.well
            if not self.any_suspended:
                whole = well._own_margin(lag)[:, self.month :]
                if lag:
                    whole = whole.copy()
                    whole[:, :lag] = 0.0
                self._own[lag] = whole
            else:
                total = np.zeros((well.n, self.columns))
                for volume, price in zip(
                    (well.base.oil, well.base.gas, well.base.water), well.prices, strict=True
                ):
                    stream = _from(volume, self.month, self.resume)
                    if lag < self.columns:
                        total[:, lag:] += stream[:, : self.columns - lag] * price[:, self.month + lag :]
                self._own[lag] = total
        return self._own[lag]

    def _new_margin(self, lag: int) -> Array:
        if lag not in self._new:
            well, k = self.well, self.columns
            total = np.zeros((well.n, k))
            if lag < k:
                for volume, price in zip(well.unit.phases, well.prices, strict=True):
                    total[:, lag:] += volume[:, : k - lag] * price[:, self.month + lag :]
            self._new[lag] = total
        return self._new[lag]

    def _ahead(self, lag: int) -> tuple[Array, Array]:
        if lag not in self._own_ahead:
            well, k = self.well, self.columns
            assert well.money.ahead is not None
            self._own_ahead[lag] = well._ahead_own(self.month, lag, self._resume_or_none)
            total = np.zeros((well.n, k))
            for volume, price in zip(well.unit.phases, well.money.ahead, strict=True):
                total += look_ahead_sums(_late(volume[:, :k], lag)) * price[:, self.month :]
            self._new_ahead[lag] = total
        return self._own_ahead[lag], self._new_ahead[lag]

    def _main_pvs(self, lag: int, kind: int) -> tuple[Array, Array]:
        """Prefix sums (n, K + 1) from the job month on of own and unit main volume times main_values[kind]."""
        if (lag, kind) not in self._main_pv:
            well, k = self.well, self.columns
            own, new = np.zeros((well.n, k + 1)), np.zeros((well.n, k + 1))
            if lag < k:
                value = well.main_values[kind][:, self.month + lag :]
                np.cumsum(well.unit.main[:, : k - lag] * value, axis=1, out=new[:, 1 + lag :])
                if self.any_suspended:
                    stream = _from(well.base.main, self.month, self.resume)
                    np.cumsum(stream[:, : k - lag] * value, axis=1, out=own[:, 1 + lag :])
                else:
                    whole = well._own_main_pv(lag, kind)
                    own[:, lag:] = whole[:, self.month + lag :] - whole[:, self.month + lag, None]
            self._main_pv[lag, kind] = own, new
        return self._main_pv[lag, kind]

    def _breakeven(
        self, keep: Array, q2: Array, weights: dict[int, Array], upto: IntArray, gain: Array
    ) -> Array:
        """Flat benchmark price of the main phase at which `gain` (incremental NPV) would be zero.

        Lives and the other products are held as they are in the trial; undefined (NaN) where the discounted
        incremental main volume is not positive.
        """
        well, rows, nothing = self.well, self.well.rows, self.well.nothing
        volume_and_value = []
        for kind in (0, 1):
            whole = well._own_main_pv(0, kind)
            total = -np.maximum(whole[rows, nothing.limit + 1] - whole[rows, self.resume], 0.0)
            for lag, weight in weights.items():
                own, new = self._main_pvs(lag, kind)
                total += weight * (keep * own[rows, upto] + q2 * new[rows, upto])
            volume_and_value.append(total * (1.0 - well.money.tax_rate))
        volume, value = volume_and_value
        price = np.full(well.n, np.nan)
        np.divide(value - gain, volume, out=price, where=volume > 0.0)
        return price

    def value(self, job: JobOutcome, out: dict[str, Array]) -> Valued:
        """Fill `out` (one (n,) row per name of PER_TRIAL) for one simulated job at this date."""
        well, month, k = self.well, self.month, self.columns
        money, base, terms, rows = well.money, well.base, well.terms, well.rows
        nothing = well.nothing
        alive = ~job.lost
        response = refrac_scale(
            np_at_job=self.at_job,
            ultimate=terms.ultimate,
            remaining_old=self.remaining,
            kept_share=job.kept_share * alive,
            new_unit_total=well.unit.cumulative[:, k],
            uplift_total=terms.uplift,
            q_peak=terms.q_peak,
            effective_share=job.effective_share * alive,
            depletion_exponent=terms.depletion_exponent,
            kept_fraction=terms.kept_fraction,
            acceleration_fraction=terms.acceleration_fraction,
        )
        months_down = job.days / MONTH_DAYS
        whole = np.minimum(np.floor(months_down), k).astype(np.intp)
        part = months_down - np.floor(months_down)
        lags = [int(v) for v in np.unique(np.concatenate((whole, whole + 1))) if v < k]
        net, tmp = (buffer.ravel()[: well.n * k].reshape(well.n, k) for buffer in (well._work, well._scratch))
        np.negative(money.fixed[:, month:], out=net)
        weights: dict[int, Array] = {}
        for lag in lags:
            weight = np.where(whole == lag, 1.0 - part, 0.0) + np.where(whole + 1 == lag, part, 0.0)
            weights[lag] = weight
            np.multiply(self._own_margin(lag), (response.keep * weight)[:, None], out=tmp)
            net += tmp
            np.multiply(self._new_margin(lag), (response.q2 * weight)[:, None], out=tmp)
            net += tmp
        if money.ahead is None:
            np.multiply(net, money.discount[month:], out=tmp)
            life = exact_limit(tmp, 0)
        else:
            assert well._fixed_ahead is not None
            test = -well._fixed_ahead[:, month:]
            for lag in lags:
                own, new = self._ahead(lag)
                test += own * (response.keep * weights[lag])[:, None]
                test += new * (response.q2 * weights[lag])[:, None]
            life = look_ahead_limit(test, 0)
        life = np.where(job.lost, 0, life)
        clear_after(net, life)
        end = np.minimum(life + 1, k - 1)
        net[rows, end] -= money.abandonment[rows, month + end]
        cost = job.cost * money.working
        if money.tax_rate:
            net *= 1.0 - money.tax_rate
            shield = money.depreciation[month][month:] * (1.0 - money.expensed)
            np.multiply(shield, (cost * money.tax_rate)[:, None], out=tmp)
            net += tmp
            net[:, 0] += cost * money.expensed * money.tax_rate
        net[:, 0] -= cost
        disc = money.discount[month:]
        np.multiply(net, disc, out=tmp)
        npv = self.pv_before + tmp.sum(axis=1)

        out["npv"][:] = np.where(self.executed, npv, nothing.npv)
        out["incremental_npv"][:] = np.where(self.executed, npv - nothing.npv, 0.0)
        flows = np.empty((well.n, well.horizon - self.first_column))
        split = month - self.first_column
        flows[:, :split] = self.before - nothing.flows[:, self.first_column : month]
        np.subtract(net, nothing.flows[:, month:], out=flows[:, split:])
        out["irr"][:] = np.where(self.executed, np.minimum(irr_unique(flows), IRR_CEILING), np.nan)
        running = np.cumsum(flows, axis=1)[:, split:]
        paid = running >= 0.0
        first = np.argmax(paid, axis=1) + 1.0
        out["payout_months"][:] = np.where(paid.any(axis=1) & self.executed, first, np.nan)

        produced = base.cumulative[rows, self.resume].copy()
        upto = life + 1
        for lag, weight in weights.items():
            got = np.maximum(upto - lag, 0)
            own = base.cumulative[rows, self.resume + got] - base.cumulative[rows, self.resume]
            produced += weight * (response.keep * own + response.q2 * well.unit.cumulative[rows, got])
        eur0 = base.np0 + nothing.produced
        eur = np.where(self.executed, base.np0 + produced, eur0)
        out["eur"][:] = eur
        out["incremental_eur"][:] = eur - eur0
        price = self._breakeven(response.keep, response.q2, weights, upto, npv - nothing.npv)
        price = np.clip(price, -BREAKEVEN_BOUND, BREAKEVEN_BOUND)
        out["breakeven_price"][:] = np.where(self.executed, price, np.nan)
        out["job_days"][:] = np.where(self.executed, job.days, 0.0)
        out["job_cost"][:] = np.where(self.executed, job.cost, 0.0)
        out["capex"][:] = np.where(self.executed, cost, 0.0)
        out["discounted_capex"][:] = np.where(self.executed, cost * disc[0], 0.0)
        out["effective_share"][:] = np.where(self.executed, job.stages_effective, 0.0)
        out["executed"][:] = self.executed
        out["capped"][:] = response.capped & self.executed
        return Valued(response, weights, life, net.copy() if self.keep_flows else None)

    def volumes(self, valued: Valued) -> tuple[Array, Array, Array]:
        """Oil, gas and water (n, T) of the strategy on the calendar, zero after its life; bbl, Mcf, bbl."""
        well, month, k = self.well, self.month, self.columns
        after = np.arange(k) > valued.life[:, None]
        idle = np.arange(month) > well.nothing.limit[:, None]
        alone = np.arange(well.horizon) > well.nothing.limit[:, None]
        keep, q2 = valued.response.keep, valued.response.q2
        made = []
        for own, new in zip((well.base.oil, well.base.gas, well.base.water), well.unit.phases, strict=True):
            stream = keep[:, None] * _from(own, month, self._resume_or_none) + q2[:, None] * new[:, :k]
            moved = np.zeros((well.n, k))
            for lag, weight in valued.weights.items():
                moved += weight[:, None] * _late(stream, lag)
            moved[after] = 0.0
            before = np.where(idle, 0.0, own[:, :month])
            whole = np.concatenate((before, moved), axis=1)
            made.append(np.where(self.executed[:, None], whole, np.where(alone, 0.0, own)))
        oil, gas, water = made
        return oil, gas, water
