"""Reads the distribution of an input from a plain number or a table such as

    { dist = "lognormal", p90 = 0.3, p10 = 0.8, max = 2.0 }

Percentiles are by exceedance: P90 is the low value. `min` and `max` truncate and renormalise. All problems
of a table are reported at once, each with the key, what was found, what is allowed and the nearest valid
name for a misspelt one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from refracmc.errors import Fault
from refracmc.sampling.continuous import Beta, LogNormal, Normal, Pert, Triangular, Truncated, Uniform
from refracmc.sampling.discrete import Bernoulli, Discrete, Empirical, Fixed
from refracmc.sampling.distribution_base import Distribution
from refracmc.sampling.spec_faults import SpecError, listing, nearest, read_column, shown

__all__ = [
    "KINDS",
    "Bernoulli",
    "Beta",
    "Discrete",
    "Distribution",
    "Empirical",
    "Fixed",
    "LogNormal",
    "Normal",
    "Pert",
    "SpecError",
    "Triangular",
    "Truncated",
    "Uniform",
    "from_spec",
]

KINDS: dict[str, tuple[tuple[str, ...], ...]] = {
    "fixed": (("value",),),
    "normal": (("mean", "sd"), ("p90", "p10")),
    "lognormal": (("p90", "p10"), ("mean", "sd"), ("median", "log_sd")),
    "triangular": (("low", "mode", "high"),),
    "pert": (("low", "mode", "high"),),
    "uniform": (("low", "high"),),
    "beta": (("alpha", "beta"),),
    "bernoulli": (("p",),),
    "discrete": (("values", "weights"),),
    "empirical": (("values",), ("file",)),
}
"""The kinds, each with the sets of keys that state it (exactly one set)."""

_OPTIONAL = {"beta": ("low", "high"), "empirical": ("column",)}
_UNTRUNCATED = ("fixed", "bernoulli")
_LISTS = ("values", "weights")
_TEXTS = ("file", "column")


def may_be_added(kind: str) -> tuple[str, ...]:
    """The keys that may stand in a table of this kind beside those that state it."""
    return (*_OPTIONAL.get(kind, ()), *(() if kind in _UNTRUNCATED else ("min", "max")))


def from_spec(spec: object, where: str, base_dir: str | Path | None = None) -> Distribution:
    """The distribution a case states at key path `where`.

    Parameters
    ----------
    spec : a number (certain), a table with `dist` and its keys, or a Distribution (returned as it is)
    where : key path, for messages
    base_dir : folder that a relative `file` is read from (default: the current one)

    A spread of zero (sd = 0, p90 = p10, low = high) gives a Fixed value. Raises SpecError (a ValueError).
    """
    if isinstance(spec, Distribution):
        return spec
    if isinstance(spec, int | float) and not isinstance(spec, bool):
        if not math.isfinite(spec):
            raise SpecError([Fault(where, str(spec), "a finite number", "state a number")])
        return Fixed(float(spec))
    if not isinstance(spec, Mapping):
        raise SpecError(
            [
                Fault(
                    where,
                    shown(spec),
                    "a number or a table { dist = ... }",
                    f"dist is one of {listing(KINDS)}",
                )
            ]
        )
    return _Reader(spec, where, Path(base_dir) if base_dir is not None else Path()).read()


class _Reader:
    """Reads one table, collecting problems before it gives up."""

    def __init__(self, spec: Mapping[Any, Any], where: str, base_dir: Path) -> None:
        self.spec = {str(k): v for k, v in spec.items()}
        self.where, self.base_dir = where, base_dir
        self.problems: list[Fault] = []

    def fault(self, key: str, found: str, allowed: str, remedy: str) -> None:
        self.problems.append(Fault(f"{self.where}.{key}", found, allowed, remedy))

    def stop(self) -> None:
        if self.problems:
            raise SpecError(self.problems)

    def read(self) -> Distribution:
        kind = self.kind()
        keys = self.keys(kind)
        numbers = {k: self.number(k) for k in self.spec if k not in (*_LISTS, *_TEXTS, "dist") and k in keys}
        low, high = numbers.pop("min", None), numbers.pop("max", None)
        lists = {k: self.numbers(k) for k in _LISTS if k in self.spec and k in keys}
        self.stop()
        stated = {k: v for k, v in numbers.items() if v is not None}
        columns = {k: v for k, v in lists.items() if v is not None}
        if low is not None and high is not None and low >= high:
            self.fault("min", f"{low:g} with max {high:g}", "min below max", "exchange or correct them")
        self.check(kind, stated, columns)
        self.stop()
        if kind in ("discrete", "empirical"):
            return self.listed(kind, columns, low, high)
        return self.truncate(_build(kind, stated), low, high)

    def kind(self) -> str:
        kind = self.spec.get("dist")
        if not isinstance(kind, str) or kind not in KINDS:
            word = kind if isinstance(kind, str) else ""
            close = nearest(word, list(KINDS), "name the kind of distribution")
            if "dist" not in self.spec:
                close = next((f"{k!r} is written 'dist'" for k in self.spec if _is_near(k, "dist")), close)
            self.fault("dist", shown(kind), listing(KINDS), close)
            self.stop()
        return str(kind)

    def keys(self, kind: str) -> set[str]:
        """Checks the names of the keys; returns those that can be read."""
        sets = KINDS[kind]
        needed = [k for s in sets for k in s]
        allowed = list(dict.fromkeys([*needed, *_OPTIONAL.get(kind, ())]))
        if kind not in _UNTRUNCATED:
            allowed += ["min", "max"]
        for key in self.spec:
            if key != "dist" and key not in allowed:
                remedy = nearest(key, allowed, "remove it")
                self.fault(key, shown(self.spec[key]), f"for {kind}: {listing(allowed)}", remedy)
        given = [k for k in self.spec if k in needed]
        ways = "; or ".join(" and ".join(s) for s in sets)
        complete = [s for s in sets if set(s) == set(given)]
        if not complete:
            best = max(sets, key=lambda s: len(set(s) & set(given)))
            missing = [k for k in best if k not in given]
            if missing:
                self.fault(missing[0], "nothing", f"for {kind}: {ways}", f"add {listing(missing)}")
            else:
                extra = [k for k in given if k not in best]
                self.fault(
                    extra[0],
                    shown(self.spec[extra[0]]),
                    f"for {kind}: {ways}",
                    "state one of these sets only",
                )
        if "column" in self.spec and "file" not in self.spec:
            self.fault("column", shown(self.spec["column"]), "only beside file", "remove it")
        return {k for k in self.spec if k in allowed}

    def number(self, key: str) -> float | None:
        value = self.spec[key]
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            self.fault(key, shown(value), "a finite number", "state a number, without quotes or unit")
            return None
        return float(value)

    def numbers(self, key: str) -> list[float] | None:
        value = self.spec[key]
        if not isinstance(value, Sequence | np.ndarray) or isinstance(value, str) or len(value) == 0:
            self.fault(key, shown(value), "a list of at least one finite number", "write [1.0, 2.0, ...]")
            return None
        out: list[float] = []
        for i, x in enumerate(value):
            good = isinstance(x, int | float | np.integer | np.floating) and not isinstance(x, bool)
            if not good or not math.isfinite(x):
                self.fault(f"{key}[{i}]", shown(x), "a finite number", "correct this entry")
            else:
                out.append(float(x))
        return out

    def check(self, kind: str, v: dict[str, float], lists: dict[str, list[float]]) -> None:
        if "p90" in v and v["p90"] > v["p10"]:
            self.fault(
                "p90",
                f"{v['p90']:g} with p10 {v['p10']:g}",
                "p90 at most p10",
                "P90 is the low one: exchange",
            )
        for key in ("sd", "log_sd"):
            if v.get(key, 0.0) < 0.0:
                self.fault(key, shown(v[key]), "0 or above", "state a standard deviation")
        if kind == "lognormal":
            for key in ("p90", "mean", "median"):
                if v.get(key, 1.0) <= 0.0:
                    self.fault(key, shown(v[key]), "above 0 for lognormal", "use normal or triangular")
        for key in ("alpha", "beta"):
            if kind == "beta" and v[key] <= 0.0:
                self.fault(key, shown(v[key]), "above 0", "shapes of a beta are positive")
        if kind == "beta" and v.get("low", 0.0) >= v.get("high", 1.0):
            self.fault(
                "low", shown(v.get("low", 0.0)), f"below high ({v.get('high', 1.0):g})", "correct low or high"
            )
        if kind in ("triangular", "pert", "uniform"):
            names = ("low", "mode", "high") if "mode" in v else ("low", "high")
            for a, b in pairwise(names):
                if v[a] > v[b]:
                    self.fault(
                        a, f"{v[a]:g} with {b} {v[b]:g}", f"{a} at most {b}", "exchange or correct them"
                    )
        if kind == "bernoulli" and not 0.0 <= v["p"] <= 1.0:
            self.fault("p", shown(v["p"]), "0 to 1", "state a chance as a fraction")
        if kind == "discrete":
            values, weights = lists["values"], lists["weights"]
            if len(values) != len(weights):
                found = f"{len(weights)} weights for {len(values)} values"
                self.fault("weights", found, "one weight for each value", "make the lists equally long")
            elif min(weights) < 0.0 or sum(weights) <= 0.0:
                self.fault("weights", shown(weights), "0 or above, not all 0", "correct the weights")

    def truncate(self, base: Distribution, low: float | None, high: float | None) -> Distribution:
        if low is None and high is None:
            return base
        a, b = -math.inf if low is None else low, math.inf if high is None else high
        bottom, top = base.support()
        if base.is_fixed:
            if not a <= bottom <= b:
                key, limit = ("min", low) if bottom < a else ("max", high)
                self.fault(
                    key, shown(limit), f"an interval that holds the value {bottom:g}", "correct min and max"
                )
                self.stop()
            return base
        if a <= bottom and b >= top:
            return base
        if isinstance(base, Uniform) and max(a, bottom) < min(b, top):
            return Uniform(max(a, bottom), min(b, top))
        try:
            return Truncated(base, a, b)
        except ValueError as error:
            key, limit = ("min", low) if low is not None else ("max", high)
            self.fault(key, shown(limit), "to keep a millionth of the distribution or more", f"{error}")
            raise SpecError(self.problems) from None

    def listed(
        self, kind: str, lists: dict[str, list[float]], low: float | None, high: float | None
    ) -> Distribution:
        values = np.array(lists["values"] if "values" in lists else self.file_values())
        kept = values >= (-math.inf if low is None else low)
        kept &= values <= (math.inf if high is None else high)
        weights = np.array(lists["weights"])[kept] if kind == "discrete" else np.ones(int(kept.sum()))
        if not weights.sum() > 0.0:
            key, limit = ("min", low) if low is not None else ("max", high)
            self.fault(
                key, shown(limit), f"the values, {values.min():g} to {values.max():g}", "correct min and max"
            )
            self.stop()
        if kind == "discrete":
            return Discrete.of(values[kept], weights)
        return Empirical(tuple(np.sort(values[kept]).tolist()))

    def file_values(self) -> list[float]:
        name, column = self.spec["file"], self.spec.get("column")
        for key, value in (("file", name), ("column", column)):
            if not isinstance(value, str) and (key == "file" or value is not None):
                self.fault(key, shown(value), "a text in quotes", "name the file and its column")
        self.stop()
        return read_column(self.base_dir / str(name), str(name), column, self.where)


def _is_near(word: str, name: str) -> bool:
    return bool(get_close_matches(word.lower(), [name, "distribution", "type", "kind"], n=1, cutoff=0.6))


def _build(kind: str, v: dict[str, float]) -> Distribution:
    """The distribution of checked numbers, Fixed where the spread is zero."""
    if kind == "fixed":
        return Fixed(v["value"])
    if kind == "bernoulli":
        return Bernoulli(v["p"])
    if kind == "beta":
        return Beta(v["alpha"], v["beta"], v.get("low", 0.0), v.get("high", 1.0))
    if kind in ("normal", "lognormal"):
        if "p90" in v and v["p90"] == v["p10"]:
            return Fixed(v["p90"])
        if v.get("sd", v.get("log_sd", 1.0)) == 0.0:
            return Fixed(v["median"] if "median" in v else v["mean"])
        if kind == "normal":
            return Normal.from_p90_p10(v["p90"], v["p10"]) if "p90" in v else Normal(v["mean"], v["sd"])
        if "p90" in v:
            return LogNormal.from_p90_p10(v["p90"], v["p10"])
        if "mean" in v:
            return LogNormal.from_mean_sd(v["mean"], v["sd"])
        return LogNormal(math.log(v["median"]), v["log_sd"])
    if v["low"] == v["high"]:
        return Fixed(v["low"])
    if kind == "uniform":
        return Uniform(v["low"], v["high"])
    shape = Triangular if kind == "triangular" else Pert
    return shape(v["low"], v["mode"], v["high"])
