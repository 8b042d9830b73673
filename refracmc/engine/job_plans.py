"""The job of a well by order and by isolation method: planned steps, and which stage bears the stress of which."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refracmc.case.job_section import Job
from refracmc.case.validated_case import WellCase
from refracmc.case.well_strategies import method_plan, order_sleeves, well_reach_ft
from refracmc.job.changes import ChangeRules, with_changes
from refracmc.job.machine import Plan
from refracmc.job.methods import METHODS, MethodPlan
from refracmc.job.planner import plan as plan_job_steps
from refracmc.production.stress import pair_contrast, pair_normal, treated_before

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class OrderPlan:
    """The job's plan for one order and its stress matrices (stages treated before each stage)."""

    job: Plan
    normal_before: Array
    contrast_before: Array


@dataclass(frozen=True, eq=False)
class MethodOrder:
    """An isolation method beside reclosed sleeves, and its stress matrices (None: no stage before another)."""

    method: MethodPlan
    normal_before: Array | None
    contrast_before: Array | None


def change_rules(job: Job) -> ChangeRules:
    """What a change of assembly and string takes, expected values; of the life in trips the low one, P90."""
    trips = job.ct_string_life_trips
    return ChangeRules(
        stages_per_bha=job.stages_per_bha,
        string_life_ft=job.ct_string_life_ft,
        bha_change_hours=float(job.bha_change_hours.mean()),
        string_change_hours=float(job.string_change_hours.mean()),
        ct_speed_ft_per_min=float(job.ct_speed_ft_per_min.mean()),
        string_life_trips=None if trips is None else float(np.ravel(trips.ppf([0.1]))[0]),
    )


def _stress_pairs(well: WellCase) -> tuple[Array, Array]:
    """Stress matrices (N, N) of all pairs of sleeves: normal change, fall of the contrast."""
    depth, stress = well.tally.depth_ft, well.settings.stress
    normal = pair_normal(depth, stress.half_height_ft, stress.crack)
    return normal, pair_contrast(depth, stress.half_height_ft, stress.poisson_ratio, stress.crack)


def order_plan(
    well: WellCase, sleeves: tuple[int, ...], pairs: tuple[Array, Array] | None = None
) -> OrderPlan:
    """The job of one order (sleeve numbers) and its stress matrices. Raises PlanRefused naming the sleeve.

    pairs: stress matrices (N, N) of all pairs of the well's sleeves, where they are known.
    """
    settings, tally = well.settings, well.tally
    chosen, reach = settings.strategies, well_reach_ft(well)
    job = plan_job_steps(
        tally, sleeves, chosen.close_policy, chosen.reclose_habit, reach, chosen.leaking_sleeve
    )
    if settings.job.trip_planning == "least_cost":
        job = with_changes(job, change_rules(settings.job))
    before = treated_before(sleeves, tally.count)
    normal, contrast = _stress_pairs(well) if pairs is None else pairs
    return OrderPlan(job, normal * before, contrast * before)


def _method_order(well: WellCase, name: str, pairs: tuple[Array, Array]) -> MethodOrder:
    method = method_plan(well.settings.strategies, well.tally, name, well_reach_ft(well))
    if not METHODS[name].feels_stress:
        return MethodOrder(method, None, None)
    before = treated_before(method.sleeves, well.tally.count)
    if method.stage_of is not None:  # the sleeves of one stage are treated at once
        before *= method.stage_of[None, :] < method.stage_of[:, None]
    return MethodOrder(method, pairs[0] * before, pairs[1] * before)


def job_plans(well: WellCase) -> tuple[dict[str, OrderPlan], dict[str, MethodOrder]]:
    """Plans of the well's orders and of its isolation methods, by name. Raises PlanRefused naming the sleeve."""
    chosen, pairs, reach = well.settings.strategies, _stress_pairs(well), well_reach_ft(well)
    orders = {
        name: order_plan(well, order_sleeves(chosen, well.tally, name, reach), pairs)
        for name in chosen.orders
    }
    return orders, {name: _method_order(well, name, pairs) for name in chosen.methods.names}
