"""The cash flow of a block: what its loop is given, and what comes back."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refracmc.economics.flows import Conditions, conditions_of
from refracmc.economics.net_prices import GAS, OIL
from refracmc.measures import PER_TRIAL

from .after_job import own_after
from .block_jobs import JobOutcome
from .block_model import BlockModel
from .cash_loop import DETAILS, Block, Results, room_for, value_trials

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Details:
    """What became of strategies beside their measures, members (S, n); of no meaning where no job is carried out.

    life: last month after that of the job; resume: month of the own stream with which it goes on; the others: members
    of `production.response.Response`.
    """

    life: Array
    resume: Array
    keep: Array
    new_rate: Array
    scale: Array
    acceleration: Array
    depletion: Array


@dataclass(frozen=True, eq=False)
class CashFlow:
    """measures: name of PER_TRIAL -> (1 + S, n), row 0 `nothing`; limit (n,): last month of the well left alone, -1 for
    none; details: where they were asked for."""

    measures: dict[str, Array]
    limit: IntArray
    details: Details | None


def _conditions(model: BlockModel, lease_holding_months: int) -> Conditions:
    """What all trials share."""
    money = model.economics
    return conditions_of(
        OIL if money.main_phase == "oil" else GAS,
        money.ahead is not None,
        money.escalation,
        money.discount,
        money.fiscal,
        lease_holding_months,
        money.write_off,
        model.neighbours.terms,
        money.modified,
    )


def _block(model: BlockModel, months: IntArray, jobs: JobOutcome | None) -> Block:
    """The trials as the loop takes them."""
    limit = limit_alone(model) if months.size and model.after.uptime is not None else None
    own, refrac, money = model.own, model.refrac, model.economics
    ahead = (money.oil_price, money.gas_price) if money.ahead is None else money.ahead
    members = JobOutcome.__dataclass_fields__
    outcomes = np.empty((len(members), *months.shape))
    if jobs is not None:
        for row, name in enumerate(members):
            outcomes[row] = getattr(jobs, name)
    block = Block(
        own.table.total,
        own.row,
        own.ratios(),
        refrac.total,
        refrac.ratios(),
        money.oil_price,
        money.gas_price,
        *ahead,
        money.costs,
        own.np0,
        model.terms,
        np.stack([np.where(own.idle, 0.0, own.technical), refrac.technical]),
        *own_after(own, model.after.uptime, limit, months),
        model.after.limits,
        model.neighbours.volumes,
        model.neighbours.fade,
        model.neighbours.child,
        outcomes,
        months,
    )
    return Block(
        *(
            np.require(array, np.int64 if array.dtype.kind == "i" else np.float64, ("C", "W"))
            for array in block
        )
    )


_SHAPES: dict[str, tuple[int | str, ...]] = {
    "own_sums": ("K", "T+1"),
    "rows": ("n",),
    "own_ratios": (2, 3, "n"),
    "new_sums": ("n", "T+1"),
    "new_ratios": (2, 3, "n"),
    "oil": ("n", "T"),
    "gas": ("n", "T"),
    "oil_ahead": ("n", "T"),
    "gas_ahead": ("n", "T"),
    "costs": (9, "n"),
    "np0": ("n",),
    "terms": (6, "n"),
    "technical": (2, "n"),
    "own_after": ("n", "D", "T+1"),
    "after_place": ("n", "A"),
    "limits": (2, "n"),
    "lost_volumes": ("n", "B"),
    "fade": ("n",),
    "child": ("n",),
    "jobs": (6, "S", "n"),
    "months": ("S", "n"),
}


def check_block(block: Block, horizon: int) -> None:
    """Raise ValueError naming the array whose shape, or whose use as an index, is out of bounds: the loop checks none.

    Months must lie in -1..T-1, rows in 0..K-1, ratios be 0 or more, days shut in be finite and >= 0 [days].
    """
    sizes: dict[int | str, int] = {"n": block.rows.size, "T": horizon, "T+1": horizon + 1}
    sizes |= {"S": block.months.shape[0], "K": block.own_sums.shape[0]}
    sizes |= {"D": (dates := block.own_after.shape[1]), "A": horizon if dates else 0}
    sizes["B"] = horizon if block.lost_volumes.shape[1] else 0
    for name, shape in _SHAPES.items():
        expected = tuple(sizes.get(part, part) for part in shape)
        if (found := getattr(block, name).shape) != expected:
            raise ValueError(f"{name}: found shape {found}; allowed: {expected}")
    for name, low, top in (
        ("months", -1, horizon - 1),
        ("rows", 0, sizes["K"] - 1),
        ("after_place", 0, dates - 1),
    ):
        index = getattr(block, name)
        if index.size and not (index.min() >= low and index.max() <= top):
            raise ValueError(f"{name}: found {index.min()} to {index.max()}; allowed: {low} to {top}")
    for name in ("own_ratios", "new_ratios"):
        if not np.all(getattr(block, name) >= 0.0):
            raise ValueError(f"{name}: found a ratio that is negative or no number; allowed: 0 or more")
    if not np.all(block.limits > 0.0):
        raise ValueError("limits: found one that is 0 or less, or no number; allowed: above 0")
    if not np.all((block.jobs[0] >= 0.0) & (block.jobs[0] < np.inf)):
        raise ValueError("jobs: found days shut in that are negative or no number; allowed: 0 or more")


def value_block(
    model: BlockModel,
    lease_holding_months: int,
    months: IntArray,
    jobs: JobOutcome | None,
    wanted: Collection[str],
    detailed: bool = False,
) -> CashFlow:
    """Value the jobs, members (S, n), of the months (S, n) in which they are done; -1: none is.

    wanted: names of PER_TRIAL to make, whose values do not depend on it. Raises ValueError for what the loop must not
    be called with.
    """
    block = _block(model, months, jobs)
    conditions = _conditions(model, lease_holding_months)
    horizon, (count, n) = conditions.discount.size, months.shape
    check_block(block, horizon)
    results = Results(
        np.empty((len(PER_TRIAL), count + 1, n)),
        np.empty(n, dtype=np.int64),
        np.zeros((len(DETAILS), count, n) if detailed else (len(DETAILS), 0, 0)),
    )
    value_trials(
        conditions, block, np.array([name in wanted for name in PER_TRIAL]), room_for(count, horizon), results
    )
    return CashFlow(
        {name: results.measures[row] for row, name in enumerate(PER_TRIAL) if name in wanted},
        results.limit,
        Details(*results.details) if detailed else None,
    )


def limit_alone(model: BlockModel) -> IntArray:
    """Last month (n,) of the well left alone, -1 for none."""
    return value_block(model, 0, np.empty((0, model.trials), dtype=np.int64), None, ()).limit
