"""What a case as it stands and under a scenario have alike: blocks, manifest, and what goes in the end."""

from __future__ import annotations

import platform
import shutil
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from refracmc.case.validated_case import Case, Scenario
from refracmc.engine import manifest, run_folder, store
from refracmc.engine.blocks import absent_blocks, evaluate_blocks
from refracmc.engine.plan import WellOutline
from refracmc.engine.progress import Silent
from refracmc.engine.stored_plans import PASSING, StoredPlans
from refracmc.errors import Fault
from refracmc.interrupts import held
from refracmc.measures import KEPT_MEASURES
from refracmc.portfolio.finished_run import FACTS, facts_of, facts_of_well
from refracmc.sampling.streams import blocks_of


@dataclass(frozen=True)
class Run:
    """One case on its way, or the same under one of its scenarios.

    identity: what decides the bytes of the blocks; began: seconds since the epoch; scenario: its name, "" for the case
    as it stands.
    """

    case: Case
    place: run_folder.RunFolder
    identity: dict[str, Any]
    workers: int
    keep_trials: bool
    scheduler: str | None
    progress: Silent
    began: float
    scenario: str = ""

    @property
    def sizes(self) -> list[int]:
        """Trials of each block."""
        return blocks_of(self.case.sampling.trials)

    @property
    def folder(self) -> Path:
        """Where it stands while it is made."""
        return self.place.of_scenario(self.scenario) if self.scenario else self.place.work

    @property
    def name(self) -> str:
        """What the progress calls it."""
        return f"{self.case.name}: scenario {self.scenario}" if self.scenario else self.case.name

    def under(self, scenario: Scenario) -> Run:
        """The run of the case under one of its scenarios."""
        identity = {**self.identity, "scenario": scenario.name}
        return replace(self, case=scenario.case, identity=identity, scenario=scenario.name)


def evaluate_absent_blocks(run: Run, plans: StoredPlans) -> None:
    """Evaluate and store the blocks that do not stand in the folder of the run, whole."""
    folder, sizes = run.folder, run.sizes
    total, sent = len(sizes) * len(plans), run.scheduler is not None
    tasks = absent_blocks(plans.outlines, folder, len(sizes), run.workers, sent)
    run.progress.start(f"{run.name}: blocks", total, total - sum(len(wells) for _, wells in tasks))
    if not tasks:
        return
    done = evaluate_blocks(plans, folder, sizes, tasks, run.workers, run.scheduler, run.progress.note)
    for _ in done:
        _load_reporting(run.case.outputs.charts)
        run.progress.step()


def _load_reporting(charts: bool) -> None:
    """Import what the tables and charts need while the workers are at their blocks: a second for every process."""
    with held():
        import refracmc.commands.case_outputs

        if charts:
            import refracmc.reporting.charts  # noqa: F401


def remove_what_served_the_making(folder: Path, plans: Sequence[WellOutline], sizes: list[int]) -> None:
    """Posteriors and the block files that a finished run does not keep."""
    if (folder / PASSING).exists():  # wells with a history have fits there
        shutil.rmtree(folder / PASSING)
    for plan in plans:
        for block in range(len(sizes)):
            for kind in store.PASSING_KINDS:
                store.block_path(folder, plan.number, block, kind).unlink(missing_ok=True)


def manifest_of(
    run: Run,
    plans: StoredPlans,
    refused: dict[str, tuple[Fault, ...]],
    said: list[str],
    scenarios: Sequence[str] = (),
) -> dict[str, Any]:
    """Everything of the finished folder that is not a number of the case; its files have to stand there by now.

    said: the advice; scenarios: those that ran.
    """
    case, sizes = run.case, run.sizes
    wells = [
        {
            "well": plan.id,
            "number": plan.number,
            "main_phase": plan.well.main_phase,
            "strategies": list(plan.names),
            **facts_of_well(plan.well),
            "fit": {} if fit is None else dict(fit.diagnostics),
        }
        for plan, fit in zip(plans.outlines, plans.fits, strict=True)
    ]
    return {
        "run": {
            **run.identity,
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
            FACTS: facts_of(case),
            "refused": {well: [str(fault) for fault in faults] for well, faults in sorted(refused.items())},
            **({"scenarios": list(scenarios)} if scenarios else {}),
            "keep_trials": run.keep_trials,
            "percentiles": "exceedance: P90 low, P10 high",
            "verdicts": said,
            "files": manifest.file_digests(run.folder),
        },
        "host": {
            "finished": datetime.now(UTC).isoformat(timespec="seconds"),
            "seconds": round(time.time() - run.began, 3),
            "workers": run.workers,
            "machine": platform.machine(),
            "system": platform.platform(),
            "python": sys.version.split()[0],
            "pandas": version("pandas"),
        },
    }
