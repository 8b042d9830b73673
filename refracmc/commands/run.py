"""Run cases: fit, evaluate block by block, summarise, decide, report; resume what was interrupted.

A case's bytes depend on the case, its files, the seed, the trials and the release, and on nothing else.
"""

from __future__ import annotations

import io
import shutil
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from refracmc import __version__
from refracmc.case.correlated_pairs import pairs_told
from refracmc.case.history_told import history_told
from refracmc.case.load import load_case
from refracmc.case.scenarios import refused_under
from refracmc.case.validated_case import Case
from refracmc.commands.run_parts import (
    Run,
    evaluate_absent_blocks,
    manifest_of,
    remove_what_served_the_making,
)
from refracmc.commands.scenario_runs import refused_again, scenario_runs, side_by_side
from refracmc.engine import manifest, run_folder, store
from refracmc.engine.executors import default_workers
from refracmc.engine.fitted_wells import prepare_wells, store_wells
from refracmc.engine.plan import identity
from refracmc.engine.progress import Progress, Silent
from refracmc.engine.scheduler import check_scheduler
from refracmc.engine.stored_plans import StoredPlans
from refracmc.errors import Fault, InputError, RunFailure, beyond_numbers

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class RunResult:
    """A finished case: its folder, refused wells, and the decision in words."""

    folder: Path
    refused: dict[str, tuple[Fault, ...]]
    text: str

    @cached_property
    def summary(self) -> pd.DataFrame:
        """The tidy summary of all wells, read when first asked for. InputError where it was altered since."""
        import pandas as pd

        return pd.read_parquet(io.BytesIO(manifest.read_checked(self.folder, "summary.parquet")))


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
    keep = case.outputs.keep_trials if keep_trials is None else keep_trials
    if not case.wells:
        raise InputError([fault for faults in case.refused.values() for fault in faults])
    for well in case.wells:
        for text in well.warnings:
            progress.note(f"{case.name}: {well.id}: warning: {text}")
    for text in history_told(case):
        progress.note(f"{case.name}: history: {text}")
    for one in case.scenarios:
        for text in sorted(set(pairs_told(one.case)) - set(pairs_told(case))):
            progress.note(f"{case.name}: scenario {one.name}: correlation: {text}")
    place = run_folder.RunFolder(out, case.name)
    made = identity(case, __version__)
    run = Run(case, place, made, workers or default_workers(), keep, scheduler, progress, began)
    with place.locked():
        try:
            return (_finished(run) if resume else None) or _carry_out(run, resume)
        except OSError as fault:
            raise RunFailure(
                f"cannot write {fault.filename or place.work}: {fault.strerror or fault}. Free space or choose "
                "--out; finished blocks are kept: run again with --resume."
            ) from None


def _finished(run: Run) -> RunResult | None:
    """The complete run that stands there already, if it is this one and every file of it is whole."""
    found = run.place.finished(run.identity, run.keep_trials)
    if found is None:
        return None
    said = found["run"]
    refused: dict[str, tuple[Fault, ...]] = dict(run.case.refused)
    if set(said["refused"]) != set(refused):
        _, refused = prepare_wells(run.case, run.workers, run.progress)
    run.progress.note(f"{run.case.name}: complete already")
    text = "\n".join([*said["verdicts"], str(run.place.final)])
    return RunResult(run.place.final, {**refused, **refused_again(run, refused)}, text)


def _carry_out(run: Run, resume: bool) -> RunResult:
    """The line of the model: wells fitted, blocks of trials, tables of every well, page, manifest."""
    case, place, folder, sizes = run.case, run.place, run.place.work, run.sizes
    place.open(run.identity, resume, [one.name for one in case.scenarios])
    store.remember()
    plans, refused = _fitted_wells(run)
    evaluate_absent_blocks(run, plans)
    under = scenario_runs(run, plans)
    there = [one for one in under if one.plans]

    from refracmc.commands.case_outputs import (
        extra_tables,
        report_data,
        tables_of_wells,
        verdicts,
        write_report,
        write_trials,
    )

    tables, over_wells = tables_of_wells(run, plans)
    if there:
        rows, totals = side_by_side(run, plans, (tables, over_wells), there)
        over_wells = {**over_wells, **extra_tables(totals, tables)}
        tables = {
            well: {**part, **extra_tables({"scenarios": rows[well]}, [well])} for well, part in tables.items()
        }
    data = report_data(run, plans, refused, tables, over_wells)
    if run.keep_trials:
        write_trials(plans, folder, sizes)
    run.progress.note(f"{case.name}: charts and page")
    write_report(data, folder, charts=case.outputs.charts, workers=run.workers)
    said = verdicts(data)

    remove_what_served_the_making(folder, plans.outlines, sizes)
    content = manifest_of(run, plans, refused, said, [one.run.scenario for one in there])
    store.write_json(folder / "manifest.json", manifest.sealed(content))
    place.finish()
    refused |= refused_under({one.run.scenario: one.refused for one in under})
    return RunResult(place.final, refused, "\n".join([*said, str(place.final)]))


def _fitted_wells(run: Run) -> tuple[StoredPlans, dict[str, tuple[Fault, ...]]]:
    """Plans of the wells that can run and the faults of the others. InputError where there is none to run."""
    alone = replace(run.case, scenarios=())  # the plans of the wells need none
    plans, refused = store_wells(alone, run.workers, run.progress, run.place.work)
    if not plans:
        shutil.rmtree(run.place.work)
        raise InputError([fault for faults in refused.values() for fault in faults])
    return plans, refused


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
        except (ValueError, ArithmeticError, MemoryError) as error:
            batch.failures.append((str(case.path), beyond_numbers(error)))
            continue
        batch.done.append(result)
        batch.refused.extend((str(case.path), well, faults) for well, faults in result.refused.items())
    return batch
