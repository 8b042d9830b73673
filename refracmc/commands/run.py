"""Run cases: fit, evaluate block by block, summarise, decide, report; resume what was interrupted.

A case's bytes depend on the case, its files, the seed, the trials and the release, and on nothing else.
"""

from __future__ import annotations

import platform
import shutil
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cached_property
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from refracmc import __version__
from refracmc.case.load import load_case
from refracmc.case.validated_case import Case
from refracmc.engine import store
from refracmc.engine.blocks import (
    evaluate_blocks,
    prepare_wells,
    store_wells,
    summary_of,
    summary_task,
    summary_tasks,
)
from refracmc.engine.executors import default_workers, run_tasks
from refracmc.engine.plan import WellOutline, blocks_of, identity
from refracmc.engine.progress import Progress, Silent
from refracmc.engine.scheduler import check_scheduler
from refracmc.engine.wells import PASSING, StoredPlans
from refracmc.errors import Fault, InputError, RunFailure
from refracmc.interrupts import held
from refracmc.measures import KEPT_MEASURES

if TYPE_CHECKING:
    import pandas as pd

MOST_TOGETHER, MOST_SENT, TASKS_A_WORKER = 16, 4, 8
"""Wells of one block are done by one worker in a row, so that they share its price paths: so many at most, fewer where
their results are sent over a network, and as long as so many tasks are there for every worker."""


@dataclass(frozen=True)
class RunResult:
    """A finished case: its folder, refused wells, and the decision in words."""

    folder: Path
    refused: dict[str, tuple[Fault, ...]]
    text: str

    @cached_property
    def summary(self) -> pd.DataFrame:
        """The tidy summary of all wells, read from the folder when first asked for."""
        import pandas as pd

        return pd.read_parquet(self.folder / "summary.parquet")


@dataclass
class BatchResult:
    """All cases of one call: done, refused (case file, well or None, faults), failed (case file, why)."""

    done: list[RunResult] = field(default_factory=list)
    refused: list[tuple[str, str | None, tuple[Fault, ...]]] = field(default_factory=list)
    failures: list[tuple[str, RunFailure]] = field(default_factory=list)


def _load(path: str | Path, trials: int | None, seed: int | None) -> Case:
    return load_case(path).with_sampling(trials, seed)


def run_case(
    path: str | Path,
    out: str | Path = "outputs",
    *,
    trials: int | None = None,
    seed: int | None = None,
    workers: int | None = None,
    resume: bool = False,
    keep_trials: bool | None = None,
    scheduler: str | None = None,
    progress: Silent | None = None,
) -> RunResult:
    """Run one case and write OUT/<case name>/.

    trials, seed, keep_trials: in place of the case's own. workers: processes, all processors by default.
    scheduler: address of a dask scheduler whose workers evaluate the blocks, or local for one started here.
    Raises InputError where nothing can run, RunFailure where the run could not be finished.
    """
    check_scheduler(scheduler)
    return _run_loaded(
        _load(path, trials, seed), Path(out), workers, resume, keep_trials, scheduler, progress or Silent()
    )


def _run_loaded(
    case: Case,
    out: Path,
    workers: int | None,
    resume: bool,
    keep_trials: bool | None,
    scheduler: str | None,
    progress: Silent,
) -> RunResult:
    began = time.time()
    count = workers or default_workers()
    keep = case.outputs.keep_trials if keep_trials is None else keep_trials
    if not case.wells:
        raise InputError([fault for faults in case.refused.values() for fault in faults])
    for well in case.wells:
        for text in well.warnings:
            progress.note(f"{case.name}: {well.id}: warning: {text}")
    place = store.RunFolder(out, case.name)
    made = identity(case, __version__)
    with place.locked():
        try:
            if resume:
                found = _finished(case, place, made, keep, count, progress)
                if found is not None:
                    return found
            return _run_blocks(case, place, made, count, resume, keep, scheduler, progress, began)
        except OSError as fault:
            raise RunFailure(
                f"cannot write {fault.filename or place.work}: {fault.strerror or fault}. Free space or choose "
                "--out; finished blocks are kept: run again with --resume."
            ) from None


def _finished(
    case: Case, place: store.RunFolder, made: dict[str, Any], keep: bool, workers: int, progress: Silent
) -> RunResult | None:
    """The complete run that stands there already, if it is this one and every file of it is whole."""
    manifest = place.finished(made, keep)
    if manifest is None:
        return None
    run = manifest["run"]
    refused = dict(case.refused)
    if set(run["refused"]) != set(refused):
        _, refused = prepare_wells(case, workers, progress)
    progress.note(f"{case.name}: complete already")
    return RunResult(place.final, refused, "\n".join([*run["verdicts"], str(place.final)]))


def _run_blocks(
    case: Case,
    place: store.RunFolder,
    made: dict[str, Any],
    count: int,
    resume: bool,
    keep: bool,
    scheduler: str | None,
    progress: Silent,
    began: float,
) -> RunResult:
    place.open(made, resume)
    plans, refused = store_wells(case, count, progress, place.work)
    if not plans:
        shutil.rmtree(place.work)
        raise InputError([fault for faults in refused.values() for fault in faults])
    sizes = blocks_of(case.sampling.trials)
    outlines = plans.outlines
    tasks = []
    together = max(len(plans) * len(sizes) // (TASKS_A_WORKER * count), 1)
    together = min(together, MOST_TOGETHER if scheduler is None else MOST_SENT)
    for k in range(0, len(plans), together):  # the blocks of some wells in a row: their streams are kept
        wells = range(k, min(k + together, len(plans)))
        for block in range(len(sizes)):
            missing = tuple(
                index
                for index in wells
                if store.read_block(place.work, outlines[index].number, block) is None
            )
            if missing:
                tasks.append((block, missing))
    total = len(sizes) * len(plans)
    progress.start(f"{case.name}: blocks", total, total - sum(len(wells) for _, wells in tasks))
    if tasks:
        for _ in evaluate_blocks(plans, place.work, sizes, tasks, count, scheduler, progress.note):
            _load_reporting(case.outputs.charts)
            progress.step()
    from refracmc.commands.outputs import keep_summary, write_outputs

    parts = summary_tasks(outlines, sizes)
    progress.start(f"{case.name}: summaries", len(parts))
    found: dict[int, dict[int, Any]] = {}
    kept: dict[int, Any] = {}
    for (index, _, part, of), statistics in run_tasks(
        summary_task, (outlines, place.work, sizes), parts, count
    ):
        progress.step()
        of_well = found.setdefault(index, {})
        of_well[part] = statistics
        if len(of_well) == of:
            summary = summary_of(outlines[index], [of_well[k] for k in range(of)])
            kept[index] = keep_summary(outlines[index], summary, place.work)
            del found[index]
    summaries = [kept[index] for index in range(len(plans))]
    text = write_outputs(case, plans, refused, summaries, place.work, sizes, keep, count, progress)
    _finish_blocks(place.work, outlines, sizes)
    manifest = _manifest(case, plans, refused, made, sizes, keep, count, began)
    manifest["run"]["verdicts"] = text.splitlines()
    manifest["run"]["files"] = store.file_digests(place.work)
    store.write_json(place.work / "manifest.json", manifest)
    place.finish()
    return RunResult(place.final, refused, f"{text}\n{place.final}")


def _load_reporting(charts: bool) -> None:
    """Import what the tables and charts need while the workers are at their blocks: a second for every process."""
    with held():
        import SALib.analyze.sobol  # noqa: F401

        import refracmc.commands.outputs

        if charts:
            import refracmc.reporting.charts  # noqa: F401


def _finish_blocks(folder: Path, plans: Sequence[WellOutline], sizes: list[int]) -> None:
    """Remove what served the making of the run only."""
    shutil.rmtree(folder / PASSING)
    for plan in plans:
        for block in range(len(sizes)):
            for kind in store.PASSING_KINDS:
                store.block_path(folder, plan.number, block, kind).unlink(missing_ok=True)


def _manifest(
    case: Case,
    plans: StoredPlans,
    refused: dict[str, tuple[Fault, ...]],
    made: dict[str, Any],
    sizes: list[int],
    keep: bool,
    workers: int,
    began: float,
) -> dict[str, Any]:
    wells = [
        {
            "well": plan.id,
            "number": plan.number,
            "main_phase": plan.well.main_phase,
            "strategies": list(plan.names),
            "fit": {} if fit is None else dict(fit.diagnostics),
        }
        for plan, fit in zip(plans.outlines, plans.fits, strict=True)
    ]
    return {
        "run": {
            **made,
            "title": case.title,
            "data_status": case.data_status,
            "blocks": {
                "trials": sizes,
                "measures": list(KEPT_MEASURES),
                "axes": ["measure", "strategy", "trial"],
                "file": "blocks/well<number>-block<block>.values.npy",
                "bytes_per_well": [
                    8 * len(KEPT_MEASURES) * len(plan.names) * case.sampling.trials for plan in plans.outlines
                ],
            },
            "wells": wells,
            "refused": {well: [str(fault) for fault in faults] for well, faults in sorted(refused.items())},
            "keep_trials": keep,
            "percentiles": "exceedance: P90 low, P10 high",
        },
        "host": {
            "finished": datetime.now(UTC).isoformat(timespec="seconds"),
            "seconds": round(time.time() - began, 3),
            "workers": workers,
            "machine": platform.machine(),
            "system": platform.platform(),
            "python": sys.version.split()[0],
            "pandas": version("pandas"),
        },
    }


def run_batch(
    paths: Sequence[str | Path],
    *,
    out: str | Path = "outputs",
    trials: int | None = None,
    seed: int | None = None,
    workers: int | None = None,
    resume: bool = False,
    keep_trials: bool | None = None,
    scheduler: str | None = None,
    quiet: bool = False,
) -> BatchResult:
    """Run several cases; one that is refused or fails does not stop the others. Doubled case names are refused."""
    check_scheduler(scheduler)
    batch = BatchResult()
    cases: list[Case] = []
    for path in paths:
        try:
            case = _load(path, trials, seed)
        except InputError as error:
            batch.refused.append((str(path), error.well, error.faults))
            continue
        doubled = [other for other in cases if other.name == case.name]
        if doubled:
            fault = Fault(
                where=f"{path}: name",
                found=f"the name '{case.name}', which {doubled[0].path} has too",
                allowed="a name of its own for every case of one call",
                remedy="rename one of the two",
            )
            batch.refused.append((str(path), None, (fault,)))
            continue
        cases.append(case)
    for case in cases:
        progress = Silent() if quiet else Progress()
        try:
            result = _run_loaded(case, Path(out), workers, resume, keep_trials, scheduler, progress)
        except InputError as error:
            batch.refused.append((str(case.path), error.well, error.faults))
            continue
        except RunFailure as error:
            batch.failures.append((str(case.path), error))
            continue
        batch.done.append(result)
        batch.refused.extend((str(case.path), well, faults) for well, faults in result.refused.items())
    return batch
