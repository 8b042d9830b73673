"""Check a case: what a run would do, and what stands in its way. Loads neither pandas nor what a run alone needs."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from refracmc.case.correlated_pairs import pairs_told
from refracmc.case.fixed_inputs import value_text
from refracmc.case.history_told import history_told
from refracmc.case.load import load_case
from refracmc.case.response_told import response_told
from refracmc.case.scenarios import changed_keys, refused_under
from refracmc.case.validated_case import Case
from refracmc.case.well_strategies import well_reach_ft
from refracmc.errors import Fault
from refracmc.measures import KEPT_MEASURES, PER_TRIAL
from refracmc.sampling.design_error import MIN_BLOCKS
from refracmc.sampling.streams import BLOCK_SIZE, blocks_of

BYTES_PER_WORKER = 350e6
"""Memory of one worker with libraries and block arrays, rounded up from measurement."""
BYTES_OF_TRIALS = 600e6
"""Most that one well's trials take while they are summarised and compared, whatever their number (measured)."""
BYTES_PER_WELL = 3e6
"""What this process holds of a well: plan, tables (measured, 49 strategies)."""


@dataclass(frozen=True)
class CheckReport:
    """What would run, in words, and the wells that would not."""

    text: str
    refused: dict[str, tuple[Fault, ...]]


def check_case(path: str | Path) -> CheckReport:
    """Validate a case and say what a run would do: wells, strategies, blocks, memory, disk.

    Raises InputError with every fault of the case file; faults of single wells are in the report.
    """
    case = load_case(path)
    blocks = blocks_of(case.sampling.trials)
    lines = [f"{case.name}: {case.title}", f"  data: {case.data_status}; {len(case.wells)} of "
             f"{len(case.wells) + len(case.refused)} wells can run"]  # fmt: skip
    most = 0
    for well in case.wells:
        months = well.settings.strategies.months
        chosen = well.settings.strategies
        sizes = max(len(chosen.sizes), 1)
        sized = f"sizes {', '.join(chosen.sizes)}, " if chosen.sizes else ""
        count = 1 + len(months) * len(chosen.all_orders) * sizes
        triggered = sizes * sum(
            len(trigger.orders or chosen.all_orders) for trigger in chosen.triggers.values()
        )
        count += triggered
        beyond = int((~well.tally.reachable(well_reach_ft(well))).sum())
        most = max(most, count)
        source = "type curve"
        if well.forecast == "history" and well.history is not None:
            source = f"{len(well.history)} months of history"
        lines.append(
            f"  {well.id}: {well.main_phase} well, {source}, {well.tally.count} sleeves, {count} strategies "
            f"({', '.join(well.settings.strategies.all_orders)} at {len(months)} dates from {months[0]} to "
            f"{months[-1]}, {sized}{f'{triggered} by triggers, ' if triggered else ''}and nothing)"
            + (f"; {beyond} sleeves beyond the reach of the tubing stay as they are" if beyond else "")
        )
        lines += [f"  {well.id}: warning: {text}" for text in well.warnings]
    lines += [f"  response: {sentence}" for sentence in response_told(case.wells)]
    lines += [f"  history: {sentence}" for sentence in history_told(case)]
    lines += [f"  correlation: {sentence}" for sentence in pairs_told(case)]
    lines += _scenario_lines(case)
    trials = case.sampling.trials
    disk = 8.0 * len(KEPT_MEASURES) * most * trials * max(len(case.wells), 1) * (1 + len(case.scenarios))
    held = min(3.0 * 8.0 * len(PER_TRIAL) * most * trials, BYTES_OF_TRIALS)
    peak = held + BYTES_PER_WELL * len(case.wells)
    lines.append(
        f"  {trials} trials ({case.sampling.design}, seed {case.sampling.seed}) in {len(blocks)} blocks a well; "
        f"{case.valuation.horizon_months} months; about {(BYTES_PER_WORKER + peak) / 1e9:.1f} GB of memory "
        f"and {disk / 1e6:.0f} MB on disk"
    )
    if case.sampling.design != "plain" and trials < MIN_BLOCKS * BLOCK_SIZE:
        lines.append(
            f"  errors: below {MIN_BLOCKS * BLOCK_SIZE} trials standard errors are upper bounds, too wide by a third "
            "as a rule, for means up to three times"
        )
    refused = {**case.refused, **refused_under({one.name: one.case.refused for one in case.scenarios})}
    return CheckReport("\n".join(lines), refused)


def _scenario_lines(case: Case) -> list[str]:
    """What each scenario changes, and what it leaves out of what the case states."""
    lines = []
    for one in case.scenarios:
        changes = ", ".join(f"{key} = {value_text(value)}" for key, value in changed_keys(one))
        lines.append(f"  scenario {one.name}: {changes}")
        told = set(pairs_told(one.case)) - set(pairs_told(case))
        lines += [f"  scenario {one.name}: correlation: {sentence}" for sentence in sorted(told)]
    return lines
