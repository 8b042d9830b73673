"""A trace as lines for a reader, 120 columns wide: inputs, log, cost, months that add up, measures."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.measures import trial_column

WIDTH = 120
"""Columns of the page."""
_VOLUMES = {"oil_bbl": "oil", "gas_mcf": "gas", "water_bbl": "water"}
_MONEY = {
    "revenue_usd": "revenue",
    "production_tax_usd": "prod.tax",
    "opex_usd": "opex",
    "holding_usd": "holding",
    "capex_usd": "capex",
    "abandonment_usd": "abandon",
    "income_tax_usd": "inc.tax",
    "offset_wells_usd": "offset",
}
_NET, _WORTH = "net", "PV"


def trace_text(content: dict[str, Any]) -> str:
    """The page of a trace's content (its keys: `refracmc explain json`)."""
    lines = [
        f"{content['well']}  {content['strategy']}  trial {content['trial']} of {content['trials']} "
        f"(seed {content['seed']})",
        "",
        "Inputs",
    ]
    lines += [f"  {row['name']:<42} {row['value']:>16.8g}  {row['unit']}" for row in content["inputs"]]
    if content["job"]["steps"]:
        lines += ["", "Job", "  step action      sleeve  depth ft  tries  start h    hours  outcome"]
        for row in content["job"]["steps"]:
            sleeve = "" if row["sleeve"] is None else str(row["sleeve"])
            lines.append(
                f"  {row['step']:>4} {row['action']:<12}{sleeve:>6}{row['depth_ft']:>10.0f}{row['tries']:>7}"
                f"{row['start_hour']:>9.2f}{row['hours']:>9.3f}  {row['outcome']}"
            )
        lines += ["", "Cost of the job, US$ gross"]
        lines += [f"  {name:<16}{value:>14,.0f}" for name, value in content["job"]["cost_usd"].items()]
    lines += ["", *_months(content["monthly"]), "", "Measures"]
    lines += [
        f"  {name:<22}{_measure(value):>16}  {trial_column(name)[0]}"
        for name, value in content["measures"].items()
    ]
    told = content["reconciliation"]
    lines += [
        "",
        f"NPV from the months {told['npv_from_months_usd']:,.2f}, of the run {told['npv_of_run_usd']:,.2f}, "
        f"difference {told['difference_usd']:.2e} US$ WI",
    ]
    return "\n".join(lines)


def _measure(value: float | str | None) -> str:
    return "undefined" if value is None else value if isinstance(value, str) else format(value, ",.6g")


def whole(values: NDArray[np.float64]) -> NDArray[np.int64]:
    """Whole numbers (T,) within one of the values (T,), whose sum is that of the values, rounded."""
    return np.diff(np.rint(np.cumsum(values)), prepend=0.0).astype(np.int64)


def _months(monthly: list[dict[str, Any]]) -> list[str]:
    """The table of the months up to the last that holds anything, its columns that hold anything, and the totals."""
    values = {name: np.array([row[name] for row in monthly]) for name in (*_VOLUMES, *_MONEY)}
    worth = np.array([row["present_value_usd"] for row in monthly])
    volumes = {head: whole(values[name]) for name, head in _VOLUMES.items() if values[name].any()}
    money = {head: whole(values[name]) for name, head in _MONEY.items() if values[name].any()}
    net: NDArray[np.int64] = np.zeros(len(monthly), np.int64)
    for column in money.values():
        net = net + column
    columns = volumes | money | {_NET: net, _WORTH: whole(worth)}
    busy = np.flatnonzero(np.any([column != 0 for column in columns.values()], axis=0))
    last = int(busy[-1]) + 1 if busy.size else 0
    rows = [[monthly[i]["month"], *(int(column[i]) for column in columns.values())] for i in range(last)]
    total = ["total", *(int(column.sum()) for column in columns.values())]
    lines = [
        "Monthly cash flow: volumes at 8/8 (bbl, Mcf); money in US$ WI (working-interest share), costs and taxes "
        "negative.",
        f"Whole numbers, rounded so that every column adds up to its total; {_NET} is the sum of the money columns "
        "before it.",
        *_table(["month", *columns], [*rows, total]),
    ]
    if last < len(monthly):
        lines.append(f"  From {monthly[last]['month']} to {monthly[-1]['month']} nothing.")
    return lines


def _table(head: list[str], rows: list[list[Any]]) -> list[str]:
    """Rows under their head, right-aligned; with commas, and two columns apart, where the page is wide enough."""
    for form, gap in ((",", 2), ("", 2), ("", 1)):
        cells = [head, *([str(row[0]), *(format(cell, form) for cell in row[1:])] for row in rows)]
        widths = [gap + max(len(row[k]) for row in cells) for k in range(len(head))]
        if sum(widths) <= WIDTH:
            break
    return ["".join(f"{cell:>{width}}" for cell, width in zip(row, widths, strict=True)) for row in cells]
