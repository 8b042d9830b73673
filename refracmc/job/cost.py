"""What the job costs: lump sums, day rates times simulated time, materials, fallbacks and rare events."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from refracmc.job.days import Counts, Days
from refracmc.job.sleeves import FloatArray

if TYPE_CHECKING:
    from refracmc.job.results import JobResult

COST_PARTS = (
    "mobilisation",
    "workover",
    "ct_spread",
    "frac_spread",
    "materials",
    "water",
    "trips",
    "patches",
    "perforations",
    "screenouts",
    "stuck_ct",
    "well_lost",
    "cancellation",
    "flowback",
    "load_disposal",
    "string_changes",
    "slim_tools",
    "casing_failure",
    "isolation",
)
"""Parts of the cost of a job, in the order in which they are stored, shown and added up."""


def _none() -> FloatArray:
    return np.zeros(())


@dataclass(frozen=True, eq=False)
class CostRates:
    """Rates of [job.cost], each (n,) over trials or a scalar, all from 0; names carry the unit (US$, bbl,
    days).

    service_index : factor [-] on every part, 1 at today's prices of services.
    Raises ValueError naming every member that is negative or not a number.
    """

    mobilisation_usd: FloatArray
    workover_usd_per_day: FloatArray
    ct_spread_usd_per_day: FloatArray
    frac_spread_usd_per_day: FloatArray
    stage_materials_usd: FloatArray
    water_bbl_per_stage: FloatArray
    water_usd_per_bbl: FloatArray
    trip_usd: FloatArray
    patch_usd: FloatArray
    perforate_usd: FloatArray
    screenout_usd: FloatArray
    stuck_ct_usd: FloatArray
    well_lost_usd: FloatArray
    cancellation_usd: FloatArray
    flowback_usd_per_day: FloatArray
    load_recovery_fraction: FloatArray
    load_disposal_usd_per_bbl: FloatArray
    service_index: FloatArray
    string_change_usd: FloatArray = field(default_factory=_none)
    slim_stage_usd: FloatArray = field(default_factory=_none)
    casing_failure_usd: FloatArray = field(default_factory=_none)

    def __post_init__(self) -> None:
        problems = []
        for name in self.names():
            value = np.asarray(getattr(self, name), dtype=float)
            if not (value.min(initial=0.0) >= 0.0 and value.max(initial=0.0) < np.inf):
                problems.append(f"{name} must be a number from 0")
            if name == "load_recovery_fraction" and (value > 1.0).any():
                problems.append("load_recovery_fraction must not be above 1")
            object.__setattr__(self, name, value)
        if problems:
            raise ValueError("job cost: " + "; ".join(problems))

    @classmethod
    @cache
    def names(cls) -> tuple[str, ...]:
        """Names of the members, in order."""
        return tuple(f.name for f in fields(cls))

    @classmethod
    def build(cls, **values: npt.ArrayLike) -> CostRates:
        """From numbers or (n,) arrays, one for each member; service_index is 1 if absent."""
        given = {"service_index": np.asarray(1.0)} | {
            k: np.asarray(v, dtype=float) for k, v in values.items()
        }
        return cls(**given)


def cost_parts(
    count: Counts,
    days: Days,
    frac_days: Any,
    stuck: Any,
    lost: Any,
    called_off: Any,
    broken: Any,
    isolation_usd: Any,
    rates: Any,
) -> tuple[Any, ...]:
    """Parts of the cost by `COST_PARTS` [US$], before the service index.

    mobilisation; workover = rate * days before CT; ct_spread = rate * (CT days + days stuck); frac_spread = rate *
    frac_days (CT days: the crew stands by while the coiled tubing shifts, and is released once it is stuck);
    materials and water per treated stage; trips, patches, perforations (attempts) and screenouts each; stuck_ct once
    if stuck; well_lost once if lost; cancellation once if called off; flowback = rate * days after CT; load_disposal =
    treated * water per stage * share recovered * rate; string_changes and slim_tools (per stage) where those rules
    are on; casing_failure = lump sum and rate of the workover * casing days; isolation = what a method beside
    reclosed sleeves costs.
    """
    water = count.treated * rates.water_bbl_per_stage
    return (
        rates.mobilisation_usd,
        rates.workover_usd_per_day * days.before_ct,
        rates.ct_spread_usd_per_day * (days.ct + days.stuck),
        rates.frac_spread_usd_per_day * frac_days,
        rates.stage_materials_usd * count.treated,
        water * rates.water_usd_per_bbl,
        rates.trip_usd * count.trips,
        rates.patch_usd * count.patch_tries,
        rates.perforate_usd * count.perforate_tries,
        rates.screenout_usd * count.screenouts,
        rates.stuck_ct_usd * stuck,
        rates.well_lost_usd * lost,
        rates.cancellation_usd * called_off,
        rates.flowback_usd_per_day * days.after_ct,
        water * rates.load_recovery_fraction * rates.load_disposal_usd_per_bbl,
        rates.string_change_usd * count.string_changes,
        rates.slim_stage_usd * count.slim_stages,
        rates.casing_failure_usd * broken + rates.workover_usd_per_day * days.casing,
        isolation_usd,
    )


def job_cost(result: JobResult, rates: CostRates) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Gross cost of the job [US$], (n,), and its parts, which sum to it: `cost_parts` times the service index."""
    days = Days(
        result.days,
        result.days_before_ct,
        result.ct_days,
        result.pumping_days,
        result.stuck_days,
        result.casing_days,
        result.days_after_ct,
    )
    count = Counts(**{name: result.counts.get(name, 0) for name in Counts._fields})
    found = cost_parts(
        count,
        days,
        result.frac_days,
        result.stuck,
        result.lost,
        result.called_off,
        result.casing_failed,
        result.isolation_usd,
        rates,
    )
    none = np.zeros_like(result.days)
    parts = {name: value * rates.service_index + none for name, value in zip(COST_PARTS, found, strict=True)}
    return np.sum(list(parts.values()), axis=0), parts
