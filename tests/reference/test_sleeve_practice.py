"""G4, common practice without a source: how such sleeves are used, as the planner must plan it."""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "job"))

from job_wells import PERFECT, luck, tally

from refracmc.engine.job_runs import simulate
from refracmc.job.inputs import JobInputs, JobPolicy
from refracmc.job.orders import NAMED_ORDERS, named_order
from refracmc.job.planner import plan


def acts(made) -> list[tuple[str, int | None]]:
    return [
        (s.action, s.sleeve) for s in made.steps if s.action not in ("run_in", "move", "test", "pull_out")
    ]


def test_a_refrac_starts_with_closing_every_sleeve_one_by_one() -> None:
    for name in NAMED_ORDERS:
        well = tally(7)
        assert acts(plan(well, named_order(name, well)))[:7] == [("close", s) for s in range(7, 0, -1)]


def test_toe_to_heel_needs_no_reclosing() -> None:
    made = plan(tally(90), named_order("toe_to_heel", tally(90)))
    assert not made.recloses.any()
    assert not made.reopens.any()


def test_out_of_order_by_habit() -> None:
    """First, third, second: each treated sleeve is closed before going on, all are opened again at the end;
    the last one may stay open."""
    made = plan(tally(3, "closed"), (1, 3, 2), "all", "every")
    assert acts(made) == [
        ("open", 1),
        ("treat", 1),
        ("reclose", 1),
        ("open", 3),
        ("treat", 3),
        ("reclose", 3),
        ("open", 2),
        ("treat", 2),
        ("reopen", 1),
        ("reopen", 3),
    ]


def test_out_of_order_where_needed_an_open_sleeve_stays_so() -> None:
    made = plan(tally(3, "closed"), (1, 3, 2), "all", "needed")
    assert ("reclose", 1) not in acts(made)
    assert acts(made)[-1] == ("reopen", 3)


def test_ninety_sleeves_and_no_restriction_from_closed_ones() -> None:
    """Ninety sleeves in any order, closed sleeves passed freely: every stage reaches full effect."""
    rng = np.random.default_rng(4)
    well = tally(90)
    order = tuple(int(s) for s in rng.permutation(90) + 1)
    sure = JobInputs.build(3, **PERFECT)
    result = simulate(plan(well, order), well, sure, luck(3, 90), np.full(90, 9.0), JobPolicy())
    assert (result.effectiveness == 1.0).all()


def test_cement_is_one_job_and_packers_are_one_for_each_pair() -> None:
    """Isolation belongs to the interface above a sleeve: N sleeves have N - 1 that can leak."""
    well = tally(6, isolation="none")
    made = plan(well, named_order("toe_to_heel", well))
    sure = JobInputs.build(3, **(PERFECT | {"leak_fluid_fraction": 0.5, "stray_fluid_value": 0.0}))
    result = simulate(made, well, sure, luck(3, 6), np.full(6, 9.0), JobPolicy())
    assert result.placed[0].tolist() == [0.5, 0.0, 0.0, 0.0, 0.0, 0.5]
