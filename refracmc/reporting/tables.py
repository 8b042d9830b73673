"""What a report is made of: the facts of the run and a set of tidy tables with fixed columns.

Everything that is drawn or written comes from these tables only, and nothing here runs a model. The engine
and the decisions hand the tables to :func:`build_report_data`, which checks them against
:data:`refracmc.reporting.columns.TABLES` (columns, kinds, missing values, ordering of percentiles, wells)
and returns a frozen :class:`ReportData`.

Conventions of all tables: one row is one observation; money in US$ (never million); months as ``YYYY-MM``;
chances and shares as numbers from 0 to 1; P90 is the LOW and P10 the HIGH percentile (exceedance
convention); ``se`` is the standard error of the mean by the run's own sampling design; a missing number is
NaN, allowed only where the column says so ("?"). Rows keep the order in which they are handed over.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from refracmc.reporting.columns import NOTHING, TABLES, Column, TableSpec, table_spec
from refracmc.reporting.columns_over_wells import OVER_WELLS
from refracmc.reporting.job_columns import ALL_TABLES
from refracmc.reporting.tables_by_well import TablesByWell, frame_of, is_text

__all__ = ["NOTHING", "TABLES", "Column", "ReportData", "ReportDataProblem", "RunFacts", "TableSpec",
           "build_report_data", "table_spec"]  # fmt: skip


class ReportDataProblem(ValueError):
    """The tables handed over are not what the report needs; ``problems`` lists all that is wrong."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems: tuple[str, ...] = tuple(problems)
        super().__init__("report tables: " + "; ".join(problems))


@dataclass(frozen=True, slots=True)
class RunFacts:
    """What was run; all of it appears on the page.

    trials: trials per strategy. blocks: blocks they were drawn in. valuation_month: ``YYYY-MM``.
    fan_trials, driver_trials: trials behind the monthly production fan and behind the variance shares where these
    are fewer or others than ``trials`` (0: the same). refused: (well id, reason) of wells that could not be
    valued. notes: remarks of the engine in plain words, well_notes: those on one well, (well id, remark).
    response_told: whether the answer reckons with jobs that bring nothing. history_told: (well id, what its history
    leaves open, and what is assumed of it).
    """

    name: str
    title: str
    data_status: str
    trials: int
    seed: int
    design: str
    valuation_month: str
    horizon_months: int
    annual_discount_rate: float
    terms: str = "real"
    income_tax: bool = False
    price_model: str = "deck"
    cvar_tail_fraction: float = 0.1
    blocks: int = 0
    fan_trials: int = 0
    driver_trials: int = 0
    version: str = ""
    refused: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    well_notes: tuple[tuple[str, str], ...] = ()
    response_told: tuple[str, ...] = ()
    history_told: tuple[tuple[str, str], ...] = ()

    def of_well(self, well: str) -> RunFacts:
        """The same without what is said of other wells."""
        return replace(
            self,
            refused=(),
            well_notes=tuple(said for said in self.well_notes if said[0] == well),
            history_told=tuple(said for said in self.history_told if said[0] == well),
        )


@dataclass(frozen=True, slots=True)
class ReportData:
    """Facts and checked tables of one case; made by :func:`build_report_data` or :func:`report_data_by_well` only.

    A table that was not handed over is absent from ``tables``; its charts and its section are left out.
    """

    facts: RunFacts
    tables: Mapping[str, pd.DataFrame]
    places: Mapping[str, Mapping[str, np.ndarray[Any, np.dtype[np.intp]]]]
    """Row numbers by table and well, so that a well's rows are found without a search."""

    @property
    def wells(self) -> tuple[str, ...]:
        """Well ids in the order of the decision table; without one, of the first table."""
        if isinstance(self.tables, TablesByWell):
            return self.tables.wells
        key = "decision" if "decision" in self.tables else next(iter(self.tables))
        return tuple(dict.fromkeys(str(well) for well in self.tables[key]["well"]))

    def only(self, well: str) -> ReportData:
        """The same of one well alone, with what all wells share; without the tables over wells."""
        if isinstance(self.tables, TablesByWell):
            return ReportData(self.facts.of_well(well), self.tables.only(well), MappingProxyType({}))
        found = {
            key: frame[(frame["well"] == well) | frame["well"].isna()].reset_index(drop=True)
            for key, frame in self.tables.items()
            if "well" in frame and key not in OVER_WELLS
        }
        places = {key: {well: np.arange(len(frame))} for key, frame in found.items() if len(frame)}
        return ReportData(self.facts.of_well(well), MappingProxyType(found), MappingProxyType(places))

    def of_well(self, key: str, well: str) -> pd.DataFrame:
        """Rows of one well of a table (an empty frame if the table or the well is absent)."""
        if isinstance(self.tables, TablesByWell):
            return self.tables.of_well(key, well)
        if key not in self.tables:
            return pd.DataFrame(columns=list(ALL_TABLES[key].names))
        rows = self.places[key].get(well, np.array([], dtype=np.intp))
        return self.tables[key].iloc[rows].reset_index(drop=True)


FloatArray = NDArray[np.float64]
Columns = Mapping[str, Any] | pd.DataFrame
"""Values of each column of a table: a list, an array or a pandas column."""
_MONTH = re.compile(r"\d{4}-(0[1-9]|1[0-2])")
_TRIPLES = (("p90", "p50", "p10"), ("p90_usd", "p50_usd", "p10_usd"),
            ("job_days_p90", "job_days_p50", "job_days_p10"),
            ("job_cost_p90_usd", "job_cost_p50_usd", "job_cost_p10_usd"))  # fmt: skip
_SHARES = ("undefined_share", "p_loss", "chance_of_best", "chance_nothing_best", "executed_share", "effective_share",
           "some_refrac_chance", "best_refrac_chance", "idle_chance", "idle_chance_learned")  # fmt: skip


def _numbers(values: Any) -> FloatArray:
    """Values as numbers, missing ones as NaN. ValueError or TypeError where one is none."""
    if isinstance(values, pd.Series):
        return pd.to_numeric(values).to_numpy(dtype=float, na_value=np.nan)
    return np.asarray(values, dtype=float)


def _array(values: Any) -> pa.Array:
    made = pa.array(values, from_pandas=True)
    return made.combine_chunks() if isinstance(made, pa.ChunkedArray) else made


def _text(values: Any) -> pa.Array:
    """Values as texts, every different one held once; missing ones stay missing."""
    made = _array(values)
    if not (is_text(made.type) or pa.types.is_null(made.type)):
        made = pa.array([None if pd.isna(value) else str(value) for value in values])
    return made.dictionary_encode() if is_text(made.type) else made


def _column(spec: TableSpec, column: Column, values: Any, problems: list[str]) -> pa.Array:
    """One column in its kind; adds to ``problems`` what cannot be."""
    where = f"{spec.key}.{column.name}"
    try:
        if column.kind in ("number", "integer"):
            numbers = _numbers(values)
            if column.kind == "number" and np.isinf(numbers).any() and not column.endless:
                problems.append(f"{where}: infinite values")
            whole = pa.int64() if column.kind == "integer" else pa.float64()
            made = pa.array(numbers, from_pandas=True).cast(whole)
        elif column.kind == "flag":
            made = _array(values).cast(pa.bool_())
        else:
            made = _text(values)
    except (ValueError, TypeError) as error:  # of Arrow too
        problems.append(f"{where}: not a {column.kind} ({error})")
        return pa.nulls(len(values))
    if made.null_count and not column.optional:
        problems.append(f"{where}: {made.null_count} missing values, none allowed")
    if column.kind == "month" and pa.types.is_dictionary(made.type):
        bad = [word for word in made.dictionary.to_pylist() if not _MONTH.fullmatch(word)]
        if bad:
            problems.append(f"{where}: {bad[0]!r} is not a month YYYY-MM")
    return made


def _doubled(table: pa.Table, unique: Sequence[str]) -> int | None:
    """The first row that has the same values as an earlier one in these columns, if there is one."""
    if not unique or not len(table):
        return None
    key = np.zeros(len(table), dtype=np.int64)
    for name in unique:
        column = table[name].combine_chunks()
        codes = column if pa.types.is_dictionary(column.type) else column.dictionary_encode()
        key = key * (len(codes.dictionary) + 1) + codes.indices.fill_null(len(codes.dictionary)).to_numpy()
    first = np.unique(key, return_index=True)[1]
    return None if len(first) == len(key) else int(np.setdiff1d(np.arange(len(key)), first)[0])


def _checked(spec: TableSpec, values: Columns, problems: list[str]) -> pa.Table:
    """A table in Arrow columns, every text held once; adds to ``problems`` what is wrong."""
    absent = [name for name in spec.names if name not in values]
    extra = [str(name) for name in values if name not in spec.names]
    if absent or extra:
        problems.extend(f"{spec.key}: column {name} is missing" for name in absent)
        problems.extend(f"{spec.key}: column {name} is not known" for name in extra)
        return pa.table({})
    table = pa.table({c.name: _column(spec, c, values[c.name], problems) for c in spec.columns})
    row = _doubled(table, spec.unique)
    if row is not None:
        problems.append(
            f"{spec.key}: doubled row {', '.join(str(table[name][row].as_py()) for name in spec.unique)}"
        )
    numbers = {
        name: table[name].to_numpy()
        for name in table.column_names
        if pa.types.is_floating(table[name].type) and (name in _SHARES or any(name in t for t in _TRIPLES))
    }
    for low, mid, high in _TRIPLES:
        if {low, mid, high} <= numbers.keys() and (
            (numbers[low] > numbers[mid]) | (numbers[mid] > numbers[high])
        ).any():
            problems.append(f"{spec.key}: P90 (low), P50 and P10 (high) are not in rising order")
    for name in _SHARES:
        if name in numbers and ((numbers[name] < 0) | (numbers[name] > 1)).any():
            problems.append(f"{spec.key}.{name}: outside 0 to 1")
    return table


def checked_tables(tables: Mapping[str, Columns], wells: set[str]) -> dict[str, pa.Table]:
    """Tables of some wells, checked as :func:`build_report_data` does. Raises :class:`ReportDataProblem`."""
    problems = [f"table {key} is not known" for key in tables if key not in TABLES]
    made = {key: _checked(TABLES[key], values, problems) for key, values in tables.items() if key in TABLES}
    if not problems:
        problems += _strangers(made, wells)
    if problems:
        raise ReportDataProblem(problems)
    return made


def _strangers(tables: Mapping[str, pa.Table], wells: set[str]) -> list[str]:
    """What to say of tables with wells that are not those of the decision table."""
    found = {
        key: sorted(set(table["well"].unique().to_pylist()) - {None} - wells)
        for key, table in tables.items()
        if "well" in table.column_names
    }
    return [
        f"{key}: well {strange[0]} is not in the decision table" for key, strange in found.items() if strange
    ]


def _undecided(decision: Columns, known: set[tuple[str, str]]) -> list[str]:
    """What to say of decided strategies that are not among the known (well, strategy)."""
    return [
        f"decision: strategy {strategy} of well {well} is not in the summary"
        for well, strategy in zip(decision["well"], decision["strategy"], strict=True)
        if (well, strategy) not in known
    ]


def report_data_by_well(
    facts: RunFacts, tables: TablesByWell, strategies: Mapping[str, tuple[str, ...]]
) -> ReportData:
    """Report data of many wells, each part checked by :func:`checked_tables`.

    strategies: those of the summary by well. Raises :class:`ReportDataProblem` where a table is missing, or a well or
    a strategy of the decision table is not what the summary has.
    """
    problems = [f"table {s.key} is missing" for s in TABLES.values() if s.required and s.key not in tables]
    if not problems:
        decided = tables["decision"]
        if tuple(decided["well"]) != tables.wells:
            problems.append("decision: not one row for every well")
        problems += _undecided(
            decided, {(well, name) for well, names in strategies.items() for name in names}
        )
    if problems:
        raise ReportDataProblem(problems)
    return ReportData(facts, tables, MappingProxyType({}))


def build_report_data(facts: RunFacts, tables: Mapping[str, pd.DataFrame], valued: bool = True) -> ReportData:
    """Check the tables and freeze them. valued: false for tables of the job alone, which have no decision.

    Raises :class:`ReportDataProblem` with all that is wrong at once: unknown or missing tables and columns,
    values of the wrong kind, missing values, doubled rows, percentiles out of order, shares outside 0 to 1,
    wells that the decision table does not have, a decision's strategy that the summary does not have.
    """
    specs = TABLES if valued else ALL_TABLES
    problems = [f"table {key} is not known" for key in tables if key not in specs]
    if valued:
        problems += [
            f"table {s.key} is missing" for s in TABLES.values() if s.required and s.key not in tables
        ]
    made = {
        spec.key: _checked(spec, tables[spec.key], problems) for spec in specs.values() if spec.key in tables
    }
    if not problems and "decision" in made and "summary" in made:
        problems += _strangers(made, set(made["decision"]["well"].to_pylist()))
        summary = made["summary"].select(["well", "strategy"]).to_pydict()
        known = set(zip(summary["well"], summary["strategy"], strict=True))
        problems += _undecided(made["decision"].to_pydict(), known)
    if problems:
        raise ReportDataProblem(problems)
    frames = {key: frame_of(specs[key], table) for key, table in made.items()}
    places = {
        key: {
            str(well): np.asarray(rows, dtype=np.intp) for well, rows in frame.groupby("well").indices.items()
        }
        for key, frame in frames.items()
        if "well" in frame
    }
    return ReportData(facts, MappingProxyType(frames), MappingProxyType(places))
