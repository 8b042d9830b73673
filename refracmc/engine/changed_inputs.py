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
from .block_model import BlockModel, Draws, model_block
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

    def __init__(
        self, plan: WellPlan, strategy: Strategy, sizes: Sequence[int], respond: bool = False
    ) -> None:
        """sizes: trials of the blocks taken, from the first. respond: the well responds to the job in every trial."""
        self._plan, self._strategy = plan, strategy
        self._blocks = []
        for number, size in enumerate(sizes):
            draws = draw(plan, number, size)
            if respond:
                draws.pop(RESPONDS, None)
            model = model_block(plan, draws)
            months, jobs, _ = chosen_jobs(plan, draws, model, (strategy,))
            self._blocks.append(_Block(draws, model, months, jobs))

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


def _at_price(money: BlockMoney, factor: float) -> BlockMoney:
    """The benchmark price of the main phase, and what is expected of it, times a factor. Costs stay as they are."""
    oil = money.main_phase == "oil"
    ahead = money.ahead
    if ahead is not None:
        ahead = (ahead[0] * factor, ahead[1]) if oil else (ahead[0], ahead[1] * factor)
    if oil:
        return replace(money, oil_price=money.oil_price * factor, ahead=ahead)
    return replace(money, gas_price=money.gas_price * factor, ahead=ahead)
