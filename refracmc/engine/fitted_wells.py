"""Wells made ready to run: every decline fitted, every job planned, and what cannot run told with its reason."""

from __future__ import annotations

from pathlib import Path

from refracmc.case.history_file import SEGMENT_REMEDY
from refracmc.case.validated_case import Case
from refracmc.case.well_strategies import Strategy
from refracmc.errors import Fault
from refracmc.job.sleeves import PlanRefused
from refracmc.production.fit import FitRefused, Posterior

from .executors import START, run_tasks
from .plan import WellOutline, WellPlan, build_plan
from .progress import Silent
from .stored_plans import FitOutline, StoredPlans, write_posterior
from .well_fit import Priors, fit_well, pooled_priors


def _fault_of(case: Case, well: str, error: Exception) -> Fault:
    where = f"{case.path.name}: wells.{well}"
    if isinstance(error, FitRefused):
        return Fault(
            where=f"{where}.history",
            found=f"a history that no decline can be fitted to ({error})",
            allowed="a declining history of four producing months or more, or a type curve",
            remedy=f"{SEGMENT_REMEDY}, or state [wells.type_curve]",
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
        from refracmc.production.weighted_points import load_sequences

        load_sequences()
    elif which == _CASH:
        from .cash_loop import warm
    else:
        from refracmc.production.forms.modified_hyperbolic import warm as warm_curves

        from .job_runs import warm

        warm_curves()
    warm()


_FitState = tuple[Case, Priors, Path | None]
_Fit = tuple[tuple[Strategy, ...], Posterior | FitOutline | None]
"""Strategies of a well, and its posterior: whole, in outline where it is kept on disk, None for a type curve."""


def _fit_task(state: _FitState, number: int) -> _Fit | FitRefused | PlanRefused | None:
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


def _fit_all(
    case: Case, workers: int, progress: Silent, folder: Path | None
) -> tuple[dict[int, _Fit], dict[str, tuple[Fault, ...]]]:
    """Fits by the well's number, and the faults of the wells that cannot run."""
    numbers = list(range(len(case.wells)))
    progress.start(f"{case.name}: fitting", len(numbers))
    fits: dict[int, _Fit] = {}
    refused = dict(case.refused)
    first = [_CASH, _JOBS]
    if any(well.forecast == "history" for well in case.wells):
        _compile(_FIT)  # at once, lest every worker compile it at its first well
    state = (case, pooled_priors(case), folder)
    once: dict[tuple[Strategy, ...], tuple[Strategy, ...]] = {}
    for number, made in run_tasks(_fit_task, state, first + numbers, workers):
        if isinstance(made, tuple):  # wells with the same strategies hold them once
            fits[number] = (once.setdefault(made[0], made[0]), made[1])
        elif made is not None:
            well = case.wells[number].id
            refused[well] = (case.with_line(_fault_of(case, well, made)),)
        if number >= 0:
            progress.step()
    order = {well.id: k for k, well in enumerate(case.wells)}
    refused = dict(sorted(refused.items(), key=lambda pair: order.get(pair[0], -1)))
    return {number: fits[number] for number in numbers if number in fits}, refused


def _strategies_task(case: Case, number: int) -> tuple[Strategy, ...] | PlanRefused:
    try:
        return build_plan(case, case.wells[number], number, None).strategies
    except PlanRefused as error:
        return error


def planned_wells(
    case: Case, workers: int
) -> tuple[dict[str, tuple[Strategy, ...]], dict[str, tuple[Fault, ...]]]:
    """Strategies by the well's id, without a fit, and the faults of the wells whose jobs cannot be planned."""
    strategies: dict[str, tuple[Strategy, ...]] = {}
    refused = dict(case.refused)
    for number, made in run_tasks(_strategies_task, case, range(len(case.wells)), workers):
        well = case.wells[number].id
        if isinstance(made, PlanRefused):
            refused[well] = (case.with_line(_fault_of(case, well, made)),)
        else:
            strategies[well] = made
    return strategies, refused


def wells_under(
    case: Case, base: StoredPlans, workers: int
) -> tuple[StoredPlans, dict[str, tuple[Fault, ...]]]:
    """The wells of a run under a scenario of its case, with the fits that they have, and the faults of the others.

    No key of a scenario moves a fit. A well keeps its number; one that does not run without the scenario is left out.
    """
    strategies, refused = planned_wells(case, workers)
    there = {outline.id for outline in base.outlines}
    refused = {well: faults for well, faults in refused.items() if well in there}
    kept = [k for k, outline in enumerate(base.outlines) if outline.id in strategies]
    outlines = [
        WellOutline(
            case, case.well(base.outlines[k].id), base.outlines[k].number, strategies[base.outlines[k].id]
        )
        for k in kept
    ]
    return StoredPlans(case, base.folder, outlines, [base.fits[k] for k in kept]), refused


def prepare_wells(
    case: Case, workers: int, progress: Silent
) -> tuple[list[WellPlan], dict[str, tuple[Fault, ...]]]:
    """Plans of all wells that can run, and the faults of those that cannot."""
    fits, refused = _fit_all(case, workers, progress, None)
    plans = [
        build_plan(case, case.wells[number], number, posterior)
        for number, (_, posterior) in fits.items()
        if not isinstance(posterior, FitOutline)
    ]
    return plans, refused


def store_wells(
    case: Case, workers: int, progress: Silent, folder: Path
) -> tuple[StoredPlans, dict[str, tuple[Fault, ...]]]:
    """As `prepare_wells`, with the posteriors kept in `folder` and the plans built when asked for."""
    fits, refused = _fit_all(case, workers, progress, folder)
    if START == "fork":
        for code in (_CASH, _JOBS):  # the workers that evaluate blocks inherit what is loaded here
            _compile(code)
    outlines = [
        WellOutline(case, case.wells[number], number, strategies) for number, (strategies, _) in fits.items()
    ]
    told = [fit if isinstance(fit, FitOutline) else None for _, fit in fits.values()]
    return StoredPlans(case, folder, outlines, told), refused
