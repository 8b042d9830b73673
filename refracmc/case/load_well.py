"""One [[wells]] table: its keys over the shared sections, its files, its strategies; or what is wrong."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeVar

from pydantic import ValidationError

from refracmc.case import units
from refracmc.case.cross_checks import (
    curve_faults,
    date_faults,
    intensity_faults,
    last_month,
    order_faults,
)
from refracmc.case.faults import (
    KeyPath,
    describe,
    from_problem,
    from_validation,
    nearest,
    path_text,
    unknown_key,
)
from refracmc.case.history_file import read_history, to_history, unfit_reason
from refracmc.case.input_tables import Files
from refracmc.case.job_section import Job
from refracmc.case.key_rules import Section
from refracmc.case.merging import merge, stands_in
from refracmc.case.response_section import Response, Stress
from refracmc.case.shared_sections import (
    Completion,
    Fiscal,
    Fit,
    Interests,
    Opex,
    Prices,
    TypeCurve,
    Valuation,
)
from refracmc.case.strategies import Strategies
from refracmc.case.tally_file import read_tally
from refracmc.case.tubing_reach import reach_faults, stated_reach_ft
from refracmc.case.uncertain_inputs import well_variables
from refracmc.case.validated_case import Settings, WellCase
from refracmc.errors import Fault, InputError
from refracmc.job.sleeves import Tally

OVERRIDES: Mapping[str, type[Section]] = {
    "job": Job,
    "response": Response,
    "stress": Stress,
    "opex": Opex,
    "fiscal": Fiscal,
    "strategies": Strategies,
}
OWN: Mapping[str, type[Section]] = {
    "interests": Interests,
    "completion": Completion,
    "type_curve": TypeCurve,
    "fit": Fit,
}
_TEXT_KEYS: Mapping[str, tuple[str, ...] | None] = {
    "history": None,
    "tally": None,
    "main_phase": ("auto", "oil", "gas"),
    "forecast": ("auto", "history", "type_curve"),
}
WELL_KEYS = ("id", *_TEXT_KEYS, *OWN, *OVERRIDES)
S = TypeVar("S", bound=Section)


@dataclass
class WellReader:
    """Reads the wells of one case; `failed` holds the key paths already faulted in the shared sections."""

    file: str
    files: Files
    shared: Mapping[str, Section]
    failed: Mapping[str, set[KeyPath]]
    raw: Mapping[str, Any]
    prices: Prices | None
    valuation: Valuation | None
    status: str

    def read(self, well_id: str, position: int, table: dict[str, Any]) -> tuple[WellCase | None, list[Fault]]:
        """The well and its faults; the well is None where it, or the shared part, cannot be used."""
        faults: list[Fault] = []
        prefix: KeyPath = (f"wells.{well_id}",)
        homes = {key: list(model.model_fields) for key, model in {**OWN, **OVERRIDES}.items()}
        for key in table:
            if key not in WELL_KEYS:
                where = f"{self.file}: {path_text((*prefix, key))}"
                faults.append(unknown_key(where, key, WELL_KEYS, homes))
        texts = {key: self._text(key, allowed, table, prefix, faults) for key, allowed in _TEXT_KEYS.items()}
        merged = {key: self._merged(key, model, table, prefix, faults) for key, model in OVERRIDES.items()}
        own = {key: self._own(key, model, table, prefix, faults) for key, model in OWN.items()}
        fit, type_curve = own["fit"], own["type_curve"]
        assert fit is None or isinstance(fit, Fit)
        assert type_curve is None or isinstance(type_curve, TypeCurve)
        history = self._history(texts, well_id, fit or Fit(), prefix, faults)
        forecast, phase = self._forecast(texts, history, type_curve, table, prefix, faults)
        completion = own["completion"]
        assert completion is None or isinstance(completion, Completion)
        first = self._first_month(history, type_curve)
        tally = self._tally(texts["tally"], well_id, first, completion, prefix, faults)
        strategies = merged["strategies"]
        if isinstance(strategies, Strategies):
            job = merged["job"]
            reach = completion.ct_reach_ft if completion is not None else None
            if isinstance(job, Job):
                found = reach_faults(completion, job, tally, well_id, self.file, prefix)
                faults += found
                reach = reach if found else stated_reach_ft(completion, job, tally)
            own_keys = table.get("strategies", {})
            if self.valuation is not None:
                at = (*prefix, "strategies")
                faults += date_faults(strategies, self.valuation, self.file, at, own_keys)
            place = (
                (*prefix, "strategies") if {"orders", "custom_orders"} & set(own_keys) else ("strategies",)
            )
            faults += order_faults(strategies, tally, reach, well_id, self.file, place)
        response = merged["response"]
        if isinstance(response, Response) and completion is not None:
            faults += intensity_faults(response, completion, self.file, prefix)
        if faults or tally is None or self.prices is None or any(item is None for item in merged.values()):
            return None, faults
        settings = Settings(
            job=_as(merged["job"], Job),
            response=_as(merged["response"], Response),
            stress=_as(merged["stress"], Stress),
            opex=_as(merged["opex"], Opex),
            fiscal=_as(merged["fiscal"], Fiscal),
            strategies=_as(merged["strategies"], Strategies),
            interests=_as(own["interests"], Interests),
            completion=_as(own["completion"], Completion),
        )
        sections: dict[str, Section | None] = {
            key: merged[key] for key in ("opex", "job", "response", "stress")
        }
        sections["type_curve"] = type_curve if forecast == "type_curve" else None
        sections["strategies.methods"] = settings.strategies.methods
        variables = well_variables(well_id, self.prices, sections, phase, self.status)
        well = WellCase(
            id=well_id,
            settings=settings,
            main_phase=phase,
            forecast=forecast,
            history=history,
            type_curve=type_curve,
            fit=_as(fit, Fit),
            tally=tally,
            inputs={variable.name: variable.distribution for variable in variables},
        )
        return well, []

    def _text(
        self,
        key: str,
        allowed: tuple[str, ...] | None,
        table: dict[str, Any],
        prefix: KeyPath,
        faults: list[Fault],
    ) -> str | None:
        value = table.get(key, allowed[0] if allowed else None)
        where = f"{self.file}: {path_text((*prefix, key))}"
        if value is None:
            return None
        if not isinstance(value, str) or not value.strip():
            wanted, remedy = (
                ("a text in quotes", "correct it") if allowed else ("a file", "name a file in quotes")
            )
            faults.append(Fault(where, describe(value), wanted, remedy))
            return None
        if allowed and value not in allowed:
            remedy = nearest(value, allowed) or "take one of these"
            faults.append(Fault(where, f"{value!r}", ", ".join(allowed), remedy))
            return allowed[0]
        return value

    def _merged(
        self, key: str, model: type[Section], table: dict[str, Any], prefix: KeyPath, faults: list[Fault]
    ) -> Section | None:
        if key not in table:
            return self.shared.get(key)
        own = table[key]
        if not isinstance(own, dict):
            where = f"{self.file}: {path_text((*prefix, key))}"
            faults.append(Fault(where, describe(own), "a table", f"write [wells.{key}] below [[wells]]"))
            return None
        shared = self.raw.get(key, {})
        merged = merge(shared if isinstance(shared, dict) else {}, own)
        known = self.failed.get(key, set())

        def mine(paths: Iterable[tuple[KeyPath, Fault]]) -> list[Fault]:
            return [fault for path, fault in paths if stands_in(path, own) or path not in known]

        try:
            section = model.model_validate(merged, context={"base_dir": self.files.base_dir})
        except ValidationError as error:
            faults += mine(from_validation(error, model, self.file, (*prefix, key)))
            return None
        problems = section.problems()
        faults += mine((p[0], from_problem(p, self.file, (*prefix, key))) for p in problems)
        return section

    def _own(
        self, key: str, model: type[Section], table: dict[str, Any], prefix: KeyPath, faults: list[Fault]
    ) -> Section | None:
        if key not in table and key == "type_curve":
            return None
        raw = table.get(key, {})
        where = f"{self.file}: {path_text((*prefix, key))}"
        if not isinstance(raw, dict):
            faults.append(Fault(where, describe(raw), "a table", f"write [wells.{key}] below [[wells]]"))
            return None
        try:
            section = model.model_validate(raw, context={"base_dir": self.files.base_dir})
        except ValidationError as error:
            faults += [fault for _, fault in from_validation(error, model, self.file, (*prefix, key))]
            return None
        faults += [from_problem(problem, self.file, (*prefix, key)) for problem in section.problems()]
        return section

    def _history(
        self, texts: Mapping[str, str | None], well_id: str, fit: Fit, prefix: KeyPath, faults: list[Fault]
    ) -> Any:
        name = texts["history"]
        if name is None:
            return None
        try:
            table = self.files.table(name, f"{self.file}: {path_text((*prefix, 'history'))}")
        except InputError as error:
            faults += error.faults
            return None
        where = f"{self.file}: {path_text((*prefix, 'id'))}"
        columns, found = read_history(table, well_id, where)
        faults += found
        if columns is None:
            return None
        history, found = to_history(
            columns, well_id, texts["main_phase"] or "auto", fit.segment_start, fit.exclude, name
        )
        faults += found
        if history is not None and self.valuation is not None:
            last = last_month(history)
            if last >= units.month_number(self.valuation.date):
                text = f"{units.month_text(last)} as the last month of well {well_id}"
                allowed = f"months before the valuation date {self.valuation.date}"
                remedy = (
                    f"set valuation.date to {units.month_text(last + 1)} or later, or shorten the history"
                )
                faults.append(Fault(name, text, allowed, remedy))
        return history

    def _forecast(
        self,
        texts: Mapping[str, str | None],
        history: Any,
        type_curve: TypeCurve | None,
        table: dict[str, Any],
        prefix: KeyPath,
        faults: list[Fault],
    ) -> tuple[Literal["history", "type_curve"], str]:
        where = f"{self.file}: {path_text(prefix)}"
        wanted = texts["forecast"] or "auto"
        phase = history.main_phase if history is not None else texts["main_phase"] or "auto"
        if "history" in table and texts["history"] is None:
            return "history", phase  # told already
        if texts["history"] is None and "type_curve" not in table:
            remedy = "name a history file, or state [wells.type_curve]"
            faults.append(Fault(where, "neither a history nor a type curve", "one of the two", remedy))
            return "history", phase
        if wanted == "history" and texts["history"] is None:
            faults.append(
                Fault(f"{where}.forecast", "'history' without a history", "a history", "name the file")
            )
        if wanted == "type_curve" and "type_curve" not in table:
            remedy = "state [wells.type_curve]"
            faults.append(Fault(f"{where}.forecast", "'type_curve' without one", "a type curve", remedy))
        reason = unfit_reason(history) if history is not None and wanted != "type_curve" else None
        if reason is not None and (wanted == "history" or "type_curve" not in table):
            allowed = (
                "a history a decline can be fitted to: 4 producing months or more, 3 of them from the peak on"
            )
            remedy = "add months, or state [wells.type_curve]"
            faults.append(
                Fault(str(texts["history"]), f"{reason} of well {history.well_id}", allowed, remedy)
            )
        if wanted == "type_curve" or (wanted == "auto" and (texts["history"] is None or reason is not None)):
            if phase == "auto":
                faults.append(
                    Fault(f"{where}.main_phase", "'auto' with a type curve", "oil, gas", "state the phase")
                )
            if type_curve is not None:
                faults += curve_faults(type_curve, phase, self.valuation, self.file, prefix)
            return "type_curve", phase
        return "history", phase

    def _first_month(self, history: Any, curve: TypeCurve | None) -> int:
        """Month the sleeves are taken to be installed in where the tally does not say: first production."""
        if history is not None:
            return int(history.dates[0].astype("datetime64[M]").astype(int)) + 1970 * 12
        return units.month_number(curve.first_production) if curve is not None else 0

    def _tally(
        self,
        name: str | None,
        well_id: str,
        first: int,
        completion: Completion | None,
        prefix: KeyPath,
        faults: list[Fault],
    ) -> Tally | None:
        where = f"{self.file}: {path_text((*prefix, 'tally'))}"
        if name is None:
            if not any(fault.where == where for fault in faults):
                found = "nothing: the key is missing"
                faults.append(Fault(where, found, "a CSV file of sleeves", 'write tally = "sleeves.csv"'))
            return None
        try:
            table = self.files.table(name, where)
        except InputError as error:
            faults += error.faults
            return None
        valuation = units.month_number(self.valuation.date) if self.valuation is not None else 10**6
        toe = completion.toe_md_ft if completion is not None else None
        at = f"{self.file}: {path_text((*prefix, 'id'))}"
        tally, found_faults = read_tally(table, well_id, at, first, valuation, toe)
        faults += found_faults
        return tally


def _as(section: Section | None, model: type[S]) -> S:
    assert isinstance(section, model)
    return section
