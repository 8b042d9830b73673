"""Months and units at the edge: months as whole numbers, SI keys and columns into field units.

Inside the package everything is in bbl, Mcf, ft, in, lb/ft, psi and US$. A key or column may instead be
written with its SI twin (``lateral_m`` for ``lateral_ft``); it is converted here and nowhere else.
Factors: exact definitions of the inch, the pound and the US barrel (42 gal of 231 in3); the Mcf is the
1000 cubic feet of the foot of 0.3048 m, standard conditions taken as equal in both systems.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

M3_PER_BBL = 42 * 231 * 0.0254**3
E3M3_PER_MCF = 0.3048**3
M_PER_FT = 0.3048
MM_PER_IN = 25.4
KG_M_PER_LB_FT = 0.45359237 / 0.3048
KPA_PER_PSI = 0.45359237 * 9.80665 / 0.0254**2 / 1000

# (suffix of the key in field units, suffix of its SI twin, factor: SI value x factor = field value)
SI_TWINS: tuple[tuple[str, str, float], ...] = (
    ("_usd_per_bbl", "_usd_per_m3", M3_PER_BBL),
    ("_usd_per_mcf", "_usd_per_e3m3", E3M3_PER_MCF),
    ("_bbl_per_stage", "_m3_per_stage", 1 / M3_PER_BBL),
    ("_bbl_per_d", "_m3_per_d", 1 / M3_PER_BBL),
    ("_mcf_per_d", "_e3m3_per_d", 1 / E3M3_PER_MCF),
    ("_lb_per_ft", "_kg_per_m", 1 / KG_M_PER_LB_FT),
    ("_ft_per_min", "_m_per_min", 1 / M_PER_FT),
    ("_ft", "_m", 1 / M_PER_FT),
    ("_in", "_mm", 1 / MM_PER_IN),
    ("_psi", "_kpa", 1 / KPA_PER_PSI),
)
_LINEAR_PARAMETERS = frozenset(
    {"value", "mean", "sd", "p90", "p50", "p10", "median", "low", "mode", "high", "min", "max", "values"}
)
_MONTH = re.compile(r"^(\d{4})-(0[1-9]|1[0-2])(?:-01)?$")


def month_number(text: str) -> int:
    """Whole months since 0000-01 of 'YYYY-MM' ('YYYY-MM-01' is read too); ValueError else."""
    found = _MONTH.match(text.strip())
    if found is None:
        raise ValueError(f"not a month: {text!r}")
    return int(found[1]) * 12 + int(found[2]) - 1


FIRST_YEAR, LAST_YEAR = 1900, 2199
"""Years of the months that are read: a date outside them is a slip of the pen."""
YEARS = f"{FIRST_YEAR} to {LAST_YEAR}"


def known_month(text: str) -> str:
    """'YYYY-MM' of a month that was written; ValueError for what is none, or of a year outside those read."""
    number = month_number(text)
    if not FIRST_YEAR <= number // 12 <= LAST_YEAR:
        raise ValueError(f"not a month of {YEARS}: {text!r}")
    return month_text(number)


def month_text(number: int) -> str:
    """'YYYY-MM' of a month number."""
    return f"{number // 12:04d}-{number % 12 + 1:02d}"


def months_between(first: str, second: str) -> int:
    """Months from `first` to `second` (both 'YYYY-MM'), negative if `second` is earlier."""
    return month_number(second) - month_number(first)


def days_in_month(number: int) -> int:
    """Calendar days of a month number (Gregorian)."""
    year, month = number // 12, number % 12 + 1
    if month == 2:
        return 29 if year % 4 == 0 and (year % 100 != 0 or year % 400 == 0) else 28
    return 30 if month in (4, 6, 9, 11) else 31


def si_twin(key: str) -> tuple[str, float] | None:
    """The SI spelling of a field-unit key and its factor, or None where it has none."""
    for field_suffix, si_suffix, factor in SI_TWINS:
        if key.endswith(field_suffix):
            return key[: -len(field_suffix)] + si_suffix, factor
    return None


def scale_spec(spec: Any, factor: float) -> Any:
    """A number or distribution table with every parameter that carries the unit multiplied by `factor`.

    Shape parameters (log_sd, alpha, beta, weights, p) carry no unit and stay. Anything else is returned as
    it is, so that the check of its type speaks about what the engineer wrote.
    """
    if isinstance(spec, bool):
        return spec
    if isinstance(spec, int | float):
        return spec * factor
    if isinstance(spec, list):
        return [scale_spec(item, factor) for item in spec]
    if isinstance(spec, Mapping):
        return {
            key: scale_spec(value, factor) if key in _LINEAR_PARAMETERS else value
            for key, value in spec.items()
        }
    return spec
