"""Monthly volumes of the main phase.

Oracle: a cumulative that is linear within a month, moved by the delay, one trial at a time; the second route holds the
same volumes by phase (tests/second_route). Negative control: volumes a month later.
"""

from pathlib import Path

import numpy as np
import pytest

from refracmc.engine.cash_flow import Details
from refracmc.engine.one_trial import evaluate_one
from refracmc.engine.volumes import strategy_volumes
from tests.engine.awkward_cases import CASES, EDGES, awkward_plan, drawn, main_volumes

MONTH = 365.25 / 12.0


def plain(plan, streams, t):
    """Volumes (T,) of a trial, left alone and with the job, by interpolation of the cumulatives."""
    model, limit, month = streams.model, int(streams.cash.limit[t]), streams.month
    main = plan.well.main_phase
    rows = np.array([t])
    own, new = model.own.sums(rows)[main][0], model.refrac.sums(rows)[main][0]
    edges = np.arange(plan.horizon + 1.0)
    alone = np.diff(own[np.minimum(edges, limit + 1).astype(int)])
    if not streams.executed(t):
        return alone, alone
    resume, late = min(limit + 1, month), float(streams.outcome.days[t]) / MONTH
    total = streams.detail("keep", t) * (own - own[resume])
    lived = np.minimum(edges - month, streams.detail("life", t) + 1) - late
    made = np.interp(np.maximum(lived, 0.0) + resume, edges, total)
    made += streams.detail("new_rate", t) * np.interp(np.maximum(lived, 0.0), edges, new)
    before = own[np.minimum(edges, resume).astype(int)]
    return alone, np.diff(made + before)


def agree(found, expected):
    return all(
        np.allclose(a, b, rtol=1e-9, atol=1e-9 * max(b.max(), 1e-9))
        for a, b in zip(found, expected, strict=True)
    )


# The second route holds the months of a well whose rate is limited.
@pytest.mark.parametrize("name", [name for name, (text, _) in CASES.items() if "_limit_" not in text])
def test_volumes_by_month(name: str, tmp_path: Path) -> None:
    plan = awkward_plan(name, tmp_path)
    draws = drawn(plan, trials=60)
    for strategy in (plan.dated[0], plan.dated[-1]):
        streams = evaluate_one(plan, draws, strategy)
        expected = [
            np.array(rows) for rows in zip(*(plain(plan, streams, t) for t in range(60)), strict=True)
        ]
        found = main_volumes(plan, draws, strategy)
        assert agree(found, expected)
        assert not agree((found[0], np.roll(found[1], 1, axis=1)), expected)


@pytest.mark.parametrize("edge", EDGES)
def test_an_edge(edge: str, tmp_path: Path) -> None:
    plan = awkward_plan("suspended, lease lost", tmp_path)
    draws = drawn(plan, EDGES[edge], 60)
    for strategy in (plan.dated[0], plan.dated[-1]):
        streams = evaluate_one(plan, draws, strategy)
        expected = [
            np.array(rows) for rows in zip(*(plain(plan, streams, t) for t in range(60)), strict=True)
        ]
        assert agree(main_volumes(plan, draws, strategy), expected)


def test_a_month_by_hand() -> None:
    """Own stream of 10 a month, refrac stream of 4 a month at one unit a day; job in month 2, 1.5 months shut in, half
    kept, three units a day, life of three months after the job's: 10 10 0 | half of 5 + 12 | 17 | 17 | 0."""
    own, new = 10.0 * np.arange(8.0)[None], 4.0 * np.arange(8.0)[None]
    one = np.ones(1)
    details = Details(3.0 * one, 2.0 * one, 0.5 * one, 3.0 * one, one, 0.0 * one, one)
    made = strategy_volumes(own, new, np.array([2]), np.array([6]), np.array([1.5 * MONTH]), details)
    np.testing.assert_allclose(made[0], [10.0, 10.0, 0.0, 8.5, 17.0, 17.0, 0.0], rtol=1e-12)
