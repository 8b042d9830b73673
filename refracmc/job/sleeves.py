"""The sleeve tally: where each sleeve is, what isolates it, and the state it was left in.

Sleeves are numbered from 1, the deepest (at the toe), to N, the shallowest (at the heel). Arrays over sleeves
have column k for sleeve k + 1, so depths fall along every array. "Above" and "uphole" mean a higher number.

States on record, and what the job may do with them

============= ================ ============= ============= =================================================
state         produced before  can be closed can be treated  note
============= ================ ============= ============= =================================================
open          yes              yes           yes
closed        no               is closed     yes           opened before it is treated
leaking       yes              after opening yes           closed, not tight: exposed above a stage by the
                                                           leak fraction unless it is opened and closed again
stuck_open    yes              no            yes           treated without an opening shift, never closed
stuck_closed  no               is closed     no
patched       no               is closed     no            tight for good
perforated    yes              no            yes           open for good
============= ================ ============= ============= =================================================
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]

STATES: Final = ("open", "closed", "leaking", "stuck_open", "stuck_closed", "patched", "perforated")
ISOLATIONS: Final = ("cement", "packer", "none")


class PlanRefused(ValueError):
    """A list of stages or actions that cannot be carried out.

    `sleeve` is the number of the sleeve it fails on (None where no single sleeve is to blame).
    """

    def __init__(self, message: str, sleeve: int | None = None) -> None:
        super().__init__(message)
        self.sleeve = sleeve


class TallyProblem(ValueError):
    """A tally that cannot be used. `problems` holds (sleeve number or None, text) for all that is wrong."""

    def __init__(self, problems: Sequence[tuple[int | None, str]]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(text for _, text in self.problems))


@dataclass(frozen=True, eq=False)
class Tally:
    """The sleeves of one well, deepest first.

    Parameters
    ----------
    depth_ft : (N,) float
        Measured depth of each sleeve [ft], strictly falling with the sleeve number.
    isolation : (N,) str
        What isolates the annulus between this sleeve and the next one above it: one of `ISOLATIONS`. That of
        the shallowest sleeve is not used: it has no sleeve above.
    state : (N,) str
        State on record, one of `STATES`.
    installed : (N,) datetime64[M]
        Month of installation; a sleeve's age counts from it.
    shifts : (N,) int
        Shifts on record (closings and openings) [-].
    production_share, potential_share : (N,) float or None
        Stated shares of old production and of refrac potential [-]; not negative, need not sum to one.

    Raises
    ------
    TallyProblem
        With every problem of the tally, each with its sleeve.
    """

    depth_ft: FloatArray
    isolation: npt.NDArray[np.str_]
    state: npt.NDArray[np.str_]
    installed: npt.NDArray[np.datetime64]
    shifts: IntArray
    production_share: FloatArray | None = None
    potential_share: FloatArray | None = None
    _masks: dict[str, BoolArray] = field(default_factory=dict, init=False, repr=False)

    def __post_init__(self) -> None:
        depth = np.asarray(self.depth_ft, dtype=float)
        if depth.ndim != 1 or depth.size == 0:
            raise TallyProblem([(None, "a tally needs at least one sleeve")])
        n = depth.size
        state = np.asarray(self.state, dtype=np.str_)
        isolation = np.asarray(self.isolation, dtype=np.str_)
        installed = np.asarray(self.installed, dtype="datetime64[M]")
        shifts = np.asarray(self.shifts)
        columns = {"isolation": isolation, "state": state, "installed": installed, "shifts": shifts}
        shares: dict[str, FloatArray] = {}
        for name in ("production_share", "potential_share"):
            value = getattr(self, name)
            if value is not None:
                shares[name] = np.asarray(value, dtype=float)
        problems: list[tuple[int | None, str]] = [
            (None, f"{name} has {column.size} entries for {n} sleeves")
            for name, column in {**columns, **shares}.items()
            if column.shape != (n,)
        ]
        if problems:
            raise TallyProblem(problems)
        for k in range(n):
            s = k + 1
            if not (np.isfinite(depth[k]) and depth[k] > 0.0):
                problems.append((s, f"sleeve {s} has depth {depth[k]} ft; a depth above 0 is needed"))
            elif k and not depth[k] < depth[k - 1]:
                problems.append(
                    (
                        s,
                        f"sleeve {s} at {depth[k]:g} ft is not shallower than sleeve {s - 1} at "
                        f"{depth[k - 1]:g} ft; sleeve 1 is the deepest and depths fall with the number",
                    )
                )
            if state[k] not in STATES:
                problems.append((s, f"sleeve {s} has state '{state[k]}'; allowed: {', '.join(STATES)}"))
            if isolation[k] not in ISOLATIONS:
                problems.append(
                    (s, f"sleeve {s} has isolation '{isolation[k]}'; allowed: {', '.join(ISOLATIONS)}")
                )
            if not (np.isfinite(shifts[k]) and shifts[k] >= 0 and shifts[k] == int(shifts[k])):
                problems.append((s, f"sleeve {s} has {shifts[k]} shifts; a whole number from 0 is needed"))
            if np.isnat(installed[k]):
                problems.append((s, f"sleeve {s} has no month of installation"))
            for name, share in shares.items():
                if not (np.isfinite(share[k]) and share[k] >= 0.0):
                    problems.append((s, f"sleeve {s} has {name} {share[k]}; a number from 0 is needed"))
        if problems:
            raise TallyProblem(problems)
        for name, array in {
            "depth_ft": depth,
            "isolation": isolation,
            "state": state,
            "installed": installed,
            "shifts": shifts.astype(np.int64),
            **shares,
        }.items():
            object.__setattr__(self, name, array)

    @property
    def count(self) -> int:
        """Number of sleeves N."""
        return int(self.depth_ft.size)

    def in_state(self, *states: str) -> BoolArray:
        """(N,) which sleeves are on record in one of the states."""
        key = "+".join(states)
        if key not in self._masks:
            self._masks[key] = np.isin(self.state, states)
        return self._masks[key]

    def in_isolation(self, isolation: str) -> BoolArray:
        """(N,) sleeves whose annulus to the next one above is isolated this way."""
        return np.asarray(self.isolation == isolation)

    @property
    def treatable(self) -> BoolArray:
        """(N,) sleeves that a stage may be pumped through: all but stuck_closed and patched."""
        return ~self.in_state("stuck_closed", "patched")

    @property
    def old_producers(self) -> BoolArray:
        """(N,) sleeves the old production comes from: open, stuck_open, perforated, leaking."""
        return self.in_state("open", "stuck_open", "perforated", "leaking")

    @property
    def closable(self) -> BoolArray:
        """(N,) sleeves that can stand closed by a shift: open, closed, leaking (the last two once opened)."""
        return self.in_state("open", "closed", "leaking")

    def reachable(self, reach_ft: float | None) -> BoolArray:
        """(N,) sleeves not deeper than the reach of the coiled tubing [ft]; all where it is None."""
        if reach_ft is None:
            return np.ones(self.count, dtype=bool)
        return np.asarray(self.depth_ft <= reach_ft)

    def age_years(self, job_month: np.datetime64) -> FloatArray:
        """(N,) age at the first day of the job month [years] = months since installation / 12.

        Raises PlanRefused, naming the sleeve, where a sleeve is installed after the job month.
        """
        months = (job_month.astype("datetime64[M]") - self.installed).astype(np.int64)
        if (months < 0).any():
            s = int(np.argmax(months < 0)) + 1
            raise PlanRefused(
                f"sleeve {s} is installed in {self.installed[s - 1]}, after the job month {job_month}", s
            )
        return np.asarray(months / 12.0, dtype=float)
