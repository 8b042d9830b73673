"""What would turn the verdict on a well: one input at a time, and the value at which it turns.

The first trials of the run are valued again with the input changed, all their luck as it was, and the value at which a
limit of the verdict is met is found between two values that lie on either side of it. What these trials tell is how
value per dollar and chance of loss move; where they start from are the numbers of the whole run.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from refracmc.case.decision_section import Decision
from refracmc.case.well_strategies import Strategy, well_reach_ft
from refracmc.decisions.verdict_rule import NONE, VERDICTS, worth_by_trial, worth_of
from refracmc.engine.changed_inputs import Change, ChangedTrials, first_trials
from refracmc.engine.plan import WellPlan, build_plan
from refracmc.job.sleeves import PlanRefused

Array = NDArray[np.float64]
Valued = tuple[Array, Array]
"""Incremental NPV and discounted capex (n,) [US$]."""

BLOCKS = 1
"""Blocks of trials that are valued again."""
STEPS = 2
"""Values looked at to each side of the case's own before the place of the turn is narrowed down."""
MOST_SLEEVES = 4
"""Known bad sleeves that are tried, the shallowest first: those above most stages."""
_STEP = 0.02
"""Step, as a share of the range, by which the slope at the turn is taken."""
_SAME = 1e-3
"""Difference of two limits that the narrowing down cannot tell."""
_RIGHTED = {"stuck_open": "open", "leaking": "open", "stuck_closed": "closed"}


@dataclass(frozen=True)
class TurningInput:
    """An input that may turn the verdict: its name, what its values are, the case's own and the range looked at.

    valued: the trials at a value. natural: value in the units of the case at a value, with natural_unit.
    """

    name: str
    unit: str
    base: float
    low: float
    high: float
    valued: Callable[[float], Valued]
    natural: float = np.nan
    natural_unit: str | None = None

    def steps(self, side: int) -> list[float]:
        """Values from the case's own to the end of the range below (-1) or above (1) it; factors by equal ratios."""
        end = self.low if side < 0 else self.high
        if end == self.base:
            return []
        if self.unit == "factor":
            return [float(v) for v in np.geomspace(self.base, end, STEPS + 1)]
        return [float(v) for v in np.linspace(self.base, end, STEPS + 1)]


class _Margins:
    """How far a limit of the verdict is held, for changed trials and on the footing of the whole run."""

    def __init__(self, verdict: dict[str, Any], base: Valued, asked: Decision, tail_fraction: float) -> None:
        self.asked, self.tail, self.verdict = asked, tail_fraction, verdict
        value, loss = self._numbers(base)
        self._base = base
        self._shift = verdict["value_per_dollar"] - value, verdict["p_loss"] - loss

    def _numbers(self, valued: Valued) -> tuple[float, float]:
        inc, capex = valued
        spent = float(capex.mean())
        value = worth_of(inc, self.asked, self.tail) / spent if spent > 0.0 else np.nan
        return value, float((inc < 0.0).mean())

    def of(self, valued: Valued, limit: int) -> tuple[float, bool]:
        """How far the limit to VERDICTS[limit] is held, and whether it is the value, not the chance, that is short."""
        value, loss = self._numbers(valued)
        relax = limit == 1
        least = self.asked.least_value_per_dollar - relax * self.asked.marginal_value_per_dollar
        greatest = self.asked.greatest_chance_of_loss + relax * self.asked.marginal_chance_of_loss
        by_value, by_loss = value + self._shift[0] - least, greatest - loss - self._shift[1]
        if np.isnan(by_value):  # no job is carried out any more
            return -1.0, True
        return (by_value, True) if by_value <= by_loss else (by_loss, False)

    def error(self, valued: Valued, by_value: bool) -> float:
        """Standard error of that: of the run's number, and of the change in these trials."""
        (inc, capex), (inc0, capex0) = valued, self._base
        if by_value:
            parts = [self._influence(i, c) for i, c in ((inc, capex), (inc0, capex0))]
            change, own = parts[0] - parts[1], self.verdict["value_per_dollar_se"]
        else:
            change, own = (inc < 0.0).astype(float) - (inc0 < 0.0), self.verdict["p_loss_se"]
        return float(np.hypot(own, change.std() / np.sqrt(change.size)))

    def _influence(self, inc: Array, capex: Array) -> Array:
        worth = worth_by_trial(inc, self.asked, self.tail)
        found: Array = (worth - worth.mean() / capex.mean() * capex) / capex.mean()
        return found


def _turn(one: TurningInput, margins: _Margins, now: int, rises: bool) -> tuple[float, float, int]:
    """Value nearest to the case's own at which the verdict rises or falls, its standard error, and the verdict beyond;
    NaN where there is none in the range."""
    limit = now + 1 if rises else now

    def margin(at: float) -> float:
        return margins.of(one.valued(at), limit)[0]

    found = []
    for side in (-1, 1):
        before = one.base
        for at in one.steps(side)[1:]:
            if bool(margin(at) >= 0.0) is rises:
                tolerance = 5e-3 * abs(at - before)
                found.append(float(brentq(margin, before, at, xtol=tolerance, rtol=1e-6)))
                break
            before = at
    if not found:
        return np.nan, np.nan, limit if rises else limit - 1
    at = min(found, key=lambda value: abs(value - one.base))
    valued = one.valued(at)
    held_by, by_value = margins.of(valued, limit)
    step = _STEP * (one.high - one.low) * (1.0 if at <= one.base else -1.0)
    slope = abs(margins.of(one.valued(at + step), limit)[0] - held_by) / abs(step)
    return (
        at,
        margins.error(valued, by_value) / slope if slope > 0.0 else np.nan,
        _beyond(valued, margins, now, rises),
    )


def _beyond(valued: Valued, margins: _Margins, now: int, rises: bool) -> int:
    """The verdict beyond a turn: further than the next one where the band of that is empty."""
    if rises:
        beyond = now + 1
        while beyond < len(VERDICTS) - 1 and margins.of(valued, beyond + 1)[0] > -_SAME:
            beyond += 1
        return beyond
    beyond = now - 1
    while beyond > 0 and margins.of(valued, beyond)[0] < _SAME:
        beyond -= 1
    return beyond


def _mixed(first: Valued, second: Valued) -> Callable[[float], Valued]:
    """Trials of which a share is of the second kind, spread evenly over them."""
    place = (np.arange(first[0].size) * ((np.sqrt(5.0) - 1.0) / 2.0)) % 1.0

    def valued(share: float) -> Valued:
        chosen = place < share
        return np.where(chosen, second[0], first[0]), np.where(chosen, second[1], first[1])

    return valued


def _factors(plan: WellPlan, trials: ChangedTrials, cost: float) -> Iterator[TurningInput]:
    """Uplift, price of the main phase, cost of the job, discount rate."""
    phase = plan.well.main_phase
    deck = plan.deck_oil if phase == "oil" else plan.deck_gas
    unit = "US$/bbl" if phase == "oil" else "US$/Mcf"
    uplift = float(plan.well.settings.response.uplift.ppf([0.5])[0])
    at_uplift = cache(lambda at: trials.valued(Change(uplift=at)))
    yield TurningInput("uplift", "factor", 1.0, 0.1, 5.0, at_uplift, uplift, "of peak rate, P50")
    at_price, natural = cache(lambda at: trials.valued(Change(main_price=at))), float(deck[:12].mean())
    unit = f"{unit}, mean of the deck over 12 months"
    yield TurningInput(f"{phase} price", "factor", 1.0, 0.3, 3.0, at_price, natural, unit)
    once, twice = trials.valued(Change()), trials.valued(Change(job_cost=2.0))

    def at_cost(at: float) -> Valued:
        """What is gained and spent is linear in the cost: losses for income tax are used elsewhere."""
        gain, spent = (one + (at - 1.0) * (two - one) for one, two in zip(once, twice, strict=True))
        return gain, spent

    yield TurningInput("job cost", "factor", 1.0, 0.2, 4.0, at_cost, cost, "US$ gross, mean")
    rate = plan.case.valuation.annual_discount_rate
    discounted = cache(lambda at: trials.valued(Change(discount_rate=at)))
    yield TurningInput("discount rate", "1/year", rate, 0.0, max(0.3, rate), discounted)


def _no_response(plan: WellPlan, trials: ChangedTrials) -> Iterator[TurningInput]:
    """The chance that the well does not respond, where the uplift holds no zeros of its own."""
    response = plan.well.settings.response
    if response.zero_uplift_chance == 0.0:
        all_respond = trials.all_responding()
        none = all_respond.valued(Change(uplift=0.0))
        base = float(response.no_response_chance.mean())
        mixed = _mixed(all_respond.valued(Change()), none)
        yield TurningInput("chance of no response", "fraction", base, 0.0, 1.0, mixed)


def _with_sleeve(plan: WellPlan, sleeve: int, state: str) -> WellPlan | None:
    """The plan with a sleeve (from 1) in another state; None where no job can be planned then."""
    tally = plan.well.tally
    states = tally.state.astype("<U16")
    states[sleeve - 1] = state
    well = replace(plan.well, tally=replace(tally, state=states))
    try:
        return build_plan(plan.case, well, plan.number, plan.posterior)
    except PlanRefused:
        return None


def _sleeves(plan: WellPlan, best: Strategy, trials: ChangedTrials, base: Valued) -> Iterator[TurningInput]:
    """The known bad sleeve that matters most, by the chance that it works; and the shallowest open one, above all
    stages, by the chance that it sticks open."""
    if best.order in plan.methods:
        return
    tally = plan.well.tally
    reach = tally.reachable(well_reach_ft(plan.well))
    bad = [int(k) + 1 for k in np.flatnonzero(tally.in_state(*_RIGHTED) & reach)][-MOST_SLEEVES:]
    sound = [int(k) + 1 for k in np.flatnonzero(tally.in_state("open") & reach)][-1:]
    tried: list[tuple[float, str, Valued]] = []
    for sleeve in bad:
        state = str(tally.state[sleeve - 1])
        other = _with_sleeve(plan, sleeve, _RIGHTED[state])
        if other is not None:
            valued = trials.on(other).valued(Change())
            name = f"sleeve {sleeve}, {state.replace('_', ' ')} on record, working"
            tried.append((abs(float((valued[0] - base[0]).mean())), name, valued))
    chosen = [max(tried, key=lambda item: item[0])[1:]] if tried else []
    for sleeve in sound:
        other = _with_sleeve(plan, sleeve, "stuck_open")
        if other is not None:
            chosen.append((f"sleeve {sleeve} stuck open", trials.on(other).valued(Change())))
    for name, valued in chosen:
        yield TurningInput(name, "chance", 0.0, 0.0, 1.0, _mixed(base, valued))


def turning_rows(
    plan: WellPlan, best: Strategy, verdict: dict[str, Any], sizes: Sequence[int], cost: float
) -> list[dict[str, Any]]:
    """One row for each input and each limit of the verdict next to it; sizes: trials of each block of the run; cost:
    mean cost of the job that is carried out [US$]."""
    if verdict["verdict"] == NONE or not np.isfinite(verdict["value_per_dollar"]):
        return []
    asked, taken = plan.well.settings.decision, list(sizes[:BLOCKS])
    trials = first_trials(plan, best, taken)
    base = trials.valued(Change())
    now = VERDICTS.index(verdict["verdict_of_estimates"])
    rows = []
    inputs = [
        *_factors(plan, trials, cost),
        *_no_response(plan, trials),
        *_sleeves(plan, best, trials, base),
    ]
    for one in inputs:
        margins = _Margins(verdict, one.valued(one.base), asked, plan.case.valuation.cvar_tail_fraction)
        for rises in (False, True):
            if now == (len(VERDICTS) - 1 if rises else 0):
                continue
            at, error, beyond = _turn(one, margins, now, rises)
            known = one.natural_unit is not None
            rows.append(
                {
                    "well": plan.id,
                    "strategy": best.name,
                    "input": one.name,
                    "unit": one.unit,
                    "own_value": one.base,
                    "low": one.low,
                    "high": one.high,
                    "verdict_now": VERDICTS[now],
                    "verdict_then": VERDICTS[beyond],
                    "turns_at": at,
                    "turns_at_se": error,
                    "amount_unit": one.natural_unit,
                    "amount_now": one.natural if known else np.nan,
                    "amount_then": one.natural * at if known else np.nan,
                    "trials": sum(taken),
                }
            )
    return rows
