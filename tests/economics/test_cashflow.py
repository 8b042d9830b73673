"""Monthly cash of a branch. Oracle: the same rules in plain loops, one trial and one month at a time."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from refracmc.economics.cashflow import branch_cash, cash_terms, produced_to_limit, value_to_limit
from refracmc.economics.fiscal import IncomeTax, depreciation_weights
from refracmc.economics.measures import discount_factors, escalation_factors

WI, RATE, CALENDAR = 0.9, 0.1, (2026, 10)
COSTS = ("oil_cost", "gas_cost", "water_cost", "fixed", "holding", "abandonment")


class Setting:
    """Random prices, costs and volumes of n trials, and everything the plain route needs of them."""

    def __init__(self, seed, n=6, months=40, escalation=0.03, tax=None, ahead=False, low=False):
        rng = np.random.default_rng(seed)
        self.n, self.months, self.tax, self.escalation = n, months, tax, escalation
        noise = rng.lognormal(0.0, 0.15, (n, months)) if ahead else np.ones((n, 1))
        self.a = (rng.uniform(-5, 15, (n, 1)) if low else rng.uniform(25, 50, (n, 1))) * noise
        self.b = rng.uniform(0.5, 2.5, (n, 1)) * noise
        self.a, self.b = np.ascontiguousarray(self.a + np.zeros(months)), self.b + np.zeros(months)
        self.expected = (self.a * 1.02, self.b * 0.98) if ahead else None
        scale = dict(zip(COSTS, (6, 0.3, 1.2, 7000, 1200, 90000), strict=True))
        self.costs = {k: rng.uniform(0.5, 1.5, n) * v for k, v in scale.items()}
        i = np.arange(months)
        self.own = rng.uniform(300, 1500, (n, 1)) * np.exp(-rng.uniform(0.01, 0.15, (n, 1)) * i)
        self.own = self.phases(self.own)
        self.terms = cash_terms(
            self.a,
            self.b,
            **self.costs,
            working_interest=WI,
            discount=discount_factors(months, RATE),
            escalation=escalation_factors(months, escalation),
            expected=self.expected,
            tax=tax,
            calendar=CALENDAR,
        )
        self.rng = rng

    def phases(self, oil):
        return oil, 2.0 * oil, 1.5 * oil

    def job_streams(self, month):
        i = np.arange(self.months - month)
        total = 0.8 * self.own[0]
        total[:, month:] += self.rng.uniform(0, 3000, (self.n, 1)) * (1 + 0.3 * i) ** -0.8
        total[:, month] *= 0.1
        return self.phases(total)

    # ---- the plain route ----
    def esc(self, i):
        return (1 + self.escalation) ** ((i + 0.5) / 12)

    def disc(self, i):
        return (1 + RATE) ** (-(i + 0.5) / 12)

    def net(self, t, streams, i, a=None, b=None):
        oil, gas, water = (float(x[t, i]) for x in streams)
        a, b = (self.a[t, i], self.b[t, i]) if a is None else (a, b)
        c = {k: float(v[t]) for k, v in self.costs.items()}
        cost = c["oil_cost"] * oil + c["gas_cost"] * gas + c["water_cost"] * water + c["fixed"]
        return a * oil + b * gas - WI * self.esc(i) * cost

    def limit(self, t, streams, lowest):
        if self.expected is not None:
            for i in range(lowest + 1, self.months):
                a, b = self.expected[0][t, i], self.expected[1][t, i]
                ahead = range(i, min(i + 12, self.months))
                if math.fsum(self.net(t, streams, j, a, b) for j in ahead) < 0:
                    return i - 1
            return self.months - 1
        best, limit, total = (0.0, -1, 0.0) if lowest == -1 else (-math.inf, lowest, 0.0)
        for i in range(max(lowest, 0), self.months):
            total += self.net(t, streams, i) * self.disc(i)
            if total > best:
                best, limit = total, i
        return limit

    def branch(self, t, streams, month=None, capex=0.0, lost=False, lease=24):
        last = self.limit(t, self.own, -1)
        if month is not None and month - 1 - last > lease:
            month, streams, capex = None, self.own, 0.0
        if month is None:
            limit, resume = last, last + 1
            flow = [self.net(t, streams, i) if i <= limit else 0.0 for i in range(self.months)]
        else:
            resume = min(month, last + 1)
            limit = month if lost else self.limit(t, streams, month)
            flow = [self.net(t, self.own, i) for i in range(resume)]
            flow += [-WI * self.costs["holding"][t] * self.esc(i) for i in range(resume, month)]
            flow += [self.net(t, streams, i) if i <= limit else 0.0 for i in range(month, self.months)]
        end = min(limit + 1, self.months - 1)
        flow[end] -= WI * self.costs["abandonment"][t] * self.esc(end)
        if self.tax is not None:
            flow = [x * (1 - self.tax.rate) for x in flow]
            if month is not None:
                share = self.tax.intangible_fraction
                weights = depreciation_weights(self.tax.schedule, month, *CALENDAR, self.months)
                for i in range(self.months):
                    off = (1 - share) * weights[i] + (share if i == month else 0.0)
                    flow[i] += self.tax.rate * capex * off
        if month is not None:
            flow[month] -= capex
        return flow, limit, end, resume


def check(s, got, plain):
    for t, (flow, limit, end, resume) in enumerate(plain):
        assert got.limit[t] == limit
        assert got.end[t] == end
        assert got.resume[t] == resume
        np.testing.assert_allclose(got.net[t], flow, rtol=1e-11, atol=1e-6)
        value = math.fsum(x * s.disc(i) for i, x in enumerate(flow))
        assert got.npv[t] == pytest.approx(value, rel=1e-10, abs=1e-5)
        assert (got.net[t] * s.terms.discount).sum() == pytest.approx(got.npv[t], rel=1e-10, abs=1e-5)


TAXES = (None, IncomeTax(0.21, "macrs_7", 0.8), IncomeTax(0.3, "macrs_5"), IncomeTax(0.25, "expensed", 0.2))


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    month=st.integers(0, 39),
    tax=st.sampled_from(TAXES),
    escalation=st.sampled_from((0.0, 0.03)),
    ahead=st.booleans(),
    low=st.booleans(),
    lease=st.sampled_from((0, 5, 24)),
)
def test_both_branches_against_plain_loops(seed, month, tax, escalation, ahead, low, lease):
    s = Setting(seed, tax=tax, escalation=escalation, ahead=ahead, low=low)
    base = branch_cash(*s.own, s.terms)
    check(s, base, [s.branch(t, s.own) for t in range(s.n)])
    streams = s.job_streams(month)
    capex, lost = s.rng.uniform(1e4, 2e5, s.n), s.rng.random(s.n) < 0.3
    for x in streams:
        x[lost, month:] = 0.0
    got = branch_cash(
        *streams, s.terms, base=base, job_month=month, capex=capex, lost=lost, lease_holding_months=lease
    )
    check(s, got, [s.branch(t, streams, month, capex[t], bool(lost[t]), lease) for t in range(s.n)])
    idle = month - 1 - base.limit
    np.testing.assert_array_equal(got.executed, idle <= lease)
    np.testing.assert_array_equal(got.capex, np.where(idle <= lease, capex, 0.0))
    for t in np.flatnonzero(~got.executed):
        np.testing.assert_array_equal(got.net[t], base.net[t])
        assert got.npv[t] == base.npv[t]


def test_no_life_is_worth_the_abandonment_at_once():
    s = Setting(1, low=True)
    s.costs["fixed"] *= 100
    terms = cash_terms(s.a, s.b, **s.costs, working_interest=WI, discount=discount_factors(40, 0.0))
    base = branch_cash(*s.own, terms)
    assert (base.limit == -1).all()
    np.testing.assert_allclose(base.npv, -WI * s.costs["abandonment"])
    np.testing.assert_allclose(base.net[:, 0], base.npv)


def test_limit_at_the_horizon_abandons_in_the_last_month():
    s = Setting(2)
    s.costs["fixed"] *= 0.0
    s.costs["abandonment"][:] = 5e4
    a = np.abs(s.a) + 50
    terms = cash_terms(a, s.b, **s.costs, working_interest=WI, discount=discount_factors(40, RATE))
    base = branch_cash(*s.own, terms)
    assert (base.limit == 39).all()
    assert (base.end == 39).all()
    np.testing.assert_allclose(base.net[:, 39], base.operating[:, 39] - WI * 5e4)


def test_months_before_the_job_are_bit_for_bit_the_base():
    s = Setting(3)
    base = branch_cash(*s.own, s.terms)
    month = int(base.limit.min()) // 2
    got = branch_cash(*s.job_streams(month), s.terms, base=base, job_month=month, capex=np.ones(s.n))
    np.testing.assert_array_equal(got.net[:, :month], base.net[:, :month])


@pytest.mark.parametrize("ahead", [False, True])
def test_rows_do_not_depend_on_the_batch(ahead):
    s = Setting(4, n=64, tax=TAXES[1], ahead=ahead)
    streams, capex = s.job_streams(7), np.full(64, 5e4)
    base = branch_cash(*s.own, s.terms)
    whole = branch_cash(*streams, s.terms, base=base, job_month=7, capex=capex)
    rows = slice(20, 23)
    terms = cash_terms(
        s.a[rows],
        s.b[rows],
        **{k: v[rows] for k, v in s.costs.items()},
        working_interest=WI,
        discount=s.terms.discount,
        escalation=s.terms.escalation,
        expected=None if s.expected is None else (s.expected[0][rows], s.expected[1][rows]),
        tax=s.tax,
        calendar=CALENDAR,
    )
    part = branch_cash(*(x[rows] for x in s.own), terms)
    again = branch_cash(*(x[rows] for x in streams), terms, base=part, job_month=7, capex=capex[rows])
    np.testing.assert_array_equal(whole.net[rows], again.net)
    np.testing.assert_array_equal(whole.npv[rows], again.npv)


def test_tax_is_linear_and_moves_no_limit():
    before, after = Setting(5), Setting(5, tax=IncomeTax(0.25, "expensed"))
    streams = before.job_streams(6)
    values = []
    for s in (before, after):
        base = branch_cash(*s.own, s.terms)
        job = branch_cash(*streams, s.terms, base=base, job_month=6, capex=np.full(s.n, 8e4))
        values.append((base, job))
    for plain, taxed in zip(*values, strict=True):
        np.testing.assert_array_equal(plain.limit, taxed.limit)
        np.testing.assert_allclose(
            taxed.npv, 0.75 * plain.npv
        )  # all written off at once: tax takes its share


def test_produced_and_valued_to_the_limit():
    s = Setting(6)
    base = branch_cash(*s.own, s.terms)
    oil = s.own[0]
    for t in range(s.n):
        made = oil[t, : base.limit[t] + 1]
        assert produced_to_limit(oil, base.limit)[t] == pytest.approx(math.fsum(made))
        worth = math.fsum(x * s.disc(i) for i, x in enumerate(made))
        assert value_to_limit(oil, s.terms.discount, base.limit)[t] == pytest.approx(worth)


def test_reused_buffer_and_wrong_shapes():
    s = Setting(7)
    buffer = np.full((s.n, s.months), np.nan)
    base = branch_cash(*s.own, s.terms)
    streams = s.job_streams(3)
    got = branch_cash(*streams, s.terms, base=base, job_month=3, capex=np.ones(s.n), out=buffer)
    assert got.net is buffer
    fresh = branch_cash(*streams, s.terms, base=base, job_month=3, capex=np.ones(s.n))
    np.testing.assert_array_equal(fresh.net, buffer)
    with pytest.raises(ValueError, match="water volumes"):
        branch_cash(s.own[0], s.own[1], s.own[2][:, 1:], s.terms)
    with pytest.raises(ValueError, match="capex"):
        branch_cash(*streams, s.terms, base=base, job_month=3)
    with pytest.raises(ValueError, match="job_month"):
        branch_cash(*streams, s.terms, base=base, job_month=40, capex=np.ones(s.n))
    with pytest.raises(ValueError, match="left alone"):
        branch_cash(*streams, s.terms, base=got, job_month=3, capex=np.ones(s.n))
    bad = {**s.costs, "fixed": np.ones(2)}
    with pytest.raises(ValueError, match="costs must be"):
        cash_terms(s.a, s.b, **bad, working_interest=WI, discount=s.terms.discount)
