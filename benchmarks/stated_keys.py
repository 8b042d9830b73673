"""Keys of the schema stated with values that each may be allowed: at the ends of the range, huge, tiny, of every kind.

The keys are read from the schema, so that a new one is among them by itself.
"""

from __future__ import annotations

import math
import random
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal, get_args, get_origin

from refracmc.case.key_rules import Section, inner_section, rule_of
from refracmc.case.load import SHARED
from refracmc.case.load_well import OVERRIDES, OWN

MONTHS = ("2026-10", "2026-11", "2027-01", "2031-07", "2055-01", "1990-01", "2199-12")


@dataclass(frozen=True)
class SchemaKey:
    """A key of the case: the tables it stands in, its declaration, and the words or truth values it takes."""

    tables: tuple[str, ...]
    name: str
    rule: dict[str, Any]
    words: tuple[Any, ...]


@cache
def schema_keys() -> tuple[SchemaKey, ...]:
    """Every key of the sections that all wells share, then of those of a well."""
    shared = [key for name, model in SHARED.items() for key in _keys((name,), model)]
    own = [key for name, model in {**OWN, **OVERRIDES}.items() for key in _keys(("wells", name), model)]
    return (*shared, *own)


def _keys(tables: tuple[str, ...], model: type[Section]) -> Iterator[SchemaKey]:
    for name, info in model.model_fields.items():
        rule, inner = rule_of(model, name), inner_section(info.annotation)
        if rule["kind"] == "plain" and inner is not None:
            named = ("mine",) if get_origin(info.annotation) is dict else ()
            yield from _keys((*tables, name, *named), inner)
        else:
            yield SchemaKey(tables, name, rule, tuple(_words(info.annotation)))


def _words(annotation: Any) -> Iterator[Any]:
    if annotation is bool:
        yield from (True, False)
    elif get_origin(annotation) is Literal:
        yield from get_args(annotation)
    else:
        for part in get_args(annotation):
            yield from _words(part)


def _number(draw: random.Random, low: float, high: float) -> float:
    """A number of a range, most often near its ends or of a size that no one expects."""
    low, high = (low if math.isfinite(low) else -1e9), (high if math.isfinite(high) else 1e9)
    size = 10.0 ** draw.uniform(-9, 9)
    near = (
        low,
        high,
        math.nextafter(low, high),
        math.nextafter(high, low),
        low + size,
        high - size,
        0.0,
        1.0,
        size,
    )
    wanted = draw.choice((*near, draw.uniform(low, high), low + (high - low) * draw.betavariate(0.3, 0.3)))
    return min(max(wanted, low), high)


def _distribution(draw: random.Random, low: float, high: float) -> dict[str, Any]:
    """A distribution of any kind, mostly within a range."""
    a, b, c = sorted(_number(draw, low, high) for _ in range(3))
    small, large = sorted(10.0 ** draw.uniform(-6, 6) for _ in range(2))
    spec = draw.choice((
        {"dist": "uniform", "low": a, "high": c},
        {"dist": "triangular", "low": a, "mode": b, "high": c},
        {"dist": "pert", "low": a, "mode": b, "high": c},
        {"dist": "normal", "mean": b, "sd": small, "min": a, "max": c},
        {"dist": "lognormal", "p90": small, "p10": large, "min": max(a, 0.0), "max": c},
        {"dist": "beta", "alpha": small, "beta": large, "low": a, "high": c},
        {"dist": "bernoulli", "p": draw.choice((0.0, 1e-9, 0.3, 1.0))},
        {"dist": "discrete", "values": [a, b, c], "weights": [small, large, 1.0]},
        {"dist": "empirical", "values": [a, b, b, c]},
        {"dist": "empirical", "file": "values.csv"},
    ))  # fmt: skip
    return dict(spec)


def _value(draw: random.Random, key: SchemaKey) -> Any:
    rule = key.rule
    if rule["kind"] == "month":
        return draw.choice(MONTHS)
    if rule["kind"] == "integer":
        return round(_number(draw, max(rule["low"], -1e6), min(rule["high"], 1e6)))
    if rule["kind"] in ("number", "uncertain"):
        if rule["kind"] == "uncertain" and draw.random() < 0.5:
            return _distribution(draw, rule["low"], rule["high"])
        return _number(draw, rule["low"], rule["high"])
    if key.words:
        return draw.choice(key.words)
    return draw.choice(([], [1, 2], ["toe_to_heel"], "mine", "values.csv", ["2027-01", "2027-02"], {}, 7))


def state_keys(draw: random.Random, text: str) -> str:
    """A case with some keys of the schema stated, in place of what stood there or beside it."""
    case = tomllib.loads(text)
    for _ in range(draw.choice((1, 1, 1, 2, 3, 6))):
        key = draw.choice(schema_keys())
        table: Any = case
        for name in key.tables:
            table = table.setdefault(name, {})
            table = table[-1] if isinstance(table, list) and table else table
            if not isinstance(table, dict):
                break
        else:
            table[key.name] = _value(draw, key)
    return toml_text(case)


def toml_text(table: dict[str, Any]) -> str:
    """A case as TOML: its own keys, then a table or a list of tables for each of the others."""
    lines = [f"{name} = {_toml(item)}" for name, item in table.items() if not _headed(item)]
    for name, item in table.items():
        if _headed(item):
            for part in item if isinstance(item, list) else [item]:
                lines.append(f"[[{name}]]" if isinstance(item, list) else f"[{name}]")
                lines += [f"{inner} = {_toml(value)}" for inner, value in part.items()]
    return "\n".join(lines) + "\n"


def _headed(item: Any) -> bool:
    """Whether something is a table, or a list of tables."""
    return isinstance(item, dict) or (isinstance(item, list) and bool(item) and isinstance(item[0], dict))


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{name} = {_toml(item)}" for name, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return str(value).lower() if isinstance(value, bool) else repr(value)
