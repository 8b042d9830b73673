"""Blocks of trials: which are absent, how they are evaluated, and how they get into the run folder."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from refracmc.job.cost import COST_PARTS
from refracmc.measures import EXTRA_MEASURES, KEPT_MEASURES

from . import store
from .block_model import Draws, posterior_rows, responds
from .draws import draw
from .executors import run_tasks
from .plan import WellOutline, WellPlan
from .trials import RECOVERY, RESPONDED, input_names
from .valuation import evaluate

Array = NDArray[np.float64]
BlockArrays = dict[str, Array | list[Array]]
BlockState = tuple[Sequence[WellPlan], Path, list[int]]
"""Plans, folder, trials of each block: what every block task is told."""
BlockTask = tuple[int, tuple[int, ...]]
"""Block, and the plans it is evaluated for."""
MOST_TOGETHER, MOST_SENT, TASKS_A_WORKER = 16, 4, 8
"""Wells of one block are done by one worker in a row, so that they share its price paths: so many at most, fewer where
their results are sent over a network, and as long as so many tasks are there for every worker."""


def absent_blocks(
    wells: Sequence[WellOutline], folder: Path, blocks: int, workers: int, sent: bool
) -> list[BlockTask]:
    """Tasks for all blocks that are not in the folder, whole. sent: whether results come over a network."""
    together = max(len(wells) * blocks // (TASKS_A_WORKER * workers), 1)
    together = min(together, MOST_SENT if sent else MOST_TOGETHER)
    tasks = []
    for first in range(0, len(wells), together):  # the blocks of some wells in a row: their streams are kept
        some = range(first, min(first + together, len(wells)))
        for block in range(blocks):
            absent = tuple(k for k in some if store.read_block(folder, wells[k].number, block) is None)
            if absent:
                tasks.append((block, absent))
    return tasks


def block_arrays(state: tuple[Sequence[WellPlan], list[int]], task: BlockTask) -> list[BlockArrays]:
    """Block task[0] of each of the plans task[1], evaluated: arrays, or their rows, by kind of block file."""
    plans, sizes = state
    block, wells = task
    evaluated: list[BlockArrays] = []
    for index in wells:
        plan = plans[index]
        draws = draw(plan, block, sizes[block])
        result = evaluate(plan, draws)
        by_part = [result.parts[name] for name in COST_PARTS]
        evaluated.append(
            {
                store.KEPT: [result.measures[name] for name in KEPT_MEASURES],
                store.EXTRA: [result.measures[name] for name in EXTRA_MEASURES],
                store.INPUTS: _inputs_of(plan, draws, sizes[block]),
                store.PARTS: np.stack(
                    [np.stack([p.sum(axis=1), (p * p).sum(axis=1)], axis=1) for p in by_part]
                ),
            }
        )
    return evaluated


def _inputs_of(plan: WellPlan, draws: Draws, trials: int) -> Array:
    """Rows (inputs, trials) of the `input_names` of a plan."""
    names = input_names(plan)
    draws = {**draws, RESPONDED: responds(draws)}
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
    if scheduler is None:
        for (block, wells), signatures in run_tasks(block_task, (plans, folder, sizes), tasks, workers):
            store.remember(signatures)
            yield from ((block, index) for index in wells)
        return
    from .cluster import connected, run_on

    plans = list(plans)  # the workers have no disk in common with this process
    with connected(scheduler, workers) as client:
        for (block, wells), evaluated in run_on(client, block_arrays, (plans, sizes), tasks, note):
            for index, arrays in zip(wells, evaluated, strict=True):
                store.remember(store.write_block(folder, plans[index].number, block, arrays))
                yield block, index
