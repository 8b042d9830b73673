"""Tables put together from the parts of wells.

Oracle: the same tables held whole and written by `write_table`, byte for byte.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from refracmc.reporting import row_files
from refracmc.reporting.columns import TABLES
from refracmc.reporting.report import write_report, write_table
from refracmc.reporting.tables import (
    ReportDataProblem,
    build_report_data,
    checked_tables,
    report_data_by_well,
)
from refracmc.reporting.tables_by_well import Part, TablesByWell, frame_of

WELLS = ("W-1", "W-2", "W-3")


def by_well(tables: dict[str, pd.DataFrame], order: tuple[str, ...] = WELLS) -> TablesByWell:
    """Each well's rows, made in a given order; inputs whole."""
    parts: dict[str, Part] = {}
    for well in order:
        mine = {k: t[(t["well"] == well).to_numpy()] for k, t in tables.items() if k != "inputs"}
        parts[well] = checked_tables({k: t for k, t in mine.items() if len(t)}, {well})
    whole = {"inputs": checked_frame("inputs", tables["inputs"])} if "inputs" in tables else {}
    return TablesByWell({well: parts[well] for well in WELLS}, whole)


def checked_frame(key: str, frame: pd.DataFrame) -> pd.DataFrame:
    return frame_of(TABLES[key], checked_tables({key: frame}, set(WELLS))[key])


def report_of(facts, made: TablesByWell):
    names = {well: tuple(made.of_well("summary", well)["strategy"]) for well in WELLS}
    return report_data_by_well(facts, made, names)


def files(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()
    }


@pytest.fixture
def tables(table_maker) -> dict[str, pd.DataFrame]:
    return dict(table_maker(WELLS, 500))


def test_a_report_from_parts_is_the_report_held_whole(tables, fact_maker, tmp_path: Path) -> None:
    """All files: tables and page; and the parts made in another order."""
    facts = fact_maker(trials=500)
    write_report(build_report_data(facts, tables), tmp_path / "whole", charts=False)
    for name, order in (("parts", WELLS), ("turned", WELLS[::-1])):
        made = by_well(tables, order)
        write_report(report_of(facts, made), tmp_path / name, charts=False)
        assert files(tmp_path / name) == files(tmp_path / "whole")
    less = {**tables, "timing": tables["timing"].iloc[1:]}  # negative control
    made = by_well(less)
    write_report(report_of(facts, made), tmp_path / "less", charts=False)
    differing = {k for k, v in files(tmp_path / "less").items() if v != files(tmp_path / "whole")[k]}
    assert {"tables/timing.csv", "tables/timing.parquet"} <= differing


@pytest.mark.parametrize("action", ["close", 'close, "slowly"'])
def test_whole_numbers_of_which_some_are_missing_stay_whole(tables, tmp_path: Path, action: str) -> None:
    """Beside a text that needs quotes too."""
    frame = tables["timeline"].reset_index(drop=True)
    sleeves = [None if k % 3 == 0 else k for k in range(len(frame))]
    frame = frame.assign(sleeve=pd.array(sleeves, dtype="Int64"), action=action)
    write_table(checked_frame("timeline", frame), tmp_path / "whole")
    by_well({"timeline": frame}).write("timeline", tmp_path / "made")
    made = (tmp_path / "made.csv").read_bytes()
    assert made == (tmp_path / "whole.csv").read_bytes()
    assert b",2," in made
    assert b",2.0," not in made


@pytest.mark.parametrize("group", [1 << 20, 5])
@pytest.mark.parametrize("text", ["plain", 'with a comma, and "quotes"'])
@pytest.mark.parametrize("empty", [(), ("W-1",), ("W-1", "W-2"), WELLS])
def test_columns_empty_in_some_wells(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, empty: tuple[str, ...], text: str, group: int
) -> None:
    """A text column without a value in some wells or all, a number without one, quotes in one well only."""
    monkeypatch.setattr(row_files, "GROUP_ROWS", group)
    frames = []
    for k, well in enumerate(WELLS):
        frames.append(
            pd.DataFrame(
                {
                    "well": well,
                    "status": "used",
                    "reason": [text if well == "W-3" else "plain"] * (k + 2),
                    "months": np.arange(k + 2),
                    "first_month": None if well in empty else "2020-01",
                    "last_month": [None if well in empty else "2020-02", *[None] * (k + 1)],
                }
            )
        )
    frame = pd.concat(frames, ignore_index=True)
    checked = checked_frame("cleaning", frame)
    write_table(checked, tmp_path / "whole")
    made = by_well({"cleaning": frame})
    made.write("cleaning", tmp_path / "made")
    assert (tmp_path / "made.csv").read_bytes() == (tmp_path / "whole.csv").read_bytes()
    if group > len(frame):
        assert (tmp_path / "made.parquet").read_bytes() == (tmp_path / "whole.parquet").read_bytes()
    read = [pd.read_parquet(tmp_path / f"{name}.parquet") for name in ("made", "whole")]
    pd.testing.assert_frame_equal(*read)
    pd.testing.assert_frame_equal(made["cleaning"], checked)
    assert not list(tmp_path.glob(".*.part"))


def test_rows_of_one_well_and_of_none(tables, fact_maker, tmp_path: Path) -> None:
    whole = build_report_data(fact_maker(trials=500), tables)
    made = by_well({**tables, "timing": tables["timing"][tables["timing"]["well"] != "W-2"]})
    for key in ("summary", "decision", "orders", "distribution"):
        for well in WELLS:
            pd.testing.assert_frame_equal(made.of_well(key, well), whole.of_well(key, well))
    for key, well in (("timing", "W-2"), ("summary", "W-9")):
        empty = made.of_well(key, well)
        assert len(empty) == 0
        assert list(empty.columns) == list(whole.of_well(key, "W-1").columns)
    assert list(made) == [key for key in whole.tables if key in made]
    with pytest.raises(KeyError):
        made["nothing of that name"]


def test_faults_of_parts_are_found(tables, fact_maker, tmp_path: Path) -> None:
    with pytest.raises(ReportDataProblem, match="well W-1 is not in the decision table"):
        checked_tables({"timing": tables["timing"]}, {"W-2", "W-3"})
    made = by_well(tables)
    names = dict.fromkeys(WELLS, ("another",))
    with pytest.raises(ReportDataProblem, match="is not in the summary"):
        report_data_by_well(fact_maker(), made, names)
    some = by_well({**tables, "decision": tables["decision"].iloc[1:]})
    with pytest.raises(ReportDataProblem, match="not one row for every well"):
        report_data_by_well(fact_maker(), some, names)
    none = by_well({key: frame for key, frame in tables.items() if key != "decision"})
    with pytest.raises(ReportDataProblem, match="table decision is missing"):
        report_data_by_well(fact_maker(), none, names)
