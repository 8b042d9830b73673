"""Lines of keys in a TOML file: right, or none given.

Oracle: a writer of random TOML that notes the line on which it writes each key, and tomllib for what a text says.
"""

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refracmc.case.key_lines import LineFinder, key_lines
from refracmc.case.load import load_case
from refracmc.errors import Fault, InputError

Edit = Callable[[str, str, str], None]
KeyPath = tuple[str | int, ...]
NAMES = st.one_of(
    st.sampled_from(
        ["a", "b", "c", "wells", "id", "a.b", "1", "é", "", 'q"q', "x\ty", "# no", "[t]", "a = 1"]
    ),
    st.text(max_size=4).filter(lambda text: "\r" not in text),
)
SCALARS = (
    "1", "-2.5e3", "+inf", "true", "2026-10-01 10:00:00", "07:32:00", '"text"', "'it [is] # so'", '""', "''",
    '"a\\"] = # \\\\"', '"""\nb = 1\n[c]\n"" \\""" \\\n  end"""', "'''\n[[wells]]\n'd' = 2\n'''", '"""x"""""',
)  # fmt: skip
SPACES = ("", " ", "\t ", "  ")


class Writer:
    """Writes a random document and notes the line of every key and list item."""

    def __init__(self, draw: Any) -> None:
        self.draw, self.text = draw, ""
        self.lines: dict[KeyPath, int] = {}

    def pick(self, *choices: Any) -> Any:
        return self.draw(st.sampled_from(choices))

    def names(self, most: int) -> list[str]:
        return list(self.draw(st.lists(NAMES, max_size=most, unique=True)))

    def put(self, text: str) -> None:
        self.text += text

    def note(self, path: KeyPath) -> None:
        self.lines.setdefault(path, self.text.count("\n") + 1)

    def key(self, name: str) -> str:
        bare = name != "" and all(sign.isascii() and (sign.isalnum() or sign in "-_") for sign in name)
        if bare and self.pick(True, True, False):
            return name
        if name.isprintable() and "'" not in name and self.pick(True, False):
            return f"'{name}'"
        codes = {"\t": "\\t", '"': '\\"', "\\": "\\\\"}
        return '"' + "".join(codes.get(s, s if s.isprintable() else f"\\U{ord(s):08x}") for s in name) + '"'

    def between(self) -> None:
        """What may stand between items of a list."""
        self.put(self.pick("", " ", "\n", "# ] , }\n", "\r\n  "))

    def value(self, path: KeyPath, depth: int) -> None:
        kind = self.pick("scalar", "scalar", "list", "inline") if depth else "scalar"
        if kind == "scalar":
            self.put(self.pick(*SCALARS))
        elif kind == "list":
            self.put("[")
            count = self.pick(0, 1, 3)
            for k in range(count):
                self.between()
                self.note((*path, k))
                self.value((*path, k), depth - 1)
                self.between()
                if k < count - 1 or self.pick(True, False):
                    self.put(",")
            self.between()
            self.put("]")
        else:
            self.put("{" + self.pick(*SPACES))
            for k, name in enumerate(self.names(3)):
                self.put("," if k else "")
                self.pair(path, name, depth - 1)
            self.put("}")

    def pair(self, path: KeyPath, name: str, depth: int) -> None:
        path = (*path, name)
        self.put(self.pick(*SPACES))
        self.note(path)
        self.put(self.key(name))
        if self.pick(True, False, False):
            for inner in self.names(2) or ["z"]:
                path = (*path, inner)
                self.note(path)
                self.put(f"{self.pick(*SPACES)}.{self.pick(*SPACES)}{self.key(inner)}")
        self.put(f"{self.pick(*SPACES)}={self.pick(*SPACES)}")
        self.value(path, depth)
        self.put(self.pick(*SPACES))

    def ending(self) -> None:
        self.put(self.pick("\n", "\r\n", " # [x] = \n", "\n\n# y = 1\n"))

    def head(self, path: KeyPath, listed: bool) -> None:
        names = [self.key(str(part)) for part in path if isinstance(part, str)]
        inside = f"{self.pick(*SPACES)}.{self.pick(*SPACES)}".join(names)
        space = self.pick(*SPACES)
        self.put(f"[[{space}{inside}{space}]]" if listed else f"[{space}{inside}{space}]")

    def implied(self, path: KeyPath) -> None:
        for k in range(1, len(path)):
            self.note(path[:k])

    def table(self, path: KeyPath, depth: int) -> None:
        names = self.names(6)
        pairs, tables = names[:3], names[3:] if depth else []
        if path and not isinstance(path[-1], int) and (pairs or not tables or self.pick(True, False)):
            self.implied(path)
            self.lines[path] = self.text.count("\n") + 1
            self.head(path, listed=False)
            self.ending()
        elif path and not isinstance(path[-1], int):
            pairs = []
        for name in pairs:
            self.pair(path, name, 2)
            self.ending()
        for name in tables:
            inner: KeyPath = (*path, name)
            if self.pick(True, False):
                self.table(inner, depth - 1)
                continue
            for k in range(self.pick(1, 2)):
                self.implied(inner)
                self.note(inner)
                self.note((*inner, k))
                self.head(inner, listed=True)
                self.ending()
                self.table((*inner, k), depth - 1)


@st.composite
def documents(draw: Any) -> Writer:
    writer = Writer(draw)
    writer.table((), 3)
    return writer


@given(documents())
def test_every_line_is_the_one_it_was_written_on(written: Writer) -> None:
    lines = key_lines(written.text, tomllib.loads(written.text))
    assert lines == written.lines


@given(documents(), st.data())
def test_no_text_stops_the_search(written: Writer, data: st.DataObject) -> None:
    """What is cut, or has rubbish in it, and is still TOML: no line that lacks the name of its key."""
    at = data.draw(st.integers(0, len(written.text)))
    more = data.draw(
        st.sampled_from(["", "\n", '"', "'''", "]", "x = 1\n", "[x]\n", "[[x]]\n", "#", "é", "\\", "}"])
    )
    text = written.text[:at] + more + data.draw(st.sampled_from([written.text[at:], ""]))
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raw = {}
    rows = text.split("\n")
    for path, line in key_lines(text, raw).items():
        name = str(path[-1])
        if isinstance(path[-1], str) and name.isascii() and name.isalnum():
            assert name in rows[line - 1]


def test_no_line_where_the_walk_does_not_find_what_was_read() -> None:
    """Negative control: a text and what was read of another."""
    assert key_lines("a = 1\n", {"a": 1}) == {("a",): 1}
    assert key_lines("a = 1\n", {"b": 1}) == {}
    assert key_lines("a = [1, 2]\n", {"a": [1]}) == {}
    assert key_lines("a = = 1\n", {"a": 1}) == {}
    assert key_lines("a = " + "[" * 9000 + "]" * 9000, {"a": 1}) == {}


def test_two_keys_that_faults_write_alike_have_no_line() -> None:
    text = 'a.b = 1\n"a.b" = 2\nc = 3\n'
    finder = LineFinder("case.toml", text, tomllib.loads(text))
    assert [finder.with_line(Fault(f"case.toml: {key}", "", "", "")).line for key in ("a.b", "c")] == [
        None,
        3,
    ]
    assert finder.with_line(Fault("other.csv: row 3", "", "", "")).line is None


FAULTS: dict[str, tuple[str, str, str, str]] = {
    "key of a table": ("close_chance = 0.9", "close_chance = 9", "job.close_chance", "close_chance = 9"),
    "inline table": (
        "close_chance = 0.9",
        'close_chance = { dist = "uniform", low = 2, high = 1 }',
        "job.close_chance",
        "low = 2",
    ),
    "dotted key": ("[job.cost]\n", "cost.mobilization_usd = 1\ncost.", "job.cost.mobilization_usd", "mobilization"),
    "unknown table": ("[job.cost]", "[jobs]\n[job.cost]", "jobs", "[jobs]"),
    "missing key: its inline table": (
        "pairs = [{",
        'pairs = [\n{ a = "response.uplift", b = "response.oil_ratio" },\n{',
        "dependence.pairs[1].rank_correlation",
        "oil_ratio",
    ),
    "missing key: its table of a list": (
        "[strategies]",
        '[[wells]]\nid = "C"\nhistory = "history.csv"\n[strategies]',
        "wells.C",
        "[[wells]]",
    ),
    "item of a list": (
        'dates = ["2027-01", "2028-01"]',
        'dates = [\n"2027-01",\n"2026-01"]',
        "strategies.dates",
        "dates = [",
    ),
    "other units": ("toe_md_ft = 12000", "toe_md_m = -4", "wells.A.completion.toe_md_ft", "toe_md_m"),
    "a well's own key": (
        "[wells.interests]",
        "[wells.job]\nclose_chance = 7\n[wells.interests]",
        "wells.A.job.close_chance",
        "close_chance = 7",
    ),
    "key that a well shares": (
        "[wells.interests]",
        "[wells.strategies.custom_orders]\nmine = [9]\n[wells.interests]",
        "wells.A.strategies.custom_orders.mine",
        "mine = [9]",
    ),
    "second well": ("net_revenue = 0.7", 'net_revenue = 0.7\n[[wells]]\nid = "A"', "wells[2].id", 'id = "A"'),
    "text that does not print": (
        'name = "small"',
        'name = "small"\ntitle = "\\u202e"',
        "title",
        "title =",
    ),
    "file that is not there": (
        'tally = "sleeves.csv"',
        'tally = "sleves.csv"',
        "wells.A.tally",
        "sleves.csv",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_names_the_line_of_its_key(edit: Edit, folder: Path, name: str) -> None:
    """The line is that of the text that was put in."""
    old, new, key, mark = FAULTS[name]
    edit("case.toml", old, new)
    rows = (folder / "case.toml").read_text("utf-8").split("\n")
    try:
        faults = [fault for faults in load_case(folder / "case.toml").refused.values() for fault in faults]
    except InputError as error:
        faults = list(error.faults)
    lines = {fault.line for fault in faults if fault.where.startswith(f"case.toml: {key}")}
    assert len(lines) == 1
    (line,) = lines
    assert line is not None
    assert mark in rows[line - 1]
    assert any(str(fault).startswith(f"case.toml:{line}: {key}") for fault in faults)


def test_a_fault_of_what_a_well_shares_names_the_shared_line(edit: Edit, folder: Path) -> None:
    """A key that a well does not state stands where all wells have it; one that nobody states, at the well."""
    text = (folder / "case.toml").read_text("utf-8")
    finder = LineFinder("case.toml", text, tomllib.loads(text))
    rows = text.split("\n")
    for key, mark in (
        ("wells.A.strategies.orders", "orders ="),
        ("wells.B.job.close_chance", "close_chance"),
        ("wells.B.response.uplift", "uplift ="),
        ("wells.B.job.reopen_chance", 'id = "B"'),
    ):
        line = finder.with_line(Fault(f"case.toml: {key}", "", "", "")).line
        assert line is not None
        if mark.startswith("id"):
            assert rows[line - 1] == "[[wells]]"
            assert rows[line] == mark
        else:
            assert mark in rows[line - 1]
