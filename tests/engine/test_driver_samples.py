"""Mixtures of two sets of draws against each mixture evaluated by itself.

Oracle: `evaluate`, which shares nothing between mixtures. Negative control: a mixture with one name more from the
other set differs, name by name of those that matter.
"""

from pathlib import Path

import numpy as np
import pytest

from refracmc.engine.draws import GROUPS, draw, group_names
from refracmc.engine.driver_samples import evaluate_samples
from refracmc.engine.valuation import evaluate
from tests.engine.awkward_cases import CASES, awkward_plan

WANTED = ("npv", "incremental_npv", "eur", "job_cost", "job_days")


def agree(one, other) -> bool:
    return all(np.allclose(one[name], other[name], rtol=1e-10, atol=1e-4) for name in WANTED)


@pytest.mark.parametrize("name", CASES)
def test_every_group_alone_and_every_name_alone(name: str, tmp_path: Path) -> None:
    plan = awkward_plan(name, tmp_path)
    a, b = draw(plan, 0, 40), draw(plan, 1, 40)
    groups = group_names(plan)
    chosen = [plan.dated[0], plan.dated[-1]]
    mixtures = [a, b]
    mixtures += [{key: (b if groups[key] == group else a)[key] for key in a} for group in GROUPS]
    mixtures += [a | {key: b[key]} for key in a]
    alone = [evaluate(plan, draws, chosen, WANTED).measures for draws in mixtures]
    found = list(evaluate_samples(plan, mixtures, chosen, WANTED))
    assert all(agree(one, other) for one, other in zip(found, alone, strict=True))
    assert not agree(found[0], found[1])
    assert sum(not agree(alone[0], other) for other in alone[2:]) > len(GROUPS)
