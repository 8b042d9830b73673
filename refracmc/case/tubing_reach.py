"""The reach of a well's coiled tubing: by force at the tool where [job.reach] is stated, and by a stated depth.

A screen; see `refracmc.job.reach`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from refracmc.case.faults import KeyPath, path_text
from refracmc.case.job_section import Job
from refracmc.case.reach_section import ReachForces
from refracmc.case.well_sections import Completion
from refracmc.errors import Fault
from refracmc.job import reach as model

if TYPE_CHECKING:
    from refracmc.job.sleeves import Tally

Array = NDArray[np.float64]
UNCERTAIN = (
    "friction_coefficient",
    "friction_reducer_factor",
    "fluid_density_lb_per_gal",
    "extended_reach_pull_lbf",
    "shift_force_lbf",
)


@dataclass(frozen=True, eq=False)
class ToolForces:
    """push, pull (N, n): available at the tool at each sleeve [lbf]; needed (n,): force that shifts a sleeve [lbf];
    reached (N, n): enough of what closes and of what opens, there and at all sleeves above."""

    push: Array
    pull: Array
    needed: Array
    reached: NDArray[np.bool_]


def tool_forces(
    asked: ReachForces, completion: Completion, tally: Tally, values: Mapping[str, Array]
) -> ToolForces:
    """Forces at every sleeve for trials (n,). values: those of `UNCERTAIN` by name. Raises ValueError for sizes or
    depths that do not fit, or that the completion does not state."""
    c = completion
    if c.casing_od_in is None or c.casing_wall_in is None or c.ct_od_in is None:
        raise ValueError("the sizes of casing and coiled tubing are not stated")
    heel = float(tally.depth_ft.min())
    start = heel if asked.lateral_start_md_ft is None else asked.lateral_start_md_ft
    well = model.profile(asked.true_vertical_depth_ft, start)
    made = model.string(
        c.ct_od_in,
        asked.ct_wall_in,
        c.casing_od_in - 2.0 * c.casing_wall_in,
        asked.ct_yield_psi,
        values["fluid_density_lb_per_gal"],
        asked.ct_weight_lb_per_ft,
    )
    friction = values["friction_coefficient"] * values["friction_reducer_factor"]
    depth = tally.depth_ft
    push = model.push_lbf(
        made, well, friction, depth, asked.injector_push_lbf, values["extended_reach_pull_lbf"]
    )
    surface = asked.yield_derate_fraction * made.yield_lbf
    pull = model.pull_lbf(made, well, friction, depth, surface)
    needed = values["shift_force_lbf"]
    there = push >= 0.0  # the tool has to get there before it can pull
    enough = there.copy()
    for way in {asked.closed_by, asked.opened_by}:
        enough &= (push if way == "push" else pull) >= needed
    return ToolForces(push, pull, needed, model.reached(enough))


def planned_forces(asked: ReachForces, completion: Completion, tally: Tally) -> ToolForces:
    """The forces the plan counts on, one column: friction at its stated exceedance, all else at its mean."""
    values = {name: np.array([float(getattr(asked, name).mean())]) for name in UNCERTAIN}
    share = 1.0 - asked.planned_friction_exceedance_percent / 100.0
    values["friction_coefficient"] = np.atleast_1d(
        np.asarray(asked.friction_coefficient.ppf(np.array([share])), dtype=float)
    )
    return tool_forces(asked, completion, tally, values)


def stated_reach_ft(completion: Completion | None, job: Job, tally: Tally | None) -> float | None:
    """Deepest measured depth the tubing works at [ft]: the stated reach, and no deeper than the deepest sleeve its
    force at the tool shifts (0: none). None: no limit."""
    if completion is None:
        return None
    if job.reach is None or tally is None:
        return completion.ct_reach_ft
    good = planned_forces(job.reach, completion, tally).reached[:, 0]
    by_force = float(tally.depth_ft[good].max()) if good.any() else 0.0
    return by_force if completion.ct_reach_ft is None else min(by_force, completion.ct_reach_ft)


def reach_faults(
    completion: Completion | None, job: Job, tally: Tally | None, well: str, file: str, prefix: KeyPath
) -> list[Fault]:
    """What stands against [job.reach] in a well: sizes not stated, a profile that cannot be, no sleeve in reach."""
    if job.reach is None or completion is None or tally is None:
        return []
    where = f"{file}: {path_text((*prefix, 'job', 'reach'))}"
    lacking = [
        name for name in ("casing_od_in", "casing_wall_in", "ct_od_in") if getattr(completion, name) is None
    ]
    if lacking:
        return [
            Fault(
                f"{file}: {path_text((*prefix, 'completion', lacking[0]))}",
                "nothing, though [job.reach] is stated",
                "the sizes of casing and coiled tubing",
                f"state {', '.join(lacking)}, or remove [job.reach]",
            )
        ]
    try:
        forces = planned_forces(job.reach, completion, tally)
    except ValueError as problem:
        allowed = "depths and sizes that fit together"
        return [Fault(where, str(problem), allowed, "correct depths or sizes")]
    if forces.reached.any():
        return []
    found = (
        f"at its shallowest sleeve the tool has {forces.push[-1, 0]:,.0f} lbf of push and "
        f"{forces.pull[-1, 0]:,.0f} lbf of pull; {forces.needed[0]:,.0f} lbf are needed"
    )
    return [Fault(where, found, "force for one sleeve at least", "check friction, tubing and shift force")]
