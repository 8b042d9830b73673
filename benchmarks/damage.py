"""What is done to a case and its files to make a mutant: damage to the text, and what a file may hold without damage.

Every function takes a source of random choices and a text, and gives the text back, damaged.
"""

from __future__ import annotations

import random
from collections.abc import Callable

WILD = (
    "0", "-0.0", "-1", "1e-320", "1e9", "1e30", "1e308", "-1e308", "inf", "-inf", "nan", "9" * 5000, "0x10", "1_000",
    '"7"', "true", "[]", "[1, 2]", "{}", "2026-10-01", '""', '"\\u202e"', '"\\u001b[2J"', '"=1+1"', '"\\u0000"',
    '"../../up"', '"' + "a" * 300 + '"', "'''\nline\n'''", "[" * 5000, "{ dist = \"lognormal\", p90 = 1, p10 = 1 }",
    '{ dist = "pert", low = 3, mode = 2, high = 1 }', '{ dist = "nothing" }',
    '{ dist = "beta", alpha = 1e-9, beta = 1e9 }',
    '{ dist = "uniform", low = -1e300, high = 1e300 }', '{ dist = "bernoulli", p = 2 }', '{ p90 = 1, p10 = 2 }',
)  # fmt: skip
"""Values put in the place of one of the case."""
CELLS = (
    "", " ", "-", "NA", "nan", "inf", "-5", "1e30", "1e308", "1,5", "12.5.6", "2026-13", "0000-00", "9999-12", "1e5000",
    "\ufeff", "\u202e", "\x1b[2J", "\x00", '"', "é" * 50, "=cmd()", "9" * 400, "2020-06-01T00:00", "06/2020", "0.3048",
)  # fmt: skip
"""Values put in the place of a cell."""
UNITS = (
    "oil_m3",
    "oil_bbl",
    "gas_e3m3",
    "gas_mcf",
    "depth_m",
    "depth_ft",
    "oil_usd_per_m3",
    "sleeve",
    "state",
    "",
)
Text = Callable[[random.Random, str], str]


def _value(draw: random.Random, text: str) -> str:
    lines = text.split("\n")
    at = draw.choice([k for k, line in enumerate(lines) if "=" in line and not line.startswith("#")] or [0])
    key = lines[at].partition("=")[0]
    lines[at] = f"{key}= {draw.choice(WILD)}"
    return "\n".join(lines)


def _scaled(draw: random.Random, text: str) -> str:
    """One number of the text in another unit or of another size."""
    words = text.split(" ")
    numbers = [k for k, word in enumerate(words) if word.strip(",\n").replace(".", "", 1).isdigit()]
    if numbers:
        at = draw.choice(numbers)
        word = words[at].strip(",\n")
        factor = draw.choice((0.3048, 3.28084, 6.2898, 0.0353, 1e3, 1e-3, 1e6, 1e12, -1, 0))
        words[at] = words[at].replace(word, repr(float(word) * factor), 1)
    return " ".join(words)


def _line(draw: random.Random, text: str) -> str:
    """A line dropped, doubled, moved, renamed or taken from elsewhere."""
    lines = text.split("\n")
    at, other = draw.randrange(len(lines)), draw.randrange(len(lines))
    match draw.randrange(5):
        case 0:
            del lines[at]
        case 1:
            lines.insert(at, lines[at])
        case 2:
            lines[at], lines[other] = lines[other], lines[at]
        case 3:
            lines[at] = lines[at].replace("_", draw.choice(("-", "", "__", "é")), 1)
        case _:
            lines.insert(
                at, draw.choice(("[nothing]", "[[wells]]", "[job]", "a.b.c = 1", "= 1", "]", "x" * 9000))
            )
    return "\n".join(lines)


def _added(draw: random.Random, text: str) -> str:
    """Keys that the starter leaves out, with values that may not go together."""
    more = draw.choice((
        "[job.pressure]\ntrue_vertical_depth_ft = 9000\n",
        "[fiscal.income_tax]\nrate = 0.99\nschedule = \"macrs_7\"\nintangible_fraction = 1.0\n",
        "[strategies.triggers]\nlow = { oil_rate_below_bbl_per_d = 1e9 }\n",
        '[[scenarios]]\nname = "high"\n[scenarios.set]\n"response.uplift" = 1.0\n',
        "[outputs]\ncharts = false\n",
        "[wells.response]\nuplift = 1e30\n",
        "[response]\nuplift = 1e200\n",
    ))  # fmt: skip
    return text + "\n" + more


def _cut(draw: random.Random, text: str) -> str:
    return text[: draw.randrange(len(text) + 1)]


def _rubbish(draw: random.Random, text: str) -> str:
    at = draw.randrange(len(text) + 1)
    more = "".join(
        chr(draw.choice((draw.randrange(32), draw.randrange(0x20, 0x300), 0x1F6E2))) for _ in range(9)
    )
    return text[:at] + more + text[at:]


def _cell(draw: random.Random, text: str) -> str:
    rows = [line.split(",") for line in text.split("\n")]
    row = draw.choice(rows)
    row[draw.randrange(len(row))] = draw.choice((*CELLS, *UNITS))
    return "\n".join(",".join(row) for row in rows)


def _column(draw: random.Random, text: str) -> str:
    """A column dropped, doubled, emptied, multiplied or renamed."""
    rows = [line.split(",") for line in text.split("\n") if line]
    if not rows:
        return text
    at, how = draw.randrange(len(rows[0])), draw.randrange(5)
    for k, row in enumerate(rows):
        if at >= len(row):
            continue
        if how == 0:
            del row[at]
        elif how == 1:
            row.insert(at, row[at])
        elif how == 2:
            row[at] = row[at] if k == 0 else ""
        elif how == 3:
            row[at] = row[at] if k == 0 else row[at] + "000000"
        elif k == 0:
            row[at] = draw.choice(UNITS)
    return "\n".join(",".join(row) for row in rows) + "\n"


def _long(draw: random.Random, text: str) -> str:
    """A file of some megabytes, cut short within a row."""
    rows = text.split("\n")
    return (text + "\n".join(rows[1:2] or [""]) * draw.randrange(1, 40_000))[: draw.randrange(1, 2_000_000)]


def _separators(draw: random.Random, text: str) -> str:
    return text.replace(",", draw.choice((";", "\t", ",,", " ", '","')))


def _quoted(draw: random.Random, text: str) -> str:
    """A cell in quotes: with a break of the line, a comma or a quote in it, not closed, or as long as a book."""
    cells = text.split(",")
    at = draw.randrange(len(cells))
    inside = draw.choice(("a\nb", "a,b", 'a""b', "", "x" * 200_000, "\r", cells[at]))
    cells[at] = f'"{inside}' + draw.choice(('"', '"', '"', ""))
    return ",".join(cells)


def _extreme(draw: random.Random, text: str) -> str:
    """A column of numbers that can each be meant, and hardly together: one value, a spike, zeros, a saw."""
    rows = [line.split(",") for line in text.split("\n") if line]
    if len(rows) < 3:
        return text
    at, how = draw.randrange(len(rows[0])), draw.randrange(6)
    value = draw.choice(("0", "1", "0.001", "1e-6", "31", "5000", "250000", "9e6"))
    spike = draw.randrange(1, len(rows))
    for k, row in enumerate(rows[1:], 1):
        if at >= len(row) or not row[at].replace(".", "", 1).isdigit():
            continue
        if how == 0 or (how == 1 and k == spike) or (how == 2 and k % 2) or (how == 3 and k > spike):
            row[at] = value
        elif how == 4:
            row[at] = f"{float(row[at]) * 10.0 ** draw.randrange(-4, 4):.9g}"
        elif how == 5 and k > spike:
            row[at] = "0"
    return "\n".join(",".join(row) for row in rows) + "\n"


def _fewer(draw: random.Random, text: str) -> str:
    """Some rows alone, in their order, turned round or shuffled."""
    head, *rows = text.split("\n")
    kept = (
        [row for row in rows if row and draw.random() < 0.8]
        if draw.random() < 0.5
        else rows[: draw.randrange(9)]
    )
    draw.choice((list.sort, list.reverse, draw.shuffle, len))(kept)  # type: ignore[operator]
    return "\n".join([head, *kept]) + "\n"


ON_CASE: tuple[Text, ...] = (_value, _value, _value, _scaled, _scaled, _line, _line, _added, _cut, _rubbish)
ON_TABLES: tuple[Text, ...] = (
    *(_cell, _cell, _cell, _column, _column, _line, _cut, _rubbish, _long, _separators, _quoted),
    *(_extreme, _extreme, _extreme, _fewer, _fewer),
)


def damage_text(draw: random.Random, name: str, text: str) -> tuple[str, str]:
    """A text of a case or a table damaged once, and what was done."""
    damage = draw.choice(ON_CASE if name.endswith(".toml") else ON_TABLES)
    return damage(draw, text), damage.__name__[1:]


def damage_bytes(draw: random.Random, data: bytes) -> tuple[bytes, str]:
    """The bytes of a file as another program may leave them, or a failing disk."""
    at = draw.randrange(len(data) + 1)
    match draw.randrange(9):
        case 0:
            return data.replace(b"\n", b"\r\n"), "CRLF"
        case 1:
            return data.replace(b"\n", b"\r"), "CR"
        case 2:
            return b"\xef\xbb\xbf" * draw.randrange(1, 3) + data, "BOM"
        case 3:
            encoding = draw.choice(("utf-16", "utf-16-le", "utf-32", "cp037", "utf-7"))
            return data.decode("utf-8", "replace").encode(encoding, "replace"), encoding
        case 4:
            return data[:at], "cut"
        case 5:
            return data[:at] + bytes(draw.randrange(256) for _ in range(20)) + data[at + 20 :], "noise"
        case 6:
            return data[:at] + b"\x00" * draw.choice((1, 4096)) + data[at:], "zero bytes"
        case 7:
            flipped = bytearray(data)
            for _ in range(draw.randrange(1, 30) if data else 0):
                flipped[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
            return bytes(flipped), "flipped bits"
        case _:
            return draw.choice((b"", b"\n", data * 2, data[at:] + data[:at])), "empty, doubled or turned"
