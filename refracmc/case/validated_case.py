"""The validated case, frozen: what the engine, the decisions and the report read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pydantic import ValidationError

from refracmc.case.decision_section import Decision
from refracmc.case.deck_file import Deck
from refracmc.case.faults import from_validation
from refracmc.case.job_section import Job
from refracmc.case.key_lines import LineFinder
from refracmc.case.offset_section import OffsetWells
from refracmc.case.portfolio_section import Portfolio
from refracmc.case.response_section import Response, Stress
from refracmc.case.shared_sections import (
    Dependence,
    Fiscal,
    Opex,
    Outputs,
    Pooling,
    Prices,
    Sampling,
    Valuation,
)
from refracmc.case.strategies import Strategies
from refracmc.case.well_sections import Completion, Fit, Interests, TypeCurve
from refracmc.errors import Fault, InputError
from refracmc.job.sleeves import Tally
from refracmc.sampling.distributions import Distribution

if TYPE_CHECKING:
    from refracmc.production.history import History

Group = Literal["forecast", "prices", "job", "response", "costs"]


@dataclass(frozen=True)
class InputVariable:
    """One number of the case that may be uncertain (a fixed number is a fixed distribution).

    name: key path, the name of its random stream; scope: "" for a variable all wells share, else the well id;
    unit: unit of its values; source: where the number comes from; group: what it belongs to in the drivers;
    stated: false where it is left at its default.
    """

    name: str
    scope: str
    distribution: Distribution
    unit: str
    source: str
    group: Group
    stated: bool = True


@dataclass(frozen=True)
class Settings:
    """The sections a well runs with: its own keys over the shared ones."""

    job: Job
    response: Response
    stress: Stress
    opex: Opex
    fiscal: Fiscal
    strategies: Strategies
    decision: Decision
    interests: Interests
    completion: Completion
    offset_wells: OffsetWells | None = None


@dataclass(frozen=True)
class WellCase:
    """One well, ready to run.

    forecast: "history" (a decline fitted to `history`) or "type_curve"; main_phase: oil or gas;
    history: None where the case states none; fit: what the engineer fixed of the fit; area: wells of one area share a
    part of their forecasts' errors; pad: wells of one pad share a site; "" where not stated; warnings: what may be
    a slip.
    """

    id: str
    settings: Settings
    main_phase: str
    forecast: Literal["history", "type_curve"]
    history: History | None
    type_curve: TypeCurve | None
    fit: Fit
    tally: Tally
    area: str = ""
    pad: str = ""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Scenario:
    """The case with some keys in place of its own. keys: as stated; case: under them, with the wells and the refused
    wells that it has more than the case itself."""

    name: str
    keys: Mapping[str, Any]
    case: Case


@dataclass(frozen=True)
class Case:
    """A case as validated.

    refused: faults of the wells that cannot run, by well id; files: SHA-256 of every file read, by path
    relative to the case; teachers: neighbours that move the prior of the fits; scenarios: the same case with other
    keys; path: the case file; lines: where its keys stand in that.
    """

    name: str
    title: str
    data_status: str
    path: Path
    sampling: Sampling
    valuation: Valuation
    prices: Prices
    deck: Deck
    fiscal: Fiscal
    opex: Opex
    outputs: Outputs
    dependence: Dependence
    strategies: Strategies
    wells: tuple[WellCase, ...]
    refused: Mapping[str, tuple[Fault, ...]]
    files: Mapping[str, str]
    fit: Pooling = field(default_factory=Pooling)
    portfolio: Portfolio = field(default_factory=Portfolio)
    teachers: tuple[History, ...] = ()
    scenarios: tuple[Scenario, ...] = ()
    lines: LineFinder | None = field(default=None, repr=False, compare=False)

    def well(self, name: str) -> WellCase:
        """The well of that id; KeyError with the ids there are."""
        for well in self.wells:
            if well.id == name:
                return well
        raise KeyError(f"no well {name!r}; wells: {', '.join(well.id for well in self.wells)}")

    def with_line(self, fault: Fault) -> Fault:
        """A fault of a key of the case with the line of that key."""
        return fault if self.lines is None else self.lines.with_line(fault)

    def with_sampling(self, trials: int | None = None, seed: int | None = None) -> Case:
        """The same case with other trials or another seed; InputError where they are out of range."""
        changes = {key: value for key, value in (("trials", trials), ("seed", seed)) if value is not None}
        try:
            sampling = Sampling.model_validate({**self.sampling.model_dump(), **changes})
        except ValidationError as error:
            found = from_validation(error, Sampling, "run", ("sampling",))
            raise InputError([replace(fault, where=f"--{path[0]}") for path, fault in found]) from None
        return replace(
            self,
            sampling=sampling,
            scenarios=tuple(
                replace(one, case=replace(one.case, sampling=sampling)) for one in self.scenarios
            ),
        )
