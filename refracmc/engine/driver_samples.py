"""Samples that tell what drives the value: sets of draws mixed, group by group or name by name, through the model.

A mixture takes every name from one set or another, whole arrays as they are; what follows from draws shared with the
first of the mixtures is made once.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from refracmc.case.well_strategies import Strategy

from .block_jobs import JobOutcome, job_outcomes
from .block_model import BlockModel, Draws, model_block, same_draws
from .plan import WellPlan
from .valuation import evaluate, months_of, value_jobs

Array = NDArray[np.float64]
JOB_DRAWS = ("job.", "luck.", "stress.", "strategies.")
"""How the names of the draws begin that a job follows from, beside the service-cost index of its cost."""
_First = tuple[Draws, BlockModel, JobOutcome | None]


def evaluate_samples(
    plan: WellPlan, mixtures: Sequence[Draws], chosen: Sequence[Strategy], wanted: Collection[str]
) -> Iterator[dict[str, Array]]:
    """The wanted measures, name -> (1 + S, n), row 0 `nothing`, of each mixture; as `evaluate`, to rounding."""
    first: _First | None = None
    for draws in mixtures:
        model = model_block(plan, draws, None if first is None else first[:2])
        if any(strategy.trigger is not None for strategy in chosen):
            first = first or (draws, model, None)
            yield evaluate(plan, draws, chosen, wanted, model).measures
            continue
        months = months_of(chosen, model.trials)
        jobs = None if first is None else _jobs_like(draws, model, chosen, first)
        if jobs is None:
            jobs, _ = job_outcomes(plan, draws, model, chosen)
        first = first or (draws, model, jobs)
        yield value_jobs(plan, model, months, jobs, wanted)


def _jobs_like(
    draws: Draws, model: BlockModel, chosen: Sequence[Strategy], first: _First
) -> JobOutcome | None:
    """The jobs of the first mixture, at the service-cost index of this one; None where they are others."""
    known, like, jobs = first
    if jobs is None or like.share is not model.share or not same_draws(draws, known, *JOB_DRAWS):
        return None
    if like.economics is model.economics:
        return jobs
    before, after = like.economics.service_index, model.economics.service_index
    ratio = np.stack([after[strategy.month] / before[strategy.month] for strategy in chosen])
    return replace(jobs, cost=jobs.cost * ratio)
