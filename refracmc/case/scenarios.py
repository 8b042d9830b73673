"""Scenarios: tables [scenarios.NAME] of keys that stand in place of the case's own, and the case under each of them.

A scenario's keys have the structure of the case. They go over the sections of the case and over what a well states of
its own, key by key; a distribution or a list replaces what it stands over as a whole. What a scenario leaves as it is
keeps its random numbers, so that a trial has the same luck in all of them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from refracmc.case import units
from refracmc.case.faults import nearest, path_text, unknown_key
from refracmc.case.key_values import found_text
from refracmc.case.merging import is_plain_table, merge
from refracmc.case.validated_case import Case, Scenario
from refracmc.errors import Fault, InputError

SCENARIOS = "scenarios"
BASE = "base"
"""The case as it stands, beside its scenarios."""
SECTIONS = (
    "valuation",
    "prices",
    "fiscal",
    "opex",
    "job",
    "response",
    "stress",
    "dependence",
    "strategies",
    "decision",
    "interests",
    "completion",
)
"""Sections that a scenario may change."""
MOST = 50
FIXED = ("sampling", "outputs", "fit", "portfolio")
"""Sections that all scenarios share: they have the trials, the fits and the files of the case."""
_EITHER_OR = {"prices": (("deck_file",), ("oil_usd_per_bbl", "gas_usd_per_mcf"))}
"""Keys of a section of which a case states one group or the other: a scenario's own takes the other away."""
_NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_-]{0,39}\Z")
Keys = Mapping[str, Any]
Refused = dict[str, tuple[Fault, ...]]
Load = Callable[[dict[str, Any], Keys | None], Case]
"""Makes a case of the raw tables; the keys: those of the scenario that stand in them, None for the case itself."""


def load_with_scenarios(file: str, raw: dict[str, Any], load: Load) -> Case:
    """The case with its scenarios. Raises InputError with the faults of the case and of every scenario at once."""
    stated, faults = _stated(file, raw.get(SCENARIOS, {}))
    own = {key: value for key, value in raw.items() if key != SCENARIOS}
    known: set[Fault] = set()
    base: Case | None = None
    try:
        base = load(own, None)
        known.update(fault for of_well in base.refused.values() for fault in of_well)
    except InputError as error:
        if not stated and not faults:
            raise
        known.update(error.faults)
        faults = [*error.faults, *faults]
    made = []
    for name, keys in stated.items():
        try:
            case = load(_under(own, keys), keys)
        except InputError as error:
            faults += [_placed(fault, file, name) for fault in error.faults if fault not in known]
            continue
        refused = {
            well: tuple(_placed(fault, file, name) for fault in of_well)
            for well, of_well in case.refused.items()
            if not known.issuperset(of_well)
        }
        made.append(Scenario(name, keys, replace(case, refused=refused)))
    if faults or base is None:
        raise InputError(faults)
    if not made:
        return base
    files = dict(sorted({**base.files, **{k: v for one in made for k, v in one.case.files.items()}}.items()))
    scenarios = tuple(replace(one, case=replace(one.case, files=files)) for one in made)
    return replace(base, files=files, scenarios=scenarios)


def _stated(file: str, tables: Any) -> tuple[dict[str, Keys], list[Fault]]:
    """The tables that can be scenarios, by name, and faults of those that cannot."""
    where = f"{file}: {SCENARIOS}"
    if not isinstance(tables, dict):
        return {}, [Fault(where, found_text(tables), "tables with a name", "write [scenarios.NAME]")]
    if len(tables) > MOST:
        return {}, [Fault(where, f"{len(tables)} scenarios", f"up to {MOST}", "split the case")]
    stated: dict[str, Keys] = {}
    faults = []
    for name, keys in tables.items():
        here, allowed = f"{where}.{name}", "letters, digits, _ and -, not - first, up to 40; not base"
        if not _NAME.match(name) or name.lower() in {BASE, *(other.lower() for other in stated)}:
            doubled = "" if name.lower() == BASE or not _NAME.match(name) else ", upper or lower case, again"
            faults.append(
                Fault(here, f"the name {name!r}{doubled}", f"a name: {allowed}", "rename the scenario")
            )
            continue
        found = list(_faults(here, name, keys))
        faults += found
        if not found:
            stated[name] = keys
    return stated, faults


def _faults(here: str, name: str, keys: Any) -> Iterator[Fault]:
    """What of a scenario's table is no section, or one that a scenario may not change."""
    if not isinstance(keys, dict) or not keys:
        remedy = f"write keys below [{SCENARIOS}.{name}.prices] or another section"
        found = "no keys" if keys == {} else found_text(keys)
        yield Fault(here, found, "tables of keys that differ from the case", remedy)
        return
    for section, table in keys.items():
        if section in FIXED:
            allowed = ", ".join(SECTIONS)
            found = f"[{section}], which all scenarios have in common"
            yield Fault(f"{here}.{section}", found, allowed, "take it out, or make it another case")
        elif section not in SECTIONS:
            remedy = "" if nearest(section, SECTIONS) else "write keys of these sections alone"
            fault = unknown_key(f"{here}.{section}", section, SECTIONS)
            yield replace(fault, remedy=remedy or fault.remedy)
        elif not isinstance(table, dict):
            yield Fault(
                f"{here}.{section}", found_text(table), "a table", f"write [{SCENARIOS}.{name}.{section}]"
            )


def _under(raw: Mapping[str, Any], keys: Keys) -> dict[str, Any]:
    """The tables of the case with a scenario's keys over them."""
    made = dict(raw)
    for section, table in keys.items():
        below = made.get(section, {})
        if not isinstance(below, Mapping):
            continue  # a fault of the case itself
        groups = _EITHER_OR.get(section, ())
        gone = {key for group in groups for key in group if not _spelled(table) & _spelled(group)}
        if gone and len(gone) < sum(map(len, groups)):
            below = {key: value for key, value in below.items() if not {key} & _spelled(gone)}
        made[section] = merge(below, table)
    return made


def without(own: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    """What a well states of its own and a scenario does not."""
    kept, stated = {}, _spelled(over)
    for key, value in own.items():
        if not _spelled([key]) & stated:
            kept[key] = value
        elif is_plain_table(value) and is_plain_table(over.get(key)):
            rest = without(value, over[key])
            if rest:
                kept[key] = rest
    return kept


def _spelled(keys: Sequence[str] | set[str] | Mapping[str, Any]) -> set[str]:
    """Keys as they are written, and in the other units."""
    return {name for key in keys for name in (key, (units.si_twin(key) or (key, 1.0))[0])}


def _placed(fault: Fault, file: str, name: str) -> Fault:
    """A fault of the case under a scenario, where the scenario states it; of a well with the scenario's name."""
    key = fault.where.removeprefix(f"{file}: ")
    if key != fault.where and re.split(r"[.\[]", key)[0] in SECTIONS:
        return replace(fault, where=f"{file}: {SCENARIOS}.{name}.{key}")
    return replace(fault, found=f"{fault.found} (in scenario {name})")


def changed_keys(scenario: Scenario) -> tuple[tuple[str, Any], ...]:
    """Path and value of each key that a scenario states, in its order."""

    def paths(table: Mapping[str, Any], above: tuple[str, ...]) -> Iterator[tuple[str, Any]]:
        for key, value in table.items():
            if is_plain_table(value):
                yield from paths(value, (*above, key))
            else:
                yield path_text((*above, key)), value

    return tuple(paths(scenario.keys, ()))


def refused_under(runs: Mapping[str, Mapping[str, tuple[Fault, ...]]]) -> Refused:
    """Faults by well and scenario in words; runs: refused wells of each scenario by its name."""
    return {
        f"{well} in scenario {name}": faults
        for name, refused in runs.items()
        for well, faults in refused.items()
    }
