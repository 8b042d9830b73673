"""Sleeve tallies: one row a sleeve, into the Tally of the job, with every fault of the file."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.faults import nearest
from refracmc.case.history_file import well_rows
from refracmc.case.table_columns import months, numbers, quantity, require_columns, twins
from refracmc.case.table_files import Table, cell_faults, shorten
from refracmc.errors import Fault
from refracmc.job.sleeves import ISOLATIONS, STATES, Tally, TallyProblem

SHARES = ("production_share", "potential_share")
REQUIRED: list[tuple[str, ...]] = [
    ("sleeve",),
    twins("depth_ft"),
    ("isolation_above",),
    ("state_date",),
    ("state",),
    ("shifts",),
]
MAX_SLEEVES = 1000


def read_tally(
    table: Table, well: str, where: str, installed: int, valuation: int, toe_ft: float | None = None
) -> tuple[Tally | None, list[Fault]]:
    """The tally of one well and its faults.

    Rows may come in any order; sleeves are numbered 1 (deepest) to N without gaps and their depths fall with
    the number. `installed`: month number used where the file has no such column; `valuation`: month number no
    state may be dated after; `toe_ft`: depth no sleeve may be deeper than.
    """
    optional: list[tuple[str, ...]] = [("installed",), ("well_id",), *((name,) for name in SHARES)]
    columns, faults = require_columns(table, REQUIRED, optional)
    if faults:
        return None, faults
    rows: Table | None = table
    if "well_id" in columns:
        rows, faults = well_rows(table, well, where)
    elif not len(table):
        faults = [Fault(table.file, "a header and no rows", "one row a sleeve", "add the well's sleeves")]
    if rows is None or faults:
        return None, faults
    sleeve, found = numbers(rows, "sleeve", "", low=1.0, whole=True)
    faults += found or _number_faults(rows, sleeve)
    feet, depth, depth_unit, found = quantity(rows, columns, "depth_ft", above=True)
    faults += found
    shifts, found = numbers(rows, "shifts", "shifts", whole=True)
    faults += found
    state_date, found = months(rows, "state_date")
    faults += found
    made = np.full(len(rows.rows), installed, dtype=np.int64)
    if "installed" in columns:
        made, found = months(rows, "installed")
        faults += found
    faults += _date_faults(rows, state_date, made, valuation, "installed" in columns)
    words = {}
    for column, known in (("isolation_above", ISOLATIONS), ("state", STATES)):
        words[column], found = _words(rows, column, known)
        faults += found
    shares: dict[str, NDArray[np.float64] | None] = dict.fromkeys(SHARES)
    for name in SHARES:
        if name in columns:
            values, found = numbers(rows, name, "")
            if not found and not values.sum() > 0:
                where = f"{rows.file}: {name}"
                found = [Fault(where, "shares that are all 0", "a sum above 0", "state the shares")]
            faults += found
            shares[name] = values
    if faults:
        return None, faults
    order = np.argsort(sleeve, kind="stable")
    faults = _depth_faults(rows, order, feet, columns["depth_ft"], depth, depth_unit, toe_ft)
    if faults:
        return None, faults
    try:
        tally = Tally(
            depth_ft=feet[order],
            isolation=words["isolation_above"][order],
            state=words["state"][order],
            installed=(made[order] - 1970 * 12).astype("datetime64[M]"),
            shifts=shifts[order].astype(np.int64),
            production_share=None if shares[SHARES[0]] is None else shares[SHARES[0]][order],  # type: ignore[index]
            potential_share=None if shares[SHARES[1]] is None else shares[SHARES[1]][order],  # type: ignore[index]
        )
    except TallyProblem as problem:
        return None, [
            Fault(f"{rows.file}: well {well}", text, "a sound tally", "correct the row")
            for _, text in problem.problems
        ]
    return tally, []


def _number_faults(rows: Table, sleeve: NDArray[np.float64]) -> list[Fault]:
    count = len(sleeve)
    if count > MAX_SLEEVES:
        return [Fault(rows.file, f"{count} sleeves", f"1 to {MAX_SLEEVES}", "check the file")]
    faults = []
    whole = sleeve.astype(np.int64).tolist()
    seen: dict[int, int] = {}
    for k, s in enumerate(whole):
        if s in seen:
            found = f"sleeve {s} a second time (first in row {int(rows.rows[seen[s]])})"
            faults.append(rows.fault(k, "sleeve", found, "each sleeve once", "correct the number"))
        seen.setdefault(s, k)
    gone = sorted(set(range(1, max(whole) + 1)) - set(whole)) if max(whole) <= MAX_SLEEVES else []
    if max(whole) > MAX_SLEEVES:
        faults.append(
            Fault(rows.file, f"a sleeve number {max(whole)}", f"1 to {MAX_SLEEVES}", "correct the number")
        )
    if gone:
        text = ", ".join(map(str, gone[:10])) + (", ..." if len(gone) > 10 else "")
        remedy = "add the rows, or number the sleeves from the toe without gaps"
        faults.append(Fault(rows.file, f"no sleeve {text}", f"sleeves 1 to {max(whole)}", remedy))
    return faults


def _date_faults(
    rows: Table, state_date: NDArray[np.int64], made: NDArray[np.int64], valuation: int, stated: bool
) -> list[Fault]:
    faults = []
    for k, (state, built) in enumerate(zip(state_date.tolist(), made.tolist(), strict=True)):
        if state > valuation:
            allowed = f"up to the valuation month {units.month_text(valuation)}"
            faults.append(rows.fault(k, "state_date", units.month_text(state), allowed, "correct the date"))
        if stated and 0 <= state < built:
            found = f"{units.month_text(state)} before the installation in {units.month_text(built)}"
            faults.append(rows.fault(k, "state_date", found, "a date after it", "correct one of the dates"))
        elif stated and built > valuation:
            allowed = f"up to the valuation month {units.month_text(valuation)}"
            faults.append(rows.fault(k, "installed", units.month_text(built), allowed, "correct the date"))
    return shorten(faults)


def _words(rows: Table, column: str, known: tuple[str, ...]) -> tuple[NDArray[np.str_], list[Fault]]:
    cells = rows.texts(column)
    places = np.array([k for k, cell in enumerate(cells) if cell not in known], dtype=np.int64)
    return np.array(cells, dtype=np.str_), cell_faults(
        rows,
        column,
        places,
        lambda k: (
            rows.shown(k, column),
            ", ".join(known),
            nearest(cells[k], known) or "take one of these",
        ),
    )


def _depth_faults(
    rows: Table,
    order: NDArray[np.int64],
    feet: NDArray[np.float64],
    column: str,
    written: NDArray[np.float64],
    unit: str,
    toe_ft: float | None,
) -> list[Fault]:
    faults = []
    for place, k in enumerate(order.tolist()):
        if place and not feet[k] < feet[order[place - 1]]:
            below = written[order[place - 1]]
            found = f"sleeve {place + 1} at {written[k]:g} {unit}, sleeve {place} at {below:g} {unit}"
            allowed = "depths that fall with the number; sleeve 1 is the deepest"
            faults.append(rows.fault(k, column, found, allowed, "number the sleeves from the toe"))
        if toe_ft is not None and feet[k] > toe_ft:
            found = f"sleeve {place + 1} at {feet[k]:.0f} ft"
            allowed = f"no deeper than toe_md_ft = {toe_ft:g} ft"
            faults.append(rows.fault(k, column, found, allowed, "correct the depth or the toe"))
    return faults
