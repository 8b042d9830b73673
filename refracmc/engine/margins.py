"""What a well's streams earn, month by month, at any delay: tables that the strategies of a date share.

A strategy's volume in month k after its refrac month m is the own stream from its index `resume` on, scaled by
`keep`, plus the unit stream scaled by `q2`; the days shut in move both by `whole` months and a fraction `part`:

    v_k = (1 - part) (keep own_{resume + k - whole} + q2 unit_{k - whole})
          +    part  (keep own_{resume + k - whole - 1} + q2 unit_{k - whole - 1})

Whatever is linear in the volumes (a margin, a margin expected ahead, a revenue) is therefore the sum of four
tables, `STREAMS`, with four factors per trial and strategy. Prices belong to the calendar, so the tables are made per
date; those of the own stream are cut from one for all dates wherever the well still runs at the date.

Every row of a table is made of its own trial alone by operations in a fixed order: its bits do not depend on the
trials beside it, nor on the way it was made (with the chunk, or among a few).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from refracmc.economics.rows import scratch

from .base import BaseStream, UnitStream

Array = NDArray[np.float64]
IntArray = NDArray[np.intp]

AHEAD = 12
"""Months that the look-ahead rule of the life expects."""
STREAMS = ("own, whole months late", "unit, whole months late", "own, one more late", "unit, one more late")


def prefix_sums(values: Array) -> Array:
    """Sums of the first 0, 1, .. T columns of values (..., T), in its units; (..., T + 1)."""
    total = np.empty((*values.shape[:-1], values.shape[-1] + 1))
    total[..., 0] = 0.0
    np.cumsum(values, axis=-1, out=total[..., 1:])
    return total


def delivered(first: int, months: int, lag: int) -> tuple[IntArray, IntArray]:
    """Which months of a stream `lag` late are delivered in months k .. k + AHEAD - 1, k = first .. months - 1.

    Indices [from, to) of the stream, counted from its start; nothing is delivered at or after `months`.
    """
    k = np.arange(first, months)
    return np.maximum(k - lag, 0), np.maximum(np.minimum(k + AHEAD, months) - lag, 0)


class Worth:
    """Own and unit volumes of P phases and what a unit of each is worth in the months of the calendar.

    own, unit, price (n, P, T): volumes a month and US$ per unit. `ahead` False: a month's table is the sum over
    phases of its volume times its price. True: the volume of months k .. k + 11, cut at the horizon, takes the place
    of that of month k.
    """

    def __init__(self, own: Array, unit: Array, price: Array, ahead: bool) -> None:
        self.own, self.unit, self.price, self.ahead = own, unit, price, ahead
        self.n, _, self.horizon = own.shape
        if ahead:
            self.own_sums, self.unit_sums = prefix_sums(own), prefix_sums(unit)
            _, high = delivered(0, self.horizon, 0)
            self.unit_window = np.take(self.unit_sums, high, axis=2) - self.unit_sums[:, :, :-1]
        self._calendar: dict[int, Array] = {}

    def own_alone(self) -> Array:
        """The own stream left where it is, (n, T); not to be written into."""
        return self._own_calendar(0)

    def _own_calendar(self, lag: int) -> Array:
        """The own stream `lag` months late on the whole calendar (n, T)."""
        if lag not in self._calendar:
            table = np.zeros((self.n, self.horizon))
            if self.ahead:
                low, high = delivered(0, self.horizon, lag)
                window = np.take(self.own_sums, high, axis=2)
                window -= np.take(self.own_sums, low, axis=2)
                np.einsum("npt,npt->nt", window, self.price, out=table)
            else:
                moved = self.own[:, :, : self.horizon - lag]
                np.einsum("npt,npt->nt", moved, self.price[:, :, lag:], out=table[:, lag:])
            self._calendar[lag] = table
        return self._calendar[lag]

    def tables(self, month: int, lag: int, resume: IntArray, rows: IntArray | None, name: str) -> Array:
        """The four tables of STREAMS for a date and whole months late, (n, 4, T - month).

        resume (n,): index at which the own stream goes on, at most `month`. rows: some of the trials, or None for
        all. name: of the reused buffer the tables are in.
        """
        n, width = self.n if rows is None else rows.size, self.horizon - month
        made = scratch(name, n * 4 * width).reshape(n, 4, width)
        for place, late in ((0, lag), (2, lag + 1)):
            if late >= width:
                made[:, place : place + 2] = 0.0
                continue
            if rows is None:
                self._fill_own(made[:, place], month, late, resume)
            else:
                self._fill_own_of(made[:, place], month, late, resume, rows)
            self._fill_unit(made[:, place + 1], month, late, rows)
        return made

    def _fill_own(self, out: Array, month: int, lag: int, resume: IntArray) -> None:
        """Own stream of all trials: cut from the calendar where the well runs until the date."""
        np.copyto(out, self._own_calendar(lag)[:, month:])
        if lag:
            out[:, :lag] = 0.0  # what was made before the date is not delivered again
            if self.ahead:
                _, high = delivered(0, self.horizon - month, lag)
                window = self.own_sums[:, :, month + high[:lag]] - self.own_sums[:, :, month, None]
                out[:, :lag] = np.einsum("npt,npt->nt", window, self.price[:, :, month : month + lag])
        still = np.flatnonzero(resume < month)
        if still.size:
            few = np.empty((still.size, out.shape[1]))
            self._fill_own_of(few, month, lag, resume, still)
            out[still] = few

    def _fill_own_of(self, out: Array, month: int, lag: int, resume: IntArray, rows: IntArray) -> None:
        """Own stream of some trials, each from its own month."""
        width = self.horizon - month
        price = self.price[rows, :, month:]
        start = resume[rows][:, None, None]
        if self.ahead:
            low, high = delivered(0, width, lag)
            sums = self.own_sums[rows]
            window = np.take_along_axis(sums, start + high, axis=2)
            window -= np.take_along_axis(sums, start + low, axis=2)
            np.einsum("npt,npt->nt", window, price, out=out)
        else:
            out[:, :lag] = 0.0
            volume = np.take_along_axis(self.own[rows], start + np.arange(width - lag), axis=2)
            np.einsum("npt,npt->nt", volume, price[:, :, lag:], out=out[:, lag:])

    def _fill_unit(self, out: Array, month: int, lag: int, rows: IntArray | None) -> None:
        """Unit stream of the trials, which begins at the date."""
        width = self.horizon - month
        price = self.price if rows is None else self.price[rows]
        if not self.ahead:
            unit = self.unit if rows is None else self.unit[rows]
            out[:, :lag] = 0.0
            np.einsum("npt,npt->nt", unit[:, :, : width - lag], price[:, :, month + lag :], out=out[:, lag:])
            return
        window = self.unit_window if rows is None else self.unit_window[rows]
        sums = self.unit_sums if rows is None else self.unit_sums[rows]
        whole = max(width - AHEAD + 1, lag)  # from there on the horizon cuts the window
        low, high = delivered(0, width, lag)
        np.einsum(
            "npt,npt->nt", window[:, :, : whole - lag], price[:, :, month + lag : month + whole],
            out=out[:, lag:whole],
        )  # fmt: skip
        for first, stop in ((0, lag), (whole, width)):
            if first < stop:
                part = sums[:, :, high[first:stop]] - sums[:, :, low[first:stop]]
                out[:, first:stop] = np.einsum(
                    "npt,npt->nt", part, price[:, :, month + first : month + stop]
                )


def money_worth(base: BaseStream, unit: UnitStream, prices: tuple[Array, Array, Array], ahead: bool) -> Worth:
    """Worth of all phases at the prices (n, T) of oil, gas and water."""
    return Worth(
        np.stack((base.oil, base.gas, base.water), axis=1),
        np.stack(unit.phases, axis=1),
        np.stack(prices, axis=1),
        ahead,
    )


def main_worth(base: BaseStream, unit: UnitStream, value: Array) -> Worth:
    """Worth of the main phase alone at `value` (n, T) per unit."""
    return Worth(base.main[:, None], unit.main[:, None], value[:, None], ahead=False)
