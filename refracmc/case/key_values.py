"""How the value of a key is read: a number, a month or a distribution, or what it is refused with.

Reading is strict: a truth value is no number, inf and nan are refused, a text is no month.
"""

from __future__ import annotations

import datetime
import difflib
import math
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
from pydantic_core import PydanticCustomError

from refracmc.case import units
from refracmc.sampling.distributions import Distribution, SpecError, from_spec, may_be_added

LARGEST: Final = {"h": 1e4, "d": 3_650.0}
"""Size no value of a key passes, by unit, where its range has no end: beyond it sums overflow or a job never ends."""
LARGEST_OTHER: Final = 1e12
RARE: Final = 1e-9  # chance at each end of a distribution that its reach is told at


def refuse(found: str, allowed: str, remedy: str) -> PydanticCustomError:
    """The error a field raises; the three texts reach the Fault unchanged."""
    return PydanticCustomError(
        "refracmc", "input fault", {"found": found, "allowed": allowed, "remedy": remedy}
    )


def _unit(unit: str) -> str:
    """The unit as it stands behind a number."""
    return f"[{unit}]" if unit[:1].isdigit() else unit


def _plain(value: float) -> str:
    return f"{value:,}" if isinstance(value, int) else f"{value:,.12g}"


def range_text(rule: dict[str, Any]) -> str:
    """The allowed range in words, with the unit."""
    low, high = rule["low"], rule["high"]
    bare = rule["unit"] in ("", "fraction")
    unit = "" if bare else f" {_unit(rule['unit'])}"
    what = "a fraction" if rule["unit"] == "fraction" else "a number"
    if rule["kind"] == "integer":
        what = "a whole number"
    if math.isinf(low) and math.isinf(high):
        return what + (f" in{unit}" if unit else "")
    if math.isinf(high):
        return f"{what} {'above' if rule['above'] else 'of at least'} {low:g}{unit}"
    if math.isinf(low):
        return f"{what} {'below' if rule['below'] else 'of at most'} {high:g}{unit}"
    if rule["above"] or rule["below"]:
        left, right = ("above" if rule["above"] else "from"), ("below" if rule["below"] else "up to")
        return f"{what} {left} {low:g} and {right} {high:g}{unit}"
    return f"{what} from {_plain(low)} to {_plain(high)}{unit}"


def found_text(value: Any, unit: str = "") -> str:
    """A found value in short, a number with its unit."""
    if isinstance(value, bool):
        return f"the truth value {str(value).lower()}"
    if isinstance(value, str):
        return f"the text {value[:60]!r}"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    if isinstance(value, int | float):
        return f"{value:.12g}" + (f" ({unit})" if unit == "fraction" else f" {_unit(unit)}" if unit else "")
    return f"{value} ({type(value).__name__})"


def _outside(value: float, rule: dict[str, Any]) -> bool:
    below = value <= rule["low"] if rule["above"] else value < rule["low"]
    above = value >= rule["high"] if rule["below"] else value > rule["high"]
    return bool(below or above)


def _refuse_absurd(low: float, high: float, rule: dict[str, Any], what: str) -> None:
    """Refuse a value, or the reach of a distribution, whose size no key can mean."""
    limit, size = LARGEST.get(rule["unit"], LARGEST_OTHER), max(abs(low), abs(high))
    if not size <= limit:
        unit = f" {_unit(rule['unit'])}" if rule["unit"] else ""
        raise refuse(
            f"{what}{size:.6g}{unit}",
            f"{range_text(rule)}, at most {limit:g}{unit} in size",
            "correct the value",
        )


def read_number(value: Any, rule: dict[str, Any]) -> float | int:
    """A fixed number within the range of its key; raises what `refuse` makes."""
    whole = rule["kind"] == "integer"
    if isinstance(value, bool) or not isinstance(value, int | float):
        remedy = "write it without quotes" if isinstance(value, str) else "write a number"
        if isinstance(value, dict) and "dist" in value:
            remedy = "this number must be fixed: write a plain number"
        raise refuse(found_text(value), range_text(rule), remedy)
    if isinstance(value, int) and abs(value) > 1e300:
        value = math.copysign(math.inf, value > 0 or -1)  # more digits than a float holds
    if not math.isfinite(value):
        raise refuse(found_text(value, rule["unit"]), range_text(rule), "write a finite number")
    if 0 < abs(value) < sys.float_info.min:  # no longer held to all its digits
        raise refuse(
            found_text(value, rule["unit"]), range_text(rule), "write 0, or a number of a size it can mean"
        )
    if whole and value != int(value):
        raise refuse(found_text(value, rule["unit"]), range_text(rule), "round it")
    if _outside(value, rule):
        raise refuse(found_text(value, rule["unit"]), range_text(rule), "correct the value or its unit")
    _refuse_absurd(value, value, rule, "")
    return int(value) if whole else float(value)


def read_month(value: Any) -> str:
    """A month 'YYYY-MM'."""
    if isinstance(value, datetime.datetime | datetime.date):
        if value.day != 1:
            raise refuse(f"the day {value.isoformat()}", "a month 'YYYY-MM'", "leave the day out")
        value = f"{value.year:04d}-{value.month:02d}"
    if isinstance(value, str):
        try:
            return units.known_month(value)
        except ValueError:
            pass
    raise refuse(found_text(value), f"a month 'YYYY-MM' in quotes, {units.YEARS}", 'write it like "2027-01"')


def read_months(value: Any) -> tuple[str, ...]:
    """A list of months; refused as a whole with the first item that is none."""
    if not isinstance(value, list | tuple):
        raise refuse(
            found_text(value), "a list of months 'YYYY-MM' in quotes", 'write it like ["2027-01", "2027-04"]'
        )
    return tuple(read_month(item) for item in value)


def record(name: str) -> tuple[tuple[float, ...], str]:
    """Values and source of a shipped record. Raises ValueError where there is none of that name."""
    from refracmc.production.uplift import named_uplift

    return named_uplift(name)


def _named_values(spec: Mapping[str, Any], rule: Mapping[str, Any]) -> dict[str, Any]:
    """The table with the values of a shipped record in place of its name."""
    records = rule.get("records", ())
    allowed = f'{", ".join(records)}, with dist = "empirical" and no values or file'
    if not records:
        raise refuse(
            f"named = {found_text(spec['named'])} for an input no record is shipped for",
            "named only for response.uplift and response.uplift_record_factor",
            "state values, a file or another kind",
        )
    if spec.get("dist") != "empirical" or {"values", "file", "column"} & set(spec):
        raise refuse("named beside other keys, or with another kind", allowed, "leave the others out")
    name = spec["named"]
    if not isinstance(name, str) or name not in records:
        close = difflib.get_close_matches(name, records, n=1) if isinstance(name, str) else []
        remedy = f"did you mean {close[0]!r}?" if close else "name one of them"
        raise refuse(f"named = {found_text(name)}", allowed, remedy)
    rest = {key: item for key, item in spec.items() if key != "named"}
    return {**rest, "values": list(record(name)[0])}


def read_uncertain(value: Any, rule: dict[str, Any], base_dir: Path | None) -> Distribution:
    """A number or a distribution within the range of its key. base_dir: where its files stand."""
    if isinstance(value, Distribution):
        return value
    unit = f" {rule['unit']}" if rule["unit"] else ""
    if not isinstance(value, dict):
        return from_spec(read_number(value, rule), "", base_dir=base_dir)
    spec = {key: item for key, item in value.items() if key != "source"}
    if "named" in spec:
        spec = _named_values(spec, rule)
    allowed = f"{range_text(rule)}, or a distribution within it"
    if "source" in value and not isinstance(value["source"], str):
        raise refuse(f"source = {found_text(value['source'])}", "a text", "name where the numbers come from")
    if "dist" not in spec:
        raise refuse(
            "a table without dist", allowed, 'write {dist = "lognormal", p90 = ..., p10 = ...} or a number'
        )
    try:
        distribution = from_spec(spec, "", base_dir=base_dir)
    except SpecError as error:
        found = "; ".join(
            f"{problem.where.lstrip('.')} {problem.found}".strip() for problem in error.problems
        )
        allowed = "; ".join(dict.fromkeys(problem.allowed for problem in error.problems))
        remedy = "; ".join(dict.fromkeys(problem.remedy for problem in error.problems))
        raise refuse(f"{found} [{rule['unit'] or 'no unit'}]", allowed, remedy) from None
    low, high = distribution.support()
    if math.isnan(low) or math.isnan(high):
        raise refuse("a distribution whose range is not a number", allowed, "correct its parameters")
    for beyond, way, end, key in (
        (low < rule["low"], f"down to {low:.6g}", rule["low"], "min"),
        (high > rule["high"], f"up to {high:.6g}", rule["high"], "max"),
    ):
        if beyond:
            remedy = f"add {key} = {end:g}" if key in may_be_added(spec["dist"]) else "correct its values"
            raise refuse(f"a {spec['dist']} distribution reaching {way}{unit}", allowed, remedy)
    if low == high and _outside(low, rule):
        raise refuse(f"{low:.12g}{unit}", allowed, "correct the value or its unit")
    ends = distribution.ppf(np.array([RARE, 1.0 - RARE]))
    _refuse_absurd(float(ends[0]), float(ends[1]), rule, f"a {spec['dist']} distribution that reaches ")
    return distribution
