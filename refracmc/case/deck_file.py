"""Price decks: monthly oil and gas prices from a file or flat, as arrays from the valuation month on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.case.key_rules import rule_of
from refracmc.case.shared_sections import Prices
from refracmc.case.table_columns import months, quantity, require_columns, twins
from refracmc.case.table_files import Table, cell_faults
from refracmc.errors import Fault

PRICES = ("oil_usd_per_bbl", "gas_usd_per_mcf")


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

    Months must rise one by one; the first may not be later than the valuation month. A price is bounded as a flat
    one is.
    """
    required: list[tuple[str, ...]] = [("month", "date"), *map(twins, PRICES)]
    columns, faults = require_columns(table, required, [])
    if faults:
        return None, faults
    if not len(table):
        return None, [Fault(table.file, "a header and no rows", "one row a month", "add prices")]
    month, faults = months(table, columns["month"])
    prices = []
    for name in PRICES:
        values, _, _, found = quantity(table, columns, name, high=rule_of(Prices, name)["high"])
        prices.append(values)
        faults += found
    apart = (np.diff(month) != 1) & (month[:-1] >= 0) & (month[1:] >= 0)
    faults += cell_faults(
        table,
        columns["month"],
        np.flatnonzero(apart) + 1,
        lambda k: (
            f"{units.month_text(int(month[k]))} after {units.month_text(int(month[k - 1]))}",
            "months rising one by one",
            "sort the deck, add missing months, remove doubled ones",
        ),
    )
    if not faults and int(month[0]) > units.month_number(valuation):
        found_text = f"{units.month_text(int(month[0]))} as first month"
        allowed = f"a deck that covers the valuation month {valuation}"
        faults.append(table.fault(0, columns["month"], found_text, allowed, "add earlier months"))
    if faults:
        return None, faults
    return Deck(int(month[0]), *prices), []
