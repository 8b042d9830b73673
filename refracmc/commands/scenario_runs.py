"""The scenarios of a case: each run beside the case on the same trials, then all side by side."""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

from refracmc.case.scenarios import BASE, Refused, refused_under
from refracmc.commands.run_parts import (
    Run,
    evaluate_absent_blocks,
    manifest_of,
    remove_what_served_the_making,
)
from refracmc.decisions.input_changes import InputsByWell, input_changes
from refracmc.decisions.input_tables import input_rows
from refracmc.decisions.side_by_side import WellUnder, scenario_rows
from refracmc.engine import manifest, store
from refracmc.engine.fitted_wells import planned_wells, wells_under
from refracmc.engine.stored_plans import StoredPlans
from refracmc.engine.trials import stored_measures
from refracmc.sampling.estimators import mean_with_error

Row = dict[str, Any]
if TYPE_CHECKING:
    from refracmc.reporting.tables_by_well import Part


@dataclass(frozen=True, eq=False)
class ScenarioRun:
    """The run of a scenario. plans: of the wells that can run; refused: faults of those that run in the case alone."""

    run: Run
    plans: StoredPlans
    refused: Refused


def scenario_runs(run: Run, plans: StoredPlans) -> list[ScenarioRun]:
    """The runs of a case's scenarios that have a well to run, with their blocks; plans: of the case itself."""
    made = []
    for scenario in run.case.scenarios:
        one = ScenarioRun(run.under(scenario), *wells_under(scenario.case, plans, run.workers))
        made.append(one)
        if one.plans:
            evaluate_absent_blocks(one.run, one.plans)
        else:
            shutil.rmtree(one.run.folder)
    return made


def refused_again(run: Run, refused: Refused) -> Refused:
    """As `refused_under` of the runs of a case that is finished; refused: wells that do not run in the case itself."""
    runs = {one.name: planned_wells(one.case, run.workers)[1] for one in run.case.scenarios}
    return refused_under(
        {
            name: {well: faults for well, faults in found.items() if well not in refused}
            for name, found in runs.items()
        }
    )


def tables_of_scenario(one: ScenarioRun) -> tuple[dict[str, Part], Part]:
    """Write summary and tables of a scenario's run; returns the tables by well, and those over wells."""
    from refracmc.commands.case_outputs import (
        report_data,
        tables_of_wells,
        verdicts,
        write_tables,
        write_trials,
    )
    from refracmc.decisions.well_tables import OF_TRIALS

    run, plans = one.run, one.plans
    tables, over_wells = tables_of_wells(run, plans, OF_TRIALS)
    data = report_data(run, plans, one.refused, tables, over_wells)
    write_tables(data, run.folder)
    if run.keep_trials:
        write_trials(plans, run.folder, run.sizes)
    content = manifest_of(run, plans, one.refused, verdicts(data))
    store.write_json(run.folder / "manifest.json", manifest.sealed(content))
    return tables, over_wells


def side_by_side(
    run: Run, plans: StoredPlans, tables: tuple[dict[str, Part], Part], runs: Sequence[ScenarioRun]
) -> tuple[dict[str, list[Row]], dict[str, list[Row]]]:
    """Rows of the table of scenarios by well, and those of the tables over wells of a case with scenarios.

    tables: of the case itself, by well and over wells. The blocks still stand.
    """
    every = [(ScenarioRun(run, plans, {}), tables), *((one, tables_of_scenario(one)) for one in runs)]
    rows = _rows_of_wells(run, [(one, of_wells) for one, (of_wells, _) in every])
    totals = [
        {"scenario": one.run.scenario or BASE, **row}
        for one, (_, over_wells) in every
        if "portfolio_total" in over_wells
        for row in over_wells["portfolio_total"].to_pylist()
    ]
    before, changes = InputsByWell(input_rows(run.case, plans.outlines)), []
    for one in runs:
        after = InputsByWell(input_rows(one.run.case, one.plans.outlines))
        wells = [plan.id for plan in one.plans.outlines]
        changes += [{"scenario": one.run.scenario, **row} for row in input_changes(before, after, wells)]
        remove_what_served_the_making(one.run.folder, one.plans.outlines, run.sizes)
    return rows, {"scenario_totals": totals, "scenario_inputs": changes}


def _rows_of_wells(run: Run, every: Sequence[tuple[ScenarioRun, Mapping[str, Part]]]) -> dict[str, list[Row]]:
    """Rows of the table of scenarios by well; every: the case, then its scenarios, each with its tables by well."""
    found: dict[str, list[WellUnder]] = {}
    for one, tables in every:
        for plan in one.plans.outlines:
            decision, verdict = (tables[plan.id][key].to_pylist()[0] for key in ("decision", "verdicts"))
            inc = stored_measures(plan, one.run.folder, run.sizes)["incremental_npv"]
            under = WellUnder(one.run.scenario or BASE, decision, verdict, plan.names, inc)
            found.setdefault(plan.id, []).append(under)
    error_of = partial(_mean_with_error, run)
    return {well: scenario_rows(base, others, error_of) for well, (base, *others) in found.items()}


def _mean_with_error(run: Run, values: Any) -> tuple[float, float]:
    got = mean_with_error(values, run.sizes, run.case.sampling.design)
    return float(got.value), float(got.se)
