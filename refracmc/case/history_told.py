"""What the histories of a case leave open, and what is assumed of it, in sentences that name the key that mends it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from refracmc.production.history_signs import SLUG_FACTOR, STALE_MONTHS, HistorySigns, history_signs

if TYPE_CHECKING:
    from refracmc.case.validated_case import Case, WellCase


def history_told(case: Case) -> tuple[str, ...]:
    """Sentences on all wells that are forecast by their history, each with its well before it."""
    return tuple(f"{well}: {sentence}" for well, sentence in told_by_well(case))


def told_by_well(case: Case) -> tuple[tuple[str, str], ...]:
    """Well id and sentence, of all wells that are forecast by their history."""
    return tuple((well.id, sentence) for well in case.wells for sentence in well_told(case, well))


def well_told(case: Case, well: WellCase) -> tuple[str, ...]:
    """Sentences on one well; none where a type curve stands for its history."""
    if well.history is None or well.forecast != "history":
        return ()
    signs = history_signs(well.history, np.datetime64(case.valuation.date, "M"))
    return (
        *_end(signs, case.fit.idle_hurdle),
        *_water(signs, well),
        *_steps(signs),
        *_strangers(signs, well),
    )


def _end(signs: HistorySigns, hurdle: bool) -> Iterator[str]:
    if signs.gap > STALE_MONTHS:
        yield (
            f"the history ends in {signs.last}, {signs.gap} months before the valuation date. They are forecast as if "
            "the well had gone on as fitted. Add them, or set valuation.date to the month after the last one."
        )
    if signs.silent:
        yield (
            f"no volume is declared for the last {_months(signs.silent)} of the history. They are taken as on "
            "production at the well's usual uptime. Write 0 where it stood idle, or add the volumes."
        )
    if signs.idle:
        taken = (
            "The longer, the likelier it is taken to stand idle for good; else it goes on at once where its producing "
            "time left it. fit.idle_hurdle = false takes it to go on in every trial."
            if hurdle
            else "It is taken to go on at once where its producing time left it (fit.idle_hurdle = false)."
        )
        yield f"the history ends with {_months(signs.idle)} of declared zeros. {taken}"


def _months(count: int) -> str:
    return f"{count} month" if count == 1 else f"{count} months"


def _water(signs: HistorySigns, well: WellCase) -> Iterator[str]:
    factor = signs.water_factor
    if factor is not None and not 1.0 / SLUG_FACTOR < factor < SLUG_FACTOR:
        per = "bbl of oil" if well.main_phase == "oil" else "Mcf of gas"
        yield (
            f"water per {per} of the last 3 producing months is {factor:.2g} times that of the 9 before. The forecast "
            "starts from the mean of the 12. Where it was a slug that passes, leave the water cells of those months "
            "blank."
        )


def _steps(signs: HistorySigns) -> Iterator[str]:
    if signs.steps:
        step = signs.steps[-1]
        more = "" if len(signs.steps) == 1 else f" ({len(signs.steps)} such steps, this is the last)"
        yield (
            f"the rate steps up to {step.ratio:.2g} times its decline about {step.month}{more}. The fit runs through "
            f"it, from {signs.segment} on. Where the well was worked over, write the month as segment_start under "
            "[wells.fit] (refracmc forecast draws it); where single months are wrong, name them in its exclude."
        )


def _strangers(signs: HistorySigns, well: WellCase) -> Iterator[str]:
    outside = [text for text in well.fit.exclude if not str(signs.first) <= text[:7] <= str(signs.last)]
    if outside:
        yield f"exclude of [wells.fit] names {', '.join(outside[:6])}, which the history does not have: no effect."
