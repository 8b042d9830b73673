"""The walk of one uniform in DEVELOPERS.md: its functions are there, and a run goes through them in that order.

Oracle: the source, and the order in which the functions of a real run come to an end. Negative control: two steps
changed about.
"""

import ast
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from types import FrameType
from typing import Any

import refracmc
from tests.system.reading import NOTES, ROOT, change

Step = tuple[str, str]
WALK: list[Step] = re.findall(
    r"\| `(refracmc/\S+\.py)` \| `(\w+)` \|", NOTES.partition("## How a trial flows")[2].partition("\n## ")[0]
)


def defined(file: str) -> dict[str, ast.stmt]:
    tree = ast.parse((ROOT / file).read_text("utf-8"))
    return {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef | ast.ClassDef)}


def is_seen(step: Step) -> bool:
    """Whether a call of it can be seen from Python: functions that are not compiled."""
    node = defined(step[0])[step[1]]
    return isinstance(node, ast.FunctionDef) and not node.decorator_list


def out_of_order(steps: Sequence[Step], ended: Sequence[Step]) -> list[Step]:
    """Steps that a run did not end, or not after the step before."""
    places = [ended.index(step) if step in ended else -1 for step in steps]
    return [steps[k] for k, place in enumerate(places) if place < max([0, *places[:k]])]


def test_a_run_goes_the_way_of_the_walk(tmp_path: Path) -> None:
    assert len(WALK) > 15
    for file, name in WALK:
        assert name in defined(file), (file, name)
    refracmc.write_starter(tmp_path)
    case = tmp_path / "case.toml"
    change(case, "charts = true", "charts = false")
    change(case, r"orders = \[.*\]", 'orders = ["toe_to_heel"]')
    change(case, r"dates = \{.*\}.*", 'dates = ["2027-01"]')
    ended: dict[Step, None] = {}

    def note(frame: FrameType, event: str, _: Any) -> None:
        if event == "return":
            code = frame.f_code
            if code.co_filename.startswith(str(ROOT)):
                ended[code.co_filename[len(str(ROOT)) + 1 :], code.co_name] = None

    sys.setprofile(note)
    try:
        refracmc.run_case(case, tmp_path / "out", trials=128, workers=1)
    finally:
        sys.setprofile(None)
    seen = [step for step in WALK if is_seen(step)]
    assert len(seen) > 12
    assert not out_of_order(seen, list(ended))
    assert out_of_order([*seen[1:3], seen[0]], list(ended)) == [seen[0]]
