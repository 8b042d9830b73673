"""Stage orders searched for one well and date: value, days and exposure to failed recloses.

An order is on the front if no other is at least as good in all three and better in one: mean incremental NPV
(more is better), mean days shut in (fewer), and exposure: the expected number of stages treated below a sleeve
that should stand reclosed and does not, sum over reclosed sleeves of the chance that it fails times the stages
deeper than it still to come.

Method. Start from the named orders and from families of orders: groups of neighbouring stages taken toe to heel,
within a group heel to toe or in two passes; groups taken heel to toe, within a group toe to heel; three and four
passes that skip; the toe half or the heel half alternating.
Then Pareto local search: from a member of the front, or one of the ten orders of highest value, whose surroundings
were looked at least, a batch of neighbours by insertion (one stage moved elsewhere) and by reversal of a stretch
(2-opt), all valued on the same trials; what is not dominated joins the front. It ends when the budget of valued
orders is used up. Where all orders fit into the budget, all are valued. The front is then valued again on other
trials, since what looks best among many on one sample is partly luck; only those figures are given, with the paired
difference to the best named order and its error. It is a search: it proves no optimum.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.well_strategies import Strategy, well_reach_ft
from refracmc.engine.block_jobs import block_luck
from refracmc.engine.draws import draw
from refracmc.engine.job_plans import order_plan
from refracmc.engine.job_runs import simulate_dates
from refracmc.engine.plan import WellPlan
from refracmc.engine.valuation import evaluate
from refracmc.job.orders import NAMED_ORDERS, named_order
from refracmc.job.sleeves import PlanRefused
from refracmc.sampling.estimators import mean_with_error
from refracmc.sampling.streams import BLOCK_SIZE, generator

Array = NDArray[np.float64]
Order = tuple[int, ...]
BATCH = 24
SEARCH_BLOCK = 2**29
"""Block of the search's trials; the front is valued again on the run's own blocks."""


@dataclass(frozen=True)
class Found:
    """One order: label, sleeves as treated, mean incremental NPV [US$], days, exposure [stages], planned shifts."""

    label: str
    sleeves: Order
    value_usd: float
    days: float
    exposure: float
    shifts: int


@dataclass(frozen=True)
class Valued:
    """An order on the trials kept for judging: figures with errors, the paired difference to the best named order,
    and whether no other judged order dominates it."""

    found: Found
    value_usd: float
    value_se_usd: float
    gain_usd: float
    gain_se_usd: float
    days: float
    days_se: float
    exposure: float
    effective_share: float
    on_front: bool


@dataclass(frozen=True)
class Search:
    """What a search gives: orders valued, orders judged (named ones always among them), the month, budget used."""

    well: str
    date: str
    tried: tuple[Found, ...]
    judged: tuple[Valued, ...]
    complete: bool


def families(stages: Sequence[int]) -> dict[str, Order]:
    """Structured orders of the stages (sleeve numbers from the toe up), by label."""
    made: dict[str, Order] = {}
    n = len(stages)
    for size in (2, 3, 4, 5, 6, 8, 10, 15):
        if size >= n:
            continue
        groups = [list(stages[k : k + size]) for k in range(0, n, size)]
        made[f"groups_of_{size}_heel_first"] = tuple(s for g in groups for s in reversed(g))
        made[f"groups_of_{size}_two_pass"] = tuple(s for g in groups for s in g[0::2] + g[1::2])
        made[f"groups_of_{size}_from_heel"] = tuple(s for g in reversed(groups) for s in g)
    for passes in (3, 4):
        if passes < n:
            made[f"{passes}_passes"] = tuple(s for k in range(passes) for s in stages[k::passes])
    half = n // 2
    for label, part in (("toe_half", slice(0, half)), ("heel_half", slice(half, n))):
        inner = list(stages[part])
        mixed = inner[:1] + [s for k in range(2, len(inner), 2) for s in (inner[k], inner[k - 1])]
        mixed += [s for s in inner if s not in mixed]
        whole = mixed + list(stages[half:]) if label == "toe_half" else list(stages[:half]) + mixed
        made[f"alternating_{label}"] = tuple(whole)
    return made


def neighbours(order: Order, count: int, source: np.random.Generator) -> list[Order]:
    """`count` orders beside one: a stage inserted elsewhere, or a stretch reversed; half and half."""
    made: list[Order] = []
    n = len(order)
    for k in range(count):
        i, j = sorted(int(v) for v in source.choice(n, size=2, replace=False)) if n > 1 else (0, 0)
        changed = list(order)
        if k % 2:
            changed[i : j + 1] = reversed(changed[i : j + 1])
        elif source.random() < 0.5:
            changed.insert(j, changed.pop(i))
        else:
            changed.insert(i, changed.pop(j))
        made.append(tuple(changed))
    return made


def dominates(a: Found | Valued, b: Found | Valued) -> bool:
    """Whether a is at least as good as b in value, days and exposure, and better in one."""
    first = (-a.value_usd, a.days, a.exposure)
    second = (-b.value_usd, b.days, b.exposure)
    return all(x <= y for x, y in zip(first, second, strict=True)) and first != second


def front_of(found: Iterable[Found]) -> list[Found]:
    """Members that no other dominates, highest value first."""
    members: list[Found] = []
    for candidate in sorted(found, key=lambda f: (-f.value_usd, f.days, f.exposure)):
        if not any(dominates(member, candidate) for member in members):
            members.append(candidate)
    return members


class _Valuer:
    """Values orders of one well at one date on fixed blocks of trials."""

    def __init__(self, plan: WellPlan, month: int, blocks: Sequence[tuple[int, int]]) -> None:
        self.month = month
        self.strategy = Strategy("order@date", "order", month, "", None)
        ages = {**plan.ages, month: plan.ages_at(month)}
        self.plan = replace(plan, orders={}, methods={}, strategies=(self.strategy,), ages=ages)
        self.draws = [draw(plan, block, size) for block, size in blocks]
        self.sizes = [size for _, size in blocks]
        self.block = block_luck(plan, self.draws[0])

    def trials(self, orders: Sequence[Order]) -> dict[str, Array]:
        """Measures (orders, trials); days and share effective are NaN where the job is not done."""
        self.plan.orders.clear()
        strategies = []
        for k, order in enumerate(orders):
            self.plan.orders[f"o{k}"] = order_plan(self.plan.well, order)
            strategies.append(replace(self.strategy, name=f"o{k}@date", order=f"o{k}"))
        names = ("incremental_npv", "job_days", "effective_share", "executed")
        found = [evaluate(self.plan, draws, strategies, names).measures for draws in self.draws]
        made = {name: np.concatenate([part[name][1:] for part in found], axis=1) for name in names}
        if (made["executed"] > 0.0).any():  # it is the same for all orders
            for name in ("job_days", "effective_share"):
                made[name] = np.where(made["executed"] > 0.0, made[name], np.nan)
        return made

    def exposure(self, k: int) -> float:
        """Expected stages treated below a failed reclose of the k-th order valued last."""
        job = self.plan.orders[f"o{k}"].job
        if not job.recloses.any():
            return 0.0
        ages = [self.plan.ages[self.month]]
        (made,) = simulate_dates(job, self.block, ages, self.plan.policy, detail=True)
        assert made.detail is not None
        works = made.detail.works["reclose"]
        below = job.before.sum(axis=1)  # stages deeper than the sleeve and treated after it
        return float(((1.0 - works.mean(axis=1)) * below)[job.recloses].sum())

    def value(self, labelled: Sequence[tuple[str, Order]]) -> list[Found]:
        measures = self.trials([order for _, order in labelled])
        return [
            Found(
                label,
                order,
                float(measures["incremental_npv"][k].mean()),
                float(np.nanmean(measures["job_days"][k])),
                self.exposure(k),
                self.plan.orders[f"o{k}"].job.shifts,
            )
            for k, (label, order) in enumerate(labelled)
        ]


def search_orders(plan: WellPlan, date: str, budget: int = 600, judge_blocks: int = 4) -> Search:
    """The front of one well at one date 'YYYY-MM'; budget: orders valued in the search, beside the families.

    judge_blocks: blocks of 512 trials on which the front and the named orders are valued again. Raises
    PlanRefused where no order can be carried out.
    """
    from threadpoolctl import threadpool_limits

    with threadpool_limits(limits=1):  # small products of matrices: threads only get in each other's way
        return _search(plan, date, budget, judge_blocks)


def _search(plan: WellPlan, date: str, budget: int, judge_blocks: int) -> Search:
    tally, case = plan.well.tally, plan.case
    month = units.months_between(case.valuation.date, date)
    reach = well_reach_ft(plan.well)
    named = {name: named_order(name, tally, reach) for name in NAMED_ORDERS}
    stages = named["toe_to_heel"]
    start = {**named, **families(stages)}
    valuer = _Valuer(plan, month, [(SEARCH_BLOCK, BLOCK_SIZE)])
    source = generator(case.sampling.seed, "decisions: order search", plan.id, month)
    known: dict[Order, Found] = {}

    def add(labelled: Iterable[tuple[str, Order]]) -> None:
        fresh: dict[Order, str] = {}
        for label, order in labelled:
            if order in known or order in fresh:
                continue
            try:
                order_plan(plan.well, order)
            except PlanRefused:
                continue  # the reclosing habit of the case does not allow it
            fresh[order] = label
        if fresh:
            for found in valuer.value([(label, order) for order, label in fresh.items()]):
                known[found.sleeves] = found

    add(start.items())
    if not known:
        raise PlanRefused("no order can be carried out under the reclosing habit of the case")
    limit = len(known) + budget
    complete = math.factorial(min(len(stages), 12)) <= limit
    if complete:
        add((f"all_{k + 1}", order) for k, order in enumerate(itertools.permutations(stages)))
    looks: dict[Order, int] = {}
    idle = 0
    while len(known) < limit and not complete and idle < 20:
        member = _least_looked_at(front_of(known.values()), list(known.values()), looks)
        looks[member.sleeves] = looks.get(member.sleeves, 0) + 1
        before = len(known)
        made = neighbours(member.sleeves, min(BATCH, limit - before), source)
        add((f"found_{before + k + 1}", order) for k, order in enumerate(made))
        idle = idle + 1 if len(known) == before else 0
    return Search(
        plan.id, date, tuple(known.values()), _judge(plan, month, known, named, judge_blocks), complete
    )


def _least_looked_at(front: list[Found], known: list[Found], looks: dict[Order, int]) -> Found:
    """The member of the front, or of the ten orders of highest value, whose surroundings were looked at least."""
    best = sorted(known, key=lambda found: -found.value_usd)[:10]
    return min((*front, *best), key=lambda found: looks.get(found.sleeves, 0))


def _judge(
    plan: WellPlan, month: int, known: dict[Order, Found], named: dict[str, Order], blocks: int
) -> tuple[Valued, ...]:
    chosen = {found.sleeves: found for found in front_of(known.values())[:40]}
    chosen |= {order: known[order] for order in named.values() if order in known}
    members = list(chosen.values())
    valuer = _Valuer(plan, month, [(block, BLOCK_SIZE) for block in range(blocks)])
    measures = valuer.trials([member.sleeves for member in members])
    exposures = [valuer.exposure(k) for k in range(len(members))]
    design = plan.case.sampling.design

    def error_of(values: Array) -> tuple[float, float]:
        got = mean_with_error(values, valuer.sizes, design)
        return float(got.value), float(got.se)

    inc = measures["incremental_npv"]
    ordinary = [k for k, member in enumerate(members) if member.sleeves in named.values()]
    base = max(ordinary, key=lambda k: float(inc[k].mean())) if ordinary else 0
    made = []
    for k, member in enumerate(members):
        value, value_se = error_of(inc[k])
        gain, gain_se = error_of(inc[k] - inc[base]) if k != base else (0.0, 0.0)
        days, days_se = error_of(measures["job_days"][k])
        share = float(np.nanmean(measures["effective_share"][k]))
        made.append(Valued(member, value, value_se, gain, gain_se, days, days_se, exposures[k], share, True))
    flagged = [replace(one, on_front=not any(dominates(other, one) for other in made)) for one in made]
    return tuple(sorted(flagged, key=lambda one: -one.value_usd))
