"""What `check` and `run` say of a history, and that the keys they name mend it.

Oracle: histories changed by hand, one sign each. Negative control: the history as it is.
"""

from pathlib import Path

import numpy as np
import pytest

from refracmc.case.history_told import history_told
from refracmc.case.load import load_case
from refracmc.commands.check import check_case
from refracmc.engine.well_fit import fit_well
from refracmc.errors import InputError
from tests.system.small_case import CASE, changed, history_text, write_case

ONE = CASE[: CASE.index('[[wells]]\nid = "B"')]


def rows() -> list[list[str]]:
    return [line.split(",") for line in history_text().splitlines()]


def case_with(folder: Path, cells: list[list[str]], *pairs: tuple[str, str]) -> Path:
    text = "\n".join(",".join(row) for row in cells) + "\n"
    return write_case(folder, changed(ONE, *pairs), history=text)


def told(path: Path) -> tuple[str, ...]:
    return history_told(load_case(path))


def test_a_plain_history_is_not_told_of(tmp_path: Path) -> None:
    path = case_with(tmp_path, rows())
    assert told(path) == ()
    assert "history:" not in check_case(path).text


def test_what_is_told_says_what_is_assumed(tmp_path: Path) -> None:
    late = case_with(tmp_path / "late", rows()[:-6])
    assert told(late) == (
        "A: the history ends in 2026-03, 6 months before the valuation date. They are forecast as if the well had gone "
        "on as fitted. Add them, or set valuation.date to the month after the last one.",
    )
    assert f"  history: {told(late)[0]}" in check_case(late).text
    idle = rows()
    for row in idle[-3:]:
        row[2:] = ["0", "0", "0", "0"]
    assert (
        "ends with 3 months of declared zeros. The longer, the likelier"
        in told(case_with(tmp_path / "idle", idle))[0]
    )
    without = case_with(tmp_path / "without", idle, ("[job]", "[fit]\nidle_hurdle = false\n[job]"))
    assert "It is taken to go on at once" in told(without)[0]
    water = rows()
    for row in water[-3:]:
        row[4] = str(3 * float(row[4]))
    assert (
        "of the last 3 producing months is 3 times that of the 9 before"
        in told(case_with(tmp_path / "water", water))[0]
    )
    blank = [row if k < len(water) - 3 else [*row[:4], "", row[5]] for k, row in enumerate(water)]
    assert told(case_with(tmp_path / "blank", blank)) == ()  # the advice, followed


def test_a_step_up_names_the_key_that_starts_the_segment(tmp_path: Path) -> None:
    cells = rows()
    for row in cells[25:]:
        row[2] = str(2.6 * float(row[2]))
    found = told(case_with(tmp_path / "step", cells))
    month = cells[25][1][
        :7
    ]  # the first on the higher level: 2024-10; waves of 3 % may hide which of two it is
    assert "about 2024-10. The fit runs" in found[0] or "about 2024-09. The fit runs" in found[0]
    key = ('main_phase = "oil"\n', f'main_phase = "oil"\n[wells.fit]\nsegment_start = "{month}"\n')
    assert told(case_with(tmp_path / "mended", cells, key)) == ()


@pytest.mark.parametrize("key", ['segment_start = "2023-01"', 'exclude = ["2026-08", "2026-09"]'])
def test_a_refused_history_is_mended_by_the_keys_it_names(tmp_path: Path, key: str) -> None:
    """Two slips at the end are the best rate: one usable month or two from there on."""
    cells = rows()
    for row in cells[-2:]:
        row[2] = "90000"
    with pytest.raises(InputError) as refused:
        load_case(case_with(tmp_path / "refused", cells))
    said = str(refused.value)
    assert "usable months from the best rate on" in said
    assert "segment_start under [wells.fit]" in said
    assert "exclude" in said
    path = case_with(
        tmp_path / "mended", cells, ('main_phase = "oil"\n', f'main_phase = "oil"\n[wells.fit]\n{key}\n')
    )
    case = load_case(path)
    assert fit_well(case, case.wells[0]) is not None


def test_a_segment_outside_the_history_names_its_key(tmp_path: Path) -> None:
    path = case_with(
        tmp_path,
        rows(),
        ('main_phase = "oil"\n', 'main_phase = "oil"\n[wells.fit]\nsegment_start = "2031-01"\n'),
    )
    with pytest.raises(InputError, match=r"correct segment_start under \[wells\.fit\]"):
        load_case(path)


def test_an_excluded_month_that_is_not_there_is_told(tmp_path: Path) -> None:
    key = ('main_phase = "oil"\n', 'main_phase = "oil"\n[wells.fit]\nexclude = ["2031-05", "2025-05"]\n')
    assert "names 2031-05, which the history does not have" in told(case_with(tmp_path, rows(), key))[0]


def test_without_the_hurdle_no_draw_stands_idle(tmp_path: Path) -> None:
    """The other draws are the same; the numbers told are those of the draws."""
    with_it = load_case(case_with(tmp_path / "with", rows()))
    without = load_case(
        case_with(tmp_path / "without", rows(), ("[job]", "[fit]\nidle_hurdle = false\n[job]"))
    )
    one, other = fit_well(with_it, with_it.wells[0]), fit_well(without, without.wells[0])
    assert one is not None
    assert other is not None
    idle = one.uptime == 0.0
    assert idle.any()
    assert not (other.uptime == 0.0).any()
    assert np.sort(one.running_uptime) == pytest.approx(np.sort(other.uptime))
    assert one.diagnostics["idle_chance"] == idle.mean()
    assert one.diagnostics["idle_chance_learned"] == idle.mean()  # no month shut in: all of it is learned
    assert one.diagnostics["uptime_ahead"] == pytest.approx(one.uptime.mean())
    assert other.diagnostics["idle_chance"] == 0.0
    shut = rows()
    for row in shut[-6:]:
        row[2:] = ["0", "0", "0", "0"]
    case = load_case(case_with(tmp_path / "shut", shut))
    third = fit_well(case, case.wells[0])
    assert third is not None
    assert third.diagnostics["months_shut"] == 6
    assert third.diagnostics["idle_chance"] > third.diagnostics["idle_chance_learned"] > 0.0
