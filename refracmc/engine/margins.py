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


class Stream:
    """Volumes (n, P, T) of P phases by month of the stream, and what it earns where it flows late.

    price (n, P, T): US$ per unit in the months of the calendar. ahead False: a month earns its volumes times their
    prices. True: the volumes of the month and the eleven after it, cut at the horizon, take the place of its own.
    """

    def __init__(self, volume: Array, price: Array, ahead: bool) -> None:
        self.n, self.phases, self.horizon = volume.shape
        self.volume, self.price, self.ahead = volume, price, ahead
        if ahead:
            self.sums = prefix_sums(volume)
            self.volume = np.empty_like(volume)
            whole = max(self.horizon - AHEAD + 1, 0)
            np.subtract(self.sums[..., AHEAD:], self.sums[..., :whole], out=self.volume[..., :whole])
            np.subtract(self.sums[..., -1:], self.sums[..., whole:-1], out=self.volume[..., whole:])

    def late(self, out: Array, month: int, lag: int) -> None:
        """Every trial's stream from its start, in calendar month `month` + `lag`; out (n, T - month)."""
        width = self.horizon - month
        body = self._body(width, lag)
        volume, price = self.volume[:, :, : body - lag], self.price[:, :, month + lag : month + body]
        np.einsum("npt,npt->nt", volume, price, out=out[:, lag:body])
        self.begin(out, month, lag, 0)
        if body < width:
            volume = self.sums[:, :, width - lag, None] - self.sums[:, :, body - lag : width - lag]
            np.einsum("npt,npt->nt", volume, self.price[:, :, month + body :], out=out[:, body:])

    def begin(self, out: Array, month: int, lag: int, start: int) -> None:
        """The first `lag` months of out, in which every trial's stream from index `start` on is only expected."""
        out[:, :lag] = 0.0
        if self.ahead:
            for k in range(max(lag - AHEAD + 1, 0), lag):
                stop = start + min(k + AHEAD, self.horizon - month) - lag
                volume = self.sums[:, :, stop] - self.sums[:, :, start]
                np.einsum("np,np->n", volume, self.price[:, :, month + k], out=out[:, k])

    def late_of(self, out: Array, month: int, lag: int, rows: IntArray, start: IntArray) -> None:
        """Streams of some trials, each from its own index `start`; out (rows, T - month)."""
        width = self.horizon - month
        body = self._body(width, lag)
        for line, row, first in zip(out, rows.tolist(), start.tolist(), strict=True):
            volume, price = self.volume[row], self.price[row, :, month:]
            np.einsum(
                "pt,pt->t", volume[:, first : first + body - lag], price[:, lag:body], out=line[lag:body]
            )
        self._edge(out, month, lag, rows, start, np.arange(lag))
        self._edge(out, month, lag, rows, start, np.arange(body, width))

    def _body(self, width: int, lag: int) -> int:
        """Month from the date on at which the horizon begins to cut what is expected."""
        return max(width - AHEAD + 1, lag) if self.ahead else width

    def _edge(self, out: Array, month: int, lag: int, rows: IntArray, start: IntArray, k: IntArray) -> None:
        """Months k from the date on, before the streams of some trials flow or where the horizon cuts."""
        if not k.size:
            return
        total = np.zeros((rows.size, k.size))
        if self.ahead:
            low = start[:, None] + np.maximum(k - lag, 0)
            high = start[:, None] + np.maximum(np.minimum(k + AHEAD, self.horizon - month) - lag, 0)
            for phase in range(self.phases):
                volume = self.sums[rows[:, None], phase, high] - self.sums[rows[:, None], phase, low]
                total += volume * self.price[rows, phase, month + k[0] : month + k[-1] + 1]
        out[:, k[0] : k[-1] + 1] = total


class Worth:
    """What the own and the unit stream of a chunk earn, in the tables of STREAMS."""

    def __init__(self, own: Array, unit: Array, price: Array, ahead: bool) -> None:
        """own, unit, price (n, P, T), ahead: as in `Stream`."""
        self.n, _, self.horizon = own.shape
        self.own, self.unit = Stream(own, price, ahead), Stream(unit, price, ahead)
        self._calendar: dict[int, Array] = {}

    def own_calendar(self, lag: int) -> Array:
        """The own stream `lag` months late on the whole calendar (n, T); not to be written into."""
        if lag not in self._calendar:
            table = np.empty((self.n, self.horizon))
            self.own.late(table, 0, lag)
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
            elif rows is None:
                self._own_of_all(made[:, place], month, late, resume)
                self.unit.late(made[:, place + 1], month, late)
            else:
                self.own.late_of(made[:, place], month, late, rows, resume[rows])
                self.unit.late_of(made[:, place + 1], month, late, rows, np.zeros_like(rows))
        return made

    def _own_of_all(self, out: Array, month: int, lag: int, resume: IntArray) -> None:
        """Own stream of all trials: cut from the calendar where the well runs until the date."""
        np.copyto(out, self.own_calendar(lag)[:, month:])
        self.own.begin(out, month, lag, month)  # what was made before the date is not delivered again
        still = np.flatnonzero(resume < month)
        if still.size:
            few = scratch("own of some", still.size * out.shape[1]).reshape(still.size, -1)
            self.own.late_of(few, month, lag, still, resume[still])
            out[still] = few


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
