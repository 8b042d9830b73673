"""Digits shown. Oracle: the stated rule worked by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refracmc.reporting.rounding import (
    PERCENTILE_ERROR_FACTOR,
    chance_error,
    decimals_of,
    fixed,
    percent,
    share_done,
    significant,
    to_error,
    with_error,
)


@pytest.mark.parametrize(
    ("value", "error", "scale", "shown"),
    [
        (1.2345, 0.0345, 1.0, "1.23 ± 0.03"),
        (1.2345, 0.0134, 1.0, "1.234 ± 0.013"),
        (-1234567.0, 45678.0, 1e6, "−1.23 ± 0.05"),
        (1234.5, 34.0, 1.0, "1,230 ± 30"),
        (0.001, 0.3, 1.0, "0.0 ± 0.3"),
        (-0.001, 0.3, 1.0, "0.0 ± 0.3"),
        (2.0, 0.0, 1.0, "2 ± 0"),
        (2.34567, math.nan, 1.0, "2.35"),
        (math.nan, 0.1, 1.0, "-"),
        (5.0, 0.0974, 1.0, "5.00 ± 0.10"),
    ],
)
def test_value_and_error(value: float, error: float, scale: float, shown: str) -> None:
    assert with_error(value, error, scale) == shown


def test_percentile_is_cut_more_coarsely_than_the_mean() -> None:
    # error of the mean 0.08: mean to 2 decimals; percentile error 0.136 starts with 1: 2 digits, 2 decimals
    assert to_error(1.23456, 0.08) == "1.23"
    # 0.3 -> 0.51: one digit, one decimal
    assert to_error(1.23456, 0.3) == "1.2"
    assert to_error(math.nan, 0.3) == "-"


def test_percentile_error_factor_is_that_of_a_normal_sample() -> None:
    # asymptotic sd of a quantile: sqrt(p (1 - p)) / density, normal density at its 90 % point
    z = 1.2815515655446004
    density = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    assert pytest.approx(math.sqrt(0.09) / density, rel=0.01) == PERCENTILE_ERROR_FACTOR


@given(st.floats(1e-9, 1e9), st.floats(-1e9, 1e9))
def test_rounding_moves_a_value_by_less_than_its_error(error: float, value: float) -> None:
    place = decimals_of(error)
    assert 10.0**-place / 2 <= error / 1.9
    shown = float(fixed(value, place).replace(",", "").replace("−", "-"))
    assert abs(shown - value) <= 10.0**-place / 2 * (1 + 1e-6) + 1e-15 * abs(value)


def test_significant_and_percent() -> None:
    assert significant(80000.0) == "80,000"
    assert significant(0.31) == "0.31"
    assert significant(-1234.0) == "−1,230"
    assert significant(0.0) == "0"
    assert significant(2.5e-7, 2) == "2.5e-07"
    assert percent(0.3725, 0.0049) == "37.2 ± 0.5 %"
    assert percent(1.0) == "100 %"
    assert percent(0.973) == "97.3 %"


def test_chance_error_never_vanishes() -> None:
    assert chance_error(0.5, 10_000) == pytest.approx(0.005)
    assert chance_error(0.0, 10_000) > 0
    assert chance_error(1.0, 10_000) == pytest.approx(chance_error(0.0, 10_000))


def test_a_share_with_a_job_is_never_rounded_up_to_all() -> None:
    assert [share_done(v) for v in (0.0, 0.9247, 0.925, 0.99996, 1.0)] == [
        "0 %",
        "92.4 %",
        "92.5 %",
        "99.9 %",
        "100 %",
    ]
