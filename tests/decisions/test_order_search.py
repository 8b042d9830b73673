"""Order search. Oracles: all orders of a small well valued one by one; fronts by their definition; families as
permutations. Negative control: a front with a dominated member is found out."""

import itertools
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from refracmc.case.load import load_case
from refracmc.commands.orders import find_orders
from refracmc.decisions.order_search import Found, dominates, families, front_of, neighbours, search_orders
from refracmc.engine.plan import build_plan
from refracmc.errors import InputError
from tests.second_route.awkward import CURVE, HEAD, SAMPLING

STATES = ("open", "open", "leaking", "open")
TALLY = "sleeve,depth_ft,isolation_above,state_date,state,shifts,installed\n" + "".join(
    f"{k + 1},{15000 - 150 * k},cement,2024-05,{state},1,2016-02\n" for k, state in enumerate(STATES)
)
TEXT = (
    HEAD
    + SAMPLING
    + """[valuation]
date = "2025-06"
horizon_months = 60
[prices]
oil_usd_per_bbl = 70.0
gas_usd_per_mcf = 3.0
[job]
reclose_chance = 0.6
open_sleeve_take = 1.0
leak_fluid_fraction = 0.5
[strategies]
orders = ["toe_to_heel"]
dates = ["2025-09"]
[[wells]]
id = "A"
tally = "sleeves.csv"
main_phase = "oil"
[wells.interests]
working = 1.0
net_revenue = 0.8
"""
    + CURVE
)


@pytest.fixture
def case_file(tmp_path: Path) -> Path:
    (tmp_path / "case.toml").write_text(TEXT, "utf-8")
    (tmp_path / "sleeves.csv").write_text(TALLY, "utf-8")
    return tmp_path / "case.toml"


def test_all_orders_of_a_small_well_are_valued_and_the_front_is_theirs(case_file: Path) -> None:
    case = load_case(case_file)
    plan = build_plan(case, case.wells[0], 0, None)
    search = search_orders(plan, "2025-09", budget=40, judge_blocks=1)
    assert search.complete
    assert {found.sleeves for found in search.tried} == set(itertools.permutations(range(1, 5)))
    judged = {one.found.sleeves for one in search.judged}
    for found in search.tried:
        beaten = any(dominates(other, found) for other in search.tried)
        assert beaten or found.sleeves in judged
    toe = next(one for one in search.judged if one.found.label == "toe_to_heel")
    assert toe.exposure == 0.0
    assert min(one.days for one in search.judged) == toe.days
    again = search_orders(plan, "2025-09", budget=40, judge_blocks=1)
    assert again == search


found_orders = st.lists(
    st.builds(
        Found,
        st.just("x"),
        st.permutations(range(1, 5)).map(tuple),
        st.integers(-3, 3).map(float),
        st.integers(0, 3).map(float),
        st.integers(0, 3).map(float),
        st.just(1),
    ),
    min_size=1,
    max_size=25,
)


@given(found_orders)
def test_the_front_is_what_nothing_dominates(found: list[Found]) -> None:
    front = front_of(found)
    assert front
    for one in found:
        assert any(dominates(member, one) for member in front) or any(
            (member.value_usd, member.days, member.exposure) == (one.value_usd, one.days, one.exposure)
            for member in front
        )
    assert not any(dominates(a, b) for a in front for b in front)
    worse = Found("worse", (1,), front[0].value_usd - 1.0, front[0].days, front[0].exposure, 1)
    assert worse not in front_of([*found, worse])


@pytest.mark.parametrize("count", [1, 2, 3, 9, 40, 90])
def test_families_and_neighbours_are_orders_of_the_same_stages(count: int) -> None:
    stages = list(range(1, count + 1))
    made = list(families(stages).values())
    made += neighbours(tuple(stages), 30, np.random.default_rng(4))
    assert all(sorted(order) == stages for order in made)


def test_the_command_writes_table_and_chart(case_file: Path, tmp_path: Path) -> None:
    report = find_orders(case_file, well="A", budget=6, out=tmp_path / "out")
    files = {path.suffix for path in report.folder.iterdir()}
    assert files == {".csv", ".png", ".svg"}
    rows = pd.read_csv(report.folder / "orders-A-2025-09.csv")
    assert rows["incremental_npv_usd"].is_monotonic_decreasing
    assert "toe_to_heel" in set(rows["order"])
    assert rows["on_front"].any()
    with pytest.raises(InputError, match="--date"):
        find_orders(case_file, well="A", date="soon", out=tmp_path)
    with pytest.raises(InputError, match="--well"):
        find_orders(case_file, well="B", out=tmp_path)
