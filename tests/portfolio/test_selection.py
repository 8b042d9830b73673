"""The chosen jobs against trying every choice, the tail mean against sorting, demands that clash.

Oracle: every choice of small random cases, listed and summed; algebra for the rest. Negative controls:
a limit left out and a saving left out change what is chosen in some of the cases.
"""

from dataclasses import replace

import numpy as np
import pytest

from refracmc.portfolio.choice_problem import Choice, Limit, greedy, needless
from refracmc.portfolio.selection import NothingFitsError, Scenarios, clashing, select, tail_mean
from refracmc.sampling.estimators import cvar_with_error

CASES = 40


def random_choice(number: int, wells: int, jobs: int) -> Choice:
    """Wells with jobs in three months, of crew-days and capital; pads of two wells; sometimes one that must be done."""
    rng = np.random.default_rng(number)
    owner = np.repeat(np.arange(wells), jobs)
    count = len(owner)
    month = rng.integers(0, 3, count)
    capital = rng.uniform(0.5, 3.0, count)
    days = rng.uniform(5.0, 20.0, count)
    value = capital * rng.uniform(-0.4, 1.5, count)
    groups = []
    for pad in range(wells // 2):
        for at in range(3):
            members = np.flatnonzero((owner // 2 == pad) & (month == at))
            if len(set(owner[members])) > 1:
                groups.append(members)
    saved = np.full(len(groups), 0.2)
    limits = [Limit("capital", capital, wells * 0.7, saved)]
    limits += [Limit(f"crews in month {at}", days * (month == at), 30.0) for at in range(3)]
    must = frozenset([int(rng.integers(wells))]) if number % 3 == 0 else frozenset()
    return Choice(owner, value, tuple(limits), must, tuple(groups), saved * 0.9)


def all_choices(choice: Choice) -> tuple[np.ndarray, np.ndarray]:
    """Every choice that meets the limits, one a row: 1 for the jobs done; and the mobilisations each saves by group."""
    rows = np.zeros((1, 0))
    for owner in range(int(choice.owner.max()) + 1):
        count = int((choice.owner == owner).sum())
        picks = np.vstack([np.eye(count), *([] if owner in choice.must else [np.zeros((1, count))])])
        rows = np.hstack([np.repeat(rows, len(picks), axis=0), np.tile(picks, (len(rows), 1))])
    member = np.array([np.isin(np.arange(len(choice.owner)), group) for group in choice.groups])
    member = member.reshape(len(choice.groups), len(choice.owner)).astype(float)
    spared = np.maximum(rows @ member.T - 1.0, 0.0)
    sound = np.ones(len(rows), dtype=bool)
    for limit in choice.limits:
        back = 0.0 if limit.saved is None else spared @ limit.saved
        sound &= rows @ limit.use - back <= limit.most + 1e-9
    return rows[sound], spared[sound] @ choice.group_saving


def compared(choice: Choice) -> None:
    rows, saved = all_choices(choice)
    if not len(rows):
        with pytest.raises(NothingFitsError):
            select(choice, gap=0.0)
        return
    best = float((rows @ choice.value + saved).max())
    found = select(choice, gap=0.0)
    assert choice.fits(found.chosen)
    assert found.objective == pytest.approx(best, abs=1e-6)
    assert found.objective == pytest.approx(choice.worth(found.chosen), abs=1e-6)


@pytest.mark.parametrize("number", range(CASES))
def test_best_of_all_choices(number: int) -> None:
    compared(random_choice(number, 2 + number % 4, 1 + number % 4))


@pytest.mark.parametrize("number", [100, 101])
def test_best_of_twelve_wells(number: int) -> None:
    compared(random_choice(number, 12, 2))


def test_what_is_left_out_shows() -> None:
    """Control: without the crews, or without the savings, other choices are the best in some of the cases."""
    without_crews = without_saving = 0
    for number in range(CASES):
        choice = replace(random_choice(number, 6, 3), must=frozenset())
        whole = select(choice, gap=0.0).objective
        without_crews += select(replace(choice, limits=choice.limits[:1]), gap=0.0).objective > whole + 1e-6
        bare = replace(choice, groups=(), group_saving=np.zeros(0), limits=tuple(
            replace(limit, saved=None) for limit in choice.limits))  # fmt: skip
        without_saving += select(bare, gap=0.0).objective < whole - 1e-6
    assert without_crews > 0
    assert without_saving > 0


@pytest.mark.parametrize("number", range(12))
@pytest.mark.parametrize("weight", [0.3, 2.0])
def test_mean_and_tail_mean(number: int, weight: float) -> None:
    """The tail mean by the linear programme is that by sorting, and the choice the best of all."""
    choice = random_choice(number, 4, 3)
    rng = np.random.default_rng(1000 + number)
    outcomes = choice.value[:, None] + rng.normal(0.0, 1.0, (len(choice.value), 20))
    chances = rng.dirichlet(np.full(20, 3.0))
    scenarios = Scenarios(weight, 0.25, outcomes, chances)
    rows, saved = all_choices(choice)
    if not len(rows):
        return
    totals = rows @ outcomes + saved[:, None]
    tails = np.array([tail_mean(total, 0.25, chances) for total in totals])
    best = float((rows @ choice.value + saved + weight * tails).max())
    found = select(choice, scenarios, gap=0.0)
    assert found.objective == pytest.approx(best, abs=1e-5)


def test_tail_mean_is_that_of_the_estimators() -> None:
    values = np.random.default_rng(5).normal(size=333)
    for share in (0.05, 0.1, 1 / 3, 1.0):
        theirs = cvar_with_error(values, share, [333], "plain").value
        assert tail_mean(values, share) == pytest.approx(float(theirs), abs=1e-12)
    assert tail_mean(np.array([0.0, 1.0]), 0.5, np.array([0.25, 0.75])) == pytest.approx(0.5)


def test_needless_jobs_are_those_beaten() -> None:
    use = np.array([1.0, 1.0, 2.0, 1.0])
    choice = Choice(np.array([0, 0, 0, 1]), np.array([3.0, 3.0, 2.0, -1.0]), (Limit("capital", use, 9.0),))
    assert needless(choice, choice.value[None]).tolist() == [False, True, True, True]
    assert not needless(replace(choice, must=frozenset([1])), choice.value[None])[3]


def test_clash_is_named_and_minimal() -> None:
    """Two wells must be done for 4 in all; 3 are there. The crews and the third demand are met and stay unnamed."""
    use = np.array([2.0, 2.0, 0.1])
    limits = (Limit("capital 2027", use, 3.0), Limit("CT crews", np.ones(3), 5.0))
    choice = Choice(np.arange(3), np.ones(3), limits, frozenset({0, 1, 2}), owner_names=("A", "B", "C"))
    assert clashing(choice) == ("A must be done", "B must be done", "capital 2027")
    with pytest.raises(NothingFitsError, match="capital 2027"):
        select(choice)
    assert select(replace(choice, must=frozenset({0, 2}))).chosen.tolist() == [0, 2]


def test_a_well_that_must_be_done_and_has_no_job() -> None:
    choice = Choice(np.array([0]), np.array([1.0]), must=frozenset({0, 1}), owner_names=("A", "B"))
    with pytest.raises(NothingFitsError) as refused:
        select(choice)
    assert refused.value.clash == ("B must be done",)


def test_out_of_time_gives_a_choice_with_its_gap() -> None:
    choice = random_choice(1, 300, 12)
    found = select(choice, time_limit_s=1e-4, gap=0.0)
    assert choice.fits(found.chosen)
    assert not found.is_optimal
    assert 0.0 < found.gap < 10.0
    assert found.objective <= select(choice, gap=1e-3).objective * 1.002


def test_greedy_takes_what_fits_in_its_order() -> None:
    choice = Choice(
        np.array([0, 0, 1, 2]), np.ones(4), (Limit("capital", np.array([2.0, 1.0, 2.0, 1.0]), 3.0),)
    )
    assert greedy(choice, [0, 1, 2, 3]).tolist() == [0, 3]
    assert greedy(replace(choice, must=frozenset({1})), [0, 1, 2, 3]).tolist() == [1, 2]
