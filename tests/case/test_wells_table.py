"""Wells as rows of a table. Oracle: the same wells as blocks of the case file; the rules of a fault."""

from pathlib import Path

import pytest

from refracmc.case.load import load_case
from refracmc.case.validated_case import Case
from refracmc.errors import InputError
from tests.system.small_case import CASE, changed, write_case

TOP, FIRST, SECOND = CASE.split("[[wells]]")
COLUMNS = {
    "id": ("A", "B"),
    "history": ("history.csv", ""),
    "tally": ("sleeves.csv", "sleeves.csv"),
    "main_phase": ("oil", "oil"),
    "forecast": ("", "type_curve"),
    "area": ("north", ""),
    "pad": ("", "pad 3"),
    "interests.working": ("0.9", ""),
    "interests.net_revenue": ("0.7", ""),
    "completion.toe_md_ft": ("12000", ""),
    "type_curve.initial_rate_per_d.dist": ("", "lognormal"),
    "type_curve.initial_rate_per_d.p90": ("", "500"),
    "type_curve.initial_rate_per_d.p10": ("", "1100"),
    "type_curve.initial_decline_per_year": ("", '{ dist = "uniform", low = 0.9, high = 2.5 }'),
    "type_curve.b": ("", '{ dist = "uniform", low = 0.4, high = 1.2 }'),
    "type_curve.first_production": ("", "2022-02"),
    "type_curve.peak_rate_per_d.p90": ("", "450"),
    "type_curve.peak_rate_per_d.p10": ("", "1000"),
    "type_curve.gas_ratio": ("", "1.4"),
    "type_curve.water_ratio": ("", "1.1"),
    "job.close_chance": ("0.8", '{ dist = "beta", alpha = 9, beta = 1 }'),
    "job.cost.mobilisation_usd": ("", "1.1e5"),
    "strategies.dates": ('["2027-03"]', ""),
    "strategies.custom_orders.mine": ("", "[3, 2, 1]"),
    "response.revives_idle": ("TRUE", "false"),
    "fit.exclude": ('["2025-05"]', ""),
}
BLOCKS = f"""{TOP}[[wells]]
area = "north"
{FIRST}[wells.job]
close_chance = 0.8
[wells.strategies]
dates = ["2027-03"]
[wells.response]
revives_idle = true
[wells.fit]
exclude = ["2025-05"]
[[wells]]
pad = "pad 3"
{SECOND}[wells.job]
close_chance = {{ dist = "beta", alpha = 9, beta = 1 }}
[wells.job.cost]
mobilisation_usd = 1.1e5
[wells.strategies.custom_orders]
mine = [3, 2, 1]
[wells.response]
revives_idle = false
"""
BY_TABLE = TOP.replace('data_status = "invented"', 'data_status = "invented"\nwells_file = "wells.csv"')


def table_text(columns: dict[str, tuple[str, ...]]) -> str:
    rows = [list(columns), *map(list, zip(*columns.values(), strict=True))]
    quoted = [
        [f'"{cell.replace(chr(34), 2 * chr(34))}"' if set(cell) & set('",') else cell for cell in row]
        for row in rows
    ]
    return "\n".join(map(",".join, quoted)) + "\n"


def case_of(folder: Path, table: str, text: str = BY_TABLE) -> Case:
    path = write_case(folder, text, wells=table)
    return load_case(path)


def faults_of(folder: Path, table: str, text: str = BY_TABLE) -> list[str]:
    """Faults of the case, or of its wells where some run."""
    try:
        case = case_of(folder, table, text)
    except InputError as error:
        return [str(fault) for fault in error.faults]
    return [str(fault) for faults in case.refused.values() for fault in faults]


def test_rows_are_the_blocks_they_stand_for(tmp_path: Path) -> None:
    rows = case_of(tmp_path / "rows", table_text(COLUMNS))
    blocks = load_case(write_case(tmp_path / "blocks", BLOCKS))
    assert [well.id for well in rows.wells] == [well.id for well in blocks.wells] == ["A", "B"]
    for mine, theirs in zip(rows.wells, blocks.wells, strict=True):
        for name in ("main_phase", "forecast", "area", "pad", "fit", "type_curve"):
            assert getattr(mine, name) == getattr(theirs, name), name
        for name in mine.settings.__dataclass_fields__:
            assert getattr(mine.settings, name) == getattr(theirs.settings, name), name
    assert "wells.csv" in rows.files


def test_a_parquet_table_is_read_like_a_csv(tmp_path: Path) -> None:
    import pandas as pd

    kinds = {"interests.working": float, "completion.toe_md_ft": float, "type_curve.gas_ratio": float}
    frame = pd.DataFrame({name: list(cells) for name, cells in COLUMNS.items()}).replace("", None)
    for name, kind in kinds.items():
        frame[name] = frame[name].astype(kind)
    text = BY_TABLE.replace("wells.csv", "wells.parquet")
    path = write_case(tmp_path / "parquet", text)
    frame.to_parquet(path.parent / "wells.parquet")
    rows = case_of(tmp_path / "csv", table_text(COLUMNS))
    for mine, theirs in zip(load_case(path).wells, rows.wells, strict=True):
        assert mine.settings == theirs.settings


def test_a_block_goes_over_its_row_and_others_are_more_wells(tmp_path: Path) -> None:
    block = '[[wells]]\nid = "a"\n[wells.interests]\nworking = 0.8\n[[wells]]' + SECOND.replace('"B"', '"C"')
    tally = "well_id,sleeve,depth_ft,isolation_above,state_date,state,shifts,installed\n" + "".join(
        f"{well},{k},{11_500 - 200 * k},cement,2024-05,open,1,2020-01\n"
        for well in "ABC"
        for k in range(1, 9)
    )
    path = write_case(tmp_path, BY_TABLE + block, wells=table_text(COLUMNS), sleeves=tally)
    case = load_case(path)
    assert [well.id for well in case.wells] == ["A", "B", "C"]
    interests = case.wells[0].settings.interests
    assert (interests.working, interests.net_revenue) == (0.8, 0.7)
    assert case.wells[0].settings.strategies.dates == ("2027-03",)


@pytest.mark.parametrize(
    ("stated", "place"),
    [
        ("close_chance = 1.9", "wells.A.job.close_chance: found 1.9"),
        ("open_chance = 0.9", "wells.csv: row 2, job.close_chance"),
        ("open_chance = 0.9\n[wells.job.pressure]\nports = 9", "wells.A.job.pressure.true_vertical_depth_ft"),
    ],
)
def test_a_fault_is_placed_where_its_key_is_stated(tmp_path: Path, stated: str, place: str) -> None:
    """A section may be stated in part by the row of a well, in part by its block."""
    cells = {"job.close_chance": ("1.8", '{ dist = "beta", alpha = 9, beta = 1 }')}
    found = faults_of(
        tmp_path, table_text(COLUMNS | cells), f'{BY_TABLE}[[wells]]\nid = "A"\n[wells.job]\n{stated}\n'
    )
    assert any(place in fault for fault in found), found


def test_files_and_facts_at_the_top_hold_for_wells_that_state_none(tmp_path: Path) -> None:
    columns = {name: cells for name, cells in COLUMNS.items() if name not in ("history", "tally")}
    top = BY_TABLE.replace(
        'data_status = "invented"', 'data_status = "invented"\nhistory = "history.csv"\ntally = "sleeves.csv"'
    )
    text = top + "[interests]\nworking = 0.95\nnet_revenue = 0.6\n[completion]\nlateral_ft = 4000\n"
    first, second = case_of(tmp_path, table_text(columns), text).wells
    assert (first.forecast, second.forecast) == ("history", "type_curve")
    assert (first.settings.interests.working, second.settings.interests.working) == (0.9, 0.95)
    assert (first.settings.completion.lateral_ft, first.settings.completion.toe_md_ft) == (4000, 12000)


WHOLE = {
    "an unknown column": (
        {"completion.ct_reach": ("1", "2")},
        "row 1",
        "did you mean 'completion.ct_reach_ft'?",
    ),
    "a section": ({"job": ("1", "2")}, "the column 'job'", ""),
    "a key of no distribution": ({"job.close_chance.p95": ("1", "2")}, "'job.close_chance.p95'", ""),
    "below a number": ({"interests.working.p90": ("1", "2")}, "'interests.working.p90'", ""),
    "two units": ({"completion.toe_md_m": ("1", "2")}, "completion.toe_md_ft and completion.toe_md_m", ""),
    "no such file key": ({"seed": ("1", "2")}, "the column 'seed'", ""),
}


@pytest.mark.parametrize("name", WHOLE)
def test_a_faulty_column_is_one_fault_of_the_case(tmp_path: Path, name: str) -> None:
    more, place, remedy = WHOLE[name]
    found = faults_of(tmp_path, table_text(COLUMNS | more))
    assert len(found) == 1
    assert place in found[0]
    assert remedy in found[0]


CELLS = {
    "a separator": ("interests.working", "0,9", "'0,9'", "thousands separator"),
    "a currency": ("job.cost.mobilisation_usd", "$110000", "'$110000'", "plain number"),
    "not a truth value": ("response.revives_idle", "yes", "'yes'", "true or false"),
    "broken TOML": ("job.close_chance", "{ dist = ", "'{ dist ='", "correct the cell"),
    "a distribution where none is allowed": (
        "interests.working",
        '{ dist = "uniform", low = 0.1, high = 0.2 }',
        "interests.working",
        "number",
    ),
    "beyond the range": ("job.close_chance", "1.2", "1.2", "job.close_chance"),
    "a text for a list": ("strategies.dates", "2027-03", "strategies.dates", ""),
    "a date as spreadsheets write it": ("type_curve.first_production", "1/2/2022", "1/2/2022", "YYYY-MM"),
    "a formula": ("area", "\u202eabc", "u202e", "printable"),
    "an unknown phase": ("main_phase", "oli", "'oli'", "did you mean 'oil'?"),
    "beyond the range in SI": ("completion.lateral_m", "99999", "328080.7", "40,000 ft"),
    "infinite": ("interests.working", "inf", "'inf'", "plain number"),
}


@pytest.mark.parametrize("name", CELLS)
def test_a_faulty_cell_refuses_its_well_alone_and_names_its_row(tmp_path: Path, name: str) -> None:
    column, cell, *parts = CELLS[name]
    at = 1 if column.startswith("type_curve") else 0
    cells = tuple(cell if k == at else old for k, old in enumerate(COLUMNS.get(column, ("", ""))))
    case = case_of(tmp_path, table_text(COLUMNS | {column: cells}))
    assert [well.id for well in case.wells] == ["BA"[at]]
    (found,) = case.refused["AB"[at]]
    assert f"wells.csv: row {at + 2}, {column}" in str(found)
    for part in parts:
        assert part in str(found)


def test_a_distribution_is_stated_one_way(tmp_path: Path) -> None:
    both = {"job.close_chance.p90": ("0.7", ""), "job.close_chance.p10": ("0.9", "")}
    (found,) = faults_of(tmp_path, table_text(COLUMNS | both))
    assert "row 2, job.close_chance" in found
    assert "job.close_chance beside job.close_chance.p90, job.close_chance.p10" in found


def test_ids_that_are_none_or_doubled_refuse_their_rows(tmp_path: Path) -> None:
    columns = {name: (*cells, cells[0], cells[0]) for name, cells in COLUMNS.items()} | {
        "id": ("A", "B", "a", "")
    }
    case = case_of(tmp_path, table_text(columns))
    assert [well.id for well in case.wells] == ["A", "B"]
    assert {place: str(faults[0]) for place, faults in case.refused.items()}.keys() == {
        "wells.csv: row 4",
        "wells.csv: row 5",
    }
    assert "a second time (first in row 2)" in str(case.refused["wells.csv: row 4"][0])


def test_what_a_row_leaves_out_is_missed_there(tmp_path: Path) -> None:
    columns = COLUMNS | {"tally": ("", "sleeves.csv"), "type_curve.first_production": ("", "")}
    with pytest.raises(InputError) as caught:
        case_of(tmp_path, table_text(columns))
    found = sorted(map(str, caught.value.faults))
    assert len(found) == 2
    assert found[0].startswith("wells.csv: row 2, tally: found nothing")
    assert found[1].startswith("wells.csv: row 3, type_curve.first_production: found nothing")


def test_spreadsheets_leave_blank_rows_and_columns(tmp_path: Path) -> None:
    lines = table_text(COLUMNS).splitlines()
    spread = "\ufeff" + "\r\n".join([*(line + ",," for line in lines), ",,,", ""])
    case = case_of(tmp_path, spread)
    assert [well.id for well in case.wells] == ["A", "B"]
    (found,) = faults_of(tmp_path / "apart", "id;tally;pad\nA;sleeves.csv;1\n")
    assert "commas" in found


SPREADSHEETS = {
    "no value of an id": (("\nB,", "\n#N/A,"), "row 3: found the text '#N/A'"),
    "a column too narrow": (("\nB,", "\n####,"), "row 3: found the text '####'"),
    "a title above the names": (
        ("id,", "Review of wells,,,\nid,"),
        "the one cell 'Review of wells' above rows",
    ),
    "a separator told first": (("id,", "sep=,\nid,"), "remove what stands above the names of the columns"),
    "the id as in other tables": (("id,", "well_id,"), "did you mean 'id'?"),
    "a column without a name": (("tally,", ","), "column 3 without a name"),
    "two without a name": (("tally,main_phase,", ",,"), "2 columns without a name"),
    "a list without brackets": (('"[""2027-03""]"', "2027-03;2028-03"), "a list of months"),
    "quotes that a word processor turned": (("[3, 2, 1]", "[\u201c3\u201d]"), "as in the case file"),
    "keys as JSON has them": (("{ dist =", '{ ""dist"":'), "as in the case file"),
    "a separator of thousands": (("12000", "12 000"), "without unit or thousands separator"),
    "a sign that is no minus": (("1.1e5", "\u22121"), "plain number"),
    "one percentile alone": ((",450,", ",,"), "row 3, type_curve.peak_rate_per_d.p10: found p90 nothing"),
    "a well that no history has": (("\nA,", "\nZ,"), "'Z' (wells.csv: row 2, id)"),
    "whole numbers of ids": (("\nB,", "\n4.21E+13,"), "'4.21E+13'"),
    "a row of sums": (("\nB,", "\nTotal of all*,"), "row 3, id: found the text 'Total of all*'"),
}


@pytest.mark.parametrize("name", SPREADSHEETS)
def test_what_spreadsheets_write_is_refused_and_said(tmp_path: Path, name: str) -> None:
    (old, new), said = SPREADSHEETS[name]
    found = faults_of(tmp_path, changed(table_text(COLUMNS), (old, new)))
    assert any(said in fault for fault in found), found


def test_a_missing_table_or_no_well_at_all_is_one_fault(tmp_path: Path) -> None:
    path = write_case(tmp_path, BY_TABLE)
    with pytest.raises(InputError) as caught:
        load_case(path)
    assert [fault.where for fault in caught.value.faults] == ["case.toml: wells_file"]
    (found,) = faults_of(tmp_path / "none", "id,tally\n")
    assert "no row of a well" in found
    found = faults_of(tmp_path / "head", "well,tally\nA,sleeves.csv\n")
    assert ["the column 'well'" in found[0], "no column id" in found[1]] == [True, True]


def test_a_shared_fault_is_told_once(tmp_path: Path) -> None:
    text = changed(BY_TABLE, ("open_chance = 0.95", "open_chance = 1.95"))
    found = faults_of(tmp_path, table_text(COLUMNS), text)
    assert len(found) == 1
    assert "job.open_chance" in found[0]
