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
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import StrictStr, field_validator

from refracmc.case.correlated_pairs import pair_faults
from refracmc.case.cross_checks import date_faults, dependence_faults
from refracmc.case.decision_section import Decision
from refracmc.case.deck_file import Deck, flat_deck, read_deck
from refracmc.case.faults import MISSING, KeyPath, nearest, path_text, read_section, unknown_key
from refracmc.case.job_section import Job
from refracmc.case.key_lines import LineFinder
from refracmc.case.key_rules import Section, choice
from refracmc.case.key_values import found_text, refuse
from refracmc.case.load_well import SharedPart, read_well
from refracmc.case.portfolio_section import Portfolio, portfolio_faults
from refracmc.case.response_section import Response, Stress
from refracmc.case.scenarios import SCENARIOS, load_with_scenarios, without
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
from refracmc.case.stated_wells import FILES_OF_ALL, WELLS_FILE, StatedWell, stated_wells
from refracmc.case.strategies import Strategies
from refracmc.case.table_files import Files, Table, decode, shorten
from refracmc.case.teachers_file import read_teachers
from refracmc.case.validated_case import Case, WellCase
from refracmc.case.well_sections import Completion, Interests
from refracmc.errors import Fault, InputError
from refracmc.input_file import MOST_OF_CASE

if TYPE_CHECKING:
    from refracmc.production.history import History

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
    "decision": Decision,
    "interests": Interests,
    "completion": Completion,
    "outputs": Outputs,
    "fit": Pooling,
    "portfolio": Portfolio,
}
_OF_WELLS = ("job", "response", "stress", "decision", "interests", "completion")
"""Shared sections that a case holds in its wells alone."""
HEAD_KEYS = ("schema_version", "name", "title", "data_status", WELLS_FILE, *FILES_OF_ALL)


DEEPEST = 20
"""Tables and lists within each other that are read."""
_NESTED = (
    "tables or lists nested too deep",
    f"up to {DEEPEST} within each other",
    "take what is nested out; keys: refracmc explain keys",
)


class Head(Section):
    """The keys at the top of the file."""

    name: StrictStr = choice(..., "name of the case and of its output folder: letters, digits, _ and -")
    title: StrictStr = choice("", "title for the report; absent: the name")
    data_status: StrictStr = choice(..., "invented, assumed or real")
    wells_file: StrictStr | None = choice(None, "table of wells, CSV or Parquet; absent: [[wells]] alone")
    history: StrictStr | None = choice(
        None, "history file of every well that states neither one nor a type curve"
    )
    tally: StrictStr | None = choice(None, "sleeve tally of every well that states none")

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
        if len(value) > 200:
            found = f"{value[:60]!r} of {len(value)} characters"
            raise refuse(found, "up to 200 characters", "shorten the title")
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
    path = Path(path)
    files = Files(path.parent)
    text = _case_text(path, files)
    raw = parse_toml(path.name, text)
    lines = LineFinder(path.name, text, raw)
    try:
        case = load_with_scenarios(path.name, raw, lambda raw, keys: _Loader(path, files, raw, keys).load())
    except InputError as error:
        raise InputError(map(lines.with_line, error.faults), well=error.well) from None
    scenarios = tuple(replace(one, case=_with_lines(one.case, lines)) for one in case.scenarios)
    return replace(_with_lines(case, lines), scenarios=scenarios)


def _with_lines(case: Case, lines: LineFinder) -> Case:
    refused = {well: tuple(map(lines.with_line, faults)) for well, faults in case.refused.items()}
    return replace(case, refused=refused, lines=lines)


def _case_text(path: Path, files: Files) -> str:
    """The text of a case file; InputError where there is none."""
    if not os.path.lexists(path) or os.path.isdir(path):
        found = "a directory" if os.path.isdir(path) else "no file there"
        inside = path / "case.toml" if os.path.isdir(path) else None
        remedy = f"did you mean '{inside}'?" if inside is not None and os.path.isfile(inside) else ""
        if path.parent.is_dir() and not remedy:
            remedy = nearest(path.name, sorted(item.name for item in path.parent.iterdir() if item.is_file()))
        raise InputError(Fault(str(path), found, "a case file", remedy or "correct the path"))
    return decode(path.name, files.read_bytes(path.name, most=MOST_OF_CASE))


def parse_toml(file: str, text: str) -> dict[str, Any]:
    """The TOML of a text; InputError with line and column where it is none."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        found = f"no valid TOML: {problem}"
        remedy = "correct that line (texts in quotes, key = value, each key and [table] once)"
        raise InputError(Fault(file, found, "TOML", remedy)) from None
    except RecursionError:
        raise InputError(Fault(file, *_NESTED)) from None
    except ValueError:  # Python converts no longer ones
        found, remedy = "a whole number of thousands of digits", "correct the number"
        raise InputError(Fault(file, found, "numbers a key can mean", remedy)) from None


def _form_faults(raw: dict[str, Any], file: str) -> list[Fault]:
    """Tables nested deeper than any key, and texts with characters that do not show or that turn what stands around
    them: escapes of a terminal, marks of direction, breaks of a line."""
    faults: list[Fault] = []
    todo: list[tuple[KeyPath, Any]] = [((), raw)]
    while todo:
        path, value = todo.pop()
        if len(path) > DEEPEST:
            return [Fault(file, *_NESTED)]
        parts: list[tuple[str | int, Any]] = []
        if isinstance(value, dict):
            parts = list(value.items())
        elif isinstance(value, list):
            parts = list(enumerate(value))
        texts = [key for key, _ in parts if isinstance(key, str)] + (
            [value] if isinstance(value, str) else []
        )
        for text in texts:
            if not text.isprintable():
                where = f"{file}: {path_text(path)}" if path else file
                remedy = "retype it without escapes, marks of direction or breaks of a line"
                faults.append(Fault(where, f"the text {text[:60]!r}", "printable text in one line", remedy))
        todo += [((*path, key), item) for key, item in reversed(parts)]
    return shorten(faults)


class _Loader:
    def __init__(
        self, path: Path, files: Files, raw: dict[str, Any], scenario: Mapping[str, Any] | None
    ) -> None:
        """scenario: its keys, which stand in `raw` already."""
        self.path, self.file, self.files, self.raw, self.scenario = path, path.name, files, raw, scenario
        self.faults: list[Fault] = []
        self.sections: dict[str, Section] = {}
        self.failed: dict[str, set[KeyPath]] = {}

    def load(self) -> Case:
        raw = self.raw
        faults = _form_faults(raw, self.file)
        if faults:
            raise InputError(faults)
        if not self._schema(raw):
            raise InputError(self.faults)
        head = self._head(raw)
        for key, model in SHARED.items():
            self._read_shared(key, model, raw.get(key, {}))
        shared = SharedPart(self.file, self.files, raw, self.sections, self.failed)
        valuation, strategies = shared.get("valuation", Valuation), shared.get("strategies", Strategies)
        deck = self._deck(shared.get("prices", Prices), valuation)
        if strategies is not None and valuation is not None:
            self.faults += date_faults(strategies, valuation, self.file, ("strategies",))
        dependence = shared.get("dependence", Dependence)
        if dependence is not None:
            self.faults += dependence_faults(dependence, self.file)
        stated, refused = self._stated_wells(raw, head)
        wells: list[WellCase] = []
        for item in stated:
            well, faults = read_well(shared, item.id, without(item.keys, self.scenario or {}))
            if faults or item.faults:
                refused[item.id] = (*item.faults, *(item.placed(fault, self.file) for fault in faults))
            elif well is not None:
                wells.append(well)
        portfolio = shared.get("portfolio", Portfolio)
        if portfolio is not None:
            self.faults += portfolio_faults(portfolio, {item.id for item in stated} | set(refused), self.file)
        teachers = self._teachers(shared.get("fit", Pooling), {*refused, *(well.id for well in wells)})
        if self.faults or not wells:
            every = [*self.faults, *(fault for faults in refused.values() for fault in faults)]
            only = next(iter(refused)) if len(refused) == 1 and not self.faults else None
            raise InputError(dict.fromkeys(every), well=only)
        _hash_distribution_files([raw, *(item.keys for item in stated)], self.files)
        assert head is not None
        assert deck is not None
        sections: dict[str, Any] = {key: self.sections[key] for key in SHARED if key not in _OF_WELLS}
        case = Case(
            name=head.name,
            title=head.title or head.name,
            data_status=head.data_status,
            path=self.path,
            deck=deck,
            wells=tuple(wells),
            refused=refused,
            files=dict(sorted(self.files.hashes.items())),
            teachers=teachers,
            **sections,
        )
        may_be_fixed = self.scenario is not None and "dependence" not in self.scenario
        faults = pair_faults(case, may_be_fixed)
        if faults:
            raise InputError(faults)
        return case

    def _schema(self, raw: dict[str, Any]) -> bool:
        version = raw.get("schema_version")
        if isinstance(version, int) and not isinstance(version, bool) and version == SCHEMA_VERSION:
            return True
        remedy = f"write schema_version = {SCHEMA_VERSION} at the top"
        if isinstance(version, int) and version > SCHEMA_VERSION:
            remedy = "the case was written for a later release: use that one"
        found = MISSING if version is None else found_text(version)
        self.faults.append(Fault(f"{self.file}: schema_version", found, f"{SCHEMA_VERSION}", remedy))
        return False

    def _head(self, raw: dict[str, Any]) -> Head | None:
        known = [*HEAD_KEYS, *SHARED, "wells", SCENARIOS]
        homes = {key: list(model.model_fields) for key, model in SHARED.items()}
        self.faults += [
            unknown_key(f"{self.file}: {key}", key, known, homes) for key in raw if key not in known
        ]
        stated = {key: raw[key] for key in HEAD_KEYS[1:] if key in raw}
        head, found = read_section(Head, stated, self.files.base_dir, self.file, (), "the keys")
        self.faults += [fault for _, fault in found]
        return head

    def _read_shared(self, key: str, model: type[Section], raw: Any) -> None:
        homes = {name: list(other.model_fields) for name, other in SHARED.items() if name != key}
        heading = f"[{key}] and its keys below it"
        section, found = read_section(model, raw, self.files.base_dir, self.file, (key,), heading, homes)
        self.faults += [fault for _, fault in found]
        self.failed[key] = {path for path, _ in found}
        if section is not None:
            self.sections[key] = section

    def _deck(self, prices: Prices | None, valuation: Valuation | None) -> Deck | None:
        if prices is None or valuation is None:
            return None
        if prices.deck_file is None:
            if prices.oil_usd_per_bbl is None or prices.gas_usd_per_mcf is None:
                return None
            return flat_deck(prices.oil_usd_per_bbl, prices.gas_usd_per_mcf, valuation.date)
        table = self._table(prices.deck_file, "prices.deck_file")
        if table is None:
            return None
        deck, faults = read_deck(table, valuation.date)
        self.faults += faults
        return deck

    def _teachers(self, fit: Pooling | None, own: set[str]) -> tuple[History, ...]:
        if fit is None or fit.teachers is None:
            return ()
        table = self._table(fit.teachers, "fit.teachers")
        if table is None:
            return ()
        histories, faults = read_teachers(table, own, "fit.teachers")
        self.faults += faults
        return histories

    def _stated_wells(
        self, raw: dict[str, Any], head: Head | None
    ) -> tuple[list[StatedWell], dict[str, tuple[Fault, ...]]]:
        """The wells as they are stated, and what is called a well and is none."""
        shared = {key: getattr(head, key, None) for key in (WELLS_FILE, *FILES_OF_ALL)}
        tables = {key: self._table(name, key) for key, name in shared.items() if name is not None}
        files = {key: str(shared[key]) for key in FILES_OF_ALL if tables.get(key) is not None}
        wells, refused, faults = stated_wells(
            self.file, raw.get("wells"), tables.get(WELLS_FILE), files, WELLS_FILE in tables
        )
        self.faults += faults
        return wells, refused

    def _table(self, name: str, key: str) -> Table | None:
        try:
            return self.files.table(name, f"{self.file}: {key}")
        except InputError as error:
            self.faults += error.faults
            return None


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
