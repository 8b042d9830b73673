"""The one well that a command is asked for: its plan, or why there is none."""

from __future__ import annotations

from refracmc.case.validated_case import Case, WellCase
from refracmc.engine.plan import WellPlan, build_plan
from refracmc.engine.well_fit import fit_well
from refracmc.errors import Fault, InputError
from refracmc.job.sleeves import PlanRefused
from refracmc.production.fit import FitRefused


def refuse(where: str, found: str, allowed: str, remedy: str) -> InputError:
    """An input error of one fault."""
    return InputError([Fault(where=where, found=found, allowed=allowed, remedy=remedy)])


def well_of(case: Case, name: str) -> tuple[int, WellCase]:
    """Number and well of that id; InputError if it is not there or refused."""
    for number, well in enumerate(case.wells):
        if well.id == name:
            return number, well
    if name in case.refused:
        raise InputError(case.refused[name], well=name)
    listed = ", ".join(well.id for well in case.wells)
    raise refuse(
        f"{case.path.name}: --well", f"'{name}'", f"a well of the case: {listed}", "name one of them"
    )


def under_scenario(case: Case, name: str | None) -> Case:
    """The case, or the same under one of its scenarios; InputError where it has none of that name."""
    if name is None:
        return case
    found = {one.name: one.case for one in case.scenarios}
    if name not in found:
        allowed = (
            f"a scenario of the case: {', '.join(found)}" if found else "none: the case has no scenarios"
        )
        raise refuse(
            f"{case.path.name}: --scenario", f"'{name}'", allowed, "name one of them, or leave it out"
        )
    return found[name]


def plan_of(case: Case, name: str) -> WellPlan:
    """The plan of one well of the case; InputError if it cannot run."""
    number, well = well_of(case, name)
    try:
        return build_plan(case, well, number, fit_well(case, well))
    except (FitRefused, PlanRefused) as error:
        where = f"{case.path.name}: wells.{name}"
        fault = Fault(where, str(error), "a well that can run", "see `refracmc check`")
        raise InputError(case.with_line(fault)) from None
