"""What one well's run is made of before any trial is drawn: everything that is the same in every trial."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.uncertain_inputs import RESPONDS, inputs_of, variable_names
from refracmc.case.validated_case import Case, InputVariable, WellCase
from refracmc.case.well_strategies import NOTHING, Strategy, dated_strategies, triggered_strategies
from refracmc.job.fallbacks import FALLBACKS
from refracmc.job.inputs import JobPolicy
from refracmc.production.fit import Posterior
from refracmc.production.response import intensity_factor
from refracmc.sampling.dependence import rank_matrix
from refracmc.sampling.streams import BLOCK_SIZE

from .job_plans import MethodOrder, OrderPlan, job_plans

Array = NDArray[np.float64]


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
    intensity: factor of the first job's intensity on uplift and headroom.
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
    methods: dict[str, MethodOrder] = field(default_factory=dict)

    @property
    def technical_limit(self) -> float:
        """Rate of the main phase per producing day to which an ultimate is counted."""
        response = self.well.settings.response
        by_phase = {"oil": response.technical_limit_bbl_per_d, "gas": response.technical_limit_mcf_per_d}
        return by_phase[self.well.main_phase]

    def ages_at(self, month: int) -> Array:
        """Ages (N,) of the sleeves in a month [years]."""
        if month in self.ages:
            return self.ages[month]
        return self.well.tally.age_years(np.datetime64(self.case.valuation.date, "M") + month)


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


def _anchor(case: Case, well: WellCase) -> tuple[int, float, float | None]:
    """(months_before, np_anchor, q_peak) of `WellPlan`."""
    if well.forecast == "history":
        assert well.history is not None
        last = str(well.history.dates[-1].astype("datetime64[M]"))
        months_before = units.months_between(last, case.valuation.date) - 1
        cumulative = float(well.history.cumulative[well.main_phase])
        return months_before, cumulative, float(well.history.peak_rate_per_d)
    assert well.type_curve is not None
    return units.months_between(well.type_curve.first_production, case.valuation.date), 0.0, None


def _intensity(well: WellCase) -> float:
    """Factor of the first job's intensity on uplift and headroom; 1 where no intensity is stated."""
    response, first = well.settings.response, well.settings.completion.proppant_lb_per_ft
    reference = response.reference_intensity_lb_per_ft
    if reference is None or first is None:
        return 1.0
    return float(intensity_factor(reference, first, response.intensity_elasticity))


def _policy(well: WellCase) -> JobPolicy:
    chosen = well.settings.strategies
    return JobPolicy(
        **{key: getattr(chosen, key) for key in FALLBACKS},
        stop_loss_failed_closes=chosen.stop_loss_failed_closes,
        max_tries=well.settings.job.max_tries,
    )


def build_plan(case: Case, well: WellCase, number: int, posterior: Posterior | None) -> WellPlan:
    """Everything of a well that no trial changes. Raises PlanRefused naming the sleeve."""
    orders, methods = job_plans(well)
    dated = dated_strategies(case, well)
    start = np.datetime64(case.valuation.date, "M")
    variables = inputs_of(case, well)
    oil, gas = case.deck.monthly(case.valuation.date, case.valuation.horizon_months)
    months_before, np_anchor, q_peak = _anchor(case, well)
    return WellPlan(
        case=case,
        well=well,
        number=number,
        posterior=posterior,
        variables=variables,
        registry=(*variable_names(), "forecast.row", RESPONDS),
        dependence=_dependence(case, variables),
        strategies=(*dated, *triggered_strategies(case, well)),
        orders=orders,
        ages={month: well.tally.age_years(start + month) for month in {s.month for s in dated}},
        policy=_policy(well),
        deck_oil=oil,
        deck_gas=gas,
        months_before=months_before,
        np_anchor=np_anchor,
        q_peak=q_peak,
        intensity=_intensity(well),
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
        "numpy": np.__version__,
    }
