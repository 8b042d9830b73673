"""A well's own keys over the shared ones, and where a key path leads."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeGuard

from refracmc.case import units
from refracmc.case.faults import KeyPath


def merge(shared: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """`own` over `shared`, key by key; a distribution or a list replaces what it stands over as a whole."""
    merged = dict(shared)
    for key, value in own.items():
        below = merged.get(key)
        if is_plain_table(value) and is_plain_table(below):
            merged[key] = merge(below, value)
        else:
            merged[key] = value
            twin = units.si_twin(key)
            if twin is not None:
                merged.pop(twin[0], None)
    for key in shared:
        twin = units.si_twin(key)
        if twin is not None and twin[0] in own:
            merged.pop(key, None)
    return merged


def is_plain_table(value: Any) -> TypeGuard[Mapping[str, Any]]:
    """A table of keys, not a distribution or a series of dates."""
    return isinstance(value, Mapping) and not {"dist", "first"} & set(value)


def stands_in(path: KeyPath, raw: Any) -> bool:
    """Whether a key path leads into what a table states."""
    for part in path:
        if isinstance(raw, Mapping):
            if part not in raw:
                twin = units.si_twin(str(part))
                return twin is not None and twin[0] in raw
            raw = raw[part]
        elif isinstance(raw, list) and isinstance(part, int):
            return part < len(raw)
        else:
            return True
    return True
