"""A block of trials through the whole model: values -> streams and prices -> jobs -> cash -> measures.

    draws of a block -> own and unit stream -> job of every strategy -> cash flow of every strategy -> measures
                     \\-> price paths ------------------------------------^

The first and third steps work on the whole block, the cash flow on chunks of it that fit a processor's cache.
All strategies of a trial share its draws.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from refracmc.job.cost import COST_PARTS, CostRates, job_cost
from refracmc.job.inputs import JobInputs
from refracmc.job.log import LogRow, job_log, planned_steps
from refracmc.job.method_log import method_log, planned_method
from refracmc.job.methods import simulate_method
from refracmc.job.shared import prepare
from refracmc.job.simulate import JobResult, simulate
from refracmc.production.decline import FORMS
from refracmc.production.response import headroom_ultimate
from refracmc.production.stress import stress_multiplier

from .base import (
    BaseStream,
    OwnCurve,
    Ratio,
    StreamTable,
    UnitCurve,
    UnitStream,
    other_phases,
    stream_table,
    unit_curve,
)
from .cash import (
    MONTH_DAYS,
    PER_TRIAL,
    UNDEFINED_ALONE,
    CashKernel,
    DateKernel,
    JobOutcome,
    ResponseTerms,
    Valued,
)
from .draws import ROW, job_luck
from .job_arguments import Chosen, Dates, Orders, Tables, Well, ages_of, orders_of, trials_of, well_of
from .money import BlockMoney, block_money, service_index
from .plan import Strategy, WellPlan
from .shapes import check_jobs, check_kernel
from .triggers import trigger_months, value_trigger

Array = NDArray[np.float64]
__all__ = ["BlockModel", "BlockResult", "StrategyStreams", "evaluate", "evaluate_one", "service_index"]

CHUNK = 128
"""Trials valued together: a (trials, months) array of them stays in a core's cache."""

Draws = Mapping[str, Array]
Part = slice | NDArray[np.intp]
OWN_DRAWS = (ROW, "type_curve.", "response.ultimate")
MONEY_DRAWS = ("prices.", "opex.", "costs.", "job.cost.service_index_beta")
RESPONSE_DRAWS = ("response.",)
SHARE_DRAWS = ("luck.z_share", "luck.z_potential")
"""How the names of the draws begin that the own stream (and with them the refrac stream and its terms), the money and
the shares of sleeves follow from."""


@dataclass(frozen=True, eq=False)
class BlockModel:
    """Streams, prices and response terms of a block, before any job; month by month only where it is asked for."""

    own: OwnCurve
    refrac: UnitCurve
    economics: BlockMoney
    terms: ResponseTerms
    share: Array
    potential: Array

    @property
    def trials(self) -> int:
        """n."""
        return self.own.row.size

    @cached_property
    def base(self) -> BaseStream:
        """Own stream by month."""
        return self.own.stream()

    @cached_property
    def unit(self) -> UnitStream:
        """Unit stream of a refrac by month."""
        return self.refrac.stream()

    def rows(self, part: slice | NDArray[np.intp]) -> BlockModel:
        """The same model for some of the trials; the service-cost index, which no kernel reads, is left whole."""
        terms = {name: getattr(self.terms, name)[part] for name in ResponseTerms.__dataclass_fields__}
        return BlockModel(
            self.own.rows(part),
            self.refrac.rows(part),
            self.economics.rows(part),
            ResponseTerms(**terms),
            self.share[part],
            self.potential[part],
        )


@dataclass(frozen=True, eq=False)
class BlockResult:
    """measures: name of PER_TRIAL -> (S, n), row 0 `nothing`; parts: cost part -> (S - 1, n), US$ at 8/8."""

    measures: dict[str, Array]
    parts: dict[str, Array]


def posterior_rows(plan: WellPlan, draws: Draws) -> NDArray[np.intp]:
    """Row of the posterior each trial takes (n,): those whose recovery passes a stated ultimate are not used."""
    assert plan.posterior is not None
    count = plan.posterior.form.size
    usable: Array | int = count
    if "response.ultimate" in draws:
        below = np.searchsorted(plan.posterior.technical_eur, draws["response.ultimate"], side="right")
        usable = np.maximum(below, 1).astype(np.float64)
    return np.minimum(draws[ROW] * usable, count - 1).astype(np.intp)


_TABLES: OrderedDict[int, tuple[WellPlan, StreamTable]] = OrderedDict()
_KEPT_TABLES = 16  # as many wells as a worker does in a row


def _posterior_table(plan: WellPlan) -> StreamTable:
    """Streams of every posterior row of a well, kept for the wells used last."""
    key = id(plan)
    if key not in _TABLES:
        posterior = plan.posterior
        assert posterior is not None
        none = np.zeros(posterior.form.size)
        ratios = {
            phase: Ratio(*(np.asarray(part) for part in posterior.secondary[phase]))
            if phase in posterior.secondary
            else Ratio(none, none, none + 1.0)
            for phase in other_phases(plan.well.main_phase)
        }
        table = stream_table(
            posterior.form,
            posterior.slots,
            posterior.uptime,
            ratios,
            plan.months_before,
            plan.horizon,
            posterior.running_uptime,
            plan.compiled,
        )
        _TABLES[key] = (plan, table)
        if len(_TABLES) > _KEPT_TABLES:
            _TABLES.popitem(last=False)
    return _TABLES[key][1]


def forget_streams() -> None:
    """Let go of the streams of all wells: they grow where months are spelled out."""
    _TABLES.clear()


def _own(plan: WellPlan, draws: Draws) -> OwnCurve:
    """Own stream of each trial."""
    main, n = plan.well.main_phase, draws["response.uplift"].size
    if plan.posterior is not None:
        row = posterior_rows(plan, draws)
        return OwnCurve(main, _posterior_table(plan), row, plan.np_anchor)
    curve = plan.well.type_curve
    assert curve is not None
    names = ("initial_rate_per_d", "initial_decline_per_year", "b", "terminal_decline_per_year")
    slots = np.stack([draws[f"type_curve.{name}"] for name in names])
    flat = {"oil": curve.oil_ratio, "gas": curve.gas_ratio, "water": curve.water_ratio}
    ratios = {p: Ratio(*(np.full(n, v) for v in (flat[p], flat[p], 1.0))) for p in other_phases(main)}
    form = np.zeros(n, dtype=np.int8)
    uptime = draws["type_curve.uptime"]
    table = stream_table(
        form, slots, uptime, ratios, plan.months_before, plan.horizon, compiled=plan.compiled
    )
    return OwnCurve(main, table, np.arange(n), plan.np_anchor)


def _shares(plan: WellPlan, draws: Draws) -> tuple[Array, Array]:
    """Shares (n, N) of old production over the old producers and of refrac potential over treatable sleeves: sleeve
    by sleeve in memory, or trial by trial where the compiled jobs read them most."""
    by_trial = plan.compiled and not plan.methods
    tally, response = plan.well.tally, plan.well.settings.response
    n = draws["luck.z_share"].shape[0]
    rho = response.share_potential_correlation
    z_share = draws["luck.z_share"]
    z_potential = rho * z_share + np.sqrt(max(1.0 - rho * rho, 0.0)) * draws["luck.z_potential"]
    made = []
    for stated, z, sd, mask in (
        (tally.production_share, z_share, response.share_log_sd, tally.old_producers),
        (tally.potential_share, z_potential, response.potential_log_sd, tally.treatable),
    ):
        weight = np.exp(sd * z) if stated is None else np.broadcast_to(stated, (n, tally.count))
        weight = weight * mask
        total = weight.sum(axis=1, keepdims=True)
        weight /= np.where(total > 0.0, total, 1.0)
        made.append(weight if by_trial else np.asfortranarray(weight))
    return made[0], made[1]


def same_draws(draws: Draws, others: Draws, *names: str) -> bool:
    """Whether all draws whose names begin so are the very arrays of others."""
    return all(values is others.get(key) for key, values in draws.items() if key.startswith(names))


def model_block(plan: WellPlan, draws: Draws, like: tuple[Draws, BlockModel] | None = None) -> BlockModel:
    """Everything of a block that comes before the job.

    like: draws some of which are these very arrays, and their model. What follows from those alone is taken from it.
    """
    response = plan.well.settings.response
    alike = ({}, None) if like is None else like

    def held(*names: str) -> BlockModel | None:
        """The model of `like`, if all draws whose names begin so are its own."""
        return alike[1] if same_draws(draws, alike[0], *names) else None

    own = known.own if (known := held(*OWN_DRAWS)) else _own(plan, draws)
    economics = known.economics if (known := held(*MONEY_DRAWS)) else block_money(plan, draws)
    known = held(*SHARE_DRAWS)
    share, potential = (known.share, known.potential) if known else _shares(plan, draws)
    if known := held(*OWN_DRAWS, *RESPONSE_DRAWS):
        return BlockModel(own, known.refrac, economics, known.terms, share, potential)
    main = plan.well.main_phase
    now = {phase: own.table.ratios[phase].now[own.row] for phase in other_phases(main)}
    ends = {
        phase: (
            now[phase] * draws[f"response.{phase}_start_factor"],
            now[phase] * draws[f"response.{phase}_final_factor"],
        )
        for phase in other_phases(main)
    }
    n = own.row.size
    slots = np.stack(
        [
            np.ones(n),
            draws["response.decline_per_year"],
            draws["response.b"],
            draws["response.terminal_decline_per_year"],
        ]
    )
    change = response.ratio_change_fraction
    refrac = unit_curve(main, slots, own.running, ends, change, plan.horizon, plan.compiled)
    headroom = headroom_ultimate(own.np0, own.to_horizon, draws["response.headroom"], plan.intensity)
    stated = draws.get("response.ultimate")
    terms = ResponseTerms(
        uplift=draws["response.uplift"] * draws["response.play_factor"] * plan.intensity,
        q_peak=draws["type_curve.peak_rate_per_d"] if plan.q_peak is None else np.full(n, plan.q_peak),
        depletion_exponent=draws["response.depletion_exponent"],
        kept_fraction=draws["response.kept_fraction"],
        acceleration_fraction=draws["response.acceleration_fraction"],
        ultimate=headroom if stated is None else np.where(np.isnan(stated), headroom, stated),
    )
    return BlockModel(own, refrac, economics, terms, share, potential)


def stress_terms(plan: WellPlan, draws: Draws) -> dict[str, Array | float]:
    """Terms of `stress_multiplier` beside what was placed; strengths of zero where stress is off."""
    stress = plan.well.settings.stress
    return {
        "residual_pressure": draws["stress.residual_pressure_psi"],
        "contrast0": draws["stress.horizontal_contrast_psi"],
        "effect_strength": draws["stress.effect_strength"] if stress.enabled else 0.0,
        "contrast_half": stress.contrast_half_psi,
        "contrast_scale": stress.contrast_scale_psi,
        "limit_strength": draws["stress.limit_strength"] if stress.enabled else 0.0,
        "pressure_limit": draws["stress.pressure_limit_psi"],
        "limit_scale": stress.limit_scale_psi,
    }


def _stress(plan: WellPlan, draws: Draws, order: str, job: JobResult) -> Array | None:
    stress = plan.well.settings.stress
    made = plan.methods[order] if order in plan.methods else plan.orders[order]
    if not stress.enabled or made.normal_before is None or made.contrast_before is None:
        return None
    return stress_multiplier(
        job.placed, made.normal_before, made.contrast_before, **stress_terms(plan, draws)
    )


def job_inputs(plan: WellPlan, draws: Draws) -> JobInputs:
    """The job's inputs of a block from the drawn values and the fixed settings."""
    job = plan.well.settings.job
    n = draws["luck.z_well"].size
    values: dict[str, Array | float] = {}
    for name in JobInputs.names():
        key = f"job.{name}"
        values[name] = draws[key] if key in draws else float(getattr(job, name))
    return JobInputs.build(n, **values)


def cost_rates(draws: Draws) -> CostRates:
    """Lump sums and rates of a block, before the service-cost index."""
    return CostRates.build(**{k: draws[f"job.cost.{k}"] for k in CostRates.names() if k != "service_index"})


def method_terms(plan: WellPlan, draws: Draws, name: str) -> dict[str, Array]:
    """Inputs (n,) of an isolation method by their keys."""
    prefix = f"strategies.methods.{name}."
    return {key.removeprefix(prefix): value for key, value in draws.items() if key.startswith(prefix)}


def strategy_log(plan: WellPlan, draws: Draws, strategy: Strategy, row: int) -> list[LogRow]:
    """The timeline of one trial (row of the block) of a strategy."""
    inputs, luck = job_inputs(plan, draws), job_luck(draws)
    tally = plan.well.tally
    if strategy.order in plan.methods:
        shared = prepare(inputs, luck, tally, plan.policy.max_tries)
        terms = method_terms(plan, draws, strategy.order)
        return method_log(plan.methods[strategy.order].method, shared, terms, row)
    made = plan.orders[strategy.order].job
    return job_log(made, tally, inputs, luck, plan.ages[strategy.month], plan.policy, row)


def planned_log(plan: WellPlan, draws: Draws, order: str) -> list[LogRow]:
    """The timeline of an order or method if nothing goes wrong, with the mean hours of the block."""
    inputs = job_inputs(plan, draws).mean()
    if order not in plan.methods:
        return planned_steps(plan.orders[order].job, inputs)
    terms = {key: float(value.mean()) for key, value in method_terms(plan, draws, order).items()}
    return planned_method(plan.methods[order].method, inputs, terms)


def simulate_jobs(
    plan: WellPlan, draws: Draws, strategies: Sequence[Strategy], detail: bool = False
) -> Iterator[tuple[Strategy, JobResult, Array, dict[str, Array]]]:
    """(strategy, job, cost (n,), cost parts) before the service-cost index; dates share what they can."""
    inputs, luck, rates = job_inputs(plan, draws), job_luck(draws), cost_rates(draws)
    shared = prepare(inputs, luck, plan.well.tally, plan.policy.max_tries)
    done: dict[str, JobResult] = {}  # methods shift no sleeve: the same at any date
    for strategy in strategies:
        if strategy.order in plan.methods:
            if strategy.order not in done:
                terms = method_terms(plan, draws, strategy.order)
                done[strategy.order] = simulate_method(plan.methods[strategy.order].method, shared, terms)
            job = done[strategy.order]
        else:
            job = simulate(
                plan.orders[strategy.order].job,
                plan.well.tally,
                inputs,
                luck,
                plan.ages[strategy.month],
                plan.policy,
                shared,
                detail=detail,
            )
        total, parts = job_cost(job, rates)
        yield strategy, job, total, parts


def outcome(
    plan: WellPlan,
    draws: Draws,
    model: BlockModel,
    strategy: Strategy,
    job: JobResult,
    cost: Array,
    index: Array | None = None,
) -> JobOutcome:
    """What the response and the cash flow need of a job: shares kept and effective, days, cost with its index.

    index (n,): service-cost index of each trial's month; None: that of the strategy's month.
    """
    effect = job.effectiveness
    multiplier = _stress(plan, draws, strategy.order, job)
    if multiplier is not None:
        effect = effect * multiplier
    return JobOutcome(
        days=job.days,
        cost=cost * (model.economics.service_index[strategy.month] if index is None else index),
        kept_share=np.minimum(np.einsum("ij,ij->i", model.share, job.kept), 1.0),
        effective_share=np.einsum("ij,ij->i", model.potential, effect),
        stages_effective=job.stages_effective_share,
        lost=job.lost,
    )


def kernel_of(model: BlockModel, part: slice) -> CashKernel:
    """The cash kernel of one chunk of a block."""
    terms = model.terms
    rows = {name: getattr(terms, name)[part] for name in ResponseTerms.__dataclass_fields__}
    return CashKernel(
        model.base.rows(part), model.unit.rows(part), model.economics.money.rows(part), ResponseTerms(**rows)
    )


def outcome_rows(job: JobOutcome, part: int | Sequence[int] | tuple[slice | None, Part]) -> JobOutcome:
    """Some of the jobs (an index, or several), or all jobs at some of their trials (a pair): the members at these
    indices. A pair that begins with None gives members (n,) the axis of jobs."""
    return JobOutcome(**{name: getattr(job, name)[part] for name in JobOutcome.__dataclass_fields__})


def outcomes_of(jobs: Sequence[JobOutcome], trials: int) -> JobOutcome:
    """Several outcomes of so many trials as one, members (S, n)."""
    return JobOutcome(
        **{
            name: np.array([getattr(job, name) for job in jobs]).reshape(len(jobs), trials)
            for name in JobOutcome.__dataclass_fields__
        }
    )


def evaluate(
    plan: WellPlan,
    draws: Draws,
    strategies: Sequence[Strategy] | None = None,
    wanted: Collection[str] | None = None,
    model: BlockModel | None = None,
) -> BlockResult:
    """Measures of `nothing` and the strategies (all of the plan by default) for the drawn trials.

    wanted: the measures to make, out of PER_TRIAL; None makes all. The values do not depend on it. ValueError for a
    name that is not there. model: of `model_block`, where it is made already.
    """
    chosen = plan.strategies if strategies is None else tuple(strategies)
    names = PER_TRIAL if wanted is None else wanted
    if unknown := set(names) - set(PER_TRIAL):
        raise ValueError(f"wanted: {sorted(unknown)}; allowed: {', '.join(PER_TRIAL)}")
    made = [name for name in PER_TRIAL if name in names or name == "executed"]  # the cost parts need it
    model = model_block(plan, draws) if model is None else model
    triggered = any(strategy.trigger is not None for strategy in chosen)
    result = (_with_triggers if triggered else _dated)(plan, draws, model, chosen, made)
    return replace(result, measures={name: result.measures[name] for name in made if name in names})


def _with_triggers(
    plan: WellPlan, draws: Draws, model: BlockModel, chosen: Sequence[Strategy], names: Sequence[str]
) -> BlockResult:
    """As `evaluate`, with strategies whose month a trigger sets among those chosen."""
    dated = [strategy for strategy in chosen if strategy.trigger is None]
    first = _dated(plan, draws, model, dated or plan.dated[:1], names)
    place = [1 + k for k, strategy in enumerate(chosen) if strategy.trigger is None]
    measures = {name: np.zeros((1 + len(chosen), values.shape[1])) for name, values in first.measures.items()}
    parts = {name: np.zeros((len(chosen), values.shape[1])) for name, values in first.parts.items()}
    for name, values in first.measures.items():
        measures[name][0] = values[0]
        measures[name][place] = values[1 : 1 + len(place)]
    for name, values in first.parts.items():
        parts[name][[row - 1 for row in place]] = values[: len(place)]
    nothing = {name: values[0] for name, values in first.measures.items()}
    for k, strategy in enumerate(chosen):
        if strategy.trigger is not None:
            found, by_part = value_trigger(plan, draws, model, strategy, nothing, value_jobs)
            for name, row in found.items():
                measures[name][1 + k] = row
            for name, row in by_part.items():
                parts[name][k] = row
    return BlockResult(measures, parts)


def _dated(
    plan: WellPlan, draws: Draws, model: BlockModel, chosen: Sequence[Strategy], names: Sequence[str]
) -> BlockResult:
    jobs, parts = job_outcomes(plan, draws, model, chosen)
    measures = value_jobs(plan, model, chosen, jobs, names)
    executed = measures["executed"][1:]
    if not executed.all():
        for values in parts.values():
            values *= executed
    return BlockResult(measures, parts)


def value_jobs(
    plan: WellPlan,
    model: BlockModel,
    chosen: Sequence[Strategy],
    jobs: JobOutcome,
    names: Collection[str],
) -> dict[str, Array]:
    """Measures (1 + S, n) by name, row 0 `nothing`, of the jobs of strategies of fixed dates."""
    return (_value_compiled if plan.compiled else _value_arrays)(plan, model, chosen, jobs, names)


def job_outcomes(
    plan: WellPlan, draws: Draws, model: BlockModel, chosen: Sequence[Strategy]
) -> tuple[JobOutcome, dict[str, Array]]:
    """Outcomes, members (S, n), of the jobs of strategies of fixed dates, and cost parts (S, n) [US$], both with the
    service-cost index of the month."""
    return (_jobs_compiled if plan.compiled else _jobs_arrays)(plan, draws, model, chosen)


def _jobs_arrays(
    plan: WellPlan, draws: Draws, model: BlockModel, chosen: Sequence[Strategy]
) -> tuple[JobOutcome, dict[str, Array]]:
    """As `job_outcomes`, by the array code."""
    jobs: list[JobOutcome] = []
    parts: dict[str, list[Array]] = {}
    for strategy, job, cost, by_part in simulate_jobs(plan, draws, chosen):
        jobs.append(outcome(plan, draws, model, strategy, job, cost))
        for name, values in by_part.items():
            parts.setdefault(name, []).append(values * model.economics.service_index[strategy.month])
    return outcomes_of(jobs, model.trials), {name: np.stack(values) for name, values in parts.items()}


@lru_cache(maxsize=_KEPT_TABLES)
def _told(
    plan: WellPlan, names: tuple[str, ...], months: tuple[int, ...]
) -> tuple[Well, Orders, Tables, tuple[Array, NDArray[np.int64]]]:
    """What the compiled jobs are told of a well, some of its orders and months, which no block changes."""
    orders = orders_of([plan.orders[name] for name in names], plan.well.tally, plan.policy)
    return well_of(plan.well.tally, plan.policy), *orders, ages_of([plan.ages[month] for month in months])


def _jobs_compiled(
    plan: WellPlan, draws: Draws, model: BlockModel, chosen: Sequence[Strategy]
) -> tuple[JobOutcome, dict[str, Array]]:
    """As `job_outcomes`, by the compiled jobs; isolation methods by the array code."""
    from .compiled_jobs import run_jobs

    index = model.economics.service_index
    by_method = [k for k, strategy in enumerate(chosen) if strategy.order in plan.methods]
    by_order = [k for k, strategy in enumerate(chosen) if strategy.order not in plan.methods]
    members = tuple(JobOutcome.__dataclass_fields__)
    table = np.empty((len(members) + len(COST_PARTS), len(chosen), model.trials))
    if by_order:
        names = list(dict.fromkeys(chosen[k].order for k in by_order))
        months = sorted({chosen[k].month for k in by_order})
        places = sorted((names.index(chosen[k].order), months.index(chosen[k].month), k) for k in by_order)
        well, orders, tables, (ages, group) = _told(plan, tuple(names), tuple(months))
        arguments = (
            well,
            orders,
            tables,
            Dates(ages, group, np.ascontiguousarray([index[month] for month in months])),
            Chosen(*(np.array(column, dtype=np.int64) for column in zip(*places, strict=True))),
            trials_of(
                job_inputs(plan, draws),
                job_luck(draws),
                cost_rates(draws),
                stress_terms(plan, draws),
                model.share,
                model.potential,
            ),
            table,
        )
        check_jobs(arguments)
        run_jobs(*arguments)
    if by_method:
        jobs, costs = _jobs_arrays(plan, draws, model, [chosen[k] for k in by_method])
        for row, name in enumerate(members):
            table[row, by_method] = getattr(jobs, name)
        for row, name in enumerate(COST_PARTS, start=len(members)):
            table[row, by_method] = costs[name]
    days, cost, kept, effective, stages, lost = table[: len(members)]
    made = JobOutcome(days, cost, kept, effective, stages, lost > 0.5)
    return made, dict(zip(COST_PARTS, table[len(members) :], strict=True))


def _value_arrays(
    plan: WellPlan,
    model: BlockModel,
    chosen: Sequence[Strategy],
    jobs: JobOutcome,
    names: Collection[str],
) -> dict[str, Array]:
    """As `value_jobs`, chunk by chunk with array operations."""
    measures = {name: np.zeros((1 + len(chosen), model.trials)) for name in names}
    for name in UNDEFINED_ALONE & measures.keys():
        measures[name][0] = np.nan
    holding = plan.well.settings.opex.lease_holding_months
    by_month: dict[int, list[int]] = {}
    for k, strategy in enumerate(chosen):
        by_month.setdefault(strategy.month, []).append(k)
    together = {month: outcome_rows(jobs, members) for month, members in by_month.items()}
    for part in chunks_of(model.trials):
        kernel = kernel_of(model, part)
        alone = {"npv": kernel.nothing.npv, "eur": kernel.base.np0 + kernel.nothing.produced}
        for name in alone.keys() & measures.keys():
            measures[name][0, part] = alone[name]
        for month, members in by_month.items():
            made = {name: np.empty((len(members), kernel.n)) for name in measures}
            kernel.date(month, holding).value(outcome_rows(together[month], (slice(None), part)), made)
            for name, values in made.items():
                measures[name][[1 + k for k in members], part] = values
    return measures


def _alike(rows: NDArray[np.intp], days: Array) -> NDArray[np.int64]:
    """The trials (n,) in an order in which those that live alike are neighbours: by whole months shut in, of all
    strategies (S, n), then by row of the posterior. The compiled cash flow works neighbours together."""
    return np.lexsort((rows, np.floor(days / MONTH_DAYS).sum(axis=0))).astype(np.int64)


def _value_compiled(
    plan: WellPlan,
    model: BlockModel,
    chosen: Sequence[Strategy],
    jobs: JobOutcome,
    names: Collection[str],
) -> dict[str, Array]:
    """As `value_jobs`, with the compiled pass over all trials of the block; rows of one array."""
    from .compiled import value_trials

    own, money, terms = model.own, model.economics, model.terms
    order = sorted(range(len(chosen)), key=lambda k: (chosen[k].month, k))
    outcomes = np.empty((len(JobOutcome.__dataclass_fields__), len(order), model.trials))
    for row, name in enumerate(JobOutcome.__dataclass_fields__):
        outcomes[row] = getattr(jobs, name)[order]
    months = np.array([chosen[k].month for k in order], dtype=np.int64)
    write_off = np.zeros((len(order), plan.horizon))
    if money.tax_rate:
        for place, month in enumerate(months):
            write_off[place] = money.depreciation[int(month)] * (1.0 - money.expensed)
            write_off[place, month] += money.expensed
    out = np.empty((len(PER_TRIAL), 1 + len(order), model.trials))
    ahead = (money.oil_price, money.gas_price) if money.ahead is None else money.ahead
    arguments = (
        own.table.total,
        own.row,
        own.ratios(),
        model.refrac.total,
        model.refrac.ratios(),
        money.oil_price,
        money.gas_price,
        *ahead,
        money.ahead is not None,
        money.costs,
        money.escalation * money.fiscal.working_interest,
        money.discount,
        np.array([money.fiscal.oil_factor, money.fiscal.gas_factor]),
        0 if plan.well.main_phase == "oil" else 1,
        own.np0,
        np.array([getattr(terms, name) for name in ResponseTerms.__dataclass_fields__]),
        outcomes,
        months,
        write_off,
        money.tax_rate,
        money.fiscal.working_interest,
        plan.well.settings.opex.lease_holding_months,
        _alike(own.row, outcomes[0]),
        np.array(order, dtype=np.int64) + 1,
        np.array([name in names for name in PER_TRIAL]),
        out,
    )
    check_kernel(arguments)
    value_trials(*arguments)
    return {name: out[row] for row, name in enumerate(PER_TRIAL) if name in names}


@dataclass(frozen=True, eq=False)
class StrategyStreams:
    """One strategy in full: the job of the whole block, and the cash of one chunk (`part`) of its trials."""

    part: slice
    model: BlockModel
    job: JobResult
    outcome: JobOutcome
    parts: dict[str, Array]
    kernel: CashKernel
    date: DateKernel
    valued: Valued
    measures: dict[str, Array]


def chunks_of(trials: int) -> list[slice]:
    """The chunks in which a block of this many trials is valued."""
    return [slice(start, min(start + CHUNK, trials)) for start in range(0, trials, CHUNK)]


def evaluate_one(
    plan: WellPlan,
    draws: Draws,
    strategy: Strategy,
    parts: Sequence[slice],
    names: Collection[str] = PER_TRIAL,
) -> list[StrategyStreams]:
    """One strategy with every intermediate result, chunk by chunk; the numbers are those of `evaluate`, to the bit.

    parts: chunks wanted, out of `chunks_of` the block; names: measures wanted.
    """
    model = model_block(plan, draws)
    ((_, job, cost, by_part),) = simulate_jobs(plan, draws, [strategy], detail=True)
    made = outcome(plan, draws, model, strategy, job, cost)
    index = model.economics.service_index[strategy.month]
    costs = {name: values * index for name, values in by_part.items()}
    streams = []
    for part in parts:
        kernel = kernel_of(model, part)
        date = kernel.date(strategy.month, plan.well.settings.opex.lease_holding_months)
        rows = {name: np.zeros((1, part.stop - part.start)) for name in names}
        valued = date.value(outcome_rows(made, (None, part)), rows).strategy(0)
        measures = {name: values[0] for name, values in rows.items()}
        streams.append(StrategyStreams(part, model, job, made, costs, kernel, date, valued, measures))
    return streams


def at_its_date(
    plan: WellPlan, draws: Draws, strategy: Strategy, row: int
) -> tuple[WellPlan, Strategy | None]:
    """A triggered strategy as the fixed date it has in one trial, with a plan that knows the date; None where the
    trigger does not fire there."""
    assert strategy.trigger is not None
    month = int(trigger_months(model_block(plan, draws), strategy.trigger)[row])
    if month < 0:
        return plan, None
    fixed = replace(strategy, month=month, trigger=None)
    return replace(plan, ages={**plan.ages, month: plan.ages_at(month)}), fixed


def forecast_row(plan: WellPlan, draws: Draws, row: int) -> dict[str, object]:
    """The decline of one trial in words and numbers: form, slots, uptime and present ratios."""
    if plan.posterior is None:
        return {"form": "modified_hyperbolic", "from": "type curve of the case"}
    posterior = plan.posterior
    k = int(posterior_rows(plan, draws)[row])
    return {
        "form": FORMS[int(posterior.form[k])],
        "from": "posterior of the fit",
        "posterior_row": k,
        "slots": [float(value) for value in posterior.slots[:, k]],
        "uptime_fraction": float(posterior.uptime[k]),
        "running_uptime_fraction": float(
            (posterior.uptime if posterior.running_uptime is None else posterior.running_uptime)[k]
        ),
        "ratios": {
            phase: [float(np.asarray(part)[k]) for part in parts]
            for phase, parts in posterior.secondary.items()
        },
        "months_before_valuation": plan.months_before,
        "cumulative_at_anchor": plan.np_anchor,
    }
