"""Trials of a run valued again with one input changed and everything else, the luck included, as it was."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from refracmc.case.uncertain_inputs import RESPONDS
from refracmc.case.well_strategies import Strategy
from refracmc.economics.present_value import discount_factors
from refracmc.production.response import ResponseTerms

from .block_jobs import JobOutcome
from .block_model import SHARE_DRAWS, BlockModel, Draws, model_block
from .draws import draw
from .money import BlockMoney
from .plan import WellPlan
from .valuation import chosen_jobs, value_jobs

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
_MEASURES = ("incremental_npv", "discounted_capex")
_UPLIFT = ResponseTerms._fields.index("uplift")


@dataclass(frozen=True)
class Change:
    """Factors on the uplift, on the benchmark price of the main phase and on the job's cost; discount rate [1/year],
    None: the case's."""

    uplift: float = 1.0
    main_price: float = 1.0
    job_cost: float = 1.0
    discount_rate: float | None = None


@dataclass(frozen=True, eq=False)
class _Block:
    draws: Draws
    model: BlockModel
    months: IntArray
    jobs: JobOutcome


class ChangedTrials:
    """The first trials of a run, of one strategy: what it gains and spends under a change."""

    def __init__(self, plan: WellPlan, strategy: Strategy, blocks: Sequence[_Block]) -> None:
        """Of the blocks that `first_trials` makes."""
        self._plan, self._strategy, self._blocks = plan, strategy, blocks

    def all_responding(self) -> ChangedTrials:
        """The same trials, in all of which the well responds to the job."""
        blocks = []
        for block in self._blocks:
            draws = {name: values for name, values in block.draws.items() if name != RESPONDS}
            draws |= _apart(draws, "response.uplift")
            blocks.append(_block(self._plan, self._strategy, draws, (block.draws, block.model)))
        return ChangedTrials(self._plan, self._strategy, blocks)

    def on(self, plan: WellPlan) -> ChangedTrials:
        """The same trials on a plan of the well with its sleeves in other states."""
        blocks = []
        for block in self._blocks:
            draws = dict(block.draws) | _apart(block.draws, *SHARE_DRAWS)
            blocks.append(_block(plan, self._strategy, draws, (block.draws, block.model)))
        return ChangedTrials(plan, self._strategy, blocks)

    def valued(self, change: Change) -> tuple[Array, Array]:
        """Incremental NPV and discounted capex (n,) of the strategy [US$]."""
        parts = [self._valued(block, change) for block in self._blocks]
        return np.concatenate([part[0] for part in parts]), np.concatenate([part[1] for part in parts])

    def _valued(self, block: _Block, change: Change) -> tuple[Array, Array]:
        model, months, jobs = self._changed(block.model, change), block.months, block.jobs
        if self._strategy.trigger is not None and change.main_price != 1.0:  # it may fire in another month
            months, jobs, _ = chosen_jobs(self._plan, block.draws, model, (self._strategy,))
        jobs = replace(jobs, cost=jobs.cost * change.job_cost)
        found = value_jobs(self._plan, model, months, jobs, _MEASURES)
        return found["incremental_npv"][1], found["discounted_capex"][1]

    def _changed(self, model: BlockModel, change: Change) -> BlockModel:
        terms = model.terms.copy()
        terms[_UPLIFT] *= change.uplift
        money = _at_price(model.economics, change.main_price)
        if change.discount_rate is not None:
            money = replace(money, discount=discount_factors(self._plan.horizon, change.discount_rate))
        return replace(model, terms=terms, economics=money)


def first_trials(plan: WellPlan, strategy: Strategy, sizes: Sequence[int]) -> ChangedTrials:
    """The trials of the first blocks of a run; sizes: trials of each."""
    blocks = [_block(plan, strategy, draw(plan, k, size), None) for k, size in enumerate(sizes)]
    return ChangedTrials(plan, strategy, blocks)


def _block(plan: WellPlan, strategy: Strategy, draws: Draws, like: tuple[Draws, BlockModel] | None) -> _Block:
    model = model_block(plan, draws, like)
    months, jobs, _ = chosen_jobs(plan, draws, model, (strategy,))
    return _Block(draws, model, months, jobs)


def _apart(draws: Draws, *names: str) -> dict[str, Array]:
    """Copies of some draws, so that what follows from them is made anew."""
    return {name: draws[name].copy() for name in names}


def _at_price(money: BlockMoney, factor: float) -> BlockMoney:
    """The benchmark price of the main phase, and what is expected of it, times a factor. Costs stay as they are."""
    oil = money.main_phase == "oil"
    ahead = money.ahead
    if ahead is not None:
        ahead = (ahead[0] * factor, ahead[1]) if oil else (ahead[0], ahead[1] * factor)
    if oil:
        return replace(money, oil_price=money.oil_price * factor, ahead=ahead)
    return replace(money, gas_price=money.gas_price * factor, ahead=ahead)
