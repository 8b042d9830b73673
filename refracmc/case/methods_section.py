"""Isolation methods beside reclosed sleeves in the case: a table [strategies.methods.NAME] for each of `job.methods`.

A method is a strategy where its table is there, even empty. Keys, ranges, defaults and meanings are those that the
method's own file states. No source gives these numbers for old sleeves but where one is named.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from pydantic import StrictInt, create_model

from refracmc.case.key_rules import (
    ASSUMPTION,
    Problem,
    Section,
    Uncertain,
    choice,
    doubled,
    integer,
    number,
    uncertain,
)
from refracmc.job.methods import METHODS
from refracmc.job.methods.method import Key, Method


class MethodSection(Section):
    """The keys of one method."""

    def problems(self) -> list[Problem]:
        sleeves = getattr(self, "sleeves", None)
        if sleeves is not None and not sleeves:
            return [(("sleeves",), "an empty list", "sleeve numbers", "list the sleeves, or remove the key")]
        return doubled(("sleeves",), sleeves or (), "sleeve", "remove the doubled numbers")


def _field(key: Key) -> tuple[Any, Any]:
    """Type and declaration of a key."""
    source = key.source or ASSUMPTION
    limits = (key.default, key.unit, key.meaning, key.low, key.high)
    if key.kind == "sleeves":
        return tuple[StrictInt, ...] | None, choice(key.default, key.meaning, source=source)
    if key.kind == "integer":
        return int, integer(key.default, key.unit, key.meaning, int(key.low), int(key.high), source=source)
    if key.kind == "number":
        return float, number(*limits, above=key.above, source=source)
    return Uncertain, uncertain(*limits, above=key.above, source=source)


def _section(method: Method) -> type[MethodSection]:
    fields: dict[str, Any] = {key.name: _field(key) for key in method.keys}
    name = method.name.title()
    return create_model(name, __base__=MethodSection, __doc__=method.meaning, __module__=__name__, **fields)


class _ChosenMethods(Section):
    """The methods a case compares beside reclosed sleeves."""

    def chosen(self) -> Iterator[tuple[str, MethodSection]]:
        """(name, section) of each method there is."""
        for name in type(self).model_fields:
            section = getattr(self, name)
            if section is not None:
                yield name, section

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the methods there are."""
        return tuple(name for name, _ in self.chosen())

    def problems(self) -> list[Problem]:
        found: list[Any] = []
        for name, section in self.chosen():
            found += [((name, *path), *rest) for path, *rest in section.problems()]
        return found


if TYPE_CHECKING:

    class Methods(_ChosenMethods):
        """One section, or None, by the name of each method."""

else:
    Methods = create_model(
        "Methods",
        __base__=_ChosenMethods,
        __doc__=_ChosenMethods.__doc__,
        __module__=__name__,
        **{
            name: (_section(method) | None, choice(None, "table; absent: not compared"))
            for name, method in METHODS.items()
        },
    )
