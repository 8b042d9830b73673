"""Value every strategy of one well over a chunk of trials.

Structure first: a strategy's streams are the well's own stream and one unit stream, each scaled by a number
per trial and moved by the days the job shuts the well in. Margins (volume times net price, less volume
costs) are therefore folded once per date (`margins`); a strategy costs four multiply-adds over (trials, months).
The strategies of a date go through together: numbers per trial are (S, n), cash is (n, S, K) for K months from the
refrac month on, in reused buffers. No operation crosses trials or strategies, and none depends on how many there
are: a trial's numbers are the same to the bit in any chunk and beside any strategies.

All money here is the working-interest share, US$; month i is discounted by (1 + r)^-((i + 0.5)/12).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from refracmc.economics.irr import SPAN
from refracmc.economics.limits import clear_after, exact_limit, look_ahead_limit
from refracmc.economics.measures import BREAKEVEN_BOUND, IRR_CEILING, irr_unique
from refracmc.economics.rows import scratch
from refracmc.measures import PER_TRIAL as PER_TRIAL
from refracmc.measures import UNDEFINED_ALONE as UNDEFINED_ALONE
from refracmc.production.response import RefracScale, refrac_scale

from .base import BaseStream, UnitStream
from .margins import AHEAD, Worth, main_worth, money_worth, prefix_sums

Array = NDArray[np.float64]
IntArray = NDArray[np.intp]

MONTH_DAYS = 365.25 / 12.0


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
    """What the rest of the model needs of a simulated job; every member is (n,), or (S, n) for several jobs."""

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
    """What became of the strategies of a date, members (S, n): the scales of their streams, the delay in whole
    months and the part of a month above them, the life in months from the job, inclusive."""

    response: RefracScale
    whole: IntArray
    part: Array
    life: IntArray

    def strategy(self, row: int) -> Valued:
        """One of them; members (n,)."""
        scales = {name: getattr(self.response, name)[row] for name in RefracScale.__dataclass_fields__}
        return Valued(RefracScale(**scales), self.whole[row], self.part[row], self.life[row])


@dataclass(frozen=True)
class NothingBranch:
    """The well left alone: `limit` (n,) is the last producing month or -1; flows (n, T) after tax, abandonment
    included, zero after it; npv (n,); npv_to (n, T + 1): value of the first months, without abandonment;
    produced (n,): main-phase volume up to the limit."""

    limit: IntArray
    flows: Array
    npv: Array
    npv_to: Array
    produced: Array


class CashKernel:
    """One well, one chunk of trials: the branch left alone, then any strategies of any date."""

    def __init__(self, base: BaseStream, unit: UnitStream, money: Money, terms: ResponseTerms) -> None:
        self.base, self.unit, self.money, self.terms = base, unit, money, terms
        self.n, self.horizon = base.main.shape
        self.rows = np.arange(self.n)
        prices = (money.price_oil, money.price_gas, money.price_water)
        self.margin = money_worth(base, unit, prices, ahead=False)
        self.expected = None if money.ahead is None else money_worth(base, unit, money.ahead, ahead=True)
        self.fixed_ahead = None if money.ahead is None else _twelve_months(money.fixed)
        self.kept_cash = 1.0 - money.tax_rate
        self.nothing = self._leave_alone()
        self._held: tuple[Array, Array] | None = None
        self._main: tuple[Worth, Array, Array, Array] | None = None

    def _leave_alone(self) -> NothingBranch:
        money, base = self.money, self.base
        net = self.margin.own_calendar(0) - money.fixed
        if self.expected is None:
            limit = exact_limit(net * money.discount, -1)
        else:
            assert self.fixed_ahead is not None
            limit = look_ahead_limit(self.expected.own_calendar(0) - self.fixed_ahead, -1)
        clear_after(net, limit)
        net *= self.kept_cash
        npv_to = prefix_sums(net * money.discount)
        month = np.minimum(limit + 1, self.horizon - 1)
        given_up = self.kept_cash * money.abandonment[self.rows, month]
        net[self.rows, month] -= given_up
        npv = npv_to[:, -1] - given_up * money.discount[month]
        produced = base.cumulative[self.rows, limit + 1]
        return NothingBranch(limit, net, npv, npv_to, produced)

    def held(self) -> tuple[Array, Array]:
        """Prefix sums (n, T + 1) of the holding cost after tax, and of its present value; US$."""
        if self._held is None:
            cost = self.kept_cash * self.money.holding
            self._held = prefix_sums(cost), prefix_sums(cost * self.money.discount)
        return self._held

    def main_value(self) -> tuple[Worth, Array, Array, Array]:
        """What the main phase brings per unit benchmark price and at the prices of the trial.

        Its worth at the trial's prices, discounted; prefix sums (n, T + 1) of that of the own stream left where it
        is; prefix sums of the discounted volumes of own and unit stream from month 0 on.
        """
        if self._main is None:
            money = self.money
            value = money.main_factor * money.discount * money.main_price
            self._main = (
                main_worth(self.base, self.unit, value),
                prefix_sums(self.base.main * value),
                prefix_sums(self.base.main * money.discount),
                prefix_sums(self.unit.main * money.discount),
            )
        return self._main

    def date(self, month: int, lease_holding_months: int) -> DateKernel:
        """Everything that the strategies of one refrac month share."""
        return DateKernel(self, month, lease_holding_months)


def _twelve_months(volume: Array) -> Array:
    """Sum of months i..i+11, cut at the horizon, for every month i; (n, T) -> (n, T)."""
    total = prefix_sums(volume)
    stop = np.minimum(np.arange(volume.shape[1]) + AHEAD, volume.shape[1])
    return np.take(total, stop, axis=1) - total[:, :-1]


class DateKernel:
    """What the strategies of one refrac month share, and their valuation."""

    def __init__(self, well: CashKernel, month: int, lease_holding_months: int) -> None:
        self.well, self.month = well, month
        self.columns = well.horizon - month
        limit = well.nothing.limit
        idle = np.maximum(month - 1 - limit, 0)
        self.executed = idle <= lease_holding_months
        self.suspended = np.flatnonzero((idle > 0) & self.executed)
        self.longest_hold = min(month, lease_holding_months)
        self.resume = np.minimum(limit + 1, month)
        base = well.base
        self.made_before = base.cumulative[well.rows, self.resume]

    # ---- streams ------------------------------------------------------------------------------------------
    def respond(self, job: JobOutcome) -> RefracScale:
        """Scales of the streams (S, n) that the jobs bring about."""
        well, terms, alive = self.well, self.well.terms, ~job.lost
        return refrac_scale(
            np_at_job=well.base.np0 + self.made_before,
            ultimate=terms.ultimate,
            remaining_old=well.base.cumulative[:, -1] - self.made_before,
            kept_share=job.kept_share * alive,
            new_unit_total=well.unit.cumulative[:, self.columns],
            uplift_total=terms.uplift,
            q_peak=terms.q_peak,
            effective_share=job.effective_share * alive,
            depletion_exponent=terms.depletion_exponent,
            kept_fraction=terms.kept_fraction,
            acceleration_fraction=terms.acceleration_fraction,
        )

    def _by_delay(self, whole: IntArray) -> Iterator[tuple[int, IntArray | None]]:
        """(whole months late, trials): the usual delay with all trials, then each other one with those that have it.

        Tables are made per delay; what the first pass says of a trial with another delay is written over.
        """
        count = np.bincount(whole.ravel())
        usual = int(np.argmax(count))
        yield usual, None
        for lag in np.flatnonzero(count):
            if lag != usual:
                yield int(lag), np.flatnonzero((whole == lag).any(axis=0))

    def _factors(self, response: RefracScale, part: Array) -> Array:
        """Factors (n, S, 4) of the tables of `margins.STREAMS`."""
        early = 1.0 - part
        factors = (response.keep * early, response.q2 * early, response.keep * part, response.q2 * part)
        return np.stack([factor.T for factor in factors], axis=2)

    def _on_tables(self, worth: Worth, factors: Array, whole: IntArray, name: str) -> Array:
        """What the strategies' volumes are worth by month, (n, S, K), in a reused buffer."""
        k = self.columns
        out = scratch(name, factors.shape[0] * factors.shape[1] * k).reshape(*factors.shape[:2], k)
        for lag, rows in self._by_delay(whole):
            tables = worth.tables(self.month, lag, self.resume, rows, "tables")
            if rows is None:
                np.einsum("nsj,njk->nsk", factors, tables, out=out)
            else:
                some = np.einsum("nsj,njk->nsk", factors[rows], tables)
                mine = whole.T[rows] == lag
                out[rows[np.nonzero(mine)[0]], np.nonzero(mine)[1]] = some[mine]
        return out

    # ---- value --------------------------------------------------------------------------------------------
    def value(self, job: JobOutcome, out: Mapping[str, Array]) -> Valued:
        """Fill the rows (S, n) of `out`, by names of PER_TRIAL, for simulated jobs (S, n) at this date."""
        well, month, k = self.well, self.month, self.columns
        money, nothing = well.money, well.nothing
        shape = job.days.shape
        strategies, n = shape
        response = self.respond(job)
        months_down = job.days / MONTH_DAYS
        floor = np.floor(months_down)
        part = months_down - floor
        whole = np.minimum(floor, k).astype(np.intp)
        factors = self._factors(response, part)

        life = None
        if well.expected is not None:
            assert well.fixed_ahead is not None
            ahead = self._on_tables(well.expected, factors, whole, "cash")
            life = self._look_ahead(ahead)
        net = self._on_tables(well.margin, factors, whole, "cash")
        net -= money.fixed[:, None, month:]
        if life is None:
            present = scratch("present", net.size).reshape(net.shape)
            np.multiply(net, money.discount[month:], out=present)
            life = exact_limit(present.reshape(n * strategies, k), 0).reshape(n, strategies)
        life = np.where(job.lost.T, 0, life)
        _clear_after(net, life)
        end = np.minimum(life + 1, k - 1)
        trial, order = well.rows[:, None], np.arange(strategies)
        net[trial, order, end] -= money.abandonment[trial, month + end]
        cost = job.cost * money.working
        if money.tax_rate:
            net *= well.kept_cash
            shield = money.depreciation[month][month:] * (1.0 - money.expensed)
            relief = scratch("present", net.size).reshape(net.shape)
            np.multiply(shield, (cost * money.tax_rate).T[:, :, None], out=relief)
            net += relief
            net[:, :, 0] += (cost * money.expensed * money.tax_rate).T
        net[:, :, 0] -= cost.T
        held, held_value = self._hold()
        npv = held_value + np.einsum("nsk,k->sn", net, money.discount[month:])
        gain = npv - nothing.npv
        life = life.T
        executed = self.executed

        def fill(name: str, values: Array, otherwise: Array | float) -> None:
            if name in out:
                out[name][...] = np.where(executed, values, otherwise)

        fill("npv", npv, nothing.npv)
        fill("incremental_npv", gain, 0.0)
        fill("job_days", job.days, 0.0)
        fill("job_cost", job.cost, 0.0)
        fill("capex", cost, 0.0)
        fill("discounted_capex", cost * money.discount[month], 0.0)
        fill("effective_share", job.stages_effective, 0.0)
        fill("executed", np.ones(shape), 0.0)
        fill("capped", response.capped.astype(np.float64), 0.0)
        valued = Valued(response, whole, part, life)
        if "eur" in out or "incremental_eur" in out:
            made, alone = well.base.np0 + self._produced(valued), well.base.np0 + nothing.produced
            fill("eur", made, alone)
            fill("incremental_eur", made - alone, 0.0)
        if "breakeven_price" in out:
            fill("breakeven_price", self._breakeven(valued, factors, gain), np.nan)
        if "irr" in out or "payout_months" in out:
            flows = self._incremental(net)
            if "payout_months" in out:
                found = _payout(flows[: n * strategies, :k], np.repeat(held, strategies))
                fill("payout_months", found.reshape(n, strategies).T, np.nan)
            if "irr" in out:
                fill("irr", self._rate(flows, n, strategies).T, np.nan)
        return valued

    def _look_ahead(self, expected: Array) -> IntArray:
        """Life (n, S): months before the first, after the job's own, that is not expected to earn its fixed cost."""
        well = self.well
        assert well.fixed_ahead is not None
        fails = np.less(expected, well.fixed_ahead[:, None, self.month :])
        fails[:, :, 0] = False
        first = np.argmax(fails, axis=2)
        life: IntArray = np.where(first > 0, first, self.columns) - 1
        return life

    def _hold(self) -> tuple[Array, Array]:
        """What the months before the date bring: incremental cash (n,), not discounted, and present value (n,)."""
        well, nothing = self.well, self.well.nothing
        value = nothing.npv_to[well.rows, self.resume]
        cash = np.zeros(well.n)
        still = self.suspended
        if still.size:
            spent, spent_value = well.held()
            resume = self.resume[still]
            value[still] -= spent_value[still, self.month] - spent_value[still, resume]
            cash[still] -= spent[still, self.month] - spent[still, resume]
            cash[still] -= nothing.flows[still, resume]
        return cash, value

    def _produced(self, valued: Valued) -> Array:
        """Main-phase volume (S, n) from the valuation month to the end of the strategy's life."""
        well, base, response = self.well, self.well.base, valued.response
        total = np.zeros(valued.life.shape)
        for late, weight in ((valued.whole, 1.0 - valued.part), (valued.whole + 1, valued.part)):
            got = np.maximum(valued.life + 1 - late, 0)
            own = base.cumulative[well.rows, self.resume + got] - self.made_before
            total += weight * (response.keep * own + response.q2 * well.unit.cumulative[well.rows, got])
        return self.made_before + total

    def _breakeven(self, valued: Valued, factors: Array, gain: Array) -> Array:
        """Flat benchmark price (S, n) of the main phase at which `gain` (incremental NPV, S, n) would be zero.

        Lives and the other products are held as they are in the trial; undefined (NaN) where the discounted
        incremental main volume is not positive.
        """
        well, rows, money, response = self.well, self.well.rows, self.well.money, valued.response
        worth, own_value, own_volume, unit_volume = well.main_value()
        limit, resume, discount = well.nothing.limit, self.resume, money.discount
        volume = np.zeros(gain.shape) - np.maximum(
            own_volume[rows, limit + 1] - own_volume[rows, resume], 0.0
        )
        for late, weight in ((valued.whole, 1.0 - valued.part), (valued.whole + 1, valued.part)):
            got = np.maximum(valued.life + 1 - late, 0)
            then = discount[np.minimum(self.month + late, well.horizon - 1)]
            own = (own_volume[rows, resume + got] - own_volume[rows, resume]) / discount[resume]
            new = unit_volume[rows, got] / discount[0]
            volume += weight * then * (response.keep * own + response.q2 * new)
        volume *= money.main_factor[:, 0]
        value = np.zeros(gain.shape) - np.maximum(own_value[rows, limit + 1] - own_value[rows, resume], 0.0)
        for lag, some in self._by_delay(valued.whole):
            tables = worth.tables(self.month, lag, resume, some, "tables")
            np.cumsum(tables, axis=2, out=tables)
            picked = np.arange(well.n) if some is None else some
            revenue = np.zeros((valued.life.shape[0], picked.size))
            for j in range(4):
                revenue += factors[picked, :, j].T * tables[np.arange(picked.size), j, valued.life[:, picked]]
            if some is None:
                sums = revenue
            else:
                sums[:, some] = np.where(valued.whole[:, some] == lag, revenue, sums[:, some])
        value += sums
        price = np.full(gain.shape, np.nan)
        np.divide(value * well.kept_cash - gain, volume * well.kept_cash, out=price, where=volume > 0.0)
        clipped: Array = np.clip(price, -BREAKEVEN_BOUND, BREAKEVEN_BOUND)
        return clipped

    def _incremental(self, net: Array) -> Array:
        """Cash of the strategies (n, S, K) less that of the well left alone, one row per trial and strategy.

        Rows n S of the job's month on; after them S rows for each suspended trial that begin `longest_hold` months
        earlier. All are padded with zeros to a length that `irr_unique` reads in place and that only the date sets.
        """
        n, strategies, k = net.shape
        still, lead, nothing = self.suspended, self.longest_hold, self.well.nothing
        width = -(-(lead + k) // SPAN) * SPAN
        flows = scratch("flows", (n + still.size) * strategies * width).reshape(-1, strategies, width)
        np.subtract(net, nothing.flows[:, None, self.month :], out=flows[:n, :, :k])
        flows[:n, :, k:] = 0.0
        if still.size:
            calendar = np.arange(self.month - lead, self.month)
            on_hold = calendar >= self.resume[still][:, None]
            spent = self.well.kept_cash * self.well.money.holding[still][:, calendar]
            before = np.where(on_hold, -spent - nothing.flows[still][:, calendar], 0.0)
            flows[n:, :, :lead] = before[:, None]
            flows[n:, :, lead : lead + k] = flows[still, :, :k]
            flows[n:, :, lead + k :] = 0.0
        return flows.reshape(-1, width)

    def _rate(self, flows: Array, n: int, strategies: int) -> Array:
        """Internal rate of return (n, S) of the rows of `_incremental`."""
        rate = irr_unique(flows).reshape(-1, strategies)
        rate[self.suspended] = rate[n:]
        ceiling: Array = np.minimum(rate[:n], IRR_CEILING)
        return ceiling

    def volumes(self, valued: Valued) -> tuple[Array, Array, Array]:
        """Oil, gas and water (n, T) of one strategy on the calendar, zero after its life; bbl, Mcf, bbl."""
        well, month, k = self.well, self.month, self.columns
        after = np.arange(k) > valued.life[:, None]
        idle = np.arange(month) > well.nothing.limit[:, None]
        alone = np.arange(well.horizon) > well.nothing.limit[:, None]
        keep, q2 = valued.response.keep[:, None], valued.response.q2[:, None]
        made = []
        for own, new in zip((well.base.oil, well.base.gas, well.base.water), well.unit.phases, strict=True):
            resumed = np.take_along_axis(own, self.resume[:, None] + np.arange(k), axis=1)
            moved = late_volumes(keep * resumed + q2 * new[:, :k], valued.whole, valued.part)
            moved[after] = 0.0
            before = np.where(idle, 0.0, own[:, :month])
            whole = np.concatenate((before, moved), axis=1)
            made.append(np.where(self.executed[:, None], whole, np.where(alone, 0.0, own)))
        oil, gas, water = made
        return oil, gas, water


def late_volumes(stream: Array, whole: IntArray, part: Array) -> Array:
    """Monthly volumes of a stream (n, K) that begins `whole` (n,) months and a part (n,) of a month late."""
    n, k = stream.shape
    moved = np.zeros((n, k))
    for lag in np.unique(whole).tolist():
        rows = whole == lag
        some = stream[rows]
        for late, weight in ((lag, 1.0 - part[rows, None]), (lag + 1, part[rows, None])):
            if late < k:
                shifted = np.zeros(some.shape)
                shifted[:, late:] = weight * some[:, : k - late]
                moved[rows] += shifted
    return moved


def _clear_after(net: Array, life: IntArray) -> None:
    """Zero, in place, the months of net (n, S, K) after life (n, S)."""
    after = np.arange(net.shape[2], dtype=np.int16) > life.astype(np.int16)[:, :, None]
    np.copyto(net, 0.0, where=after)


FIRST_MONTHS = (36, 120)
"""Most jobs pay out within these; only the others are added up to their end."""


def _payout(flows: Array, before: Array) -> Array:
    """Months from the job's start to the end of the first month whose running total is not negative (N,); NaN if
    none. flows (N, K) from the job's month on; before (N,): total before it."""
    count, k = flows.shape
    found = np.full(count, np.nan)
    left = np.arange(count)
    for months in (*(m for m in FIRST_MONTHS if m < k), k):
        running = flows[:, :months].copy() if left.size == count else flows[left, :months]
        running[:, 0] += before[left]
        np.cumsum(running, axis=1, out=running)
        paid = running >= 0.0
        first = np.argmax(paid, axis=1)
        reached = paid[np.arange(left.size), first]
        found[left[reached]] = first[reached] + 1.0
        left = left[~reached]
    return found
