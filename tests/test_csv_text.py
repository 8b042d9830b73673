"""Texts in CSV files that act as no formula.

Oracle: the written rule (one apostrophe more in front; take one off to have it back) and the numbers handed over.
"""

import csv
import io
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pytest

from refracmc import cli
from refracmc.csv_text import csv_text
from refracmc.reporting.report import csv_bytes
from refracmc.reporting.row_files import plain_csv
from tests.system.small_case import CASE, changed, history_text, write_case

HOSTILE = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "\uff1d1", "\uff0b1", "\uff0d1", "\uff201", " =1",
           "\u3000=1", "'quoted", "'=1", "=cmd,\"x\""]  # fmt: skip
HARMLESS = ["toe_to_heel", "a=b", "a-1", "", "1 - 2", "2027-01"]
NUMBERS = [-1.5, -0.0, 1e-300, -123456789.125]


def rows_of(data: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(data.decode("utf-8"), newline="")))


@pytest.mark.parametrize(
    "texts", [HOSTILE, HARMLESS, [t for t in HOSTILE if t.isprintable() and "," not in t]]
)
@pytest.mark.parametrize("write", [csv_text, csv_bytes])
def test_no_text_is_a_formula(texts: list[str], write) -> None:
    """Each has the one apostrophe if it is hostile and none if it is not; numbers beside it read back equal."""
    numbers = [NUMBERS[k % len(NUMBERS)] for k in range(len(texts))]
    rows = rows_of(write(pd.DataFrame({"text": texts, "number": numbers})))[1:]
    assert [row[0] for row in rows] == [f"'{text}" if text in HOSTILE else text for text in texts]
    assert [float(row[1]) for row in rows] == numbers


def test_rows_written_by_arrow() -> None:
    """The quick way, which takes no text that needs quotes; missing texts stay missing."""
    said = plain_csv(pa.table({"text": ["=1", None, "plain", "\uff20x"], "number": [-1.0, -2.0, 3.0, 4.0]}))
    assert said is not None
    assert said.decode() == "'=1,-1\n,-2\nplain,3\n'\uff20x,4\n"


@pytest.mark.parametrize("name", ["=B", "+B", "-B", "@B"])
def test_a_case_takes_no_such_name(tmp_path: Path, name: str) -> None:
    case = write_case(tmp_path / "case", changed(CASE, ('id = "B"', f'id = "{name}"')))
    assert cli.main(["check", str(case)]) == 2


def test_a_history_of_a_well_named_like_a_formula(tmp_path: Path) -> None:
    """`hindcast` takes the names of wells as they stand in any file; its tables hold them as texts."""
    case = write_case(tmp_path / "case", CASE, history=history_text().replace("\nA,", "\n=A,"))
    words = ["hindcast", str(case.parent / "history.csv"), "--months-in", "24", "--months-out", "12"]
    assert cli.main([*words, "--out", str(tmp_path / "out")]) == 0
    files = sorted((tmp_path / "out").rglob("*.csv"))
    cells = {cell for path in files for row in rows_of(path.read_bytes()) for cell in row}
    assert "'=A" in cells
    assert not [cell for cell in cells if cell.startswith("=")]
