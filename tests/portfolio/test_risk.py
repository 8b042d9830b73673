"""Groups of trials while choosing, and the choice made again with resampled trials.

Oracle: algebra (a mean of groups keeps the mean and never lowers a tail mean); a choice whose answer is known. Control:
a group mean taken without its weights moves the mean.
"""

import numpy as np
import pytest

from refracmc.portfolio.choice_problem import Choice, Limit
from refracmc.portfolio.programme import tail_mean
from refracmc.portfolio.risk import groups_of_trials
from refracmc.portfolio.robustness import chosen_again, regrets, resampling_weights


@pytest.mark.parametrize("trials", [37, 500])
@pytest.mark.parametrize("share", [0.05, 0.1, 0.5, 1.0])
def test_groups_keep_the_mean_and_never_lower_the_tail(trials: int, share: float) -> None:
    rng = np.random.default_rng(trials)
    guide, values = rng.normal(size=trials), rng.standard_t(3, size=(6, trials))
    parts, chances = groups_of_trials(guide, 20, share)
    assert parts.sum(axis=0) == pytest.approx(np.ones(len(chances)))
    assert chances.sum() == pytest.approx(1.0)
    grouped = values @ parts
    assert grouped @ chances == pytest.approx(values.mean(axis=1))
    for of_trials, of_groups in zip(values, grouped, strict=True):
        assert tail_mean(of_groups, share, chances) >= tail_mean(of_trials, share) - 1e-12
    assert tail_mean(guide @ parts, share, chances) == pytest.approx(tail_mean(guide, share), abs=0.2)


def test_groups_of_unlike_size_need_their_chances() -> None:
    """Control."""
    values = np.random.default_rng(3).standard_t(3, size=500)
    parts, _ = groups_of_trials(values, 20, 0.05)
    assert (values @ parts).mean() != pytest.approx(values.mean(), abs=0.1)


@pytest.mark.parametrize("sizes", [[100], [64] * 12])
def test_resampling_weights(sizes: list[int]) -> None:
    """Each resample sums to one and, over many, gives every trial the same; blocks stay whole where there are many."""
    weights = resampling_weights(sizes, 7, 4000)
    n = sum(sizes)
    assert weights.sum(axis=0) == pytest.approx(np.ones(4000))
    blocks = len(sizes)
    error = (1.0 / n) / np.sqrt(4000.0)
    assert np.abs(weights.mean(axis=1) - 1.0 / n).max() < 5.0 * error
    if blocks > 1:
        assert (weights.reshape(blocks, 64, 4000).std(axis=1) < 1e-15).all()


def test_a_clear_choice_is_firm_and_a_tie_is_not() -> None:
    """One of two owners fits: one is far better in the first case, both are alike in the second."""
    choice = Choice(np.arange(2), np.array([2.0, 1.0]), (Limit("capital", np.ones(2), 1.0),))
    noise = np.random.default_rng(1).normal(0.0, 0.05, (2, 40))
    clear = chosen_again(choice, choice.value[:, None] + noise, 2, 0.0, 30.0)
    assert (clear.owners.tolist(), clear.done) == ([1.0, 0.0], 40)
    tied = chosen_again(choice, 1.0 + noise, 2, 0.0, 30.0)
    assert 0.2 < tied.owners[0] < 0.8
    assert tied.owners.sum() == pytest.approx(1.0)


def test_regret_is_what_the_best_there_has_more() -> None:
    choice = Choice(np.arange(2), np.array([2.0, 1.0]), (Limit("capital", np.ones(2), 1.0),))
    rows = regrets(choice, np.array([0]), [("same", choice.value), ("low", np.array([0.5, 3.0]))], 0.0, 5.0)
    assert [row["regret_usd"] for row in rows] == pytest.approx([0.0, 2.5])
    assert [row["jobs_in_common"] for row in rows] == [1, 0]
