"""Where a job changes its assembly and its coiled tubing string, planned where that costs least.

An assembly treats at most `stages_per_bha` stages. A string has two limits, and the one that binds first asks for
another: it runs at most `string_life_ft` feet, runs in and out of the hole included, and none of its parts is bent
more often than `string_life_trips` trips bend it (no limit where None). The part that is x feet above the tool goes
over gooseneck and reel whenever the tool passes depth x: once in and once out in a trip to below x, and once in every
move past x. So moves up and down the lateral wear the same few hundred feet (low-cycle fatigue is that of bending
over reel and gooseneck at internal pressure: common practice, no source; the life in trips is stated for the
pressure of the job). Bending events of a part are its passages; a trip has two.

A change may be made between any two steps of a plan: the coiled tubing comes out from where it stands and goes back
there, so a change at depth d costs 2 d feet of travel, two passages of all parts up to d, and the hours at the surface.
A change of string brings a new assembly with it.

`plan_changes` finds the set of changes of least hours, exactly: going through the steps it keeps, for each number
of stages on the assembly, every way so far that no other beats in hours, feet on the string and passages of every
part (tests compare with all subsets). Ties go to the earlier change.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from refracmc.job.machine import Changes, Plan
from refracmc.job.sleeves import IntArray, PlanRefused

_EPSILON_FT = 1e-6


@dataclass(frozen=True)
class ChangeRules:
    """stages_per_bha [-]; string_life_ft [ft] and string_life_trips [trips] or None; hours at the surface per change
    of the assembly and of the string [h]; ct_speed_ft_per_min [ft/min]; the same in every trial."""

    stages_per_bha: int
    string_life_ft: float | None = None
    bha_change_hours: float = 6.0
    string_change_hours: float = 30.0
    ct_speed_ft_per_min: float = 50.0
    string_life_trips: float | None = None


@dataclass(frozen=True)
class _Label:
    """A way to have come so far: hours spent on changes, feet on the string, changes made, and passages of the parts
    that the path of the plan does not explain: those by assembly changes, less those of strings that are gone."""

    hours: float
    feet: float
    changes: tuple[tuple[int, str], ...]
    passages: IntArray | None = None


def _kept(labels: list[_Label]) -> list[_Label]:
    """Labels that no other beats in hours, feet and passages; first of equals."""
    kept: list[_Label] = []
    for label in sorted(labels, key=lambda made: (made.hours, made.feet)):
        if label.passages is None:
            if not kept or label.feet < kept[-1].feet - _EPSILON_FT:
                kept.append(label)
            continue
        if not any(
            other.feet <= label.feet + _EPSILON_FT
            and other.passages is not None
            and (other.passages <= label.passages).all()
            for other in kept
        ):
            kept.append(label)
    return kept


class _Wear:
    """Passages over gooseneck and reel by part of the string: (K,) parts between the depths of the plan. Nothing
    where there is no limit."""

    def __init__(self, plan: Plan, life_trips: float | None) -> None:
        ends = np.unique([0.0, *(step.depth_ft for step in plan.steps)])
        self.on = life_trips is not None
        self.deep = ends[1:]
        self.path: IntArray = np.zeros(self.deep.size, dtype=np.int64)
        self.most = 2.0 * (life_trips or 0.0) + 1e-9

    def start(self) -> IntArray | None:
        """Passages of a new string at the surface beyond those of the path."""
        return np.zeros_like(self.path) if self.on else None

    def move(self, depth: float, to: float) -> None:
        """The tool goes from one depth to another [ft]."""
        self.path = self.path + ((self.deep > min(depth, to)) & (self.deep <= max(depth, to)))

    def bears(self, passages: IntArray | None, depth: float) -> bool:
        """Whether the string can still come out from a depth [ft] within its life."""
        if passages is None:
            return True
        return bool((self.path + passages + (self.deep <= depth)).max() <= self.most)

    def changed(self, passages: IntArray | None, depth: float, kind: str) -> IntArray | None:
        """Passages after a change at a depth [ft]: of the assembly on the same string, or of the string."""
        if passages is None:
            return None
        above = self.deep <= depth
        return passages + 2 * above if kind == "bha" else above - self.path


def plan_changes(plan: Plan, rules: ChangeRules) -> Changes:
    """Changes of least expected hours for a plan.

    Raises PlanRefused, naming the sleeve, where a string cannot reach it and come out within its life.
    """
    life = np.inf if rules.string_life_ft is None else rules.string_life_ft
    measured = rules.string_life_ft is not None
    wear = _Wear(plan, rules.string_life_trips)
    limited = measured or wear.on
    per_ft = 1.0 / (60.0 * rules.ct_speed_ft_per_min)
    fronts: dict[int, list[_Label]] = {0: [_Label(0.0, 0.0, (), wear.start())]}
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
                    feet = label.feet + 2.0 * depth if measured else 0.0
                    worn = wear.changed(label.passages, depth, "bha")
                    ways.setdefault(0, []).append(_Label(hours, feet, made, worn))
                fit = label.feet + depth <= life + _EPSILON_FT and wear.bears(label.passages, depth)
                if limited and fit:
                    made = (*label.changes, (number, "string"))
                    hours = label.hours + rules.string_change_hours + out_and_in
                    worn = wear.changed(label.passages, depth, "string")
                    ways.setdefault(0, []).append(_Label(hours, depth if measured else 0.0, made, worn))
        moved = abs(step.depth_ft - depth)
        wear.move(depth, step.depth_ft)
        depth = step.depth_ft
        fronts = {}
        for used, labels in ways.items():
            after = used + (step.action == "treat")
            if after > rules.stages_per_bha:
                continue
            for label in labels:
                feet = label.feet + moved if measured else 0.0
                if feet + depth <= life + _EPSILON_FT and wear.bears(label.passages, depth):
                    fronts.setdefault(after, []).append(
                        _Label(label.hours, feet, label.changes, label.passages)
                    )
        fronts = {used: _kept(labels) for used, labels in fronts.items()}
        if not fronts:
            raise PlanRefused(
                f"sleeve {step.sleeve} cannot be worked within a string life of {_life(rules)}; a run there and "
                "back takes more",
                step.sleeve,
            )
    best = min((label for labels in fronts.values() for label in labels), key=lambda made: made.hours)
    depths = [0.0, *(step.depth_ft for step in plan.steps)]
    return Changes(
        before_step=tuple(number for number, _ in best.changes),
        kinds=tuple(kind for _, kind in best.changes),
        travel_ft=float(sum(2.0 * depths[number] for number, _ in best.changes)),
    )


def _life(rules: ChangeRules) -> str:
    """The limits of a string in words."""
    stated = ((rules.string_life_ft, "ft"), (rules.string_life_trips, "trips"))
    return " and ".join(f"{value:,.10g} {unit}" for value, unit in stated if value is not None)


def with_changes(plan: Plan, rules: ChangeRules) -> Plan:
    """The plan with its changes of assembly and string planned by `rules` (hours, ft)."""
    return replace(plan, changes=plan_changes(plan, rules))
