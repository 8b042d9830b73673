"""The random numbers of a block, each from its own stream, and the input values they stand for.

A block is drawn whole and cut to its trials. Names are those of the case; what is not stated in the case has
names of its own: `forecast.row` (posterior row), `prices.shock_*`, `luck.*`, `costs.service_luck`.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from refracmc.case.inputs import LATER_NAMES
from refracmc.job.inputs import OPTIONAL_LUCK, PER_SLEEVE_LUCK, PER_TRIAL_LUCK, JobLuck
from refracmc.sampling.base import Distribution
from refracmc.sampling.dependence import dependence_uniforms, gaussian_copula, iman_conover
from refracmc.sampling.designs import block_uniforms
from refracmc.sampling.streams import generators, open_uniforms
from refracmc.sampling.together import ppf_rows

from .plan import WellPlan

Array = NDArray[np.float64]
GROUPS = ("forecast", "prices", "job", "response", "costs")
ROW = "forecast.row"
PROCESSES = ("geometric_brownian", "mean_reverting")
_SPREAD = ("luck.z_share", "luck.z_potential")
_LUCK = tuple(
    f"luck.{name}" for name in JobLuck.__dataclass_fields__ if name in PER_SLEEVE_LUCK + PER_TRIAL_LUCK
)
_OPTIONAL = tuple(f"luck.{name}" for name in OPTIONAL_LUCK)
_PER_TRIAL = frozenset(
    f"luck.{name}" for name in (*PER_TRIAL_LUCK, *(name for name, each in OPTIONAL_LUCK.items() if not each))
)


def group_names(plan: WellPlan) -> dict[str, str]:
    """Driver group of every name that `draw` returns."""
    groups: dict[str, str] = {variable.name: variable.group for variable in plan.variables}
    groups[ROW] = "forecast"
    groups.update(dict.fromkeys(("prices.shock_oil", "prices.shock_gas"), "prices"))
    groups.update(dict.fromkeys((*_LUCK, *_OPTIONAL), "job"))
    groups.update(dict.fromkeys(_SPREAD, "response"))
    groups["costs.service_luck"] = "costs"
    return groups


def draw(plan: WellPlan, block: int, trials: int, *, inputs_only: bool = False) -> dict[str, Array]:
    """Input values (n,), luck (n,) or (n, N) and price shocks (n, T) of the first `trials` of a block.

    inputs_only: the values of inputs and the posterior row, without luck and shocks.
    """
    values = dict(_shared(plan, block, trials, inputs_only))
    own = _inputs(plan, plan.id, block, trials)
    values.update(own)
    if inputs_only:
        return values
    sleeves = plan.well.tally.count
    names = (*_LUCK, *_optional_luck(plan), *_SPREAD)
    for name, stream in zip(names, generators(plan.case.sampling.seed, names, plan.id, block), strict=True):
        shape = (trials,) if name in _PER_TRIAL else (trials, sleeves)
        # the numbers of a stream follow each other trial by trial: a block cut short is a shorter run of them
        values[name] = stream.standard_normal(shape) if ".z_" in name else open_uniforms(stream, shape)
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
    if plan.well.settings.strategies.methods.liner is not None:
        names.add("luck.u_method")
    return tuple(name for name in _OPTIONAL if name in names)


@lru_cache(maxsize=64)
def _split(plan: WellPlan, scope: str) -> tuple[dict[str, float], dict[str, Distribution]]:
    """The inputs of a scope that are certain, and those that are not."""
    mine = {variable.name: variable.distribution for variable in plan.variables if variable.scope == scope}
    fixed = {name: float(found.mean()) for name, found in mine.items() if found.is_fixed}
    return fixed, {name: found for name, found in mine.items() if name not in fixed}


def _inputs(plan: WellPlan, scope: str, block: int, trials: int) -> dict[str, Array]:
    """Values of the inputs of one scope, and the posterior row in the well's own."""
    case, seed = plan.case, plan.case.sampling.seed
    fixed, mine = _split(plan, scope)
    values = {name: np.full(trials, value) for name, value in fixed.items()}
    names = ([ROW] if scope and plan.posterior is not None else []) + list(mine)
    uniforms = block_uniforms(seed, names, scope, block, case.sampling.design, plan.registry, LATER_NAMES)
    if scope in plan.dependence:
        tied, matrix = plan.dependence[scope]
        columns = np.stack([uniforms[name] for name in tied], axis=1)
        if case.sampling.design == "sobol":
            columns = gaussian_copula(columns, matrix)
        else:
            columns = iman_conover(columns, matrix, dependence_uniforms(seed, tied, scope, block))
        uniforms.update(zip(tied, columns.T, strict=True))
    if ROW in uniforms:
        values[ROW] = uniforms.pop(ROW)[:trials].copy()
    if uniforms:
        stacked = np.stack([u[:trials] for u in uniforms.values()])
        found = ppf_rows([mine[name] for name in uniforms], stacked)
        values.update(zip(uniforms, found, strict=True))
    return values


_Kept = tuple[object, tuple[object, ...], int, int, dict[str, Array]]
_INPUTS: deque[_Kept] = deque(maxlen=32)
_WHOLE: deque[_Kept] = deque(maxlen=6)
"""Shared draws of the blocks used last: the inputs, and with them the luck and the price shocks."""


def _shared(plan: WellPlan, block: int, trials: int, inputs_only: bool) -> dict[str, Array]:
    """Draws of the scope that all wells share, made once a block where the wells' own keys agree."""
    shared = tuple(variable for variable in plan.variables if variable.scope == "")

    def kept(place: deque[_Kept]) -> dict[str, Array] | None:
        for case, variables, at, count, values in place:
            if at == block and count == trials and case is plan.case and variables == shared:
                return values
        return None

    values = kept(_INPUTS)
    if values is None:
        values = _inputs(plan, "", block, trials)
        _INPUTS.append((plan.case, shared, block, trials, values))
    if inputs_only:
        return values
    found = kept(_WHOLE)
    if found is not None:
        return found
    values = dict(values)
    names = ["costs.service_luck"]
    if plan.case.prices.model in PROCESSES:
        names += ["prices.shock_oil", "prices.shock_gas"]
    for name, stream in zip(names, generators(plan.case.sampling.seed, names, "", block), strict=True):
        shape = (trials,) if name == "costs.service_luck" else (trials, plan.horizon)
        values[name] = stream.standard_normal(shape)
    _WHOLE.append((plan.case, shared, block, trials, values))
    return values


def job_luck(values: Mapping[str, Array]) -> JobLuck:
    """The job's luck among the drawn values."""
    names = (*_LUCK, *(name for name in _OPTIONAL if name in values))
    return JobLuck(**{name.removeprefix("luck."): values[name] for name in names})
