"""What an isolation method is made of: its section of the case, its plan, its simulation and its steps."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from refracmc.job.log import LogRow
from refracmc.job.luck import BlockLuck
from refracmc.job.sleeves import BoolArray, FloatArray, IntArray, PlanRefused, Tally

Terms = Mapping[str, FloatArray]
"""A method's uncertain inputs by key, each (n,) in the unit of its name."""
OPEN = ("open", "stuck_open", "perforated")
"""States on record of sleeves that take fluid."""


@dataclass(frozen=True)
class Key:
    """A key of a method's section. kind: uncertain (a number or a distribution), number, integer, or sleeves (a list of
    sleeve numbers, all open ones where absent); low, high: allowed range, its low end excluded with `above`."""

    name: str
    default: Any
    unit: str
    meaning: str
    low: float = -np.inf
    high: float = np.inf
    above: bool = False
    source: str = ""
    kind: str = "uncertain"


@dataclass(frozen=True, eq=False)
class MethodPlan:
    """What a method does in every trial.

    kind : name of the method; sleeves : numbers of the sleeves it treats, in order; depth_ft : (N,) depths [ft];
    bottom_ft : how deep the tubing runs [ft]; treatable : number of sleeves a stage could be pumped through;
    settings : its fixed keys; stages : number of stages, 0 where each sleeve is one; stage_of : (N,) stage of
    each sleeve from 0 at the toe, None where each sleeve is one.
    """

    kind: str
    sleeves: tuple[int, ...]
    depth_ft: FloatArray
    bottom_ft: float
    treatable: int
    settings: Mapping[str, Any]
    stages: int = 0
    stage_of: IntArray | None = None

    @property
    def rows(self) -> IntArray:
        """Indices of the sleeves it treats."""
        return np.array(self.sleeves) - 1


@dataclass(frozen=True, eq=False)
class MethodWork:
    """What a method does and leaves in each trial, (N, n) unless marked.

    treated; placed : volume placed [stages]; effect : effectiveness; kept : share of old production kept; volumes (n,):
    stage volumes pumped; usd (n,): its cost beside that of any job [US$]; measured (N,): the sleeves over which its
    effect is averaged. With tubing and without: hours (n,) by part [h]; days_before (n,): on the workover rig [days].
    set_up (n,): false where it is called off; crew_waits: the pumping crew is on location while the tubing works.
    sets, screened: for its steps; tries, screenouts, trips (n,).
    """

    treated: BoolArray
    placed: FloatArray
    effect: FloatArray
    kept: FloatArray
    volumes: IntArray
    usd: FloatArray
    measured: BoolArray
    with_tubing: dict[str, FloatArray] = field(default_factory=dict)
    without: dict[str, FloatArray] = field(default_factory=dict)
    days_before: FloatArray | None = None
    set_up: BoolArray | None = None
    crew_waits: bool = False
    sets: IntArray | None = None
    screened: BoolArray | None = None
    tries: IntArray | None = None
    screenouts: IntArray | None = None
    trips: IntArray | None = None


@dataclass(frozen=True, eq=False)
class Done:
    """What happened in one trial, or is planned to, (N,) unless marked: treated, sets, screened, trip, factor of a
    stage's hours; volumes, set_up, stuck and casing_failed are single."""

    treated: BoolArray
    sets: IntArray
    screened: BoolArray
    trip: BoolArray
    factor: FloatArray
    volumes: int
    set_up: bool = True
    stuck: bool = False
    casing_failed: bool = False


class Steps:
    """Rows of a timeline in time order, on the calendar of the job."""

    def __init__(self, values: Mapping[str, float]) -> None:
        self.rows: list[LogRow] = []
        self.clock = self.depth = self.work = 0.0
        self.calendar = 24.0 / values["work_hours_per_day"]
        self.speed = 60.0 * values["ct_speed_ft_per_min"]

    def add(
        self, action: str, work: float, outcome: str = "done", sleeve: int | None = None, tries: int = 0
    ) -> None:
        """A step of so many hours of work [h]."""
        hours = work * self.calendar
        self.rows.append(
            LogRow(len(self.rows) + 1, action, sleeve, self.depth, tries, outcome, self.clock, hours, work)
        )
        self.clock += hours
        self.work += work

    def aside(self, action: str, days: float) -> None:
        """A row of so many days outside the work [days]."""
        hours = 24.0 * days
        self.rows.append(LogRow(len(self.rows) + 1, action, None, 0.0, 0, "done", self.clock, hours, 0.0))
        self.clock += hours

    def run(self, action: str, depth: float, sleeve: int | None = None) -> None:
        """Move the tubing to a depth [ft]."""
        feet, self.depth = abs(depth - self.depth), depth
        self.add(action, feet / self.speed, sleeve=sleeve)


@dataclass(frozen=True)
class Method:
    """An isolation method: name; meaning of its section; keys; plan(tally, reach_ft, settings); simulate(plan, block,
    terms); volumes(plan, terms): stage volumes pumped; steps(steps, plan, inputs, terms, done) writes its timeline;
    luck: draws of `JobLuck` that it alone asks for; feels_stress: its stages feel those treated before them."""

    name: str
    meaning: str
    keys: tuple[Key, ...]
    plan: Callable[[Tally, float | None, Mapping[str, Any]], MethodPlan]
    simulate: Callable[[MethodPlan, BlockLuck, Terms], MethodWork]
    volumes: Callable[[MethodPlan, Mapping[str, Any]], Any]
    steps: Callable[[Steps, MethodPlan, Mapping[str, float], Mapping[str, float], Done], None]
    feels_stress: bool = True
    luck: tuple[str, ...] = ()

    def settings(self, stated: Mapping[str, Any]) -> dict[str, Any]:
        """Its fixed keys, as stated or by default, each in the unit of its name."""
        return {key.name: stated.get(key.name, key.default) for key in self.keys if key.kind != "uncertain"}


def only_where_open(chosen: tuple[int, ...], name: str) -> tuple[int, ...]:
    """The sleeve numbers, unless there are none: then PlanRefused."""
    if not chosen:
        raise PlanRefused(f"no sleeve is open for the method '{name}'")
    return chosen
