"""From a case file to a frozen Case, with everything wrong said at once.

Faults of the shared part stop the case (InputError with all faults, those of the wells included). Faults of
one well only - its keys, its files, its strategies - refuse that well; the others run. Where no well is left
the case is refused.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

from pydantic import StrictStr, ValidationError, field_validator

from refracmc.case.cross_checks import date_faults, dependence_faults
from refracmc.case.deck_file import Deck, flat_deck, read_deck
from refracmc.case.faults import (
    KeyPath,
    describe,
    from_problem,
    from_validation,
    nearest,
    unknown_key,
)
from refracmc.case.input_tables import Files, decode
from refracmc.case.job_section import Job
from refracmc.case.key_rules import Section, choice, refuse
from refracmc.case.load_well import WELL_KEYS, WellReader
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
from refracmc.case.validated_case import Case, WellCase
from refracmc.errors import Fault, InputError

SCHEMA_VERSION = 1
STATUSES = ("invented", "assumed", "real")
SHARED: Mapping[str, type[Section]] = {
    "sampling": Sampling,
    "valuation": Valuation,
    "prices": Prices,
    "fiscal": Fiscal,
    "opex": Opex,
    "job": Job,
    "response": Response,
    "stress": Stress,
    "dependence": Dependence,
    "strategies": Strategies,
    "outputs": Outputs,
    "fit": Pooling,
}
HEAD_KEYS = ("schema_version", "name", "title", "data_status")
_ID = re.compile(r"[A-Za-z0-9]([A-Za-z0-9 _.-]{0,62}[A-Za-z0-9_.-])?\Z")
S = TypeVar("S", bound=Section)


class Head(Section):
    """The keys at the top of the file."""

    name: StrictStr = choice(..., "name of the case and of its output folder: letters, digits, _ and -")
    title: StrictStr = choice("", "title for the report; absent: the name")
    data_status: StrictStr = choice(..., "invented, assumed or real")

    @field_validator("name", mode="after")
    @classmethod
    def _name(cls, value: str) -> str:
        if not re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9_-]{0,79}", value):
            allowed = "letters, digits, _ and -, not - first, up to 80 characters"
            raise refuse(f"{value[:90]!r}", allowed, "rename the case")
        return value

    @field_validator("title", mode="after")
    @classmethod
    def _title(cls, value: str) -> str:
        if len(value) > 200 or not value.isprintable():
            found = f"{value[:60]!r} of {len(value)} characters"
            raise refuse(
                found, "one line of printable text, up to 200 characters", "shorten or retype the title"
            )
        return value

    @field_validator("data_status", mode="after")
    @classmethod
    def _status(cls, value: str) -> str:
        if value not in STATUSES:
            raise refuse(
                f"{value!r}", ", ".join(STATUSES), nearest(value, STATUSES) or "say what the data are"
            )
        return value


def load_case(path: str | Path) -> Case:
    """Read and validate a case file.

    Raises InputError with every fault found when the case as a whole, or every well of it, cannot run.
    """
    return _Loader(Path(path)).load()


def parse_toml(path: Path, files: Files) -> dict[str, Any]:
    """The TOML of a file; InputError with line and column where it is none."""
    if not os.path.lexists(path) or os.path.isdir(path):
        found = "a directory" if os.path.isdir(path) else "no file there"
        inside = path / "case.toml" if os.path.isdir(path) else None
        remedy = f"did you mean '{inside}'?" if inside is not None and os.path.isfile(inside) else ""
        if path.parent.is_dir() and not remedy:
            remedy = nearest(path.name, sorted(item.name for item in path.parent.iterdir() if item.is_file()))
        raise InputError(Fault(str(path), found, "a case file", remedy or "correct the path"))
    text = decode(path.name, files.read_bytes(path.name))
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        found = f"no valid TOML: {problem}"
        remedy = "correct that line (texts in quotes, key = value, each key and [table] once)"
        raise InputError(Fault(path.name, found, "TOML", remedy)) from None


class _Loader:
    def __init__(self, path: Path) -> None:
        self.path = path
        self.file = path.name
        self.files = Files(path.parent)
        self.faults: list[Fault] = []
        self.shared: dict[str, Section] = {}
        self.failed: dict[str, set[KeyPath]] = {}

    def load(self) -> Case:
        raw = parse_toml(self.path, self.files)
        if not self._schema(raw):
            raise InputError(self.faults)
        head = self._head(raw)
        for key, model in SHARED.items():
            self._shared(key, model, raw.get(key, {}))
        valuation, prices = self._get("valuation", Valuation), self._get("prices", Prices)
        strategies = self._get("strategies", Strategies)
        deck = self._deck(prices, valuation)
        if strategies is not None and valuation is not None:
            self.faults += date_faults(strategies, valuation, self.file, ("strategies",))
        dependence = self._get("dependence", Dependence)
        if dependence is not None:
            self.faults += dependence_faults(dependence, self.file)
        status = head.data_status if head is not None else ""
        reader = WellReader(self.file, self.files, self.shared, self.failed, raw, prices, valuation, status)
        wells: list[WellCase] = []
        refused: dict[str, tuple[Fault, ...]] = {}
        for well_id, position, table in self._well_tables(raw):
            well, faults = reader.read(well_id, position, table)
            if faults:
                refused[well_id] = tuple(faults)
            if well is not None and not faults:
                wells.append(well)
        every = [*self.faults, *(fault for faults in refused.values() for fault in faults)]
        if self.faults or not wells:
            only = next(iter(refused)) if len(refused) == 1 and not self.faults else None
            raise InputError(dict.fromkeys(every), well=only)
        _hash_distribution_files(raw, self.files)
        assert head is not None
        assert valuation is not None
        assert prices is not None
        assert deck is not None
        return Case(
            name=head.name,
            title=head.title or head.name,
            data_status=head.data_status,
            path=self.path,
            sampling=self._sure("sampling", Sampling),
            valuation=valuation,
            prices=prices,
            deck=deck,
            fiscal=self._sure("fiscal", Fiscal),
            opex=self._sure("opex", Opex),
            outputs=self._sure("outputs", Outputs),
            dependence=self._sure("dependence", Dependence),
            strategies=self._sure("strategies", Strategies),
            wells=tuple(wells),
            refused=refused,
            files=dict(sorted(self.files.hashes.items())),
            fit=self._sure("fit", Pooling),
        )

    def _get(self, key: str, model: type[S]) -> S | None:
        section = self.shared.get(key)
        return section if isinstance(section, model) else None

    def _sure(self, key: str, model: type[S]) -> S:
        section = self._get(key, model)
        assert section is not None
        return section

    def _schema(self, raw: dict[str, Any]) -> bool:
        version = raw.get("schema_version")
        if isinstance(version, int) and not isinstance(version, bool) and version == SCHEMA_VERSION:
            return True
        found = "nothing: the key is missing" if version is None else describe(version)
        remedy = f"write schema_version = {SCHEMA_VERSION} at the top"
        if isinstance(version, int) and version > SCHEMA_VERSION:
            remedy = "the case was written for a later release: use that one"
        self.faults.append(Fault(f"{self.file}: schema_version", found, f"{SCHEMA_VERSION}", remedy))
        return False

    def _head(self, raw: dict[str, Any]) -> Head | None:
        known = [*HEAD_KEYS, *SHARED, "wells"]
        homes = {key: list(model.model_fields) for key, model in SHARED.items()}
        for key in raw:
            if key not in known:
                self.faults.append(unknown_key(f"{self.file}: {key}", key, known, homes))
        try:
            return Head.model_validate({key: raw[key] for key in HEAD_KEYS[1:] if key in raw})
        except ValidationError as error:
            self.faults += [fault for _, fault in from_validation(error, Head, self.file, ())]
            return None

    def _shared(self, key: str, model: type[Section], raw: Any) -> None:
        if not isinstance(raw, dict):
            remedy = f"write [{key}] and its keys below it"
            self.faults.append(Fault(f"{self.file}: {key}", describe(raw), "a table", remedy))
            return
        homes = {name: list(other.model_fields) for name, other in SHARED.items() if name != key}
        try:
            section = model.model_validate(raw, context={"base_dir": self.files.base_dir})
        except ValidationError as error:
            found = from_validation(error, model, self.file, (key,), homes)
            self.faults += [fault for _, fault in found]
            self.failed[key] = {path for path, _ in found}
            return
        problems = section.problems()
        self.faults += [from_problem(problem, self.file, (key,)) for problem in problems]
        self.failed[key] = {problem[0] for problem in problems}
        self.shared[key] = section

    def _deck(self, prices: Prices | None, valuation: Valuation | None) -> Deck | None:
        if prices is None or valuation is None:
            return None
        if prices.deck_file is None:
            if prices.oil_usd_per_bbl is None or prices.gas_usd_per_mcf is None:
                return None
            return flat_deck(prices.oil_usd_per_bbl, prices.gas_usd_per_mcf, valuation.date)
        try:
            deck, faults = read_deck(
                self.files.table(prices.deck_file, f"{self.file}: prices.deck_file"), valuation.date
            )
        except InputError as error:
            deck, faults = None, list(error.faults)
        self.faults += faults
        return deck

    def _well_tables(self, raw: dict[str, Any]) -> list[tuple[str, int, dict[str, Any]]]:
        tables = raw.get("wells")
        where = f"{self.file}: wells"
        if not isinstance(tables, list) or not tables:
            found = "no wells" if tables is None or tables == [] else describe(tables)
            self.faults.append(
                Fault(where, found, "one table [[wells]] or more", "write [[wells]] with id and tally")
            )
            return []
        result: list[tuple[str, int, dict[str, Any]]] = []
        seen: dict[str, int] = {}
        for k, table in enumerate(tables):
            here = f"{where}[{k + 1}]"
            if not isinstance(table, dict):
                self.faults.append(Fault(here, describe(table), "a table", "write [[wells]]"))
                continue
            name = table.get("id")
            if not isinstance(name, str) or not _ID.match(name):
                found = "nothing: the key is missing" if name is None else describe(name)
                allowed = "a text of a to z, A to Z, digits, blanks, _ . and -, up to 64; a blank inside only"
                remedy = nearest("id", [key for key in table if key not in WELL_KEYS]) or (
                    "write it of these alone, in the case and its files"
                    if isinstance(name, str)
                    else "give the well an id in quotes"
                )
                self.faults.append(Fault(f"{here}.id", found, allowed, remedy))
                continue
            if name.lower() in seen:
                found = f"the id {name!r} a second time (first in wells[{seen[name.lower()] + 1}])"
                self.faults.append(
                    Fault(f"{here}.id", found, "each id once, upper or lower case", "rename one well")
                )
                continue
            seen[name.lower()] = k
            result.append((name, k, table))
        return result


def _hash_distribution_files(raw: Any, files: Files) -> None:
    """Record the files that distributions were read from."""
    if isinstance(raw, dict):
        if "dist" in raw and isinstance(raw.get("file"), str):
            files.read_bytes(raw["file"])
        for value in raw.values():
            _hash_distribution_files(value, files)
    elif isinstance(raw, list):
        for value in raw:
            _hash_distribution_files(value, files)
