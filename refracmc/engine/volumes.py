"""Monthly volumes on the calendar, of the well left alone and of a strategy, from cumulatives and what became of it.

The volume of a stream that comes late is read from its cumulative, linear within a month. Nothing here knows prices:
the cash flow keeps its own account of what these volumes earn, and the ledger sets the one against the other.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from refracmc.case.well_strategies import Strategy

from .after_job import Jobs, fill_volumes
from .base import MONTH_DAYS
from .block_jobs import JobOutcome
from .block_model import BlockModel, Draws, model_block
from .cash_flow import CashFlow, Details, value_block
from .plan import WellPlan
from .valuation import chosen_jobs

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
PHASES = ("oil", "gas", "water")


def alone_volumes(own: Array, limit: IntArray) -> Array:
    """Volumes (n, T) of the well left alone from its cumulatives own (n, T + 1) and last months limit (n,)."""
    edges = np.minimum(np.arange(own.shape[1]), limit[:, None] + 1)
    return np.diff(np.take_along_axis(own, edges, axis=1), axis=1)


def strategy_volumes(
    own: Array, new: Array, months: IntArray, limit: IntArray, days: Array, details: Details
) -> Array:
    """Volumes (n, T) of one strategy in its trials, in all of which the job is carried out.

    own, new (n, T + 1): cumulatives of the own stream and of that of a refrac at one unit a day; months, limit, days
    (n,): of the job, last of the well left alone, shut in; details: members (n,).
    """
    edges = np.arange(own.shape[1])
    resume = np.minimum(limit + 1, months)[:, None]
    down = days / MONTH_DAYS
    whole = np.floor(down)
    part = (down - whole)[:, None]
    lived = np.minimum(edges - months[:, None], details.life[:, None].astype(np.int64) + 1)
    late = lived - np.minimum(whole, edges.size).astype(np.int64)[:, None]

    def delivered(k: IntArray) -> Array:
        """By both streams k months after they come."""
        k = np.maximum(k, 0)
        old = np.take_along_axis(own, resume + k, axis=1) - np.take_along_axis(own, resume, axis=1)
        return details.keep[:, None] * old + details.new_rate[:, None] * np.take_along_axis(new, k, axis=1)

    before = np.take_along_axis(own, np.minimum(edges, resume), axis=1)
    return np.diff(before + (1.0 - part) * delivered(late) + part * delivered(late - 1), axis=1)


def volumes_of(
    model: BlockModel,
    rows: NDArray[np.intp],
    phases: tuple[str, ...],
    months: IntArray,
    jobs: JobOutcome,
    cash: CashFlow,
) -> list[Array]:
    """Volumes (rows, T) of some trials by phase; months, jobs, cash: of one strategy, members (n,) and (1, n)."""
    assert cash.details is not None
    if not model.after.is_plain:
        return _joined_volumes(model, rows, phases, months, jobs, cash)
    own, new = model.own.sums(rows), model.refrac.sums(rows)
    details = Details(*(getattr(cash.details, name)[0, rows] for name in Details.__dataclass_fields__))
    limit, done = cash.limit[rows], cash.measures["executed"][1, rows] > 0.0
    at = np.where(done, months[rows], 0)
    made = []
    for phase in phases:
        treated = strategy_volumes(own[phase], new[phase], at, limit, jobs.days[rows], details)
        made.append(np.where(done[:, None], treated, alone_volumes(own[phase], limit)))
    return made


def _joined_volumes(
    model: BlockModel,
    rows: NDArray[np.intp],
    phases: tuple[str, ...],
    months: IntArray,
    jobs: JobOutcome,
    cash: CashFlow,
) -> list[Array]:
    """As `volumes_of` where the job changes the uptime or a limit holds the rate back: all phases at once."""
    assert cash.details is not None
    own, new = (
        np.stack([curve.sums(rows)[phase] for phase in PHASES], axis=1) for curve in (model.own, model.refrac)
    )
    limit, done = cash.limit[rows], cash.measures["executed"][1, rows] > 0.0
    month = np.where(done, months[rows], 0)
    resume = np.minimum(limit + 1, month)
    goes_on, begin = own, resume
    if model.after.uptime is not None:
        whole = model.own.sums_after(np.minimum(cash.limit + 1, np.maximum(months, 0)), model.after.uptime)
        goes_on = np.stack([model.own.phase_sums(whole[rows], rows)[phase] for phase in PHASES], axis=1)
        begin = np.zeros_like(resume)
    keep, rate, life = (getattr(cash.details, name)[0, rows] for name in ("keep", "new_rate", "life"))
    made = np.zeros((rows.size, len(PHASES), own.shape[2] - 1))
    job = Jobs(month, resume, jobs.days[rows], keep, rate, life.astype(np.int64))
    room = np.empty(made.shape[1:])
    fill_volumes(goes_on, begin, new, job, np.ascontiguousarray(model.after.limits[:, rows]), room, made)
    found = []
    for phase in phases:
        k = PHASES.index(phase)
        before = alone_volumes(own[:, k], np.where(done, resume - 1, limit))
        found.append(before + np.where(done[:, None], made[:, k], 0.0))
    return found


def branch_volumes(
    plan: WellPlan, draws: Draws, strategy: Strategy
) -> tuple[dict[str, Array], dict[str, Array]]:
    """Volumes (n, T) by month of each of PHASES, bbl or Mcf, of the well left alone and of a strategy."""
    model = model_block(plan, draws)
    months, jobs, _ = chosen_jobs(plan, draws, model, [strategy])
    cash = value_block(
        model, plan.well.settings.opex.lease_holding_months, months, jobs, ("executed",), detailed=True
    )
    rows = np.arange(model.trials)
    one = JobOutcome(**{name: getattr(jobs, name)[0] for name in JobOutcome.__dataclass_fields__})
    treated = volumes_of(model, rows, PHASES, months[0], one, cash)
    own = model.own.sums(rows)
    alone = {phase: alone_volumes(own[phase], cash.limit) for phase in PHASES}
    return alone, dict(zip(PHASES, treated, strict=True))
