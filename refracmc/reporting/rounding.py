"""Numbers as text: only the digits that their error supports.

Rule (assumption: two digits of an error that starts with 1, else one, as laboratories report them): the
standard error is rounded, and the value is cut at the same decimal. Where the error of a value is not known,
three significant digits are shown. A missing value is "-".
"""

from __future__ import annotations

import math

MISSING = "-"
MILLION = 1e6
PERCENTILE_ERROR_FACTOR = 1.7
"""Standard error of P10 or P90 over that of the mean for a normal distribution: sqrt(.1*.9)/phi(1.2816)."""


def decimals_of(error: float) -> int:
    """Decimal place at which an error cuts: 2 for 0.034, 3 for 0.012, 0 for 3.4, -1 for 34."""
    if not error > 0 or not math.isfinite(error):
        return 2
    place = -math.floor(math.log10(error))
    first = round(error * 10.0**place, 6)
    return place + 1 if first < 1.95 else place


def fixed(value: float, decimals: int) -> str:
    """Value at a decimal place, thousands separated by commas, true minus sign, no "-0"."""
    if not math.isfinite(value):
        return MISSING
    rounded = round(value, decimals)
    if rounded == 0:
        rounded = 0.0
    text = f"{abs(rounded):,.{max(decimals, 0)}f}"
    return f"−{text}" if rounded < 0 else text


def significant(value: float, digits: int = 3) -> str:
    """Value to so many significant digits, without exponents between 1e-4 and 1e9."""
    if not math.isfinite(value):
        return MISSING
    if value == 0:
        return "0"
    if not 1e-4 <= abs(value) < 1e9:
        return f"{value:.{digits - 1}e}".replace("-", "−", 1) if value < 0 else f"{value:.{digits - 1}e}"
    place = digits - 1 - math.floor(math.log10(abs(round(value, 12))))
    text = fixed(value, place)
    return text.rstrip("0").rstrip(".") if "." in text else text


def with_error(value: float, error: float, scale: float = 1.0) -> str:
    """Text ``1.23 ± 0.04`` of value and standard error, both divided by ``scale`` first.

    An unknown error leaves three significant digits of the value and no ``±``; an error of 0 is said as ± 0.
    """
    if not math.isfinite(value):
        return MISSING
    if not math.isfinite(error):
        return significant(value / scale)
    if error <= 1e-12 * abs(value):
        return f"{significant(value / scale)} ± 0"
    place = decimals_of(error / scale)
    return f"{fixed(value / scale, place)} ± {fixed(error / scale, place)}"


def to_error(value: float, error: float, scale: float = 1.0, factor: float = PERCENTILE_ERROR_FACTOR) -> str:
    """A percentile cut where ``factor`` times the standard error of the mean cuts; no ``±`` is shown."""
    if not math.isfinite(value):
        return MISSING
    if not math.isfinite(error) or error <= 1e-12 * abs(value):
        return significant(value / scale)
    place = decimals_of(factor * error / scale)
    if value:  # an error of the mean far above the percentile itself says nothing of it
        place = max(place, 1 - math.floor(math.log10(abs(value / scale))))
    return fixed(value / scale, place)


def chance_error(chance: float, trials: int) -> float:
    """Standard error of a share of so many trials by the plain formula; at 0 or 1 that of half a trial."""
    if trials <= 0 or not math.isfinite(chance):
        return math.nan
    inside = min(max(chance, 0.5 / trials), 1 - 0.5 / trials)
    return math.sqrt(inside * (1 - inside) / trials)


def percent(share: float, error: float = math.nan) -> str:
    """A share as percent with its error, ``37.2 ± 0.5 %``."""
    if not math.isfinite(share):
        return MISSING
    if share in (0, 1) and not error > 0:
        return f"{100 * share:.0f} %"
    return (
        f"{with_error(100 * share, 100 * error)} %" if math.isfinite(error) else f"{fixed(100 * share, 1)} %"
    )


def share_done(share: float) -> str:
    """A share of trials with a job as percent, cut and not rounded, so that not all of them is never said as all."""
    if not math.isfinite(share):
        return MISSING
    if share in (0, 1):
        return f"{100 * share:.0f} %"
    return f"{fixed(math.floor(1000.0 * share + 1e-9) / 10.0, 1)} %"
