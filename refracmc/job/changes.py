"""Where a job changes its assembly and its coiled tubing string, planned where that costs least.

An assembly treats at most `stages_per_bha` stages; a string runs at most `string_life_ft` feet, runs in and
out of the hole included, before fatigue asks for another (running feet as the measure of bending cycles is
common practice, no source; no limit where it is None). A change may be made between any two steps of a plan:
the coiled tubing comes out from where it stands and goes back there, so a change at depth d costs 2 d feet of
travel and the hours at the surface. A change of string brings a new assembly with it.

`plan_changes` finds the set of changes of least hours, exactly: going through the steps it keeps, for each
number of stages on the assembly, every pair (hours so far, feet on the string) that no other pair beats in
both (tests compare with all subsets). Ties go to the earlier change.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from refracmc.job.machine import Changes, Plan
from refracmc.job.sleeves import PlanRefused

_EPSILON_FT = 1e-6


@dataclass(frozen=True)
class ChangeRules:
    """stages_per_bha [-]; string_life_ft [ft] or None; hours at the surface per change of the assembly and of
    the string [h]; ct_speed_ft_per_min [ft/min]; all expected values, the same in every trial."""

    stages_per_bha: int
    string_life_ft: float | None = None
    bha_change_hours: float = 6.0
    string_change_hours: float = 30.0
    ct_speed_ft_per_min: float = 50.0


@dataclass(frozen=True)
class _Label:
    """A way to have come so far: hours spent on changes, feet on the string, changes made."""

    hours: float
    feet: float
    changes: tuple[tuple[int, str], ...]


def _kept(labels: list[_Label]) -> list[_Label]:
    """Labels that no other beats in hours and feet; first of equals."""
    kept: list[_Label] = []
    for label in sorted(labels, key=lambda made: (made.hours, made.feet)):
        if not kept or label.feet < kept[-1].feet - _EPSILON_FT:
            kept.append(label)
    return kept


def plan_changes(plan: Plan, rules: ChangeRules) -> Changes:
    """Changes of least expected hours for a plan.

    Raises PlanRefused, naming the sleeve, where a string cannot reach it and come out within its life.
    """
    life = np.inf if rules.string_life_ft is None else rules.string_life_ft
    limited = rules.string_life_ft is not None
    per_ft = 1.0 / (60.0 * rules.ct_speed_ft_per_min)
    fronts: dict[int, list[_Label]] = {0: [_Label(0.0, 0.0, ())]}
    depth = 0.0
    last = ""
    for number, step in enumerate(plan.steps):
        ways: dict[int, list[_Label]] = {}
        free = step.action != "test" and depth > 0.0 and last != "open"
        last = step.action
        out_and_in = 2.0 * depth * per_ft
        for used, labels in fronts.items():
            for label in labels:
                ways.setdefault(used, []).append(label)
                if not free:
                    continue
                made = (*label.changes, (number, "bha"))
                hours = label.hours + rules.bha_change_hours + out_and_in
                if used:
                    feet = label.feet + 2.0 * depth if limited else 0.0
                    ways.setdefault(0, []).append(_Label(hours, feet, made))
                if limited and label.feet + depth <= life + _EPSILON_FT:
                    made = (*label.changes, (number, "string"))
                    hours = label.hours + rules.string_change_hours + out_and_in
                    ways.setdefault(0, []).append(_Label(hours, depth, made))
        moved = abs(step.depth_ft - depth)
        depth = step.depth_ft
        fronts = {}
        for used, labels in ways.items():
            after = used + (step.action == "treat")
            if after > rules.stages_per_bha:
                continue
            for label in labels:
                feet = label.feet + moved if limited else 0.0
                if feet + depth <= life + _EPSILON_FT:
                    fronts.setdefault(after, []).append(_Label(label.hours, feet, label.changes))
        fronts = {used: _kept(labels) for used, labels in fronts.items()}
        if not fronts:
            raise PlanRefused(
                f"sleeve {step.sleeve} cannot be worked within a string life of {life:,.0f} ft; a run there and "
                "back is longer",
                step.sleeve,
            )
    best = min((label for labels in fronts.values() for label in labels), key=lambda made: made.hours)
    depths = [0.0, *(step.depth_ft for step in plan.steps)]
    return Changes(
        before_step=tuple(number for number, _ in best.changes),
        kinds=tuple(kind for _, kind in best.changes),
        travel_ft=float(sum(2.0 * depths[number] for number, _ in best.changes)),
    )


def with_changes(plan: Plan, rules: ChangeRules) -> Plan:
    """The plan with its changes of assembly and string planned by `rules` (hours, ft)."""
    return replace(plan, changes=plan_changes(plan, rules))
