"""What the simulation of a job is told, besides the plan: inputs, luck and fallbacks.

Every member of `JobInputs` carries the name and the unit of its key in the case ([job]).
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from functools import cache, lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from refracmc.job.fallbacks import FALLBACKS
from refracmc.job.sleeves import FloatArray

_ANY: Final = (-np.inf, np.inf)
_CHANCE: Final = (0.0, 1.0)
_AMOUNT: Final = (0.0, np.inf)
_LIMITS: Final[dict[str, tuple[float, float]]] = {
    "age_slope_per_year": _ANY,
    "cycle_slope": _ANY,
    "screenout_placed_fraction": _CHANCE,
    "leak_fluid_fraction": (0.0, 0.5),
    "stray_fluid_value": _CHANCE,
    "ct_speed_ft_per_min": (np.finfo(float).tiny, np.inf),
    "stages_per_bha": (1.0, np.inf),
    "work_hours_per_day": (np.finfo(float).tiny, 24.0),
    "patch_success": _CHANCE,
    "perforate_success": _CHANCE,
}


def limits(name: str) -> tuple[float, float]:
    """Lowest and highest value allowed for a member of `JobInputs`, in the unit of its name (chances from 0
    to 1)."""
    if name in _LIMITS:
        return _LIMITS[name]
    return _CHANCE if "_chance" in name else _AMOUNT


@lru_cache(maxsize=4)
def _bounds(names: tuple[str, ...]) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest values allowed, each (members, 1)."""
    low, high = np.array([limits(name) for name in names]).T
    return low[:, None], high[:, None]


def _outside(values: dict[str, FloatArray]) -> list[str]:
    """What is wrong with the members that are outside their limits or not a number."""
    problems = []
    for name, v in values.items():
        low, high = limits(name)
        if not (np.isfinite(v) & (v >= low) & (v <= high)).all():
            problems.append(f"{name} must be a number from {low:.3g} to {high:.3g}")
    return problems


def _none() -> FloatArray:
    return np.zeros(())


@dataclass(frozen=True, eq=False)
class JobInputs:
    """Inputs of the job, each (n,) over trials; scalars are broadcast to the longest member. Those with a
    default belong to rules that are off unless asked for.

    Raises ValueError, naming every member outside its limits (see `limits`) or not a number.
    """

    close_chance: FloatArray
    open_chance: FloatArray
    reclose_chance: FloatArray
    reopen_chance: FloatArray
    age_slope_per_year: FloatArray
    cycle_slope: FloatArray
    well_effect_sd: FloatArray
    sleeve_effect_sd: FloatArray
    hours_per_try: FloatArray
    hours_per_test: FloatArray
    hours_per_stage: FloatArray
    stage_hours_log_sd: FloatArray
    ct_speed_ft_per_min: FloatArray
    cleanout_hours: FloatArray
    hours_per_trip: FloatArray
    stages_per_bha: FloatArray
    trip_chance_per_stage: FloatArray
    screenout_chance: FloatArray
    screenout_hours: FloatArray
    screenout_placed_fraction: FloatArray
    npt_fraction: FloatArray
    waiting_days: FloatArray
    days_before_ct: FloatArray
    days_after_ct: FloatArray
    work_hours_per_day: FloatArray
    stuck_ct_chance: FloatArray
    stuck_ct_days: FloatArray
    well_lost_chance_given_stuck: FloatArray
    leak_chance_cement: FloatArray
    leak_chance_packer: FloatArray
    leak_fluid_fraction: FloatArray
    open_sleeve_take: FloatArray
    stray_fluid_value: FloatArray
    patch_hours: FloatArray
    patch_success: FloatArray
    perforate_hours: FloatArray
    perforate_success: FloatArray
    bha_change_hours: FloatArray = field(default_factory=_none)
    string_change_hours: FloatArray = field(default_factory=_none)
    slim_hours_per_stage: FloatArray = field(default_factory=_none)
    closed_leak_chance: FloatArray = field(default_factory=_none)
    leak_test_finds_chance: FloatArray = field(default_factory=_none)
    casing_failure_chance: FloatArray = field(default_factory=_none)
    casing_failure_days: FloatArray = field(default_factory=_none)
    well_lost_chance_given_casing_failure: FloatArray = field(default_factory=_none)

    def __post_init__(self) -> None:
        values = {name: np.asarray(getattr(self, name), dtype=float) for name in self.names()}
        sizes = {v.size for v in values.values() if v.ndim}
        n = max(sizes, default=1)
        problems = [
            f"{name} has shape {v.shape} for {n} trials"
            for name, v in values.items()
            if v.ndim > 1 or (v.ndim == 1 and v.size not in (1, n))
        ]
        if problems:
            raise ValueError("job inputs: " + "; ".join([*problems, *_outside(values)]))
        rows = np.empty((len(values), n))
        for row, v in zip(rows, values.values(), strict=True):
            row[:] = v
        low, high = _bounds(tuple(values))
        if not ((rows >= low) & (rows <= high) & np.isfinite(rows)).all():
            raise ValueError("job inputs: " + "; ".join(_outside(values)))
        rows.flags.writeable = False
        for name, row in zip(values, rows, strict=True):
            object.__setattr__(self, name, row)

    @classmethod
    @cache
    def names(cls) -> tuple[str, ...]:
        """Names of the members, in order."""
        return tuple(f.name for f in fields(cls))

    @classmethod
    def build(cls, n: int, **values: npt.ArrayLike) -> JobInputs:
        """From numbers or (n,) arrays, one for each member without a default; all come out (n,)."""
        values = dict.fromkeys(_OFF, 0.0) | values
        given = {name: np.asarray(value, dtype=float) for name, value in values.items()}
        first = next(iter(given))
        if given[first].ndim == 0:
            given[first] = np.broadcast_to(given[first], (n,))
        return cls(**given)

    @property
    def trials(self) -> int:
        """Number of trials n."""
        return int(self.close_chance.size)

    def mean(self) -> dict[str, float]:
        """Mean of every member over the trials."""
        return {name: float(getattr(self, name).mean()) for name in self.names()}


_OFF: Final = (
    "bha_change_hours",
    "string_change_hours",
    "slim_hours_per_stage",
    "closed_leak_chance",
    "leak_test_finds_chance",
    "casing_failure_chance",
    "casing_failure_days",
    "well_lost_chance_given_casing_failure",
)
PER_TRIAL_LUCK: Final = ("z_well", "u_event")
PER_SLEEVE_LUCK: Final = (
    "z_sleeve",
    "z_stage",
    "u_close",
    "u_open",
    "u_reclose",
    "u_reopen",
    "u_screen",
    "u_leak",
    "u_trip",
    "u_patch",
    "u_perforate",
    "u_perforate2",
)


OPTIONAL_LUCK: Final = {"u_tight_close": True, "u_tight_reclose": True, "u_casing": False, "u_method": False}
"""Luck of rules that are off unless asked for: name -> whether it is (n, N) (else (n,))."""


@dataclass(frozen=True, eq=False)
class JobLuck:
    """The luck of a block: members z_* standard normal, u_* uniform in [0, 1).

    z_well, u_event, u_casing and u_method are (n,), all others (n, N). `PER_TRIAL_LUCK`, `PER_SLEEVE_LUCK` and
    `OPTIONAL_LUCK` (None where their rule is off) list them. The same luck serves every strategy: a sleeve's
    uniform belongs to the sleeve and the kind of shift, not to the step.
    """

    z_well: FloatArray
    u_event: FloatArray
    z_sleeve: FloatArray
    z_stage: FloatArray
    u_close: FloatArray
    u_open: FloatArray
    u_reclose: FloatArray
    u_reopen: FloatArray
    u_screen: FloatArray
    u_leak: FloatArray
    u_trip: FloatArray
    u_patch: FloatArray
    u_perforate: FloatArray
    u_perforate2: FloatArray
    u_tight_close: FloatArray | None = None
    u_tight_reclose: FloatArray | None = None
    u_casing: FloatArray | None = None
    u_method: FloatArray | None = None

    def __post_init__(self) -> None:
        n = self.z_well.size
        shape = (n, self.z_sleeve.shape[-1])
        for f in fields(self):
            each = f.name in PER_SLEEVE_LUCK or OPTIONAL_LUCK.get(f.name, False)
            expected = shape if each else (n,)
            if getattr(self, f.name) is None and f.name in OPTIONAL_LUCK:
                continue
            if getattr(self, f.name).shape != expected:
                raise ValueError(
                    f"job luck: {f.name} has shape {getattr(self, f.name).shape}, not {expected}"
                )


@dataclass(frozen=True)
class JobPolicy:
    """Fallbacks when tries run out, the stop-loss, and the number of tries.

    when_not_closing, when_not_opening, when_not_reopening, patched_restricts : choices of `FALLBACKS`
    stop_loss_failed_closes : the job is called off if more than this many closings before the first stage
        fail; None: never
    """

    when_not_closing: str = "accept"
    when_not_opening: str = "skip"
    when_not_reopening: str = "accept"
    stop_loss_failed_closes: int | None = None
    max_tries: int = 3
    patched_restricts: str = "nothing"

    def __post_init__(self) -> None:
        for name, fallback in FALLBACKS.items():
            if getattr(self, name) not in fallback.choices:
                raise ValueError(f"{name} is '{getattr(self, name)}'; allowed: {', '.join(fallback.names)}")
        if not 1 <= self.max_tries <= 100:
            raise ValueError(f"max_tries is {self.max_tries}; 1 to 100 are possible")
        if self.stop_loss_failed_closes is not None and self.stop_loss_failed_closes < 0:
            raise ValueError(
                f"stop_loss_failed_closes is {self.stop_loss_failed_closes}; 0 or more is needed"
            )
