"""Signs of a history, on histories made to have them.

Oracle: the months and volumes written here. Negative control: the plain history, which shows none.
"""

import numpy as np
import pytest

from refracmc.production.history import History, history_of
from refracmc.production.history_signs import history_signs
from refracmc.production.stepups import find_step_ups

MONTHS = 60
START = np.datetime64("2021-01", "M")


def history(oil=None, water=None, **changes) -> History:
    """Oil from 1,000 bbl a month falling by 3 % a month; as much water as oil."""
    own = 1000.0 * 0.97 ** np.arange(MONTHS)
    oil = own if oil is None else oil
    columns = {
        "oil_bbl": oil,
        "gas_mcf": 0.5 * oil,
        "water_bbl": own.copy() if water is None else water,
        "days_on": np.full(MONTHS, np.nan),
    }
    return history_of("W", START + np.arange(MONTHS), columns, "oil", changes)


def signs(made: History, valuation: str = "2026-01"):
    return history_signs(made, np.datetime64(valuation, "M"))


def test_a_plain_history_shows_nothing() -> None:
    found = signs(history())
    assert (found.gap, found.idle, found.silent, found.steps) == (0, 0, 0, ())
    assert found.water_factor == pytest.approx(1.0)
    assert (found.first, found.last) == (START, np.datetime64("2025-12", "M"))


def test_each_sign_alone() -> None:
    assert signs(history(), "2026-09").gap == 8  # January to August
    oil = 1000.0 * 0.97 ** np.arange(MONTHS)
    idle = oil.copy()
    idle[-4:] = 0.0
    assert signs(history(idle)).idle == 4
    silent = oil.copy()
    silent[-2:] = np.nan
    assert signs(history(silent)).silent == 2
    water = oil.copy()
    water[-3:] *= 3.0
    assert signs(history(water=water)).water_factor == pytest.approx(3.0)
    step = oil.copy()
    step[30:] *= 2.5
    step[0] *= 4.0  # the best rate stays at the start, so that the fit runs through the step
    found = signs(history(step)).steps
    assert [str(one.month) for one in found] == ["2023-07"]
    # the middle of three months over the middle of the three before: three months' decline less than 2.5
    assert 2.5 * 0.97**6 <= found[0].ratio <= 2.5
    assert signs(history(step, segment_start="2023-07")).steps == ()


def test_a_month_left_out_is_no_peak() -> None:
    """The last month is a slip of the pen: the fit starts there, unless the month is excluded."""
    oil = 1000.0 * 0.97 ** np.arange(MONTHS)
    oil[-1] = 50_000.0
    assert str(signs(history(oil)).segment) == "2025-12"
    assert str(signs(history(oil, exclude=["2025-12"])).segment) <= "2021-03"


def test_the_quick_look_for_steps_misses_none() -> None:
    """Every step is among those found with the least ratio taken so low that nothing is passed over."""
    rng = np.random.default_rng(3)
    for _ in range(20):
        oil = 1000.0 * 0.97 ** np.arange(MONTHS) * np.exp(0.3 * rng.standard_normal(MONTHS))
        oil[rng.integers(15, 50) :] *= rng.uniform(1.5, 4.0)
        made = history(oil)
        every = {one.month: one for one in find_step_ups(made, least_ratio=1e-9)}
        for step in find_step_ups(made):
            assert any(abs(int((month - step.month).astype(int))) < 6 for month in every)
