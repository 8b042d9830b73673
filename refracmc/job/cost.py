"""What the job costs: lump sums, day rates times simulated time, materials, fallbacks and rare events."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from functools import cache

import numpy as np
import numpy.typing as npt

from refracmc.job.simulate import JobResult
from refracmc.job.sleeves import FloatArray

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


def job_cost(result: JobResult, rates: CostRates) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Gross cost of the job [US$], (n,), and its parts, which sum to it.

    Every part is multiplied by the service index. "days" below are those of the result:
    mobilisation; workover = rate * days_before_ct; ct_spread = rate * (ct_days + stuck_days); frac_spread =
    rate * frac_days (ct_days: the crew stands by while the coiled tubing shifts, and is released once it is
    stuck);
    materials and water per treated stage; trips, patches, perforations (attempts) and screenouts each;
    stuck_ct once if stuck; well_lost once if lost; cancellation once if called off; flowback = rate *
    days_after_ct; load_disposal = treated * water_bbl_per_stage * load_recovery_fraction *
    load_disposal_usd_per_bbl; string_changes and slim_tools (per stage) where those rules are on;
    casing_failure = lump sum and rate of the workover * casing_days; isolation = what a method beside
    reclosed sleeves costs.
    """
    c, r = result.counts, rates
    none = np.zeros(result.days.size, dtype=np.int64)
    water = c["treated"] * r.water_bbl_per_stage
    base: dict[str, FloatArray] = {
        "mobilisation": r.mobilisation_usd + np.zeros_like(result.days),
        "workover": r.workover_usd_per_day * result.days_before_ct,
        "ct_spread": r.ct_spread_usd_per_day * (result.ct_days + result.stuck_days),
        "frac_spread": r.frac_spread_usd_per_day * result.frac_days,
        "materials": r.stage_materials_usd * c["treated"],
        "water": water * r.water_usd_per_bbl,
        "trips": r.trip_usd * c["trips"],
        "patches": r.patch_usd * c["patch_tries"],
        "perforations": r.perforate_usd * c["perforate_tries"],
        "screenouts": r.screenout_usd * c["screenouts"],
        "stuck_ct": r.stuck_ct_usd * result.stuck,
        "well_lost": r.well_lost_usd * result.lost,
        "cancellation": r.cancellation_usd * result.called_off,
        "flowback": r.flowback_usd_per_day * result.days_after_ct,
        "load_disposal": water * r.load_recovery_fraction * r.load_disposal_usd_per_bbl,
        "string_changes": r.string_change_usd * c.get("string_changes", none),
        "slim_tools": r.slim_stage_usd * c.get("slim_stages", none),
        "casing_failure": r.casing_failure_usd * result.casing_failed
        + r.workover_usd_per_day * result.casing_days,
        "isolation": result.isolation_usd,
    }
    parts = {name: value * r.service_index for name, value in base.items()}
    total = np.zeros_like(result.days)
    for value in parts.values():
        total += value
    return total, parts
