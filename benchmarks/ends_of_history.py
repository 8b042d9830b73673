"""Is a well read wrongly by how its history ends: choked flat, with a dip, after a shut-in?

    python -m benchmarks.ends_of_history DATA_DIR [DATA_DIR ...] --teach field

DATA_DIRs and options as of field_scores. Sorts the wells of a hindcast by their last twelve known months and prints,
for those with each end and for the others, the share in the band, shares below P90 and above P10, the bias of the sum
and the loss over the fair yardstick. Errors of shares are binomial.

flat: a line through the log rates of nine months or more falls less than 12 % in a year, and misses less than 8 %.
dip: the last month's rate is below 0.7 of the median of the six before it.
restart: a month of the first ten had no days on, and the last two had some."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchmarks.field_scores import fair_table, loss_over, options, read_folders, settings_of
from refracmc.production.hidden_months import run
from refracmc.production.history import History
from refracmc.production.scores import score

Array = NDArray[np.float64]
LAST = 12


def _rates(known: History) -> Array:
    """Rate per producing day (LAST,) of the last months, NaN where the well was off."""
    volume, days = known.volume()[-LAST:], known.days_on[-LAST:]
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.where((days > 0.0) & (volume > 0.0), volume / days, np.nan)
    return np.asarray(rate)


def is_flat(known: History) -> bool:
    """Whether the rate hardly falls and hardly scatters."""
    rate, month = _rates(known), np.arange(min(LAST, len(known)))
    on = np.isfinite(rate)
    if on.sum() < 9:
        return False
    slope, level = np.polyfit(month[on], np.log(rate[on]), 1)
    missed = np.log(rate[on]) - (slope * month[on] + level)
    return bool(abs(slope) * 12.0 < 0.12 and missed.std() < 0.08)


def ends_in_dip(known: History) -> bool:
    """Whether the last month lies far below those before it."""
    rate = _rates(known)[-7:]
    return bool(np.isfinite(rate).all() and rate[-1] < 0.7 * np.median(rate[:-1]))


def ends_after_shut_in(known: History) -> bool:
    """Whether the well came back in the last two months or shortly before."""
    on = known.days_on[-LAST:] > 0.0
    return bool((~on[:-2]).any() and on[-2:].all())


ENDS: dict[str, Callable[[History], bool]] = {
    "flat": is_flat,
    "dip": ends_in_dip,
    "restart": ends_after_shut_in,
}


def main() -> None:
    """Run from the command line."""
    told = options(__doc__).parse_args()
    frame, areas = read_folders(told.folders)
    print("| phase | in/out | end | wells | in band | below, above | bias of sum | over fair |")
    print("|---|---|---|---|---|---|---|---|")
    for settings in settings_of(told):
        result = run(frame, settings, areas)
        table, fair = result.table, fair_table(result, settings)
        used = table["used"].astype(bool) & fair["used"].astype(bool)
        for phase in sorted(set(table.loc[used, "phase"])):
            mine = used & (table["phase"] == phase)
            for name, ends in ENDS.items():
                known = [
                    result.wells[well].known if well in result.wells else None for well in table["well_id"]
                ]
                so = pd.Series([item is not None and ends(item) for item in known])
                for label, rows in ((name, mine & so), (f"not {name}", mine & ~so)):
                    if not rows.sum():
                        continue
                    found, n = score(table[rows]), int(rows.sum())
                    error = np.sqrt(found["coverage"] * (1.0 - found["coverage"]) / n)
                    pit = table.loc[rows, "pit"]
                    cut = f"{settings.months_in}/{settings.months_out}"
                    print(
                        f"| {phase} | {cut} | {label} | {n} | {found['coverage']:.2f} ± {error:.2f} "
                        f"| {(pit < 0.1).mean():.2f}, {(pit > 0.9).mean():.2f} | {found['bias_of_sum']:+.0%} "
                        f"| {loss_over(table[rows], fair[rows]):.2f} |"
                    )


if __name__ == "__main__":
    main()
