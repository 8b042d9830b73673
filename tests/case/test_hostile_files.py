"""Files that are not what they claim to be: refused before they are read, with one message.

Oracle: the rule of the house for input faults: what was found, what is allowed, exit code 2, no traceback, no wait.
"""

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from refracmc.case.load import load_case
from refracmc.errors import Fault, InputError

Edit = Callable[[str, str, str], None]


def only_fault(path: Path) -> Fault:
    with pytest.raises(InputError) as caught:
        load_case(path)
    (fault,) = caught.value.faults
    return fault


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("x = " + "[" * 5000 + "]" * 5000, "nested too deep"),
        ("x = " + "[" * 100 + "]" * 100, "nested too deep"),
        (".".join("a" * 400) + " = 1", "nested too deep"),
        ("x = " + "{ a = " * 3000 + "1" + " }" * 3000, "nested too deep"),
        ("x = " + "9" * 5000, "thousands of digits"),
    ],
)
def test_toml_that_no_case_needs(folder: Path, line: str, found: str) -> None:
    path = folder / "case.toml"
    path.write_text(f"{line}\n{path.read_text('utf-8')}", encoding="utf-8")
    fault = only_fault(path)
    assert found in fault.found
    assert len(str(fault)) < 300


@pytest.mark.parametrize(
    ("mark", "name"),
    [
        ("\\u001b[31m", "escape"),
        ("\\u202e", "right to left"),
        ("\\u2066", "isolate"),
        ("\\u200b", "no width"),
    ],
)
@pytest.mark.parametrize(
    ("key", "where"),
    [
        (
            '[response]\nuplift = { dist = "uniform", low = 0.1, high = 0.9, source = "book%s" }',
            "response.uplift.source",
        ),
        ('[outputs]\n"chart%s" = true\n[response]', "outputs"),
    ],
)
def test_marks_that_do_not_show(edit: Edit, folder: Path, mark: str, name: str, key: str, where: str) -> None:
    """In every text and every name of a key: a report would show something else than is there."""
    text = (folder / "case.toml").read_text("utf-8")
    text = text.replace("pairs = ", "pairs = [] # ")
    head, _, tail = text.partition("[response]\n")
    if "uplift" in key:
        tail = "\n".join(line for line in tail.splitlines() if not line.startswith("uplift"))
    (folder / "case.toml").write_text(f"{head}{key % mark}\n{tail}", encoding="utf-8")
    fault = only_fault(folder / "case.toml")
    assert fault.where == f"case.toml: {where}"
    assert str(fault).isprintable()
    (folder / "case.toml").write_text(f"{head}{key % ' of ours'}\n{tail}", encoding="utf-8")
    if "uplift" in key:
        load_case(folder / "case.toml")  # control


def test_a_pipe_is_no_history(edit: Edit, folder: Path) -> None:
    """Told at once: nobody writes into the pipe, so that reading it would never end."""
    os.mkfifo(folder / "pipe")
    edit("case.toml", "history.csv", "pipe")
    command = [sys.executable, "-m", "refracmc", "check", str(folder / "case.toml")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=20)
    assert done.returncode == 2
    assert all("no file" in line for line in done.stderr.splitlines() if "history" in line)


@pytest.mark.parametrize("name", ["/dev/zero", "huge.csv"])
@pytest.mark.parametrize("file", ["history.csv", "sleeves.csv", "prices.csv"])
def test_a_device_and_a_huge_file_are_no_table(
    edit: Edit, folder: Path, broken: Callable[[], tuple[Fault, ...]], file: str, name: str
) -> None:
    (folder / "huge.csv").touch()
    os.truncate(folder / "huge.csv", 1 << 40)  # a hole: it takes no room
    edit("case.toml", file, name)
    (fault,) = (fault for fault in broken() if name in fault.found)
    assert ("1,099,512 MB" if name == "huge.csv" else "device") in fault.found


def test_a_huge_case_and_a_huge_list(edit: Edit, folder: Path) -> None:
    (folder / "huge.csv").touch()
    os.truncate(folder / "huge.csv", 1 << 40)
    edit("case.toml", 'dist = "lognormal", p90 = 0.2, p10 = 1.0', 'dist = "empirical", file = "huge.csv"')
    assert "1,099,512 MB" in only_fault(folder / "case.toml").found
    os.truncate(folder / "case.toml", 1 << 40)
    assert "1,099,512 MB" in only_fault(folder / "case.toml").found


def test_a_row_of_a_hundred_thousand_cells(folder: Path) -> None:
    """Told within seconds: the time grows with the cells, not with their square."""
    columns = ",".join(f"c{k}" for k in range(100_000))
    (folder / "prices.csv").write_text(f"{columns},c7\n", encoding="utf-8")
    began = time.monotonic()
    assert "the column 'c7' twice" in only_fault(folder / "case.toml").found
    assert time.monotonic() - began < 5.0  # 0.1 s; by the square 100 s
