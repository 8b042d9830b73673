"""Price decks: monthly oil and gas prices from a file or flat, as arrays from the valuation month on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.input_columns import months, numbers, require_columns
from refracmc.case.input_tables import Table, shorten
from refracmc.errors import Fault


@dataclass(frozen=True)
class Deck:
    """Prices by month from `first` (a month number) on; oil (M,) US$/bbl, gas (M,) US$/Mcf."""

    first: int
    oil: NDArray[np.float64]
    gas: NDArray[np.float64]

    def monthly(self, start: str, count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Oil and gas (count,) from month `start` on, held flat after the last month of the deck."""
        begin = units.month_number(start) - self.first
        if begin < 0:
            raise ValueError(f"the deck starts {-begin} months after {start}")
        index = np.minimum(begin + np.arange(count), len(self.oil) - 1)
        return self.oil[index], self.gas[index]


def flat_deck(oil: float, gas: float, start: str) -> Deck:
    """The same prices in every month from `start` on."""
    return Deck(units.month_number(start), np.array([oil]), np.array([gas]))


def read_deck(table: Table, valuation: str) -> tuple[Deck | None, list[Fault]]:
    """The deck of a file (month, oil_usd_per_bbl, gas_usd_per_mcf or per m3 and 1000 m3), and its faults.

    Months must rise one by one; the first may not be later than the valuation month.
    """
    required: list[tuple[str, ...]] = [
        ("month", "date"),
        ("oil_usd_per_bbl", "oil_usd_per_m3"),
        ("gas_usd_per_mcf", "gas_usd_per_e3m3"),
    ]
    columns, faults = require_columns(table, required, [])
    if faults:
        return None, faults
    if not len(table):
        return None, [Fault(table.file, "a header and no rows", "one row a month", "add prices")]
    month, faults = months(table, columns["month"])
    values = []
    for (name, *_), factor, unit in zip(
        required[1:], (units.M3_PER_BBL, units.E3M3_PER_MCF), ("US$/bbl", "US$/Mcf"), strict=True
    ):
        in_si = columns[name] != name
        shown = {"US$/bbl": "US$/m3", "US$/Mcf": "US$/1000 m3"}[unit] if in_si else unit
        column, found = numbers(table, columns[name], shown, blank=False)
        faults += found
        values.append(column * factor if in_si else column)
    gaps = [
        Fault(
            table.where(k + 1, columns["month"]),
            f"{units.month_text(int(month[k + 1]))} after {units.month_text(int(month[k]))}",
            "months rising one by one",
            "sort the deck, add missing months, remove doubled ones",
        )
        for k in np.flatnonzero(np.diff(month) != 1).tolist()
        if month[k] >= 0 and month[k + 1] >= 0
    ]
    faults += shorten(gaps)
    if not faults and int(month[0]) > units.month_number(valuation):
        found_text = f"{units.month_text(int(month[0]))} as first month"
        allowed = f"a deck that covers the valuation month {valuation}"
        faults.append(Fault(table.where(0, columns["month"]), found_text, allowed, "add earlier months"))
    if faults:
        return None, faults
    return Deck(int(month[0]), values[0], values[1]), []
