"""Wells prepared, blocks evaluated and stored, trials read back and summarised."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from refracmc.case.validated_case import Case
from refracmc.errors import Fault
from refracmc.job.cost import COST_PARTS
from refracmc.job.sleeves import PlanRefused
from refracmc.measures import EXTRA_MEASURES, KEPT_MEASURES
from refracmc.production.fit import FitRefused, Posterior

from . import store
from .block_model import Draws, posterior_rows
from .draws import draw
from .executors import START, run_tasks
from .plan import Strategy, WellOutline, WellPlan, build_plan
from .progress import Silent
from .summary import statistics, summary_table
from .trials import (
    RECOVERY,
    WellResults,
    input_names,
    parts_of,
    stored_inputs,
    stored_measures,
)
from .valuation import evaluate
from .well_fit import Priors, fit_well, pooled_priors
from .wells import FitOutline, StoredPlans, write_posterior

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]
BlockArrays = dict[str, Array | list[Array]]
BlockState = tuple[Sequence[WellPlan], Path, list[int]]
"""Plans, folder, trials of each block: what every block task is told."""
SummaryState = tuple[Sequence[WellOutline], Path, list[int]]
BlockTask = tuple[int, tuple[int, ...]]
"""Block, and the plans it is evaluated for."""
SummaryTask = tuple[int, tuple[int, int], int, int]
"""Plan, range of its strategies, which part of the well that is, and of how many."""


def _fault_of(case: Case, well: str, error: Exception) -> Fault:
    where = f"{case.path.name}: wells.{well}"
    if isinstance(error, FitRefused):
        return Fault(
            where=f"{where}.history",
            found=f"a history that no decline can be fitted to ({error})",
            allowed="a declining history of four producing months or more, or a type curve",
            remedy="state [wells.type_curve], or correct the history",
        )
    return Fault(
        where=f"{where}.strategies",
        found=str(error),
        allowed="a job that can be carried out",
        remedy="change the order",
    )


_FIT, _CASH, _JOBS = -1, -2, -3
"""Compiled code, in place of a well's number."""


def _compile(which: int) -> None:
    """Compile, or load from the cache."""
    if which == _FIT:
        from refracmc.production.likelihood import warm
    elif which == _CASH:
        from .cash_loop import warm
    else:
        from refracmc.production.forms.modified_hyperbolic import warm as warm_curves

        from .job_runs import warm

        warm_curves()
    warm()


_FitState = tuple[Case, Priors, Path | None]
_Found = tuple[tuple[Strategy, ...], Posterior | FitOutline | None] | FitRefused | PlanRefused | None


def _fit_task(state: _FitState, number: int) -> _Found:
    """Strategies and posterior of a well; with a folder the posterior is kept there and told in outline."""
    case, priors, folder = state
    if number < 0:
        _compile(number)
        return None
    try:
        posterior = fit_well(case, case.wells[number], priors)
        plan = build_plan(case, case.wells[number], number, posterior)
    except (FitRefused, PlanRefused) as error:
        return error
    if folder is None or posterior is None:
        return plan.strategies, posterior
    write_posterior(folder, number, posterior)
    return plan.strategies, FitOutline.of(posterior)


def _fits(case: Case, workers: int, progress: Silent, folder: Path | None) -> dict[int, _Found]:
    numbers = list(range(len(case.wells)))
    progress.start(f"{case.name}: fitting", len(numbers))
    found: dict[int, _Found] = {}
    first = [_CASH, _JOBS]
    if any(well.forecast == "history" for well in case.wells):
        _compile(_FIT)  # at once, lest every worker compile it at its first well
    state = (case, pooled_priors(case), folder)
    alike: dict[tuple[Strategy, ...], tuple[Strategy, ...]] = {}
    for number, made in run_tasks(_fit_task, state, first + numbers, workers):
        if number < 0:
            continue
        # wells with the same strategies hold them once
        found[number] = (alike.setdefault(made[0], made[0]), made[1]) if isinstance(made, tuple) else made
        progress.step()
    return {number: found[number] for number in numbers}


def _refusals(case: Case, found: dict[int, _Found]) -> dict[str, tuple[Fault, ...]]:
    refused = dict(case.refused)
    for number, made in found.items():
        if isinstance(made, FitRefused | PlanRefused):
            well = case.wells[number].id
            refused[well] = (_fault_of(case, well, made),)
    return refused


def prepare_wells(
    case: Case, workers: int, progress: Silent
) -> tuple[list[WellPlan], dict[str, tuple[Fault, ...]]]:
    """Plans of all wells that can run, and the faults of those that cannot."""
    found = _fits(case, workers, progress, None)
    plans = [
        build_plan(case, case.wells[number], number, made[1])
        for number, made in found.items()
        if isinstance(made, tuple) and not isinstance(made[1], FitOutline)
    ]
    return plans, _refusals(case, found)


def store_wells(
    case: Case, workers: int, progress: Silent, folder: Path
) -> tuple[StoredPlans, dict[str, tuple[Fault, ...]]]:
    """As `prepare_wells`, with the posteriors kept in `folder` and the plans built when asked for."""
    found = _fits(case, workers, progress, folder)
    if START == "fork":
        for code in (_CASH, _JOBS):  # the workers that evaluate blocks inherit what is loaded here
            _compile(code)
    outlines, fits = [], []
    for number, made in found.items():
        if isinstance(made, tuple):
            outlines.append(WellOutline(case, case.wells[number], number, made[0]))
            fits.append(made[1] if isinstance(made[1], FitOutline) else None)
    return StoredPlans(case, folder, outlines, fits), _refusals(case, found)


def block_arrays(state: tuple[Sequence[WellPlan], list[int]], task: BlockTask) -> list[BlockArrays]:
    """Block task[0] of each of the plans task[1], evaluated: arrays, or their rows, by kind of block file."""
    plans, sizes = state
    block, wells = task
    made: list[BlockArrays] = []
    for index in wells:
        plan = plans[index]
        draws = draw(plan, block, sizes[block])
        result = evaluate(plan, draws)
        by_part = [result.parts[name] for name in COST_PARTS]
        made.append(
            {
                store.KEPT: [result.measures[name] for name in KEPT_MEASURES],
                store.EXTRA: [result.measures[name] for name in EXTRA_MEASURES],
                store.INPUTS: _inputs_of(plan, draws, sizes[block]),
                store.PARTS: np.stack(
                    [np.stack([p.sum(axis=1), (p * p).sum(axis=1)], axis=1) for p in by_part]
                ),
            }
        )
    return made


def _inputs_of(plan: WellPlan, draws: Draws, trials: int) -> Array:
    """Rows (inputs, trials) of the `input_names` of a plan."""
    names = input_names(plan)
    if plan.posterior is not None:
        draws = {**draws, RECOVERY: plan.posterior.technical_eur[posterior_rows(plan, draws)]}
    return np.array([draws[name] for name in names]).reshape(len(names), trials)


def block_task(state: BlockState, task: BlockTask) -> dict[str, int]:
    """Evaluate and store block task[0] of each of the plans task[1], one after the other.

    Returns what `store.remember` takes.
    """
    plans, folder, sizes = state
    block, wells = task
    signatures: dict[str, int] = {}
    for index in wells:
        (arrays,) = block_arrays((plans, sizes), (block, (index,)))
        signatures |= store.write_block(folder, plans[index].number, block, arrays)
    return signatures


def evaluate_blocks(
    plans: Sequence[WellPlan],
    folder: Path,
    sizes: list[int],
    tasks: Sequence[BlockTask],
    workers: int,
    scheduler: str | None,
    note: Callable[[str], None],
) -> Iterator[tuple[int, int]]:
    """Evaluate and store blocks, in processes here or on the workers of a dask scheduler (its address, or local).

    Yields (block, plan) as they are done.
    """
    store.remember()
    if scheduler is None:
        for (block, wells), signatures in run_tasks(block_task, (plans, folder, sizes), tasks, workers):
            store.remember(signatures)
            yield from ((block, index) for index in wells)
        return
    from .cluster import connected, run_on

    plans = list(plans)  # the workers have no disk in common with this process
    with connected(scheduler, workers) as client:
        for (block, wells), made in run_on(client, block_arrays, (plans, sizes), tasks, note):
            for index, arrays in zip(wells, made, strict=True):
                store.remember(store.write_block(folder, plans[index].number, block, arrays))
                yield block, index


def read_results(plan: WellPlan, folder: Path, sizes: list[int]) -> WellResults:
    """A well's trials, to be read row by row. Raises RunFailure where a block is absent or damaged."""
    measures = stored_measures(plan, folder, sizes)
    parts = np.zeros((len(COST_PARTS), len(plan.strategies), 2))
    for block in range(len(sizes)):
        path = store.block_path(folder, plan.number, block, store.PARTS)
        found = store.read_array(path)
        if found is None:
            raise store.damaged(path)
        parts += found
    inputs = stored_inputs(plan, folder, sizes)
    return WellResults(plan, measures, dict(zip(COST_PARTS, parts, strict=True)), inputs, sizes)


def summary_task(state: SummaryState, task: SummaryTask) -> Array:
    """Statistics (strategies, measures, statistics) of some strategies of a well, from its stored blocks.

    The parts of a well share the checking of its files: all of them must succeed for any to count.
    """
    plans, folder, sizes = state
    index, (start, stop), part, of = task
    plan = plans[index]
    measures = stored_measures(plan, folder, sizes, range(part, len(sizes), of))
    sampling = plan.case.sampling
    return statistics(measures, start, stop, sizes, sampling.design, plan.case.valuation.cvar_tail_fraction)


def summary_tasks(plans: Sequence[WellOutline], sizes: Sequence[int]) -> list[SummaryTask]:
    """Tasks that summarise all wells; those of a well follow each other in the order of its strategies."""
    tasks: list[SummaryTask] = []
    for index, plan in enumerate(plans):
        ranges = parts_of(len(plan.names), sum(sizes))
        tasks += [(index, found, part, len(ranges)) for part, found in enumerate(ranges)]
    return tasks


def summary_of(plan: WellOutline, parts: Sequence[Array]) -> pd.DataFrame:
    """Tidy summary of a well from the results of its tasks in their order."""
    return summary_table(plan.id, plan.well.main_phase, plan.names, np.concatenate(parts))
