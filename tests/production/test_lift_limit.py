"""Volume above a limit waits for room. Oracles: algebra (nothing is lost, nothing comes before its time, no month above
the limit while something waits below it) and a hand-made example."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refracmc.production.lift_limit import hold_back
from tests.compiled_rule import callable_rule

rule = callable_rule(hold_back)


def held(volumes, liquid=np.inf, gas=np.inf, back=0, share=1.0):
    out = np.array(volumes, dtype=float)
    rule(out, liquid, gas, back, share)
    return out


def test_an_example_by_hand() -> None:
    """100 bbl of oil and 50 of water under a limit of 90: 60 and 30 come, the rest with the next month's; then with
    100 oil and no water there, all that fits comes in its mixture."""
    out = held([[100, 60, 0], [200, 120, 0], [50, 10, 0]], liquid=90.0)
    np.testing.assert_allclose(out[0], [60, 100 * 90 / 130, 100 * 40 / 130], rtol=1e-14)
    np.testing.assert_allclose(out[2], [30, 30 * 90 / 130, 30 * 40 / 130], rtol=1e-14)
    np.testing.assert_allclose(out[1], [120, 200 * 90 / 130, 200 * 40 / 130], rtol=1e-14)


@given(
    st.lists(st.tuples(*(st.floats(0.0, 1e4) for _ in range(3))), min_size=3, max_size=40),
    st.floats(1.0, 1e4),
    st.floats(1.0, 1e4),
    st.just(0.0) | st.floats(1e-3, 1.0),
)
def test_nothing_is_lost(months, liquid: float, gas: float, share: float) -> None:
    there = np.array(months).T
    out = held(there, liquid, gas, 1, share)
    waits = np.cumsum(there - out, axis=1)
    assert (out >= 0.0).all()
    assert (waits >= -1e-9 * (1.0 + there.sum())).all()
    room = np.ones(there.shape[1])
    room[1] = share
    assert (out[0] + out[2] <= liquid * room * (1 + 1e-12)).all()
    assert (out[1] <= gas * room * (1 + 1e-12)).all()
    full = (out[0] + out[2] >= liquid * room * (1 - 1e-12)) | (out[1] >= gas * room * (1 - 1e-12))
    assert (full | (np.abs(waits).sum(axis=0) <= 1e-9 * (1.0 + there.sum()))).all()


def test_without_a_limit_nothing_changes() -> None:
    """To the bit; the limit below a month's volume is the negative control."""
    volumes = np.random.default_rng(3).random((3, 50))
    assert np.array_equal(held(volumes), volumes)
    assert not np.array_equal(held(volumes, gas=0.5), volumes)


@pytest.mark.parametrize("share", [0.0, 0.25])
def test_the_month_in_which_it_comes_back_has_its_share(share: float) -> None:
    out = held([[0, 50, 50], [0, 0, 0], [0, 0, 0]], liquid=40.0, back=1, share=share)
    np.testing.assert_allclose(out[0], [0.0, 40.0 * share, 40.0])
