"""Monthly volumes of the main phase in trials whose recovery is known, without valuing them again.

A stream stops when its cumulative has reached what the trial recovered: that is its life. A month of no volume at the
end may be in or out of it and makes no difference. Neither prices nor the other phases are needed.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from refracmc.production.response import refrac_scale

from .block_jobs import job_outcomes, outcome_rows
from .block_model import BlockModel, model_block
from .cash import MONTH_DAYS, late_volumes
from .plan import Strategy, WellPlan

Array = NDArray[np.float64]
ROUNDING = 1e-12
"""By so much of a trial's recovery two ways to add up its volumes may differ."""


def _until(volumes: Array, cumulative: Array, left: Array, eur: Array) -> NDArray[np.intp]:
    """Zero, in place, the months of volumes (n, K) that `left` (n,) does not reach; returns the last one that it does
    (n,), -1 for none. cumulative (n, K): at the end of each month; eur (n,): the recovery."""
    after = cumulative > (left + ROUNDING * eur)[:, None]
    volumes[after] = 0.0
    last: NDArray[np.intp] = volumes.shape[1] - 1 - after.sum(axis=1)
    return last


def left_alone(model: BlockModel, eur: Array) -> tuple[Array, NDArray[np.intp]]:
    """Main-phase volumes (n, T) by month, bbl or Mcf, of the well left alone, and its last month (n,), -1 for none.

    eur (n,): main-phase recovery of each trial, as `evaluate` gives it.
    """
    total = model.own.table.total[model.own.row]
    volumes = np.diff(total, axis=1)
    limit = _until(volumes, total[:, 1:] - total[:, :1], eur - model.own.np0, eur)
    return volumes, limit


def main_volumes(
    plan: WellPlan, draws: Mapping[str, Array], strategy: Strategy, eur: Array, executed: Array
) -> tuple[Array, Array]:
    """Main-phase volumes (n, T) by month, bbl or Mcf, of the well left alone and of a strategy of a fixed date.

    eur (2, n): main-phase recovery of both in each trial; executed (n,): 1 where the job is carried out.
    """
    model = model_block(plan, draws)
    alone, limit = left_alone(model, eur[0])
    made = alone.copy()
    done = executed > 0.0
    made[done, strategy.month :] = _treated(plan, draws, model, strategy, limit, eur[1])[done]
    return alone, made


def _treated(
    plan: WellPlan,
    draws: Mapping[str, Array],
    model: BlockModel,
    strategy: Strategy,
    limit: NDArray[np.intp],
    eur: Array,
) -> Array:
    """Main-phase volumes (n, T - m) from the month m of the job on."""
    month, n = strategy.month, model.trials
    columns = plan.horizon - month
    total = model.own.table.total[model.own.row]
    own, cumulative = np.diff(total, axis=1), total - total[:, :1]
    jobs, _ = job_outcomes(plan, draws, model, [strategy])
    job = outcome_rows(jobs, 0)
    alive = ~job.lost
    resume = np.minimum(limit + 1, month)
    before = cumulative[np.arange(n), resume]
    terms, unit = model.terms, model.refrac.total
    scale = refrac_scale(
        np_at_job=model.own.np0 + before,
        ultimate=terms.ultimate,
        remaining_old=cumulative[:, -1] - before,
        kept_share=job.kept_share * alive,
        new_unit_total=unit[:, columns],
        uplift_total=terms.uplift,
        q_peak=terms.q_peak,
        effective_share=job.effective_share * alive,
        depletion_exponent=terms.depletion_exponent,
        kept_fraction=terms.kept_fraction,
        acceleration_fraction=terms.acceleration_fraction,
    )
    resumed = own[:, month:].copy()
    earlier = np.flatnonzero(resume < month)
    resumed[earlier] = np.take_along_axis(own[earlier], resume[earlier, None] + np.arange(columns), axis=1)
    stream = scale.keep[:, None] * resumed + scale.q2[:, None] * np.diff(unit[:, : columns + 1], axis=1)
    down = job.days / MONTH_DAYS
    floor = np.floor(down)
    moved = late_volumes(stream, np.minimum(floor, columns).astype(np.intp), down - floor)
    _until(moved, np.cumsum(moved, axis=1), eur - model.own.np0 - before, eur)
    return moved
