"""Which inputs differ between two runs, from the rows of their tables of inputs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

Row = dict[str, Any]


class InputsByWell:
    """The value of every input as a well has it, as text; rows: of the table of inputs."""

    def __init__(self, rows: Sequence[Mapping[str, Any]]) -> None:
        self._values = {(row["well"], row["variable"]): str(row["distribution"]) for row in rows}
        self.units = {str(row["variable"]): str(row["unit"]) for row in rows}

    def value(self, well: str, variable: str) -> str | None:
        """Its own, or that of all wells; None where it has none."""
        return self._values.get((well, variable), self._values.get((None, variable)))


def input_changes(before: InputsByWell, after: InputsByWell, wells: Sequence[str]) -> list[Row]:
    """One row for each input that differs: its value before and after, None where there is none.

    wells: those of both runs. A change that all of them have in common stands once, without a well.
    """
    rows: list[Row] = []
    for variable in dict.fromkeys((*before.units, *after.units)):
        pairs = {well: (before.value(well, variable), after.value(well, variable)) for well in wells}
        changed = {well: pair for well, pair in pairs.items() if pair[0] != pair[1]}
        unit = after.units.get(variable, before.units.get(variable, ""))
        is_common = len(changed) == len(wells) and len(set(changed.values())) == 1
        for well, (old, new) in list(changed.items())[: 1 if is_common else None]:
            rows.append(
                {
                    "well": None if is_common else well,
                    "input": variable,
                    "unit": unit,
                    "before": old,
                    "after": new,
                }
            )
    return rows


_NAMED = 3
"""Wells of a change that are named, where it is of more."""


def wells_of_changes(rows: Sequence[Mapping[str, Any]]) -> list[Row]:
    """The rows with the same change of several wells as one, in their order; `well`: its wells in words, or all."""
    found: dict[tuple[Any, ...], list[Mapping[str, Any]]] = {}
    for row in rows:
        found.setdefault(tuple(row[key] for key in row if key != "well"), []).append(row)
    return [{**its[0], "well": _wells_in_words([row["well"] for row in its])} for its in found.values()]


def _wells_in_words(wells: Sequence[str | None]) -> str:
    if None in wells:
        return "all"
    named = ", ".join(str(well) for well in wells[:_NAMED])
    return named if len(wells) <= _NAMED else f"{named} and {len(wells) - _NAMED} more"
