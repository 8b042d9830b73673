"""The walk of one uniform in DEVELOPERS.md: its functions are there, and a run goes through them in that order.

Oracle: the source, and the order in which the functions of a real run come to an end. Negative control: a step at
another place.
"""

import ast
import functools
import importlib
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

import refracmc
from tests.system.reading import NOTES, ROOT, change

Step = tuple[str, str]
WALK: list[Step] = re.findall(
    r"\| `(refracmc/\S+\.py)` \| `(\w+)` \|", NOTES.partition("## How a trial flows")[2].partition("\n## ")[0]
)

SOURCES = "\n".join(path.read_text("utf-8") for path in (ROOT / "refracmc").rglob("*.py"))


def is_seen(step: Step) -> bool:
    """Whether a call of it can be seen: functions that are not compiled. KeyError for one that is not there."""
    tree = ast.parse((ROOT / step[0]).read_text("utf-8"))
    nodes = {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef | ast.ClassDef)}
    return (
        isinstance(nodes[step[1]], ast.FunctionDef)
        and not nodes[step[1]].decorator_list
        and not re.search(rf"\b(?:rule|inlined|summed|compiled)\(\w+\.{step[1]}\)", SOURCES)
    )


def note_ends(steps: Sequence[Step], ended: list[Step], patch: pytest.MonkeyPatch) -> None:
    """Have every end of these functions noted, whatever module calls them."""
    for step in steps:
        home = importlib.import_module(step[0].removesuffix(".py").replace("/", "."))
        real = getattr(home, step[1])

        def noted(*args: Any, real: Any = real, step: Step = step, **given: Any) -> Any:
            value = real(*args, **given)
            ended.append(step)
            return value

        wrapped = functools.wraps(real)(noted)
        for name, module in list(sys.modules.items()):
            if name.startswith("refracmc") and vars(module).get(step[1]) is real:
                patch.setattr(module, step[1], wrapped)


def follows(steps: Sequence[Step], ended: Sequence[Step]) -> bool:
    """Whether the steps came to an end in this order, whatever else did between them."""
    left = iter(ended)
    return all(step in left for step in steps)


def test_a_run_goes_the_way_of_the_walk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert len(WALK) > 15
    refracmc.write_starter(tmp_path)
    case = tmp_path / "case.toml"
    change(case, "charts = true", "charts = false")
    change(case, r"orders = \[.*\]", 'orders = ["toe_to_heel"]')
    change(case, r"dates = \{.*\}.*", 'dates = ["2027-01"]')
    seen, ended = [step for step in WALK if is_seen(step)], list[Step]()
    assert len(seen) > 12
    note_ends(seen, ended, monkeypatch)
    refracmc.run_case(case, tmp_path / "out", trials=128, workers=1)
    assert follows(seen, ended), [step for step in seen if step not in ended]
    assert not follows([*seen[1:], seen[0]], ended)
