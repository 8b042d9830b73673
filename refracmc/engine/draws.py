"""The random numbers of a block, each from its own stream, and the input values they stand for.

A block is drawn whole and cut to its trials. Names are those of the case; what is not stated in the case has
names of its own: `forecast.row` (posterior row), `prices.shock_*`, `luck.*`, `costs.service_luck`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from refracmc.job.inputs import PER_TRIAL_LUCK, JobLuck
from refracmc.sampling.dependence import dependence_uniforms, gaussian_copula, iman_conover
from refracmc.sampling.designs import block_uniforms
from refracmc.sampling.streams import BLOCK_SIZE, generator, open_uniforms

from .plan import WellPlan

Array = NDArray[np.float64]
GROUPS = ("forecast", "prices", "job", "response", "costs")
ROW = "forecast.row"
PROCESSES = ("geometric_brownian", "mean_reverting")
_SPREAD = ("luck.z_share", "luck.z_potential")
_LUCK = tuple(f"luck.{name}" for name in JobLuck.__dataclass_fields__)


def group_names(plan: WellPlan) -> dict[str, str]:
    """Driver group of every name that `draw` returns."""
    groups: dict[str, str] = {variable.name: variable.group for variable in plan.variables}
    groups[ROW] = "forecast"
    groups.update(dict.fromkeys(("prices.shock_oil", "prices.shock_gas"), "prices"))
    groups.update(dict.fromkeys(_LUCK, "job"))
    groups.update(dict.fromkeys(_SPREAD, "response"))
    groups["costs.service_luck"] = "costs"
    return groups


def draw(plan: WellPlan, block: int, trials: int) -> dict[str, Array]:
    """Input values (n,), luck (n,) or (n, N) and price shocks (n, T) of the first `trials` of a block."""
    case, well, seed = plan.case, plan.id, plan.case.sampling.seed
    values: dict[str, Array] = {}
    scopes = {"": [], well: [ROW]} if plan.posterior is not None else {"": [], well: []}
    for variable in plan.variables:
        if variable.distribution.is_fixed:
            values[variable.name] = np.full(trials, float(variable.distribution.mean()))
        else:
            scopes[variable.scope].append(variable.name)
    by_name = {variable.name: variable.distribution for variable in plan.variables}
    for scope, names in scopes.items():
        uniforms = block_uniforms(seed, names, scope, block, case.sampling.design, plan.registry)
        if scope in plan.dependence:
            tied, matrix = plan.dependence[scope]
            columns = np.stack([uniforms[name] for name in tied], axis=1)
            if case.sampling.design == "sobol":
                columns = gaussian_copula(columns, matrix)
            else:
                columns = iman_conover(columns, matrix, dependence_uniforms(seed, tied, scope, block))
            uniforms.update(zip(tied, columns.T, strict=True))
        for name, u in uniforms.items():
            values[name] = u[:trials].copy() if name == ROW else by_name[name].ppf(u[:trials])

    sleeves = plan.well.tally.count
    for name in _LUCK:
        shape: tuple[int, ...] = (BLOCK_SIZE,)
        if name.removeprefix("luck.") not in PER_TRIAL_LUCK:
            shape = (BLOCK_SIZE, sleeves)
        stream = generator(seed, name, well, block)
        whole = stream.standard_normal(shape) if ".z_" in name else open_uniforms(stream, shape)
        values[name] = whole[:trials]
    for name in _SPREAD:
        values[name] = generator(seed, name, well, block).standard_normal((BLOCK_SIZE, sleeves))[:trials]
    values["costs.service_luck"] = generator(seed, "costs.service_luck", "", block).standard_normal(
        BLOCK_SIZE
    )[:trials]
    if case.prices.model in PROCESSES:
        for name in ("prices.shock_oil", "prices.shock_gas"):
            stream = generator(seed, name, "", block)
            values[name] = stream.standard_normal((BLOCK_SIZE, plan.horizon))[:trials]
    return values


def mix(
    first: Mapping[str, Array], second: Mapping[str, Array], groups: Mapping[str, str], take: str
) -> dict[str, Array]:
    """The draws `first` with the names of one group taken from `second`."""
    return {name: second[name] if groups[name] == take else value for name, value in first.items()}


def job_luck(values: Mapping[str, Array]) -> JobLuck:
    """The job's luck among the drawn values."""
    return JobLuck(**{name.removeprefix("luck."): values[name] for name in _LUCK})
