"""One [[wells]] table: its keys over the shared sections, its files, its strategies; or what is wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeVar

from refracmc.case import units
from refracmc.case.cross_checks import (
    child_warnings,
    curve_faults,
    date_faults,
    depth_warnings,
    grade_faults,
    intensity_faults,
    month_of,
    order_faults,
    technical_limit_faults,
)
from refracmc.case.decision_section import Decision
from refracmc.case.faults import MISSING, KeyPath, nearest, path_text, read_section, unknown_key
from refracmc.case.history_file import SEGMENT_REMEDY, read_history, to_history, unfit_reason
from refracmc.case.job_section import Job
from refracmc.case.key_rules import Section
from refracmc.case.key_values import found_text
from refracmc.case.merging import merge, stands_in
from refracmc.case.offset_section import OffsetWells
from refracmc.case.response_section import Response, Stress
from refracmc.case.shared_sections import Fiscal, Opex, Valuation
from refracmc.case.size_section import size_faults
from refracmc.case.strategies import Strategies
from refracmc.case.table_files import Files, Table
from refracmc.case.tally_file import read_tally
from refracmc.case.tubing_reach import reach_faults, stated_reach_ft
from refracmc.case.validated_case import Settings, WellCase
from refracmc.case.well_sections import Completion, Fit, Interests, TypeCurve
from refracmc.errors import Fault, InputError
from refracmc.job.sleeves import Tally

OVERRIDES: Mapping[str, type[Section]] = {
    "job": Job,
    "response": Response,
    "stress": Stress,
    "opex": Opex,
    "fiscal": Fiscal,
    "strategies": Strategies,
    "decision": Decision,
    "interests": Interests,
    "completion": Completion,
}
OWN: Mapping[str, type[Section]] = {
    "type_curve": TypeCurve,
    "fit": Fit,
    "offset_wells": OffsetWells,
}
TEXT_KEYS: Mapping[str, tuple[str, ...] | None] = {
    "history": None,
    "tally": None,
    "area": None,
    "pad": None,
    "main_phase": ("auto", "oil", "gas"),
    "forecast": ("auto", "history", "type_curve"),
}
_FILES = ("history", "tally")
WELL_KEYS = ("id", *TEXT_KEYS, *OWN, *OVERRIDES)
S = TypeVar("S", bound=Section)


@dataclass(frozen=True)
class SharedPart:
    """What the wells of a case share: its file, the tables as written and as sections, and the key paths that were
    faulted in them already."""

    file: str
    files: Files
    raw: Mapping[str, Any]
    sections: Mapping[str, Section]
    failed: Mapping[str, set[KeyPath]]

    def get(self, key: str, model: type[S]) -> S | None:
        """A section, or None where it could not be read."""
        section = self.sections.get(key)
        return section if isinstance(section, model) else None


def read_well(shared: SharedPart, well_id: str, table: dict[str, Any]) -> tuple[WellCase | None, list[Fault]]:
    """The well and its faults; the well is None where it, or the shared part, cannot be used."""
    reader = _WellReader(shared, well_id, table)
    well = reader.read()
    return (None if reader.faults else well), reader.faults


class _WellReader:
    def __init__(self, shared: SharedPart, well_id: str, table: dict[str, Any]) -> None:
        self.shared, self.id, self.table = shared, well_id, table
        self.prefix: KeyPath = (f"wells.{well_id}",)
        self.faults: list[Fault] = []
        self.valuation = shared.get("valuation", Valuation)
        self.texts = {key: self._text(key, allowed) for key, allowed in TEXT_KEYS.items()}
        self.sections = {key: self._section(key, model) for key, model in {**OVERRIDES, **OWN}.items()}

    def read(self) -> WellCase | None:
        """The well, None where something of it cannot be used; `faults` says what."""
        homes = {key: list(model.model_fields) for key, model in {**OWN, **OVERRIDES}.items()}
        self.faults += [
            unknown_key(self._where(key), key, WELL_KEYS, homes) for key in self.table if key not in WELL_KEYS
        ]
        fit = self._get("fit", Fit)
        curve, completion = self._get("type_curve", TypeCurve), self._get("completion", Completion)
        history = self._history(fit or Fit())
        forecast, phase = self._forecast(history, curve)
        tally = self._tally(history, curve, completion)
        self._check_strategies(tally, completion)
        response, job, file = self._get("response", Response), self._get("job", Job), self.shared.file
        if completion is not None and response is not None:
            self.faults += intensity_faults(response, completion, file, self.prefix)
        peak = curve.peak_rate_per_d.mean() if curve is not None and forecast == "type_curve" else None
        if history is not None and forecast == "history":
            peak = float(history.peak_rate_per_d)
        if response is not None and peak is not None:
            self.faults += technical_limit_faults(response, phase, peak, file, self.prefix)
        if completion is not None and job is not None:
            self.faults += grade_faults(job, completion, file, self.prefix)
        if tally is None or any(self.sections[key] is None for key in (*OVERRIDES, "fit")):
            return None
        settings: dict[str, Any] = {key: self.sections[key] for key in (*OVERRIDES, "offset_wells")}
        assert fit is not None
        return WellCase(
            id=self.id,
            settings=Settings(**settings),
            main_phase=phase,
            forecast=forecast,
            history=history,
            type_curve=curve,
            fit=fit,
            tally=tally,
            area=self.texts["area"] or "",
            pad=self.texts["pad"] or "",
            warnings=self._warnings(tally, completion),
        )

    def _warnings(self, tally: Tally, completion: Completion | None) -> tuple[str, ...]:
        """What is allowed and may be a slip."""
        depths = () if completion is None else depth_warnings(tally, completion)
        children = (
            ()
            if self.valuation is None
            else child_warnings(self._get("offset_wells", OffsetWells), self.valuation)
        )
        return (*depths, *children)

    def _where(self, *path: str) -> str:
        return f"{self.shared.file}: {path_text((*self.prefix, *path))}"

    def _fault(self, where: str, found: str, allowed: str, remedy: str) -> None:
        self.faults.append(Fault(where, found, allowed, remedy))

    def _get(self, key: str, model: type[S]) -> S | None:
        section = self.sections[key]
        return section if isinstance(section, model) else None

    def _text(self, key: str, allowed: tuple[str, ...] | None) -> str | None:
        """A file or another name, or one of the allowed words (the first where none is stated)."""
        value = self.table.get(key, allowed[0] if allowed else None)
        if value is None:
            return None
        if not isinstance(value, str) or not value.strip():
            wanted, remedy = (
                ("a file", "name a file in quotes") if key in _FILES else ("a text in quotes", "correct it")
            )
            self._fault(self._where(key), found_text(value), wanted, remedy)
            return None
        if allowed and value not in allowed:
            remedy = nearest(value, allowed) or "take one of these"
            self._fault(self._where(key), f"{value!r}", ", ".join(allowed), remedy)
            return allowed[0]
        return value

    def _section(self, key: str, model: type[Section]) -> Section | None:
        """A section of the well: its own keys over the shared ones where there are such."""
        own = self.table.get(key, {})
        known: set[KeyPath] = set()
        raw = own
        if key in OVERRIDES:
            if key not in self.table:
                return self.shared.sections.get(key)
            below, known = self.shared.raw.get(key, {}), self.shared.failed.get(key, set())
            if isinstance(own, dict):
                raw = merge(below if isinstance(below, dict) else {}, own)
        elif key in ("type_curve", "offset_wells") and key not in self.table:
            return None
        section, faults = read_section(
            model,
            raw,
            self.shared.files.base_dir,
            self.shared.file,
            (*self.prefix, key),
            f"[wells.{key}] below [[wells]]",
        )
        self.faults += [fault for path, fault in faults if stands_in(path, own) or path not in known]
        return section

    def _file(self, key: str, name: str) -> Table | None:
        try:
            return self.shared.files.table(name, self._where(key))
        except InputError as error:
            self.faults += error.faults
            return None

    def _history(self, fit: Fit) -> Any:
        name = self.texts["history"]
        table = None if name is None else self._file("history", name)
        if name is None or table is None:
            return None
        columns, found = read_history(table, self.id, self._where("id"))
        self.faults += found
        if columns is None:
            return None
        phase = self.texts["main_phase"] or "auto"
        history, found = to_history(columns, self.id, phase, fit.segment_start, fit.exclude, name)
        self.faults += found
        if history is not None and self.valuation is not None:
            last = month_of(history.dates[-1])
            if last >= units.month_number(self.valuation.date):
                text = f"{units.month_text(last)} as the last month of well {self.id}"
                allowed = f"months before the valuation date {self.valuation.date}"
                remedy = (
                    f"set valuation.date to {units.month_text(last + 1)} or later, or shorten the history"
                )
                self._fault(name, text, allowed, remedy)
        return history

    def _forecast(
        self, history: Any, curve: TypeCurve | None
    ) -> tuple[Literal["history", "type_curve"], str]:
        """What the forecast is made of, and the main phase."""
        name, wanted = self.texts["history"], self.texts["forecast"] or "auto"
        phase = history.main_phase if history is not None else self.texts["main_phase"] or "auto"
        stated = "type_curve" in self.table
        if name is None:
            if "history" in self.table:
                return "history", phase  # told already
            if not stated:
                remedy = "name a history file, or state [wells.type_curve]"
                self._fault(self._where(), "neither a history nor a type curve", "one of the two", remedy)
                return "history", phase
            if wanted == "history":
                where = self._where("forecast")
                self._fault(where, "'history' without a history", "a history", "name the file")
        if wanted == "type_curve" and not stated:
            remedy = "state [wells.type_curve]"
            self._fault(self._where("forecast"), "'type_curve' without one", "a type curve", remedy)
        reason = unfit_reason(history) if history is not None and wanted != "type_curve" else None
        if reason is not None and (wanted == "history" or not stated):
            allowed = (
                "a history a decline can be fitted to: 4 producing months or more, 3 of them from the peak on"
            )
            remedy = f"add months, {SEGMENT_REMEDY}, or state [wells.type_curve]"
            self._fault(str(name), f"{reason} of well {self.id}", allowed, remedy)
        if wanted == "type_curve" or (wanted == "auto" and (name is None or reason is not None)):
            if phase == "auto":
                where = self._where("main_phase")
                self._fault(where, "'auto' with a type curve", "oil, gas", "state the phase")
            if curve is not None:
                self.faults += curve_faults(curve, phase, self.valuation, self.shared.file, self.prefix)
            return "type_curve", phase
        return "history", phase

    def _tally(self, history: Any, curve: TypeCurve | None, completion: Completion | None) -> Tally | None:
        """The sleeves; taken to be installed at first production where the tally does not say when."""
        name, where = self.texts["tally"], self._where("tally")
        if name is None:
            if "tally" not in self.table:
                self._fault(where, MISSING, "a CSV file of sleeves", 'write tally = "sleeves.csv"')
            return None
        table = self._file("tally", name)
        if table is None:
            return None
        first = units.month_number(curve.first_production) if curve is not None else 0
        if history is not None:
            first = month_of(history.dates[0])
        valuation = units.month_number(self.valuation.date) if self.valuation is not None else 10**6
        toe = completion.toe_md_ft if completion is not None else None
        tally, found = read_tally(table, self.id, self._where("id"), first, valuation, toe)
        self.faults += found
        return tally

    def _check_strategies(self, tally: Tally | None, completion: Completion | None) -> None:
        """What stands against the well's dates, orders and methods, and the reach they count on."""
        strategies, job, file = self._get("strategies", Strategies), self._get("job", Job), self.shared.file
        if strategies is None:
            return
        reach = completion.ct_reach_ft if completion is not None else None
        if reach is not None and tally is not None and reach < tally.depth_ft.min():
            found = f"{reach:,.0f} ft, where the shallowest sleeve of the tally is at {tally.depth_ft.min():,.0f} ft"
            where, remedy = (
                self._where("completion", "ct_reach_ft"),
                "correct the reach, the depths or their units",
            )
            self._fault(where, found, "the reach of one sleeve at least", remedy)
            return
        if job is not None:
            faults = reach_faults(completion, job, tally, self.id, file, self.prefix)
            self.faults += faults
            reach = reach if faults else stated_reach_ft(completion, job, tally)
        own, place = self.table.get("strategies", {}), (*self.prefix, "strategies")
        if job is not None:
            stated = place if "sizes" in own else ("strategies",)
            for path, *rest in size_faults(strategies, job):
                self._fault(f"{file}: {path_text((*stated, *path))}", *rest)
        if self.valuation is not None:
            self.faults += date_faults(strategies, self.valuation, file, place, own)
        if not {"orders", "custom_orders"} & set(own):
            place = ("strategies",)
        self.faults += order_faults(strategies, tally, reach, self.id, file, place)
