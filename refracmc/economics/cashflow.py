"""Monthly cash of one branch: the well left alone, or a job at one month (working-interest share).

Operating net of month i while the well is on production or under the job:
    net_i = A_i oil_i + B_i gas_i - WI esc_i (c_oil oil_i + c_gas gas_i + c_water water_i + fixed)
with A, B the netbacks (fiscal.py), esc_i the cost escalation. A suspended month costs WI esc_i holding. The
job cost falls wholly in the job month. Abandonment, WI esc_e x cost, falls in month e = min(L + 1, T - 1), L
the last producing month; a well lost in the job has L = job month. Income tax of month i is rate x (net_i -
abandonment_i - cost x write_off_i), negative where that is, and does not move the limit.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from .fiscal import IncomeTax
from .limits import clear_after, exact_limit, look_ahead_limit
from .rows import scratch, segment_sums, window_sums

__all__ = [
    "BranchCash",
    "CashTerms",
    "branch_cash",
    "cash_terms",
    "exact_limit",
    "expected_ahead",
    "look_ahead_limit",
    "produced_to_limit",
    "value_to_limit",
]

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class CashTerms:
    """What volumes and months are worth, one block of n trials over T months, working-interest share, US$.

    oil, gas (n, T): margin per bbl and Mcf, netback less the volume cost. water_cost, fixed, oil_cost,
    gas_cost: (n, T), or (n, 1) where costs do not escalate; per bbl, month, bbl, Mcf. holding, abandonment
    (n,): per month and at once, before escalation (T,). discount (T,). expected_oil, expected_gas (n, T):
    netbacks at the mean price of the next twelve months expected from month i's price; None = the path is
    known and the exact limit applies. tax: None = none; calendar: (year, month 1..12) of month 0, for the
    write-off.
    """

    oil: Array
    gas: Array
    water_cost: Array
    fixed: Array
    oil_cost: Array
    gas_cost: Array
    holding: Array
    abandonment: Array
    escalation: Array
    discount: Array
    expected_oil: Array | None = None
    expected_gas: Array | None = None
    tax: IncomeTax | None = None
    calendar: tuple[int, int] = (2000, 1)
    _write_off: dict[int, Array] = field(default_factory=dict)

    @property
    def tax_rate(self) -> float:
        """Income-tax rate, 0 where there is none."""
        return 0.0 if self.tax is None else self.tax.rate

    def write_off(self, job_month: int) -> Array:
        """Deductions per US$ of job cost spent in `job_month`, (T,)."""
        if self.tax is None:
            return np.zeros(self.discount.size)
        if job_month not in self._write_off:
            months = self.discount.size
            self._write_off[job_month] = self.tax.write_off(job_month, *self.calendar, months)
        return self._write_off[job_month]


def cash_terms(
    netback_oil: Array,
    netback_gas: Array,
    *,
    oil_cost: Array,
    gas_cost: Array,
    water_cost: Array,
    fixed: Array,
    holding: Array,
    abandonment: Array,
    working_interest: float,
    discount: Array,
    escalation: Array | None = None,
    expected: tuple[Array, Array] | None = None,
    tax: IncomeTax | None = None,
    calendar: tuple[int, int] = (2000, 1),
) -> CashTerms:
    """Fold netbacks (n, T) and 100 % costs (n,) into `CashTerms`; once per block and well.

    oil_cost, water_cost US$/bbl; gas_cost US$/Mcf; fixed, holding US$/month; abandonment US$. escalation
    (T,): None = real terms. expected: (oil, gas) netbacks (n, T) for the look-ahead rule. Raises ValueError
    on shapes.
    """
    n, months = netback_oil.shape
    if netback_gas.shape != (n, months) or discount.shape != (months,):
        raise ValueError(f"shapes differ: {netback_oil.shape}, {netback_gas.shape}, {discount.shape}")
    factor = np.ones(months) if escalation is None else escalation
    level = np.ones(1) if bool(np.all(factor == 1.0)) else factor

    def monthly(cost: Array) -> Array:
        if cost.shape != (n,):
            raise ValueError(f"costs must be ({n},), got {cost.shape}")
        return np.asarray((working_interest * cost)[:, None] * level, dtype=np.float64)

    oil_cost, gas_cost = monthly(oil_cost), monthly(gas_cost)
    return CashTerms(
        oil=netback_oil - oil_cost,
        gas=netback_gas - gas_cost,
        water_cost=monthly(water_cost),
        fixed=monthly(fixed),
        oil_cost=oil_cost,
        gas_cost=gas_cost,
        holding=working_interest * holding,
        abandonment=working_interest * abandonment,
        escalation=factor,
        discount=discount,
        expected_oil=None if expected is None else expected[0],
        expected_gas=None if expected is None else expected[1],
        tax=tax,
        calendar=calendar,
    )


@dataclass(frozen=True, eq=False)
class BranchCash:
    """One branch, n trials.

    net (n, T): US$ per month after everything, tax included. limit (n,): last producing month, -1 none. npv
    (n,): sum of net x discount. capex (n,): job cost, working-interest share, 0 where not executed. end (n,):
    month of abandonment. resume (n,): month of the own stream in which production goes on at the job (the job
    month, or the month after the own limit where the well was suspended). executed (n,): False where the
    lease lapsed first, and the branch is the well left alone. operating (n, T) and value_before (n, T+1),
    before tax: operating net of the well left alone, zero past its limit, and its discounted running total;
    None with a job.
    """

    net: Array
    limit: IntArray
    npv: Array
    capex: Array
    end: IntArray
    resume: IntArray
    executed: BoolArray
    operating: Array | None = None
    value_before: Array | None = None


def branch_cash(
    oil: Array,
    gas: Array,
    water: Array,
    terms: CashTerms,
    *,
    base: BranchCash | None = None,
    job_month: int = 0,
    capex: Array | None = None,
    lost: BoolArray | None = None,
    lease_holding_months: int = 24,
    out: Array | None = None,
) -> BranchCash:
    """Cash of the well left alone (base None), or of a job in `job_month` against that base.

    oil, gas, water (n, T): volumes per calendar month with no life limit (bbl, Mcf, bbl); with a job only
    columns from job_month on are read. capex (n,): job cost in the money of the job month, working-interest
    share. lost (n,): wells lost in the job: L = job_month. lease_holding_months: a
    well suspended longer before the job is not executed and stays the base. out: (n, T) buffer for `net`.

    Limit: exact (`exact_limit`, from -1 alone, from job_month with a job), or look-ahead where the terms
    carry expected netbacks. Fixed cost is paid in every month from the job month to L. Raises ValueError on
    shapes.
    """
    n, months = terms.oil.shape
    for name, volume in (("oil", oil), ("gas", gas), ("water", water)):
        if volume.shape != (n, months):
            raise ValueError(f"{name} volumes are {volume.shape}, prices are {(n, months)}")
    net = np.empty((n, months)) if out is None else out
    if net.shape != (n, months):
        raise ValueError(f"out is {net.shape}, not {(n, months)}")
    if base is None:
        return _left_alone(oil, gas, water, terms, net)
    if capex is None or capex.shape != (n,):
        raise ValueError(f"a job needs capex of shape ({n},)")
    if not 0 <= job_month < months:
        raise ValueError(f"job_month must be in 0..{months - 1}, got {job_month}")
    return _with_job(oil, gas, water, terms, base, job_month, capex, lost, lease_holding_months, net)


def _part(x: Array, start: int) -> Array:
    return x if x.shape[1] == 1 else x[:, start:]


def _operating(oil: Array, gas: Array, water: Array, terms: CashTerms, start: int, out: Array) -> None:
    """Operating net of months start..T-1 into out (n, T - start)."""
    term = scratch("term", out.size).reshape(out.shape)
    np.multiply(oil[:, start:], terms.oil[:, start:], out=out)
    np.multiply(gas[:, start:], terms.gas[:, start:], out=term)
    out += term
    np.multiply(water[:, start:], _part(terms.water_cost, start), out=term)
    out -= term
    out -= _part(terms.fixed, start)


def expected_ahead(oil: Array, gas: Array, water: Array, terms: CashTerms, start: int = 0) -> Array:
    """What months i..i+11 (cut at T) are expected to earn seen from month i, for i >= start; (n, T - start).

    Volumes and costs of those months, netbacks flat at those of the mean price expected from month i's price.
    Not discounted; no abandonment.
    """
    if terms.expected_oil is None or terms.expected_gas is None:
        raise ValueError("the terms carry no expected netbacks")
    n, months = oil.shape
    shape = (n, months - start)
    cost, term, window = (scratch(k, n * shape[1]).reshape(shape) for k in ("cost", "term", "window"))
    np.multiply(oil[:, start:], _part(terms.oil_cost, start), out=cost)
    np.multiply(gas[:, start:], _part(terms.gas_cost, start), out=term)
    cost += term
    np.multiply(water[:, start:], _part(terms.water_cost, start), out=term)
    cost += term
    cost += _part(terms.fixed, start)
    total = np.negative(window_sums(cost, out=window), out=cost)
    for volume, netback in ((oil, terms.expected_oil), (gas, terms.expected_gas)):
        window_sums(volume[:, start:], out=window)
        window *= netback[:, start:]
        total += window
    return total.copy()


def _left_alone(oil: Array, gas: Array, water: Array, terms: CashTerms, net: Array) -> BranchCash:
    n, months = net.shape
    rows = np.arange(n)
    operating = np.empty((n, months))
    _operating(oil, gas, water, terms, 0, operating)
    value = np.zeros((n, months + 1))
    if terms.expected_oil is None:
        limit = exact_limit(operating * terms.discount, -1)
    else:
        limit = look_ahead_limit(expected_ahead(oil, gas, water, terms), -1)
    clear_after(operating, limit, 0)
    np.cumsum(operating * terms.discount, axis=1, out=value[:, 1:])
    end = np.minimum(limit + 1, months - 1)
    abandonment = terms.abandonment * terms.escalation[end]
    np.copyto(net, operating)
    net[rows, end] -= abandonment
    keep = 1.0 - terms.tax_rate
    net *= keep
    npv = keep * (value[:, -1] - abandonment * terms.discount[end])
    return BranchCash(
        net=net,
        limit=limit,
        npv=npv,
        capex=np.zeros(n),
        end=end,
        resume=limit + 1,
        executed=np.ones(n, dtype=np.bool_),
        operating=operating,
        value_before=value,
    )


def _with_job(
    oil: Array,
    gas: Array,
    water: Array,
    terms: CashTerms,
    base: BranchCash,
    job_month: int,
    capex: Array,
    lost: BoolArray | None,
    lease_holding_months: int,
    net: Array,
) -> BranchCash:
    if base.operating is None or base.value_before is None:
        raise ValueError("base must be the well left alone")
    n, months = net.shape
    rows, discount = np.arange(n), terms.discount
    work = scratch("operating", n * (months - job_month)).reshape(n, months - job_month)
    _operating(oil, gas, water, terms, job_month, work)
    value = scratch("value", work.size).reshape(work.shape)
    np.multiply(work, discount[job_month:], out=value)
    if terms.expected_oil is None:
        life = exact_limit(value, 0)
    else:
        life = look_ahead_limit(expected_ahead(oil, gas, water, terms, job_month), 0)
    if lost is not None:
        life = np.where(lost, 0, life)
    limit = life + job_month
    end = np.minimum(limit + 1, months - 1)
    abandonment = terms.abandonment * terms.escalation[end]
    clear_after(work, limit, job_month)
    resume = np.minimum(job_month, base.limit + 1)
    before = base.value_before[rows, resume]
    net[:, job_month:] = work
    net[:, :job_month] = base.operating[:, :job_month]
    suspended = np.flatnonzero(resume < job_month)
    if suspended.size:
        held = np.concatenate(([0.0], np.cumsum(terms.escalation * discount)))
        before = before - terms.holding * (held[job_month] - held[resume])
        cost = terms.holding[suspended, None] * terms.escalation[:job_month]
        idle = np.arange(job_month) >= resume[suspended, None]
        net[suspended, :job_month] = np.where(idle, -cost, base.operating[suspended, :job_month])
    net[rows, end] -= abandonment
    npv = before + segment_sums(value, 0, life + 1) - abandonment * discount[end]
    if terms.tax is not None:
        net *= 1.0 - terms.tax.rate
        shield = terms.tax.rate * terms.write_off(job_month)
        last = int(np.flatnonzero(shield)[-1]) + 1 if shield.any() else job_month
        benefit = scratch("term", n * (last - job_month)).reshape(n, last - job_month)
        np.multiply(capex[:, None], shield[job_month:last], out=benefit)
        net[:, job_month:last] += benefit
        npv *= 1.0 - terms.tax.rate
        npv += capex * float(np.dot(shield, discount))
    net[:, job_month] -= capex
    npv -= capex * discount[job_month]
    executed = job_month - 1 - base.limit <= lease_holding_months
    if not executed.all():
        lapsed = np.flatnonzero(~executed)
        net[lapsed] = base.net[lapsed]
        npv = np.where(executed, npv, base.npv)
        limit = np.where(executed, limit, base.limit)
        end = np.where(executed, end, base.end)
        resume = np.where(executed, resume, base.resume)
        capex = np.where(executed, capex, 0.0)
    return BranchCash(net=net, limit=limit, npv=npv, capex=capex, end=end, resume=resume, executed=executed)


def produced_to_limit(volume: Array, limit: IntArray, first: IntArray | int = 0) -> Array:
    """Volume of months first..limit of each row; volume (n, T) -> (n,)."""
    return segment_sums(volume, first, limit + 1)


def value_to_limit(volume: Array, weight: Array, limit: IntArray, first: IntArray | int = 0) -> Array:
    """Sum over months first..limit of volume (n, T) x weight ((n, T) or (T,)), per row; (n,)."""
    product = scratch("term", volume.size).reshape(volume.shape)
    np.multiply(volume, weight, out=product)
    return segment_sums(product, first, limit + 1)
