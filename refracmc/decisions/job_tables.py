"""Tables of the job itself: days and cost by part, sleeves hour by hour, stress along the lateral, where failures
cost most, and the pressure screen. All from one block of trials or from the job's rules; nothing is valued."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case.well_strategies import Strategy
from refracmc.decisions.reach_table import reach_rows
from refracmc.engine.block_jobs import job_inputs, simulate_jobs
from refracmc.engine.draws import job_luck
from refracmc.engine.job_runs import simulate
from refracmc.engine.money import service_index
from refracmc.engine.one_trial import strategy_log
from refracmc.engine.plan import WellPlan
from refracmc.engine.pressure import LIMITS, can_screen, screen
from refracmc.engine.sized_jobs import sized_draws
from refracmc.job.inputs import JobInputs, JobLuck
from refracmc.job.machine import KINDS
from refracmc.job.results import JobResult
from refracmc.measures import USD_GROSS
from refracmc.production.stress import pair_contrast, treated_before
from refracmc.sampling.order_statistics import quantiles

Array = NDArray[np.float64]
Rows = list[dict[str, Any]]
SHARES = np.array([95, 90, 80, 70, 60, 50, 40, 30, 20, 10, 5])
SNAPSHOTS = 4
_FAIL, _WORK = 1.0 - 1e-12, 0.0
_ENDS = {
    "patched": "patched",
    "perforated": "open for good",
    "not closed": "stuck open",
    "not reclosed": "stuck open",
}


def job_tables(
    plan: WellPlan,
    draws: Mapping[str, Array],
    best: Strategy,
    chosen: Sequence[Strategy],
    row: int | None,
) -> dict[str, Rows]:
    """All tables by key. draws: of the first block; best: the strategy of the sleeve map; chosen: one strategy of each
    order, at its own best date; row: the trial of the block that is shown as an example, None: there is none."""
    parts, spread, placed, failed = parts_of(plan, draws, chosen)
    return {
        "job_parts": parts,
        "job_spread": spread,
        "sleeve_map": [] if row is None else sleeve_map(plan, draws, best, row),
        "stress_state": stress_state(plan, draws, chosen, placed),
        "failures": failures(plan, draws, best, failed),
        "pressure": pressure_rows(plan, draws),
        "reach": reach_rows(plan, draws),
    }


def day_parts(plan: WellPlan, job: JobResult, npt: Array, waiting: Array) -> dict[str, Array]:
    """Days by part (n,), summing to the days of the job."""
    to_days = 1.0 / plan.well.settings.job.work_hours_per_day
    made = {"before": job.days_before_ct + np.zeros_like(job.days)}
    made |= {name: hours * to_days for name, hours in job.hours.items()}
    made["non_productive"] = job.ct_hours * npt * to_days
    made["waiting"] = waiting
    made["stuck_or_casing"] = job.stuck_days + job.casing_days
    made["after"] = job.days_after_ct + np.zeros_like(job.days)
    return made


def parts_of(
    plan: WellPlan, draws: Mapping[str, Array], chosen: Sequence[Strategy]
) -> tuple[Rows, Rows, dict[str, Array], dict[str, Array]]:
    """Means by part and spread of days [days] and cost [US$] of the chosen strategies; by order, what was placed
    (n, N) and the share of trials in which each shift was tried and failed (4, N)."""
    inputs = job_inputs(plan, draws)
    index = service_index(plan, draws)
    parts: Rows = []
    spread: Rows = []
    placed: dict[str, Array] = {}
    failed: dict[str, Array] = {}
    for strategy, job, cost, by_part in simulate_jobs(plan, draws, chosen, detail=True):
        factor = index[strategy.month]
        placed[strategy.order_and_size] = job.placed
        if job.detail is not None:
            counts = [(job.detail.tried[kind] & ~job.detail.worked[kind]).mean(axis=1) for kind in KINDS]
            failed[strategy.order_and_size] = np.stack(counts)
        days = day_parts(plan, job, inputs.npt_fraction, inputs.waiting_days)
        for measure, unit, members in (
            ("days", "days", days),
            ("cost", USD_GROSS, {name: value * factor for name, value in by_part.items()}),
        ):
            for name, value in members.items():
                mean = float(value.mean())
                if mean != 0.0:
                    se = float(value.std()) / np.sqrt(value.size)
                    parts.append(
                        _row(plan, strategy, measure=measure, part=name, unit=unit, mean=mean, se=se)
                    )
        for measure, unit, value in (("days", "days", job.days), ("cost", USD_GROSS, cost * factor)):
            found = quantiles(value, 1.0 - SHARES / 100.0)
            for percent, at in zip(SHARES.tolist(), found.tolist(), strict=True):
                spread.append(
                    _row(
                        plan,
                        strategy,
                        measure=measure,
                        exceedance_percent=float(percent),
                        unit=unit,
                        value=at,
                    )
                )
    return parts, spread, placed, failed


def _row(plan: WellPlan, strategy: Strategy, **values: Any) -> dict[str, Any]:
    return {"well": plan.id, "strategy": strategy.name, "order": strategy.order_and_size, **values}


def sleeve_map(plan: WellPlan, draws: Mapping[str, Array], best: Strategy, row: int) -> Rows:
    """What each sleeve is, from hour to hour, in one trial: read off that trial's log."""
    if best.order in plan.methods:
        return []
    tally = plan.well.tally
    log = strategy_log(plan, dict(draws), best, row)
    state = {k + 1: str(s).replace("_", " ") for k, s in enumerate(tally.state)}
    since = dict.fromkeys(state, 0.0)
    treated: set[int] = set()
    rows: Rows = []

    def change(sleeve: int, now: str, hour: float) -> None:
        if now != state[sleeve]:
            put(sleeve, hour)
            state[sleeve], since[sleeve] = now, hour

    def put(sleeve: int, hour: float) -> None:
        if hour > since[sleeve]:
            rows.append(
                {
                    "well": plan.id,
                    "strategy": best.name,
                    "sleeve": sleeve,
                    "depth_ft": float(tally.depth_ft[sleeve - 1]),
                    "state": state[sleeve],
                    "from_hour": since[sleeve],
                    "to_hour": hour,
                }
            )

    for step in log:
        s, end = step.sleeve, step.start_hour + step.hours
        if s is None or step.action in ("run_in", "move", "trip"):
            continue
        outcome = step.outcome
        if step.action == "treat" and outcome in ("treated", "screened out"):
            change(s, "being treated", step.start_hour)
            change(s, "open, treated", end)
            treated.add(s)
        elif outcome in ("closed", "reclosed", "closed again"):
            change(s, "closed", end)
        elif outcome in _ENDS:
            change(s, _ENDS[outcome], end)
        elif outcome in ("opened", "reopened"):
            change(s, "open, treated" if s in treated else "open", end)
        elif outcome in ("not opened", "not reopened"):
            change(s, "stuck closed", end)
    stop = log[-1].start_hour + log[-1].hours if log else 0.0
    for sleeve in state:
        put(sleeve, stop)
    return sorted(rows, key=lambda found: (found["sleeve"], found["from_hour"]))


def stress_state(
    plan: WellPlan, draws: Mapping[str, Array], chosen: Sequence[Strategy], placed: Mapping[str, Array]
) -> Rows:
    """Mean fall of the horizontal stress contrast along the lateral after parts of the order, and what each stage
    met as it was pumped."""
    stress, tally = plan.well.settings.stress, plan.well.tally
    if not stress.enabled:
        return []
    pairs = pair_contrast(tally.depth_ft, stress.half_height_ft, stress.poisson_ratio, stress.crack)
    psi = draws["stress.residual_pressure_psi"][:, None]
    rows: Rows = []
    for strategy in chosen:
        if strategy.order in plan.methods:
            continue
        order = plan.orders[strategy.order].job.order
        pressure = placed[strategy.order_and_size] * psi
        ends = [max(1, round(len(order) * (k + 1) / SNAPSHOTS)) for k in range(SNAPSHOTS)]
        for end in dict.fromkeys(ends):
            done = np.zeros(tally.count)
            done[np.array(order[:end]) - 1] = 1.0
            rows += _stress_rows(
                plan,
                strategy,
                f"after {end} of {len(order)} stages",
                (pressure * done) @ pairs.T,
                range(tally.count),
            )
        met = pressure @ (pairs * treated_before(order, tally.count)).T
        rows += _stress_rows(plan, strategy, "as its stage is pumped", met, sorted(s - 1 for s in order))
    return rows


def _stress_rows(
    plan: WellPlan, strategy: Strategy, state: str, falls: Array, sleeves: Sequence[int]
) -> Rows:
    mean, se = falls.mean(axis=0), falls.std(axis=0) / np.sqrt(falls.shape[0])
    return [
        {
            "well": plan.id,
            "order": strategy.order_and_size,
            "state": state,
            "sleeve": k + 1,
            "depth_ft": float(plan.well.tally.depth_ft[k]),
            "contrast_fall_psi": float(mean[k]),
            "se_psi": float(se[k]),
        }
        for k in sleeves
    ]


def failures(plan: WellPlan, draws: Mapping[str, Array], best: Strategy, failed: Mapping[str, Array]) -> Rows:
    """What one failed shift costs by where it sits: the job with that failure alone against the job without any,
    and its chance in the simulated trials."""
    if best.order_and_size not in failed:
        return []
    tally, n = plan.well.tally, plan.well.tally.count
    planned = plan.orders[best.order].job
    masks = (planned.closes, planned.opens, planned.recloses, planned.reopens)
    cases = [(i, k) for i, mask in enumerate(masks) for k in np.flatnonzero(mask)]
    trials = len(cases) + 1
    whole = job_inputs(plan, sized_draws(plan, draws, best.size))
    mean = {name: np.full(trials, float(getattr(whole, name).mean())) for name in JobInputs.names()}
    mean |= {f"{kind}_chance": np.full(trials, 0.5) for kind in KINDS}
    quiet: tuple[str, ...] = (
        "screenout_chance",
        "trip_chance_per_stage",
        "stuck_ct_chance",
        "leak_chance_cement",
    )
    quiet += ("leak_chance_packer", "closed_leak_chance", "casing_failure_chance", "well_effect_sd")
    mean |= {name: np.zeros(trials) for name in (*quiet, "sleeve_effect_sd")}
    luck = job_luck(draws)
    flat = {
        name: np.zeros((trials, n)) if np.ndim(value) == 2 else np.full(trials, 0.5)
        for name in JobLuck.__dataclass_fields__
        if (value := getattr(luck, name)) is not None
    }
    flat |= {f"u_{kind}": np.full((trials, n), _WORK) for kind in KINDS}
    for t, (i, k) in enumerate(cases):
        flat[f"u_{KINDS[i]}"][t, k] = _FAIL
    inputs, luck = JobInputs.build(trials, **mean), JobLuck(**flat)
    policy = replace(plan.policy, stop_loss_failed_closes=None)
    job = simulate(planned, tally, inputs, luck, np.zeros(n), policy)
    potential = tally.treatable / max(int(tally.treatable.sum()), 1)
    share = tally.old_producers / max(int(tally.old_producers.sum()), 1)
    effective, kept = job.effectiveness @ potential, job.kept @ share
    rows: Rows = []
    for t, (i, k) in enumerate(cases):
        chance = float(failed[best.order_and_size][i, k])
        rows.append(
            {
                "well": plan.id,
                "strategy": best.name,
                "sleeve": int(k) + 1,
                "depth_ft": float(tally.depth_ft[k]),
                "kind": KINDS[i],
                "chance": chance,
                # rounded: a sum of shares is off by its last bits
                "stages_lost_share": max(round(float(effective[-1] - effective[t]), 12), 0.0),
                "old_lost_share": max(round(float(kept[-1] - kept[t]), 12), 0.0),
                "days_more": float(job.days[t] - job.days[-1]),
            }
        )
    return rows


def pressure_rows(plan: WellPlan, draws: Mapping[str, Array]) -> Rows:
    """Share of trials within each limit, and the pressures in their percentiles."""
    if not can_screen(plan):
        return []
    found = screen(plan, draws)
    asked = np.quantile(found.treating, [0.1, 0.5, 0.9]).tolist()
    rows: Rows = []
    for name in (*LIMITS, "all"):
        inside = found.inside(None if name == "all" else name)
        limit = np.min(list(found.allowed.values()), axis=0) if name == "all" else found.allowed[name]
        bears = np.quantile(limit, [0.1, 0.5, 0.9]).tolist()
        share = float(inside.mean())
        rows.append(
            {
                "well": plan.id,
                "limit_name": name,
                "inside_share": share,
                "inside_share_se": float(np.sqrt(share * (1.0 - share) / inside.size)),
                **dict(zip(("asked_p90_psi", "asked_p50_psi", "asked_p10_psi"), asked, strict=True)),
                **dict(zip(("borne_p90_psi", "borne_p50_psi", "borne_p10_psi"), bears, strict=True)),
            }
        )
    return rows
