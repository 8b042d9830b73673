"""The random numbers of a block, each from its own stream, and the input values they stand for.

A block is drawn whole and cut to its trials. Names are those of the case; what is not stated in the case has
names of its own: `forecast.row` (place in a set of posterior rows, drawn with the shock of the well's area),
`forecast.set` (that set), `prices.shock_*`, `luck.*`, `costs.service_luck`.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from refracmc.case.uncertain_inputs import LATER_NAMES, RESPONDS
from refracmc.job.inputs import OPTIONAL_LUCK, PER_SLEEVE_LUCK, PER_TRIAL_LUCK, JobLuck
from refracmc.job.methods import METHODS
from refracmc.production.common_shock import in_common
from refracmc.sampling.dependence import dependence_uniforms, gaussian_copula, iman_conover
from refracmc.sampling.designs import block_uniforms
from refracmc.sampling.streams import BLOCK_SIZE, generator, open_uniforms

from .neighbours import HIT, may_hit
from .plan import WellPlan

Array = NDArray[np.float64]
GROUPS = ("forecast", "prices", "job", "response", "costs")
ROW, SET, AREA_SHOCK = "forecast.row", "forecast.set", "forecast.area_shock"
PROCESSES = ("geometric_brownian", "mean_reverting")
_SPREAD = ("luck.z_share", "luck.z_potential")
_LUCK = tuple(
    f"luck.{name}" for name in JobLuck.__dataclass_fields__ if name in PER_SLEEVE_LUCK + PER_TRIAL_LUCK
)
_OPTIONAL = tuple(f"luck.{name}" for name in OPTIONAL_LUCK)


def group_names(plan: WellPlan) -> dict[str, str]:
    """Driver group of every name that `draw` returns."""
    groups: dict[str, str] = {variable.name: variable.group for variable in plan.variables}
    groups.update(dict.fromkeys((ROW, SET), "forecast"))
    groups.update(dict.fromkeys(("prices.shock_oil", "prices.shock_gas"), "prices"))
    groups.update(dict.fromkeys((*_LUCK, *_OPTIONAL), "job"))
    groups.update(dict.fromkeys((*_SPREAD, RESPONDS, HIT), "response"))
    groups["costs.service_luck"] = "costs"
    return groups


def draw(plan: WellPlan, block: int, trials: int) -> dict[str, Array]:
    """Input values (n,), luck (n,) or (n, N) and price shocks (n, T) of the first `trials` of a block."""
    values = dict(_shared(plan, block, trials))
    values.update(_inputs(plan, plan.id, block, trials))
    if plan.posterior is not None:
        values[SET] = np.full(trials, float(block % plan.posterior.sets))
    seed, well, sleeves = plan.case.sampling.seed, plan.id, plan.well.tally.count
    for name in _LUCK:
        shape: tuple[int, ...] = (BLOCK_SIZE,)
        if name.removeprefix("luck.") not in PER_TRIAL_LUCK:
            shape = (BLOCK_SIZE, sleeves)
        stream = generator(seed, name, well, block)
        whole = stream.standard_normal(shape) if ".z_" in name else open_uniforms(stream, shape)
        values[name] = whole[:trials]
    for name in _optional_luck(plan):
        shape = (BLOCK_SIZE, sleeves) if OPTIONAL_LUCK[name.removeprefix("luck.")] else (BLOCK_SIZE,)
        values[name] = open_uniforms(generator(seed, name, well, block), shape)[:trials]
    if may_hit(plan.well):
        values[HIT] = open_uniforms(generator(seed, HIT, well, block), (BLOCK_SIZE,))[:trials]
    for name in _SPREAD:
        values[name] = generator(seed, name, well, block).standard_normal((BLOCK_SIZE, sleeves))[:trials]
    return values


def _optional_luck(plan: WellPlan) -> tuple[str, ...]:
    """Streams of the job's rules that are off unless asked for, where this well asks for them."""
    job = plan.well.settings.job
    asked = {
        "luck.u_tight_close": job.closed_leak_chance,
        "luck.u_tight_reclose": job.closed_leak_chance,
        "luck.u_casing": job.casing_failure_chance,
    }
    names = {name for name, chance in asked.items() if chance.support()[1] > 0.0}
    for method in plan.well.settings.strategies.methods.names:
        names |= {f"luck.{name}" for name in METHODS[method].luck}
    return tuple(name for name in _OPTIONAL if name in names)


def may_fail_to_respond(plan: WellPlan) -> bool:
    """Whether the well may stand among those that do not respond."""
    return plan.well.settings.response.no_response_chance.support()[1] > 0.0


def _inputs(plan: WellPlan, scope: str, block: int, trials: int) -> dict[str, Array]:
    """Values of the inputs of one scope; in the well's own, the uniforms of the posterior row and of the response."""
    case, seed = plan.case, plan.case.sampling.seed
    values: dict[str, Array] = {}
    mine = {variable.name: variable.distribution for variable in plan.variables if variable.scope == scope}
    names = [ROW] if scope and plan.posterior is not None else []
    if scope and may_fail_to_respond(plan):
        names.append(RESPONDS)
    for name, distribution in mine.items():
        if distribution.is_fixed:
            values[name] = np.full(trials, float(distribution.mean()))
        else:
            names.append(name)
    uniforms = block_uniforms(seed, names, scope, block, case.sampling.design, plan.registry, LATER_NAMES)
    if ROW in uniforms:
        part = case.dependence.forecast_common_part
        uniforms[ROW] = in_common(uniforms[ROW], _area_shock(plan, block), uniforms[ROW], part)
    if scope in plan.dependence:
        tied, matrix = plan.dependence[scope]
        columns = np.stack([uniforms[name] for name in tied], axis=1)
        if case.sampling.design == "sobol":
            columns = gaussian_copula(columns, matrix)
        else:
            columns = iman_conover(columns, matrix, dependence_uniforms(seed, tied, scope, block))
        uniforms.update(zip(tied, columns.T, strict=True))
    for name, u in uniforms.items():
        values[name] = mine[name].ppf(u[:trials]) if name in mine else u[:trials].copy()
    return values


def _area_shock(plan: WellPlan, block: int) -> Array:
    """What the forecasts of the wells of one area and main phase have in common: standard normals of a whole block."""
    sampling, scope = plan.case.sampling, f"{plan.well.main_phase} of area {plan.well.area}"
    made = block_uniforms(sampling.seed, (AREA_SHOCK,), scope, block, sampling.design)
    return np.asarray(ndtri(made[AREA_SHOCK]))


_KEPT: deque[tuple[object, tuple[object, ...], int, int, dict[str, Array]]] = deque(maxlen=6)
"""Shared draws of the blocks used last."""


def _shared(plan: WellPlan, block: int, trials: int) -> dict[str, Array]:
    """Draws of the scope that all wells share, made once a block where the wells' own keys agree."""
    shared = tuple(variable for variable in plan.variables if variable.scope == "")
    for case, variables, at, count, values in _KEPT:
        if at == block and count == trials and case is plan.case and variables == shared:
            return values
    values = _inputs(plan, "", block, trials)
    seed = plan.case.sampling.seed
    luck = generator(seed, "costs.service_luck", "", block).standard_normal(BLOCK_SIZE)
    values["costs.service_luck"] = luck[:trials]
    if plan.case.prices.model in PROCESSES:
        for name in ("prices.shock_oil", "prices.shock_gas"):
            stream = generator(seed, name, "", block)
            values[name] = stream.standard_normal((BLOCK_SIZE, plan.horizon))[:trials]
    _KEPT.append((plan.case, shared, block, trials, values))
    return values


def job_luck(values: Mapping[str, Array]) -> JobLuck:
    """The job's luck among the drawn values."""
    names = (*_LUCK, *(name for name in _OPTIONAL if name in values))
    return JobLuck(**{name.removeprefix("luck."): values[name] for name in names})
