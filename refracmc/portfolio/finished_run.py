"""A finished run as the choice among its wells needs it: facts from the manifest, trials by row from the blocks."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from refracmc.case.scenarios import SCENARIOS
from refracmc.case.validated_case import Case, WellCase
from refracmc.engine.manifest import read_checked, read_manifest
from refracmc.engine.trials import StoredRows, kept_measures
from refracmc.errors import Fault, InputError

FACTS = "portfolio"
"""Where the manifest has the facts."""


@dataclass(frozen=True, eq=False)
class ValuedWell:
    """One well of a finished run. strategies: names, `nothing` first; measures: rows (n,) by measure and strategy;
    working_interest: a fraction; mobilisation_usd: mean [US$ gross]."""

    name: str
    pad: str
    working_interest: float
    mobilisation_usd: float
    strategies: tuple[str, ...]
    measures: Mapping[str, StoredRows]


@dataclass(frozen=True, eq=False)
class FinishedRun:
    """A finished run. sizes: trials of each block; refused: what each well that could not run lacks;
    scenarios: those valued beside it."""

    folder: Path
    name: str
    title: str
    data_status: str
    seed: int
    design: str
    sizes: list[int]
    valuation_month: str
    annual_discount_rate: float
    tail_fraction: float
    refused: Mapping[str, str]
    scenarios: tuple[str, ...]
    _wells: list[dict[str, Any]]

    @property
    def well_names(self) -> tuple[str, ...]:
        """Wells that were valued, in the order of the case."""
        return tuple(well["well"] for well in self._wells)

    def under_scenarios(self) -> Iterator[tuple[str, FinishedRun]]:
        """Name and run of each scenario that was valued. InputError where one is not as the run wrote it."""
        for name in self.scenarios:
            yield name, open_finished(self.folder / SCENARIOS / name)

    def wells(self) -> Iterator[ValuedWell]:
        """The wells one by one. RunFailure where a block is absent or damaged."""
        for well in self._wells:
            names = tuple(well["strategies"])
            measures = kept_measures(well["number"], len(names), self.folder, self.sizes)
            yield ValuedWell(
                well["well"],
                well["pad"],
                well["working_interest"],
                well["mobilisation_usd"],
                names,
                measures,
            )


def facts_of(case: Case) -> dict[str, Any]:
    """What the manifest keeps of a case for the choice among its wells."""
    return {
        "valuation_month": case.valuation.date,
        "annual_discount_rate": case.valuation.annual_discount_rate,
        "tail_fraction": case.valuation.cvar_tail_fraction,
        "valued_sha256": valued_digest(case),
    }


def facts_of_well(well: WellCase) -> dict[str, Any]:
    """What it keeps of one well."""
    return {
        "pad": well.pad,
        "working_interest": float(well.settings.interests.working),
        "mobilisation_usd": float(well.settings.job.cost.mobilisation_usd.mean()),
    }


def valued_digest(case: Case) -> str:
    """Digest of the case file without its section [portfolio], which changes no value; "" where the file was changed
    since the case was read."""
    try:
        data = case.path.read_bytes()
    except OSError:
        return ""
    if hashlib.sha256(data).hexdigest() != case.files.get(case.path.name):
        return ""
    stated = tomllib.loads(data.decode("utf-8-sig"))
    stated.pop("portfolio", None)
    return hashlib.sha256(json.dumps(stated, sort_keys=True, default=str).encode()).hexdigest()


def has_the_values_of(folder: Path, case: Case, identity: Mapping[str, Any]) -> bool:
    """Whether a finished run stands in the folder that differs from this case in its section [portfolio] at most."""
    manifest = read_manifest(folder)
    if manifest is None or FACTS not in manifest["run"]:
        return False
    run = manifest["run"]
    own = {case.path.name}
    files = [
        {k: v for k, v in either["input_files_sha256"].items() if k not in own} for either in (run, identity)
    ]
    same = all(
        run.get(key) == identity[key]
        for key in identity
        if key not in ("case_file_sha256", "input_files_sha256")
    )
    return bool(same and files[0] == files[1] and run[FACTS]["valued_sha256"] == valued_digest(case) != "")


def open_finished(folder: Path) -> FinishedRun:
    """The finished run in a folder. InputError where there is none, or it is not as the run wrote it."""
    manifest = read_manifest(folder)
    if manifest is None or FACTS not in manifest["run"]:
        found = "no finished run" if manifest is None else "a run without what the choice among wells needs"
        remedy = "name a case file or the folder of its run" if manifest is None else "run the case again"
        raise InputError(Fault(str(folder), found, "the folder of a finished run", remedy))
    read_checked(folder, "identity.json")
    run = manifest["run"]
    facts = run[FACTS]
    return FinishedRun(
        folder,
        run["case"],
        run["title"],
        run["data_status"],
        run["seed"],
        run["design"],
        run["blocks"]["trials"],
        facts["valuation_month"],
        facts["annual_discount_rate"],
        facts["tail_fraction"],
        {well: "; ".join(said) for well, said in run["refused"].items()},
        tuple(run.get("scenarios", ())),
        run["wells"],
    )
