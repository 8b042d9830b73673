"""Published selections of projects under budgets.

P1: Lorie & Savage (1955), J. Business 28(4): nine projects and two budgets; recalled from memory, the arithmetic
reproduced. P2: OR-Library, file mknap2, problem WEING1 (Weingartner & Ness 1967): published optimum. P3: Newnan et
al., Engineering Economic Analysis: one alternative a project under three budgets, published.
"""

import numpy as np
import pytest

from refracmc.portfolio.choice_problem import Choice, Limit
from refracmc.portfolio.selection import select

P1_OUTLAYS = ([12, 54, 6, 6, 30, 6, 48, 36, 18], [3, 7, 6, 2, 35, 6, 4, 3, 3])
P1_VALUE = [14, 17, 17, 15, 40, 12, 14, 10, 12]
P2_VALUE = [1898, 440, 22507, 270, 14148, 3100, 4650, 30800, 615, 4975, 1160, 4225, 510, 11880, 479, 440, 490, 330,
            110, 560, 24355, 2885, 11748, 4550, 750, 3720, 1950, 10500]  # fmt: skip
P2_USES = (
    [45, 0, 85, 150, 65, 95, 30, 0, 170, 0, 40, 25, 20, 0, 0, 25, 0, 0, 25, 0, 165, 0, 85, 0, 0, 0, 0, 100],
    [
        30,
        20,
        125,
        5,
        80,
        25,
        35,
        73,
        12,
        15,
        15,
        40,
        5,
        10,
        10,
        12,
        10,
        9,
        0,
        20,
        60,
        40,
        50,
        36,
        49,
        40,
        19,
        150,
    ],
)
P3 = {"1A": (0, 100, 60.04), "1B": (0, 150, 66.06), "1C": (0, 200, 67.40), "2A": (1, 50, 9.57),
      "3A": (2, 100, 36.99), "3B": (2, 150, 38.21)}  # fmt: skip


def projects(value, uses, most) -> Choice:
    """Projects of one alternative each under budgets."""
    limits = tuple(
        Limit(f"budget {k}", np.array(use, float), top)
        for k, (use, top) in enumerate(zip(uses, most, strict=True))
    )
    return Choice(np.arange(len(value)), np.array(value, float), limits)


def test_p1_nine_projects_two_budgets() -> None:
    choice = projects(P1_VALUE, P1_OUTLAYS, (50, 20))
    found = select(choice, gap=0.0)
    assert found.objective == pytest.approx(70.0, abs=1e-9)
    assert (found.chosen + 1).tolist() == [1, 3, 4, 6, 9]
    assert select(choice, whole=False).objective == pytest.approx(70.2727, abs=5e-5)


def test_p2_weing1() -> None:
    choice = projects(P2_VALUE, P2_USES, (600, 600))
    assert select(choice, gap=0.0).objective == pytest.approx(141278, abs=1e-6)
    assert select(projects(P2_VALUE, P2_USES, (590, 590)), gap=0.0).objective < 141278  # control


@pytest.mark.parametrize(("budget", "best"), [(400, "1C 2A 3B"), (300, "1B 2A 3A"), (250, "1A 2A 3A")])
def test_p3_one_alternative_a_project(budget: int, best: str) -> None:
    owner, cost, worth = map(np.array, zip(*P3.values(), strict=True))
    choice = Choice(owner, worth.astype(float), (Limit("budget", cost.astype(float), budget),))
    chosen = select(choice, gap=0.0).chosen
    assert [list(P3)[job] for job in chosen] == best.split()
