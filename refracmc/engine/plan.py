"""What one well's run is made of before any trial is drawn: everything that is the same in every trial."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.job_section import Job
from refracmc.case.uncertain_inputs import (
    inputs_of,
    method_plan,
    order_sleeves,
    strategies_of,
    variable_names,
    well_reach_ft,
)
from refracmc.case.validated_case import Case, InputVariable, WellCase
from refracmc.job.changes import ChangeRules, with_changes
from refracmc.job.inputs import JobPolicy
from refracmc.job.machine import Plan
from refracmc.job.methods import MethodPlan
from refracmc.job.planner import plan as plan_job_steps
from refracmc.job.sleeves import PlanRefused
from refracmc.production.fit import FitSettings, Posterior, fit_decline
from refracmc.production.prior import PooledPrior
from refracmc.production.response import intensity_factor
from refracmc.production.stress import pair_contrast, pair_normal, treated_before
from refracmc.sampling.dependence import rank_matrix
from refracmc.sampling.streams import BLOCK_SIZE

Array = NDArray[np.float64]
NOTHING = "nothing"


@dataclass(frozen=True)
class Trigger:
    """When a job may start: see `triggers`. first, last: months of the window from the valuation month 0; rates in
    the main phase's unit a day, price in US$ per unit of it."""

    name: str
    when: str
    first: int
    last: int
    rate_per_d: float = 0.0
    min_rate_per_d: float | None = None
    min_price_usd: float | None = None
    max_service_index: float | None = None


@dataclass(frozen=True)
class Strategy:
    """One refrac strategy: `<order>@YYYY-MM`, its order and the month index counted from the valuation month; or
    `<order>@<trigger>` with month -1."""

    name: str
    order: str
    month: int
    date: str
    trigger: Trigger | None = None


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


@dataclass(frozen=True, eq=False)
class WellOutline:
    """What is known of a well that can run without its plan. number: its place in the case, from 0."""

    case: Case
    well: WellCase
    number: int
    strategies: tuple[Strategy, ...]

    @property
    def id(self) -> str:
        """Well id."""
        return self.well.id

    @property
    def horizon(self) -> int:
        """Months valued."""
        return self.case.valuation.horizon_months

    @property
    def dated(self) -> tuple[Strategy, ...]:
        """Strategies of a fixed date; they stand before those with a trigger."""
        return tuple(strategy for strategy in self.strategies if strategy.trigger is None)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all strategies, `nothing` first."""
        return (NOTHING, *(strategy.name for strategy in self.strategies))


@dataclass(frozen=True, eq=False)
class WellPlan(WellOutline):
    """One well, ready to be evaluated block by block. Nothing in it depends on a trial.

    months_before: calendar months from the anchor of the decline's clock to the valuation month; np_anchor:
    main-phase cumulative at the anchor [bbl or Mcf]; q_peak: observed peak rate, None for a type curve whose
    peak is its initial rate; ages: refrac month -> (N,) ages of the sleeves [years]; registry: every name a
    variable may have (places in the Sobol design); dependence: scope -> (names, rank-correlation matrix);
    intensity: factor of the first job's intensity on uplift and headroom; compiled: which cash kernel serves.
    """

    posterior: Posterior | None
    variables: tuple[InputVariable, ...]
    registry: tuple[str, ...]
    dependence: dict[str, tuple[tuple[str, ...], Array]]
    orders: dict[str, OrderPlan]
    ages: dict[int, Array]
    policy: JobPolicy
    deck_oil: Array
    deck_gas: Array
    months_before: int
    np_anchor: float
    q_peak: float | None
    intensity: float
    compiled: bool
    methods: dict[str, MethodOrder] = field(default_factory=dict)

    def ages_at(self, month: int) -> Array:
        """Ages (N,) of the sleeves in a month [years]."""
        if month in self.ages:
            return self.ages[month]
        return self.well.tally.age_years(np.datetime64(self.case.valuation.date, "M") + month)


COMPILED_FROM = 100_000
"""Strategy-trials of a case from which compiling pays (measured, benchmarks/)."""


def use_compiled(case: Case) -> bool:
    """Whether the compiled cash flow serves this case: numba is there and the case is large enough.

    It depends on the case alone, so that a trace takes the same way as the run.
    """
    from importlib.util import find_spec

    orders = len(case.strategies.orders) + len(case.strategies.methods.names)
    strategies = orders * len(case.strategies.months)
    work = case.sampling.trials * strategies * max(len(case.wells), 1)
    return work >= COMPILED_FROM and find_spec("numba") is not None


def blocks_of(trials: int) -> list[int]:
    """Trials in each block: whole blocks, then what is left."""
    whole, left = divmod(trials, BLOCK_SIZE)
    return [BLOCK_SIZE] * whole + ([left] if left else [])


Priors = Mapping[str, PooledPrior]
"""Prior of the fits by main phase."""


def pooled_priors(case: Case) -> Priors:
    """Priors that the wells of the case have moved, by phase; empty where each fit stands alone.

    A well is one of those that move its prior (empirical Bayes). All wells count as one area (assumption).
    """
    if not case.fit.pool:
        return {}
    from refracmc.production.pooling import pool_histories

    histories = [
        well.history for well in case.wells if well.forecast == "history" and well.history is not None
    ]
    return pool_histories(histories, case.sampling.seed)


def fit_well(case: Case, well: WellCase, priors: Priors | None = None) -> Posterior | None:
    """Posterior of the well's decline, or None where a type curve stands in its place. Raises FitRefused.

    priors: those of `pooled_priors`, found here where not given.
    """
    if well.forecast == "type_curve":
        return None
    assert well.history is not None
    known = pooled_priors(case) if priors is None else priors
    own = well.fit.settings() if well.fit is not None else {}
    if use_compiled(case):
        from .compiled_fit import log_likelihood

        own = {**own, "likelihood": log_likelihood}
    settings = FitSettings(**own, prior=known.get(well.main_phase))
    return fit_decline(well.history, settings, seed=case.sampling.seed)


def _dependence(case: Case, variables: tuple[InputVariable, ...]) -> dict[str, tuple[tuple[str, ...], Array]]:
    scope_of = {variable.name: variable.scope for variable in variables if not variable.distribution.is_fixed}
    found: dict[str, list[tuple[str, str, float]]] = {}
    for pair in case.dependence.pairs:
        if pair.a in scope_of and pair.b in scope_of:
            found.setdefault(scope_of[pair.a], []).append((pair.a, pair.b, pair.rank_correlation))
    made = {}
    for scope, pairs in found.items():
        names = tuple(sorted({name for a, b, _ in pairs for name in (a, b)}))
        made[scope] = (names, rank_matrix(names, pairs))
    return made


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


def _triggered(case: Case, well: WellCase) -> tuple[Strategy, ...]:
    """Strategies of the case's triggers; PlanRefused where a window has no month to decide in."""
    chosen, valuation = well.settings.strategies, case.valuation
    made = []
    for name, trigger in chosen.triggers.items():
        first = max(units.months_between(valuation.date, trigger.earliest), 1)
        last = min(units.months_between(valuation.date, trigger.latest), valuation.horizon_months - 1)
        if last < first:
            raise PlanRefused(
                f"trigger {name} has no month between the one after the valuation month {valuation.date} and the "
                "horizon"
            )
        rule = Trigger(
            name,
            trigger.when,
            first,
            last,
            trigger.rate_per_d or 0.0,
            trigger.min_rate_per_d,
            trigger.min_price_usd,
            trigger.max_service_index,
        )
        made += [
            Strategy(f"{order}@{name}", order, -1, name, rule)
            for order in (trigger.orders or chosen.all_orders)
        ]
    return tuple(made)


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
    job = plan_job_steps(tally, sleeves, chosen.close_policy, chosen.reclose_habit, reach)
    if settings.job.trip_planning == "least_cost":
        job = with_changes(job, change_rules(settings.job))
    before = treated_before(sleeves, tally.count)
    normal, contrast = _stress_pairs(well) if pairs is None else pairs
    return OrderPlan(job, normal * before, contrast * before)


def build_plan(case: Case, well: WellCase, number: int, posterior: Posterior | None) -> WellPlan:
    """Everything of a well that no trial changes. Raises PlanRefused naming the sleeve."""
    settings, tally = well.settings, well.tally
    chosen = settings.strategies
    reach = well_reach_ft(well)
    normal, contrast = _stress_pairs(well)
    orders = {
        name: order_plan(well, order_sleeves(chosen, tally, name, reach), (normal, contrast))
        for name in chosen.orders
    }
    methods = {}
    for name in chosen.methods.names:
        made = method_plan(chosen, tally, name, reach)
        if made.kind == "bullhead":
            methods[name] = MethodOrder(made, None, None)
        else:
            before = treated_before(made.sleeves, tally.count)
            if made.kind == "liner":  # the sleeves of one stage are treated at once
                before *= made.stage_of[None, :] < made.stage_of[:, None]
            methods[name] = MethodOrder(made, normal * before, contrast * before)
    strategies = tuple(
        Strategy(name, order, month, name.rsplit("@", 1)[1])
        for name, order, _, month in strategies_of(case, well)
    )
    start = np.datetime64(case.valuation.date, "M")
    triggered = _triggered(case, well)
    ages = {month: tally.age_years(start + month) for month in {s.month for s in strategies}}
    variables = inputs_of(case, well)
    oil, gas = case.deck.monthly(case.valuation.date, case.valuation.horizon_months)
    q_peak: float | None
    if well.forecast == "history":
        assert well.history is not None
        last = str(well.history.dates[-1].astype("datetime64[M]"))
        months_before = units.months_between(last, case.valuation.date) - 1
        np_anchor = float(well.history.cumulative[well.main_phase])
        q_peak = float(well.history.peak_rate_per_d)
    else:
        assert well.type_curve is not None
        months_before = units.months_between(well.type_curve.first_production, case.valuation.date)
        np_anchor, q_peak = 0.0, None
    response, completion = settings.response, settings.completion
    factor = 1.0
    if response.reference_intensity_lb_per_ft is not None and completion.proppant_lb_per_ft is not None:
        factor = float(
            intensity_factor(
                response.reference_intensity_lb_per_ft,
                completion.proppant_lb_per_ft,
                response.intensity_elasticity,
            )
        )
    policy = JobPolicy(
        when_not_closing=chosen.when_not_closing,
        when_not_opening=chosen.when_not_opening,
        when_not_reopening=chosen.when_not_reopening,
        stop_loss_failed_closes=chosen.stop_loss_failed_closes,
        max_tries=settings.job.max_tries,
        patched_restricts=chosen.patched_restricts,
    )
    return WellPlan(
        case=case,
        well=well,
        number=number,
        posterior=posterior,
        variables=variables,
        registry=(*variable_names(), "forecast.row"),
        dependence=_dependence(case, variables),
        strategies=(*strategies, *triggered),
        orders=orders,
        ages=ages,
        policy=policy,
        deck_oil=oil,
        deck_gas=gas,
        months_before=months_before,
        np_anchor=np_anchor,
        q_peak=q_peak,
        intensity=factor,
        compiled=use_compiled(case),
        methods=methods,
    )


def identity(case: Case, version: str) -> dict[str, Any]:
    """Everything that decides the bytes of a case's results."""
    return {
        "case": case.name,
        "case_file_sha256": case.files.get(case.path.name, ""),
        "input_files_sha256": dict(sorted(case.files.items())),
        "seed": case.sampling.seed,
        "trials": case.sampling.trials,
        "design": case.sampling.design,
        "block_size": BLOCK_SIZE,
        "release": version,
        "cash_flow": "compiled" if use_compiled(case) else "arrays",
        "numpy": np.__version__,
    }
