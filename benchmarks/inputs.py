"""What the hand-written scripts are told of a block of trials: drawn values, price paths, finished jobs."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
MONTH_DAYS = 365.25 / 12.0


@dataclass(frozen=True)
class Job:
    """One strategy's finished job: months from the valuation to its start, and per trial (n,) the days shut in,
    cost, share of old production kept, effective share of the new, and whether the well was lost."""

    month: int
    days: Array
    cost: Array
    kept_share: Array
    effective_share: Array
    lost: Array


@dataclass(frozen=True)
class Inputs:
    """An oil well by type curve, prices by month; members are (n,), prices (n, T), the rest single numbers.

    recovery, new_recovery: to the technical limit, of the well without a refrac and of a refrac stream of one a day.
    """

    recovery: Array
    new_recovery: Array
    rate: Array
    decline: Array
    b: Array
    terminal: Array
    uptime: Array
    new_decline: Array
    new_b: Array
    new_terminal: Array
    uplift: Array
    peak: Array
    exponent: Array
    kept: Array
    acceleration: Array
    headroom: Array
    gas_start: Array
    gas_final: Array
    water_start: Array
    water_final: Array
    oil: Array
    gas: Array
    oil_ahead: Array
    gas_ahead: Array
    oil_differential: Array
    gas_differential: Array
    ngl_yield: Array
    ngl_fraction: Array
    oil_cost: Array
    gas_cost: Array
    water_cost: Array
    fixed_cost: Array
    holding_cost: Array
    abandonment: Array
    months_before: float
    gas_ratio: float
    water_ratio: float
    change_fraction: float
    working: float
    net_revenue: float
    severance_oil: float
    severance_gas: float
    ad_valorem: float
    annual_rate: float
    lease_months: int
    jobs: tuple[Job, ...]

    @property
    def horizon(self) -> int:
        """Months valued."""
        return int(self.oil.shape[1])

    def rows(self, part: slice | int) -> Inputs:
        """The same for some of the trials, or for one (members become numbers, prices (T,))."""
        cut = {f.name: getattr(self, f.name)[part] for f in fields(self) if f.name not in _SINGLE}
        jobs = tuple(
            Job(job.month, *(getattr(job, f.name)[part] for f in fields(job)[1:])) for job in self.jobs
        )
        return replace(self, **cut, jobs=jobs)


_SINGLE = frozenset(
    [
        "months_before",
        "gas_ratio",
        "water_ratio",
        "change_fraction",
        "working",
        "net_revenue",
        "severance_oil",
        "severance_gas",
        "ad_valorem",
        "annual_rate",
        "lease_months",
        "jobs",
    ]
)
