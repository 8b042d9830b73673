"""Plans of many wells, built when they are asked for: the posteriors stand on disk, so that memory does not grow with
the wells. Building is deterministic, so that every process gets the same plan."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from refracmc.case.validated_case import Case
from refracmc.production.fit import Posterior

from . import store
from .plan import WellOutline, WellPlan, build_plan

Array = NDArray[np.float64]
PASSING = "passing"
"""Folder of a run that is being made: its posteriors. It goes when the run is complete."""
_HELD = 24
"""Plans kept ready in a process: more than are done in a row."""


@dataclass(frozen=True)
class FitOutline:
    """Of a posterior on disk: the phases that have ratios, the diagnostics but the long ones, and how many sets."""

    phases: tuple[str, ...]
    diagnostics: Mapping[str, Any]
    sets: int

    @classmethod
    def of(cls, posterior: Posterior) -> FitOutline:
        """What is kept in memory of a posterior."""
        short = {
            key: value
            for key, value in posterior.diagnostics.items()
            if isinstance(value, int | float | str | list)
        }
        return cls(tuple(sorted(posterior.secondary)), short, posterior.sets)


def _path(folder: Path, number: int) -> Path:
    return folder / PASSING / f"well{number:04d}.fit.npy"


def write_posterior(folder: Path, number: int, posterior: Posterior) -> None:
    """Keep the draws of well `number` in the work folder, one row each: (8 + 3 phases, K), units as in Posterior."""
    running = posterior.running_uptime
    ratios = [row for phase in sorted(posterior.secondary) for row in posterior.secondary[phase]]
    rows = [posterior.form, *posterior.slots, posterior.uptime, posterior.technical_eur]
    rows += [np.full(len(posterior.form), np.nan) if running is None else running, *ratios]
    path = _path(folder, number)
    path.parent.mkdir(exist_ok=True)
    store.write_array(path, np.array(rows, dtype=np.float64), keep=False)


def read_posterior(folder: Path, number: int, fit: FitOutline) -> Posterior:
    """The posterior that `write_posterior` kept. Raises RunFailure where it is absent or damaged."""
    path = _path(folder, number)
    found = store.read_array(path)
    if found is None or len(found) != 8 + 3 * len(fit.phases):
        raise store.damaged(path)
    ratios = {
        phase: (found[8 + 3 * k], found[9 + 3 * k], found[10 + 3 * k]) for k, phase in enumerate(fit.phases)
    }
    return Posterior(
        found[0].astype(np.int8),
        found[1:5],
        found[5],
        ratios,
        found[6],
        fit.diagnostics,
        None if np.isnan(found[7]).any() else found[7],
        fit.sets,
    )


class StoredPlans(Sequence[WellPlan]):
    """Plans by index. Those used last are kept; the others are built anew from the case and the posterior on disk."""

    def __init__(
        self, case: Case, folder: Path, outlines: Sequence[WellOutline], fits: Sequence[FitOutline | None]
    ) -> None:
        """folder: where the posteriors stand; outlines, fits: of each well that can run, in the order of the case.

        fits: None for a type curve.
        """
        self.outlines, self.fits = tuple(outlines), tuple(fits)
        self._case, self.folder = case, folder
        self._held: OrderedDict[int, WellPlan] = OrderedDict()

    def __getstate__(self) -> dict[str, Any]:
        return {**self.__dict__, "_held": OrderedDict()}

    def __len__(self) -> int:
        return len(self.outlines)

    def posterior(self, index: int) -> Posterior | None:
        """The posterior of a well, None for a type curve. Raises RunFailure where it is absent or damaged."""
        fit = self.fits[index]
        return None if fit is None else read_posterior(self.folder, self.outlines[index].number, fit)

    @overload
    def __getitem__(self, index: int, /) -> WellPlan: ...
    @overload
    def __getitem__(self, index: slice, /) -> list[WellPlan]: ...
    def __getitem__(self, index: int | slice, /) -> WellPlan | list[WellPlan]:
        if isinstance(index, slice):
            return [self[k] for k in range(*index.indices(len(self)))]
        index = range(len(self))[index]
        plan = self._held.pop(index, None)
        if plan is None:
            outline = self.outlines[index]
            plan = build_plan(self._case, outline.well, outline.number, self.posterior(index))
        self._held[index] = plan
        if len(self._held) > _HELD:
            self._held.popitem(last=False)
        return plan
