"""Damaged and extreme cases through the command line: exit codes 0, 1 and 2 only, and a message for every fault.

    python -m benchmarks.mutants --mutants 10000 --seed 1 --run-every 20 --workers 2

A mutant is the starter case with its history, tally, deck and list of values, every third time one of three wells in a
table: damaged in one to three places, in its
text or its bytes, or sound and stating keys of the schema at values that each may be allowed. `check` reads every one;
every N-th is then given to `run`, `job`, `forecast`, `orders` or `trace` where it passed, and its history to `hindcast`
whether it did or not. What is held: no exception leaves the command
line, no command takes longer than --patience seconds (six times that for what simulates), a refusal says something
on standard error, nothing is written outside the output folder, and no table holds an infinite number. Some go through
a process of their own too, which has to say the same. A mutant that breaks a rule is kept.
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import hashlib
import io
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchmarks.damage import damage_bytes, damage_text
from benchmarks.stated_keys import state_keys
from refracmc import cli
from refracmc.case.starter import write_starter
from refracmc.measures import MEASURES

TRIALS = "64"
SIMULATED = 6
"""Times the patience with `check` that a command that simulates is given."""
MORE_WELL = """
[[wells]]
id = "W-2"
tally = "sleeves.csv"
main_phase = "oil"
forecast = "type_curve"
[wells.type_curve]
initial_rate_per_d = { dist = "lognormal", p90 = 500, p10 = 1100 }
initial_decline_per_year = 1.8
b = 1.0
first_production = "2024-01"
peak_rate_per_d = 700
"""
MAY_BE_INFINITE = {measure.name for measure in MEASURES if "`inf`" in measure.meaning}
VALUES = "value\n0.2\n0.2\n0.5\n0.9\n1.4\n"


def starter_files(wells: int | None = None) -> dict[str, bytes]:
    """The files of the case that is damaged, by name. wells: so many in a table; None: the starter case."""
    with tempfile.TemporaryDirectory() as place:
        write_starter(str(Path(place) / "starter"), wells)
        files = {path.name: path.read_bytes() for path in (Path(place) / "starter").iterdir()}
    return {**dict(sorted(files.items())), "values.csv": VALUES.encode()}


def write_mutant(folder: Path, starter: dict[str, bytes], seed: int, number: int) -> list[str]:
    """Write one mutant into a folder; what was done to it, in words."""
    draw = random.Random(f"{seed}-{number}")
    files, done = dict(starter), []
    if draw.random() < 0.1:
        files["case.toml"] += MORE_WELL.encode()
    if draw.random() < 0.45:
        files["case.toml"] = state_keys(draw, files["case.toml"].decode()).encode()
        done.append("keys stated")
    tables = sorted(files.keys() - {"case.toml"})
    places = (0, 0, 1, 2) if done else (1, 1, 1, 2, 3)
    for _ in range(draw.choice(places)):
        name = draw.choice(tables if done and draw.random() < 0.8 else ["case.toml", "case.toml", *tables])
        if draw.random() < 0.8:
            text, how = damage_text(draw, name, files[name].decode("utf-8", "replace"))
            files[name] = text.encode("utf-8", "replace")
        else:
            files[name], how = damage_bytes(draw, files[name])
        done.append(f"{name} {how}")
    if draw.random() < 0.03:
        done.append(_as_parquet(draw, files))
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return done


def _as_parquet(draw: random.Random, files: dict[str, bytes]) -> str:
    """One of the tables as Parquet, as CSV reads it or damaged, and the case that names it."""
    import pandas as pd

    name = draw.choice(
        [name.removesuffix(".csv") for name in files if name not in ("case.toml", "values.csv")]
    )
    how = "Parquet"
    try:
        frame = pd.read_csv(io.BytesIO(files[f"{name}.csv"]), comment="#")
        buffer = io.BytesIO()
        frame.to_parquet(buffer)
        data = buffer.getvalue()
    except Exception:  # what is no table is given that name
        data = files[f"{name}.csv"]
    if draw.random() < 0.5:
        data, damage = damage_bytes(draw, data)
        how = f"Parquet {damage}"
    files[f"{name}.parquet"] = data
    files["case.toml"] = files["case.toml"].replace(f"{name}.csv".encode(), f"{name}.parquet".encode())
    return f"{name}.csv {how}"


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
    took = time.monotonic() - began
    return (f"{took:.0f} s" if took > patience and isinstance(code, int) else code), said.getvalue(), took


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


def folder_state(folder: Path, out: Path) -> dict[str, str]:
    """Every path under a folder with the digest of what it holds, but what is under `out`."""
    state = {}
    for path in sorted(folder.rglob("*")):
        if path != out and out not in path.parents:
            data = path.read_bytes() if path.is_file() and not path.is_symlink() else b""
            state[path.relative_to(folder).as_posix()] = hashlib.sha256(data).hexdigest()
    return state


def infinite_cells(out: Path) -> list[str]:
    """Cells of the written tables that hold an infinite number, and JSON files that do.

    A measure whose definition says `inf` may have it: what never comes ranks last.
    """

    def refuse(name: str) -> None:
        raise ValueError(name)

    found = []
    for path in sorted(out.rglob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file))
        head = rows[0] if rows else []
        measure = head.index("measure") if "measure" in head else -1
        found += [
            f"{path.name}: row {k + 1}, {head[at] if at < len(head) else at}: {cell}"
            for k, row in enumerate(rows)
            for at, cell in enumerate(row)
            if cell.strip().lower().lstrip("+-") in ("inf", "infinity")
            and not (cell == "inf" and measure >= 0 and row[measure] in MAY_BE_INFINITE)
        ]
    for path in sorted(out.rglob("*.json")):
        try:
            json.loads(path.read_text("utf-8"), parse_constant=refuse)
        except ValueError as problem:
            found.append(f"{path.name}: {problem}")
    return found


def simulating(number: int, case: str, out: str) -> list[str]:
    """The words of the command that a mutant is given to after `check`."""
    few, out_of = ["--trials", TRIALS], ["--out", out]
    choices = (
        *([["run", case, *out_of, *few, "--workers", "1", "--quiet"]] * 4),
        ["job", case, *out_of, *few],
        ["forecast", case, *out_of, "--quiet"],
        ["orders", case, "--well", "W-1", "--budget", "5", *out_of, *few],
        ["trace", case, "--well", "W-1", "--strategy", "toe_to_heel@2027-01", "--trial", "3", *few],
    )
    return choices[number % len(choices)]


@dataclass(frozen=True)
class Trying:
    """How mutants are tried: seed, which are given to a second command, which to a process of their own, the seconds
    `check` is given, and the folder for those that break a rule."""

    seed: int
    run_every: int
    own_process_every: int
    patience: float
    kept: Path


def try_mutants(mutants: range, trying: Trying) -> Counter[str]:
    """All mutants of these numbers; counts of commands by exit code, of broken rules under `broken`."""
    counts: Counter[str] = Counter()
    starters = starter_files(), starter_files(), starter_files(wells=3)
    with tempfile.TemporaryDirectory() as place:
        for number in mutants:
            around = Path(place) / f"mutant-{number}"
            (around / "case").mkdir(parents=True)
            (around / "here").mkdir()
            done = write_mutant(around / "case", starters[number % 3], trying.seed, number)
            for name, code, took, rule, said in _try_one(around, number, trying):
                counts[f"{name} {code if isinstance(code, int) else 'broken'}"] += 1
                if rule is not None:
                    counts["broken"] += 1
                    print(
                        f"mutant {number}: {name}: {', '.join(done)}: {took:.1f} s: {rule}\n{said}",
                        flush=True,
                    )
                    shutil.copytree(around / "case", trying.kept / str(number), dirs_exist_ok=True)
                elif code == cli.FAILED:
                    print(f"mutant {number}: {name} failed: {', '.join(done)}: {said}", flush=True)
            shutil.rmtree(around)
    return counts


def _try_one(
    around: Path, number: int, trying: Trying
) -> Iterator[tuple[str, int | str, float, str | None, str]]:
    """Each command a mutant is given to: its name, exit code, seconds, the rule it broke, the start of what it said."""
    case, out = str(around / "case" / "case.toml"), around / "out"
    before, home = folder_state(around, out), Path.cwd()
    os.chdir(around / "here")  # what is written beside --out would be here
    try:
        commands = [(["check", case], trying.patience)]
        while commands:
            words, patience = commands.pop(0)
            code, said, took = call(words, patience)
            rule = broken_rule(code, said)
            if rule is None and folder_state(around, out) != before:
                rule = "written outside the output folder"
            if words[0] == "check":
                if rule is None and out.exists():
                    rule = "written by check"
                if trying.own_process_every and number % trying.own_process_every == 0 and rule is None:
                    rule = _unlike_a_process(words, code, said)
                if trying.run_every and number % trying.run_every == 0:
                    history, later = str(around / "case" / "history.csv"), str(out / "hindcast")
                    months = ["--months-in", "24", "--months-out", "12", "--quiet"]
                    more = [["hindcast", history, *months, "--out", later]]
                    if code == cli.DONE:
                        more.append(simulating(number // trying.run_every, case, str(out)))
                    commands += [(words, SIMULATED * trying.patience) for words in more]
            elif rule is None and code == cli.DONE and (cells := infinite_cells(out)):
                rule = f"an infinite number: {cells[:3]}"
            yield words[0], code, took, rule, said[:2000]
    finally:
        os.chdir(home)


def _unlike_a_process(words: list[str], code: int | str, said: str) -> str | None:
    """Whether the same words in a process of their own end otherwise."""
    command = [sys.executable, "-m", "refracmc", *words]
    found = subprocess.run(command, capture_output=True, timeout=120, check=False)
    if found.returncode != code:
        return f"exit code {found.returncode} in a process of its own, {code} here"
    return (
        None if found.stderr.decode("utf-8", "replace") == said else "another message in a process of its own"
    )


def compile_rules() -> None:
    """Give the sound case to every command that simulates, so that no mutant is held to blame for the compiler."""
    with tempfile.TemporaryDirectory() as place:
        (Path(place) / "case").mkdir()
        for name, data in starter_files().items():
            (Path(place) / "case" / name).write_bytes(data)
        for number in range(3, 8):
            words = simulating(number, f"{place}/case/case.toml", f"{place}/out-{number}")
            code, said, _ = call(words, patience=3600.0)
            if code != cli.DONE:
                raise SystemExit(f"the sound case fails: {words[0]}: {code}: {said}")


def main() -> int:
    """Run from the command line; 1 where a rule was broken."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--mutants", type=int, default=10_000)
    parser.add_argument("--first", type=int, default=0, help="number of the first mutant")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--run-every", type=int, default=20, metavar="N", help="simulate every N-th too; 0: none"
    )
    parser.add_argument("--own-process-every", type=int, default=100, metavar="N", help="0: none")
    parser.add_argument("--patience", type=float, default=10.0, metavar="SECONDS", help="for check")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument(
        "--kept", type=Path, default=Path("mutants"), metavar="DIR", help="of mutants that broke a rule"
    )
    given = parser.parse_args()
    trying = Trying(
        given.seed, given.run_every, given.own_process_every, given.patience, given.kept.resolve()
    )
    tried, last, counts = 0, given.first + given.mutants, Counter[str]()
    batches = [range(k, min(k + 50, last)) for k in range(given.first, last, 50)]
    if given.run_every:
        compile_rules()
    with ProcessPoolExecutor(given.workers) as pool:
        for found in pool.map(try_mutants, batches, [trying] * len(batches)):
            counts += found
            tried = min(tried + 50, given.mutants)
            print(f"{tried} of {given.mutants} tried, {counts['broken']} broken", flush=True)
    print(", ".join(f"{name}: {count}" for name, count in sorted(counts.items())))
    return 1 if counts["broken"] else 0


if __name__ == "__main__":
    sys.exit(main())
