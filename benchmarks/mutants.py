"""Damaged cases through `check`, and some through `run`: exit codes 0, 1 and 2 only, and a message for every fault.

    python -m benchmarks.mutants --mutants 1500 --seed 1 --run-every 20

Every mutant is the starter case with its history, tally or deck, or itself, damaged in one to three places. What is
held: no exception leaves the command line, no command takes longer than --patience seconds, a refusal says something
on standard error, and nothing is written outside the output folder. A mutant that breaks a rule is kept.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import random
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from refracmc import cli
from refracmc.case.starter import write_starter

TRIALS = "600"
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


ON_CASE: tuple[Text, ...] = (_value, _value, _value, _scaled, _scaled, _line, _line, _added, _cut, _rubbish)
ON_TABLES: tuple[Text, ...] = (
    _cell,
    _cell,
    _cell,
    _column,
    _column,
    _line,
    _cut,
    _rubbish,
    _long,
    _separators,
)
ENCODINGS = ("utf-8", "utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16", "latin-1", "cp037")


def write_mutant(folder: Path, starter: dict[str, str], seed: int, number: int) -> list[str]:
    """Write one damaged case into a folder; what was done to it, in words."""
    draw = random.Random(f"{seed}-{number}")
    texts, done = dict(starter), []
    for _ in range(draw.choice((1, 1, 1, 2, 3))):
        name = draw.choice(("case.toml", "case.toml", *sorted(texts.keys() - {"case.toml"})))
        damage = draw.choice(ON_CASE if name == "case.toml" else ON_TABLES)
        texts[name] = damage(draw, texts[name])
        done.append(f"{name} {damage.__name__[1:]}")
    for name, text in texts.items():
        encoding = draw.choice(ENCODINGS) if f"{name} rubbish" in done else "utf-8"
        (folder / name).write_bytes(text.encode(encoding, "replace"))
    return done


class TookTooLong(BaseException):
    """A command that did not come back in time."""


def call(words: list[str], patience: float) -> tuple[int | str, str, float]:
    """The exit code of a command line or the traceback that left it, what it said on standard error, seconds."""
    said, began = io.StringIO(), time.monotonic()

    def late(number: int, frame: Any) -> None:
        raise TookTooLong

    before = signal.signal(signal.SIGALRM, late)
    signal.setitimer(signal.ITIMER_REAL, patience)
    code: int | str
    try:
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(said):
            code = cli.main(words)
    except SystemExit as left:
        code = left.code if isinstance(left.code, int) else f"left with {left.code!r}"
    except BaseException:
        code = traceback.format_exc()
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
    return code, said.getvalue(), time.monotonic() - began


def broken_rule(code: int | str, said: str) -> str | None:
    """Which rule a command broke, or None."""
    if code not in (cli.DONE, cli.FAILED, cli.BAD_INPUT):
        return f"exit code or exception: {code}"
    if "Traceback" in said:
        return "a traceback on standard error"
    if any(ord(sign) < 32 and sign not in "\n\r\t" for sign in said):
        return "a control character on standard error"
    if code != cli.DONE and "refracmc: " not in said:
        return "refused without a message"
    return None


def try_mutants(mutants: range, seed: int, run_every: int, patience: float, kept: Path) -> Counter[str]:
    """All mutants of these numbers; counts of commands by exit code, of broken rules under `broken`."""
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as place:
        first = Path(place) / "starter"
        write_starter(str(first))
        starter = {path.name: path.read_text("utf-8") for path in first.iterdir()}
        for number in mutants:
            around = Path(place) / f"mutant-{number}"
            folder, out = around / "case", around / "out"
            folder.mkdir(parents=True)
            done = write_mutant(folder, starter, seed, number)
            case, stood = str(folder / "case.toml"), sorted(folder.iterdir())
            commands = [("check", ["check", case], patience)]
            if run_every and number % run_every == 0:
                run = ["run", case, "--out", str(out), "--trials", TRIALS, "--workers", "1", "--quiet"]
                commands.append(("run", run, 60 * patience))
            for name, words, seconds in commands:
                code, said, took = call(words, seconds)
                counts[f"{name} {code if isinstance(code, int) else 'broken'}"] += 1
                rule = broken_rule(code, said)
                if rule is None and (
                    sorted(folder.iterdir()) != stood or set(around.iterdir()) - {folder, out}
                ):
                    rule = "written outside the output folder"
                if rule is None and name == "check" and out.exists():
                    rule = "written by check"
                if rule is not None:
                    counts["broken"] += 1
                    print(
                        f"mutant {number}: {name}: {', '.join(done)}: {took:.1f} s: {rule}\n{said[:2000]}",
                        flush=True,
                    )
                    shutil.copytree(folder, kept / str(number), dirs_exist_ok=True)
                if code == cli.FAILED:
                    print(f"mutant {number}: {name} failed: {', '.join(done)}: {said[:500]}", flush=True)
            shutil.rmtree(around)
    return counts


def main() -> int:
    """Run from the command line; 1 where a rule was broken."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--mutants", type=int, default=1500)
    parser.add_argument("--first", type=int, default=0, help="number of the first mutant")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--run-every", type=int, default=20, metavar="N", help="run every N-th too; 0: none")
    parser.add_argument(
        "--patience", type=float, default=10.0, metavar="SECONDS", help="for check; run: 60 times this"
    )
    parser.add_argument(
        "--kept", type=Path, default=Path("mutants"), metavar="DIR", help="of mutants that broke a rule"
    )
    given = parser.parse_args()
    numbers = range(given.first, given.first + given.mutants)
    counts = try_mutants(numbers, given.seed, given.run_every, given.patience, given.kept)
    print(", ".join(f"{name}: {count}" for name, count in sorted(counts.items())))
    return 1 if counts["broken"] else 0


if __name__ == "__main__":
    sys.exit(main())
