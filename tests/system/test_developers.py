"""DEVELOPERS.md against the source: the functions it names for the published checks exist with those arguments.

Oracle: the source itself. Negative control: names and arguments that do not exist.
"""

import importlib
import inspect
import re

from tests.system import readme_tables as read

NOTES = (read.ROOT / "DEVELOPERS.md").read_text("utf-8")


def wrong_functions(text: str) -> list[str]:
    """Functions named with their arguments that do not exist so."""
    wrong = []
    for dotted, arguments in re.findall(r"`(refracmc(?:\.\w+)+)\(([^`)]*)\)`", text):
        module, _, name = dotted.rpartition(".")
        try:
            function = getattr(importlib.import_module(module), name)
        except (ImportError, AttributeError):
            wrong.append(dotted)
            continue
        if list(inspect.signature(function).parameters) != [a for a in arguments.split(", ") if a]:
            wrong.append(f"{dotted}{inspect.signature(function)}")
    return wrong


def test_published_checks_name_their_functions() -> None:
    table = read.part(NOTES, "Published checks")
    assert not wrong_functions(table)
    told = {check for row in read.rows(table) for check in re.findall(r"\b[DMSRG]\d\b", row[0])}
    needed = {f"{k}{n}" for k, count in (("D", 5), ("M", 4), ("S", 4), ("G", 4)) for n in range(1, count + 1)}
    assert needed | {"R4"} <= told
    assert wrong_functions("`refracmc.production.decline.fit_arps(time, rate)`")
    assert wrong_functions("`refracmc.production.decline.nonsense(time)`")
