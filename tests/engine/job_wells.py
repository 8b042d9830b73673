"""Random wells, orders, policies and luck that meet as many rules as there are, and their jobs."""

from dataclasses import dataclass

import numpy as np

from refracmc.engine.job_plans import OrderPlan
from refracmc.engine.job_runs import RESULTS, run
from refracmc.job.arrays import Dates, ages_of, orders_of, trials_of, well_of
from refracmc.job.changes import ChangeRules, with_changes
from refracmc.job.cost import CostRates
from refracmc.job.inputs import PER_SLEEVE_LUCK, PER_TRIAL_LUCK, JobInputs, JobLuck, JobPolicy
from refracmc.job.luck import prepare
from refracmc.job.planner import plan
from refracmc.job.sleeves import ISOLATIONS, STATES, Tally
from refracmc.production.stress import pair_contrast, pair_normal, treated_before
from tests.job.job_wells import BASE

TRIALS = 21


@dataclass(frozen=True)
class Jobs:
    """One well, its orders at some dates, the trials, and how its shares and stress are told."""

    tally: Tally
    policy: JobPolicy
    orders: list[OrderPlan]
    ages: list[np.ndarray]
    inputs: JobInputs
    luck: JobLuck
    rates: CostRates
    stress: dict
    share: np.ndarray
    potential: np.ndarray
    index: list[np.ndarray]


def random_jobs(seed: int, sleeves: int | None = None, **fixed) -> Jobs:
    """A well that meets as many rules as there are; fixed: members of JobPolicy."""
    rng = np.random.default_rng(seed)
    n, count = TRIALS, int(sleeves or rng.choice([1, 2, 3, 7, 15, 16, 17, 31, 40, 64, 90]))
    state = rng.choice(STATES, count, p=[0.64, 0.08, 0.07, 0.06, 0.05, 0.05, 0.05])
    state[rng.integers(count)] = "open"
    tally = Tally(
        depth_ft=9000.0 + np.cumsum(rng.integers(20, 300, count))[::-1],
        isolation=rng.choice(ISOLATIONS, count, p=[0.5, 0.4, 0.1]),
        state=state,
        installed=np.array("2010-05", dtype="datetime64[M]") + rng.integers(0, rng.choice([1, 40]), count),
        shifts=rng.integers(0, 5, count),
    )
    policy = JobPolicy(
        **{
            "when_not_closing": str(rng.choice(["accept", "patch"])),
            "when_not_opening": str(rng.choice(["skip", "perforate"])),
            "when_not_reopening": str(rng.choice(["accept", "perforate"])),
            "stop_loss_failed_closes": rng.choice([None, 0, 1, 3]),
            "max_tries": int(rng.integers(1, 5)),
            "patched_restricts": str(rng.choice(["nothing", "slim", "lost"])),
            **fixed,
        }
    )
    half, treatable = 75.0, np.flatnonzero(tally.treatable) + 1
    normal, contrast = pair_normal(tally.depth_ft, half), pair_contrast(tally.depth_ft, half, 0.25)
    changes = rng.random() < 0.3
    orders = []
    for _ in range(3):
        chosen = rng.permutation(treatable)[: rng.integers(1, treatable.size + 1)]
        order = tuple(int(s) for s in (np.sort(chosen) if rng.random() < 0.3 else chosen))
        habits = str(rng.choice(["all", "needed"])), str(rng.choice(["needed", "every"]))
        job = plan(tally, order, *habits)
        if changes:
            job = with_changes(job, ChangeRules(4, 90_000.0))
        before = treated_before(order, count)
        orders.append(OrderPlan(job, normal * before, contrast * before))
    off = {} if rng.random() < 0.4 else {
        "closed_leak_chance": rng.uniform(0.0, 0.5, n), "leak_test_finds_chance": 0.6,
        "casing_failure_chance": 0.2, "casing_failure_days": 7.3, "well_lost_chance_given_casing_failure": 0.5,
    }  # fmt: skip
    chances = {f"{kind}_chance": rng.beta(6, 2, n) for kind in ("close", "open", "reclose", "reopen")}
    extreme = {
        "close_chance": rng.choice([0.0, 0.3, 1.0], n),
        "age_slope_per_year": rng.choice([-300.0, -0.2, 300.0], n),
        "cycle_slope": rng.choice([-400.0, 0.1, 260.0], n),
    }
    values = BASE | chances | off | {
        "age_slope_per_year": rng.uniform(-0.2, 0.05, n), "stages_per_bha": rng.integers(1, 9, n),
        "slim_hours_per_stage": 0.7, "bha_change_hours": 5.5, "string_change_hours": 31.0,
        "open_sleeve_take": rng.uniform(0.2, 1.0, n), "screenout_chance": rng.uniform(0.0, 0.2, n),
    } | (extreme if rng.random() < 0.15 else {})  # fmt: skip
    luck = {}
    for name in (*PER_TRIAL_LUCK, *PER_SLEEVE_LUCK, "u_tight_close", "u_tight_reclose", "u_casing"):
        shape = (n,) if name in (*PER_TRIAL_LUCK, "u_casing") else (n, count)
        luck[name] = rng.standard_normal(shape) if name.startswith("z_") else rng.random(shape)
    if not off:
        luck |= dict.fromkeys(("u_tight_close", "u_tight_reclose", "u_casing"))
    usd = {name: float(rng.integers(1, 90_000)) for name in CostRates.names()}
    strengths = (0.0, 0.0) if rng.random() < 0.2 else (rng.choice([0.0, 0.3], n), rng.uniform(0.0, 0.4, n))
    stress = {
        "residual_pressure": rng.uniform(100.0, 500.0, n), "contrast0": rng.uniform(0.0, 900.0, n),
        "effect_strength": strengths[0], "contrast_half": 300.0, "contrast_scale": 120.0,
        "limit_strength": strengths[1], "pressure_limit": rng.uniform(200.0, 900.0, n), "limit_scale": 150.0,
    }  # fmt: skip
    share, potential = rng.dirichlet(np.ones(count), (2, n))
    dates = [np.datetime64("2026-10", "M") + k for k in (0, 3, 40, 41)]
    return Jobs(
        tally,
        policy,
        orders,
        [tally.age_years(date) for date in dates],
        JobInputs.build(n, **values),
        JobLuck(**luck),
        CostRates.build(**usd | {"load_recovery_fraction": 0.3, "service_index": 1.0}),
        stress,
        np.asfortranarray(share),
        np.asfortranarray(potential),
        [rng.uniform(0.8, 1.2, n) for _ in dates],
    )


def pairs_of(jobs: Jobs) -> list[tuple[int, int]]:
    """Order and date of every strategy, by order, then date."""
    return [(o, d) for o in range(len(jobs.orders)) for d in range(len(jobs.ages))]


def jobs_of(jobs: Jobs, pairs: list[tuple[int, int]], rows: slice = slice(None)) -> np.ndarray:
    """Results (RESULTS, S, n) of some strategies and trials."""
    block = prepare(jobs.inputs, jobs.luck, jobs.tally, jobs.policy.max_tries)
    trials = trials_of(block, jobs.rates, jobs.stress, jobs.share, jobs.potential)
    trials = trials._replace(**{name: np.ascontiguousarray(a[rows]) for name, a in trials._asdict().items()})
    trials = trials._replace(given=trials.given.view(np.recarray))
    orders, dates = sorted({o for o, _ in pairs}), sorted({d for _, d in pairs})
    stress = [(jobs.orders[o].normal_before, jobs.orders[o].contrast_before) for o in orders]
    out = np.full((RESULTS, len(pairs), trials.given.size), np.nan)
    run(
        well_of(jobs.tally, jobs.policy),
        orders_of([jobs.orders[o].job for o in orders], jobs.tally, jobs.policy, stress),
        Dates(
            *ages_of([jobs.ages[d] for d in dates]),
            np.ascontiguousarray([jobs.index[d][rows] for d in dates]),
        ),
        {k: (orders.index(o), dates.index(d)) for k, (o, d) in enumerate(pairs)},
        trials,
        out,
    )
    return out
