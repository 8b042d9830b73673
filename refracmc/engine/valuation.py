"""A block of trials through the whole model: draws -> jobs -> cash flow -> measures of every strategy.

    draws of a block -> own and unit stream -> job of every strategy -> cash flow of every strategy -> measures
                     \\-> price paths ------------------------------------^

All strategies of a trial share its draws.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .block_jobs import job_outcomes, outcome_rows
from .block_model import BlockModel, Draws, chunks_of, kernel_of, model_block
from .cash import (
    MONTH_DAYS,
    PER_TRIAL,
    UNDEFINED_ALONE,
    JobOutcome,
    ResponseTerms,
)
from .plan import Strategy, WellPlan
from .shapes import check_kernel
from .triggers import value_trigger

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class BlockResult:
    """measures: name of PER_TRIAL -> (S, n), row 0 `nothing`; parts: cost part -> (S - 1, n), US$ at 8/8."""

    measures: dict[str, Array]
    parts: dict[str, Array]


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
