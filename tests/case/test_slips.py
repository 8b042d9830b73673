"""Numbers that are each allowed and cannot be meant together: depths in two units, a correlation of a fixed number.

Oracle: the conversion of units, and what a rank correlation is: it orders draws, and a fixed number has none.
"""

import math
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from refracmc.case.load import load_case
from refracmc.case.starter import write_starter
from refracmc.commands.check import check_case
from refracmc.engine.plan import build_plan
from refracmc.errors import InputError

Edit = Callable[[str, str, str], None]
FT = 0.3048
GOOD = '{ a = "response.uplift", b = "response.decline_per_year", rank_correlation = 0.3 }'


def warnings(path: Path) -> tuple[str, ...]:
    (well,) = load_case(path).wells
    text = check_case(path).text
    assert all(f"{well.id}: warning: {one}" in text for one in well.warnings)
    return well.warnings


def test_sleeves_in_metres_called_feet(tmp_path: Path) -> None:
    path = write_starter(tmp_path / "case")[0]
    assert warnings(path) == ()  # control
    tally = pd.read_csv(path.parent / "sleeves.csv", comment="#")
    tally["depth_ft"] = (tally["depth_ft"] * FT).round(1)
    tally.to_csv(path.parent / "sleeves.csv", index=False)
    first, second = warnings(path)
    for name in ("tally", "toe_md_ft = 15,900", f"{tally['depth_ft'].max():,.0f} ft"):
        assert name in first
    for name in (
        "tally",
        "lateral_ft = 6,000",
        f"{tally['depth_ft'].max() - tally['depth_ft'].min():,.0f} ft",
    ):
        assert name in second
    tally.rename(columns={"depth_ft": "depth_m"}).to_csv(path.parent / "sleeves.csv", index=False)
    assert warnings(path) == ()  # control: the same numbers in the column they belong to


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("lateral_ft = 6000", "lateral_ft = 1829", "completion.lateral_ft = 1,829"),
        ("lateral_ft = 6000", "lateral_ft = 13000", "completion.lateral_ft = 13,000"),
    ],
)
def test_a_depth_of_the_completion_that_does_not_fit(tmp_path: Path, old: str, new: str, named: str) -> None:
    path = write_starter(tmp_path / "case")[0]
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    assert any(named in one for one in warnings(path))


@pytest.mark.parametrize(
    ("month", "counts"), [("2026-09", False), ("2026-10", True), ("2056-09", True), ("2056-10", False)]
)
def test_child_wells_outside_the_months_of_the_valuation(tmp_path: Path, month: str, counts: bool) -> None:
    """360 months from 2026-10 on: a value before or after them is told; at their ends it counts (control)."""
    path = write_starter(tmp_path / "case")[0]
    offset = f'[wells.offset_wells]\nchild_value_usd = 1e6\nchild_month = "{month}"\n'
    path.write_text(path.read_text("utf-8") + offset, encoding="utf-8")
    found = warnings(path)
    assert len(found) == (0 if counts else 1)
    assert all(month in one and "2026-10 to 2056-09" in one for one in found)


def test_a_reach_in_metres_called_feet(tmp_path: Path) -> None:
    """One message that names both depths, in place of one for every order."""
    path = write_starter(tmp_path / "case")[0]
    shallowest = pd.read_csv(path.parent / "sleeves.csv", comment="#")["depth_ft"].min()
    path.write_text(
        path.read_text("utf-8").replace("ct_reach_ft = 18000", "ct_reach_ft = 5486"), encoding="utf-8"
    )
    with pytest.raises(InputError) as caught:
        load_case(path)
    (fault,) = caught.value.faults
    assert fault.where == "case.toml: wells.W-1.completion.ct_reach_ft"
    assert "5,486 ft" in fault.found
    assert f"{shallowest:,.0f} ft" in fault.found


@pytest.mark.parametrize(
    ("pair", "found"),
    [
        ('{ a = "job.close_chance", b = "response.uplift", rank_correlation = 0.3 }', "a fixed number"),
        ('{ a = "type_curve.b", b = "response.uplift", rank_correlation = 0.3 }', "which no well has"),
        (
            '{ a = "prices.oil_level", b = "opex.fixed_usd_per_month", rank_correlation = 0.3 }',
            "a fixed number",
        ),
    ],
)
def test_a_correlation_with_a_fixed_number(edit: Edit, folder: Path, pair: str, found: str) -> None:
    load_case(folder / "case.toml")  # control: both drawn
    edit("case.toml", GOOD, f"{GOOD}, {pair}")
    with pytest.raises(InputError) as caught:
        load_case(folder / "case.toml")
    assert all(fault.where.startswith("case.toml: dependence.pairs[2].") for fault in caught.value.faults)
    assert any(found in fault.found for fault in caught.value.faults)


def test_a_correlation_of_what_one_well_draws(edit: Edit, folder: Path) -> None:
    """Fixed in one well alone it stays: the other draws it."""
    pair = '{ a = "response.uplift", b = "job.close_chance", rank_correlation = 0.3 }'
    edit("case.toml", GOOD, pair)
    with pytest.raises(InputError):
        load_case(folder / "case.toml")
    own = '[wells.job]\nclose_chance = { dist = "uniform", low = 0.8, high = 0.95 }'
    text = (folder / "case.toml").read_text("utf-8")
    (folder / "case.toml").write_text(f"{text}\n{own}\n", encoding="utf-8")
    load_case(folder / "case.toml")


PAIR = '{ a = "response.uplift", b = "job.close_chance", rank_correlation = 0.3 }'
UPLIFT = 'uplift = { dist = "lognormal", p90 = 0.2, p10 = 1.0 }'


def test_a_pair_that_a_well_fixes_is_left_out_and_told(edit: Edit, folder: Path) -> None:
    """Well B draws what A leaves fixed: the pair is A's no more, and `check` says so of A alone."""
    edit("case.toml", GOOD, PAIR)
    with (folder / "case.toml").open("a", encoding="utf-8") as file:
        file.write('\n[wells.job]\nclose_chance = { dist = "uniform", low = 0.8, high = 0.95 }\n')
    case = load_case(folder / "case.toml")
    (told,) = [line for line in check_case(folder / "case.toml").text.split("\n") if "correlation:" in line]
    assert told.startswith(
        "  correlation: A: dependence.pairs[1] is left out, for job.close_chance does not vary"
    )
    plans = [build_plan(case, well, k, None) for k, well in enumerate(case.wells)]
    assert [set(plan.dependence) for plan in plans] == [set(), {"B"}]


def test_what_an_input_of_listed_values_can_reach_is_told(edit: Edit, folder: Path) -> None:
    """Three values of weights 1, 1 and 2 with a continuous input: mean ranks 1/8, 3/8 and 3/4, of covariance
    and variance 9/128 with u, so that the end is sqrt(12 * 9/128)."""
    assert "correlation:" not in check_case(folder / "case.toml").text  # control: both continuous
    edit("case.toml", UPLIFT, 'uplift = { dist = "discrete", values = [0.1, 0.3, 0.6], weights = [1, 1, 2] }')
    (told,) = [line for line in check_case(folder / "case.toml").text.split("\n") if "correlation:" in line]
    end = math.sqrt(12 * 9 / 128)
    assert "response.uplift takes 3 values" in told
    assert f"can be -{math.floor(1000 * end) / 1000:g} to {math.floor(1000 * end) / 1000:g};" in told
    assert "0.3 as stated comes out as about 0.2" in told


@pytest.mark.parametrize(
    ("value", "sound"), [("0.918", True), ("-0.918", True), ("0.919", False), ("-0.95", False)]
)
def test_a_correlation_that_listed_values_cannot_reach(
    edit: Edit, folder: Path, value: str, sound: bool
) -> None:
    """The end, sqrt(12 * 9/128) = 0.91856, of the same three values."""
    edit("case.toml", UPLIFT, 'uplift = { dist = "discrete", values = [0.1, 0.3, 0.6], weights = [1, 1, 2] }')
    edit("case.toml", "rank_correlation = 0.3", f"rank_correlation = {value}")
    if sound:
        load_case(folder / "case.toml")
        return
    with pytest.raises(InputError) as caught:
        load_case(folder / "case.toml")
    (fault,) = caught.value.faults
    assert fault.where == "case.toml: dependence.pairs[1].rank_correlation"
    assert value in fault.found
    assert "-0.918 to 0.918" in fault.allowed


def test_a_grade_that_the_pressure_screen_cannot_read(tmp_path: Path) -> None:
    """Refused by its key before any run: the screen, which alone reads it, would fail in the middle of one."""
    path = write_starter(tmp_path / "case")[0]
    text = path.read_text("utf-8").replace('casing_grade = "P-110"', 'casing_grade = "P-999"')
    path.write_text(text, encoding="utf-8")
    load_case(path)  # control: nobody reads the grade
    screen = "[job.pressure]\ntrue_vertical_depth_ft = 9000\n"
    path.write_text(text.replace("[job.cost]", f"{screen}[job.cost]"), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_case(path)
    (fault,) = caught.value.faults
    assert (fault.where, fault.found) == ("case.toml: wells.W-1.completion.casing_grade", "the grade 'P-999'")
    text = text.replace("P-999", "P-110").replace("[job.cost]", f"{screen}[job.cost]")
    path.write_text(text, encoding="utf-8")
    load_case(path)


def test_what_is_advised_can_be_done(edit: Edit, folder: Path) -> None:
    """Bounds that are told to be added, one after the other, make the case one that can be read."""
    spec = '{ dist = "normal", mean = 0.9, sd = 0.3 }'
    edit("case.toml", "close_chance = 0.9", f"close_chance = {spec}")
    for bound in ("min = 0", "max = 1"):
        with pytest.raises(InputError) as caught:
            load_case(folder / "case.toml")
        (fault,) = caught.value.faults
        assert fault.remedy == f"add {bound}"
        wider = spec.replace(" }", f", {bound} }}")
        edit("case.toml", spec, wider)
        spec = wider
    load_case(folder / "case.toml")


def test_no_bound_is_advised_that_is_not_taken(edit: Edit, folder: Path) -> None:
    spec = '{ dist = "bernoulli", p = 0.5 }'
    edit("case.toml", "[response]", f"[response]\nheadroom = {spec}")
    with pytest.raises(InputError, match="reaching down to 0") as caught:
        load_case(folder / "case.toml")
    (fault,) = caught.value.faults
    assert "add" not in fault.remedy
    edit("case.toml", spec, spec.replace(" }", ", min = 1 }"))
    with pytest.raises(InputError, match=r"unknown|min"):  # control: it takes none
        load_case(folder / "case.toml")
