"""Commands killed, interrupted, out of disk and run twice at once: then the bytes of one that nothing disturbed.

    python -m benchmarks.kills --kills 200 --interrupts 60 --seed 1

Kinds of kills, in turn: one worker while blocks are evaluated, the whole group, the parent alone, the group while
tables, pictures and page are written, a resumed run once more, a disk that is full from a random write on, two runs
into one folder, and a command that is not `run` while it writes. What came too late is a miss and no kill: another
takes its place. After each, `--resume` (or the command again) has to give every byte of an undisturbed run (of the
manifest all but its part `host`); nothing half written may stand under a final name, no worker may stay behind, and
what ends by itself says one line. Interrupts go to every command at any moment, its start and its end too: one line
and exit code 1, or 0. Only the interpreter's own start, before the package is reached, is its own. Needs Linux.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from benchmarks.disturb import (
    HELD,
    LINE,
    Bytes,
    Command,
    Ended,
    difference,
    files_under,
    folder_bytes,
    half_written,
)
from refracmc.case.starter import write_starter

HOW = ("worker", "group", "parent", "writing", "resumed", "full", "pair", "other")
COMMANDS = ("run", "check", "forecast", "hindcast", "job", "orders", "trace", "explain")
OTHERS = ("forecast", "hindcast", "job", "orders")
REPORT = ("tables", "charts", "summary.csv", "summary.parquet", "report.html", ".report.html.part")
FULL = ("No space left on device", "File too large")
CASE_NAME = "starter"
FILLING = "benchmarks.full_disk"


@dataclass(frozen=True)
class Undisturbed:
    """What a command does if it is left alone: seconds, writes, and the files it leaves in its output folder."""

    seconds: float
    writes: int
    files: Bytes


@dataclass
class Bench:
    """A place with a case, and what every command does with it.

    charts: whether any run draws; rounds: undisturbed calls, of which the last one is measured.
    """

    place: Path
    workers: int = 2
    trials: int = 1100
    charts: bool = True
    rounds: int = 2

    def __post_init__(self) -> None:
        self.case, self.out = self.place / "case" / "case.toml", self.place / "out"
        write_starter(str(self.case.parent))
        text = self.case.read_text()
        self.case.write_text(text.replace("count = 4", "count = 1"))  # a few strategies are quicker
        self.well = next(
            line.split('"')[1] for line in self.case.read_text().splitlines() if line.startswith("id = ")
        )
        self.known: dict[tuple[str, bool], Undisturbed] = {}

    def words(self, name: str, charts: bool = True) -> list[object]:
        """Arguments of a command on the case, its output folder `out`."""
        case, out, history = self.case, self.out, self.case.parent / "history.csv"
        if not (charts and self.charts):
            case = self.case.with_name("plain.toml")
            if not case.exists():
                case.write_text(self.case.read_text().replace("charts = true", "charts = false"))
        return {
            "run": ["run", case, "--out", out, "--trials", self.trials, "--workers", self.workers],
            "check": ["check", case],
            "forecast": ["forecast", case, "--out", out],
            "hindcast": ["hindcast", history, "--months-in", 8, "--months-out", 8, "--out", out],
            "job": ["job", case, "--trials", 64, "--out", out],
            "orders": ["orders", case, "--well", self.well, "--trials", 64, "--budget", 20, "--out", out],
            "trace": ["trace", case, "--well", self.well, "--strategy", "nothing", "--trial", 3],
            "explain": ["explain", "keys"],
        }[name]  # fmt: skip

    def clear(self) -> None:
        """No output folder."""
        shutil.rmtree(self.out, ignore_errors=True)

    def undisturbed(self, name: str, charts: bool = True) -> Undisturbed:
        """What a command does if it is left alone, measured once; the first time may have to compile."""
        charts = charts and self.charts
        if (name, charts) not in self.known:
            count = self.place / "count"
            for _ in range(self.rounds):
                self.clear()
                with Command(
                    0, "open", count, self.out, *self.words(name, charts), module=FILLING
                ) as command:
                    ended = command.end()
                    seconds = time.monotonic() - command.began
                if ended.code:
                    raise SystemExit(f"{name} ends with {ended.code}: {ended.said}")
            self.known[name, charts] = Undisturbed(seconds, int(count.read_text()), folder_bytes(self.out))
        return self.known[name, charts]


def one_line(ended: Ended, *codes: int) -> str | None:
    """The broken rule of what a command said that ended by itself, or None."""
    if "Traceback" in ended.said or ended.code not in codes or (ended.code and len(ended.lines) != 1):
        return f"exit code {ended.code}:\n{ended.said}"
    return None


def ended_the_same(bench: Bench, name: str, charts: bool) -> str | None:
    """Run the command again, `run` with `--resume`; the broken rule, or None."""
    more = ["--resume"] if name == "run" else []
    with Command(*bench.words(name, charts), *more) as command:
        ended = command.end()
    if ended.code:
        return f"again it ended with {ended.code}:\n{ended.said}"
    return difference(folder_bytes(bench.out), bench.undisturbed(name, charts).files)


def finished_or_absent(bench: Bench, charts: bool) -> str | None:
    """The broken rule where the folder of a finished run holds anything but a finished run."""
    stands = {
        name: data for name, data in folder_bytes(bench.out).items() if name.startswith(f"{CASE_NAME}/")
    }
    return difference(stands, bench.undisturbed("run", charts).files) if stands else None


def kill(bench: Bench, draw: random.Random, how: str, charts: bool, *more: str) -> tuple[bool, str | None]:
    """One run killed; whether that hit it, and the broken rule or None."""
    alone, work = bench.undisturbed("run", charts), bench.out / f".{CASE_NAME}.partial"
    with Command(*bench.words("run", charts), *more) as run:
        if how == "worker":
            blocks = draw.randrange(3)
            run.wait_until(lambda: bool(run.workers()) and files_under(work, "blocks") >= blocks)
            time.sleep(draw.uniform(0.0, 0.05))
            workers = run.workers()
            if not workers:
                return False, one_line(run.end(), 0)
            os.kill(draw.choice(workers), signal.SIGKILL)
            ended = run.end()
            return ended.code != 0, one_line(ended, 0, 1)
        if how == "writing":
            files = draw.randrange(1, max(2, sum(not name.endswith(".npy") for name in alone.files)))
            run.wait_until(lambda: files_under(work, *REPORT) >= files)
        else:
            run.wait(draw.uniform(0.1, alone.seconds))
        hit = run.runs
        if how == "parent":
            run.process.kill()
        else:
            run.send(signal.SIGKILL)
        stays = not run.leaves_nobody()
        ended = run.end()
    if stays:
        return hit, "a worker stays behind"
    return hit and ended.code == -signal.SIGKILL, finished_or_absent(bench, charts)


def fill_disk(bench: Bench, draw: random.Random) -> tuple[bool, str | None]:
    """One run whose disk is full from a write on; whether it was hit, and the broken rule or None."""
    full_at, kind = draw.randint(1, bench.undisturbed("run").writes), draw.choice(("open", "bytes"))
    with Command(full_at, kind, bench.place / "count", bench.out, *bench.words("run"), module=FILLING) as run:
        ended = run.end()
    broken = one_line(ended, 0, 1, 2) or finished_or_absent(bench, True)
    if ended.code and not any(text in ended.lines[0] for text in FULL):
        broken = broken or f"write {full_at}, {kind}: {ended.said}"
    if ended.code == 2 and "cannot be written" not in ended.said:
        broken = broken or f"write {full_at}, {kind}: exit code 2: {ended.said}"
    halves = [name for name in folder_bytes(bench.out) if name.endswith(".part")]
    if ended.code and halves:
        broken = broken or f"write {full_at}, {kind}: left {', '.join(halves)}"
    return ended.code != 0, broken


def run_two(bench: Bench, draw: random.Random) -> tuple[bool, str | None]:
    """Two runs into one folder; whether one was told that it is held, and the broken rule or None."""
    more = draw.choice(([], ["--resume"]))
    with Command(*bench.words("run")) as first:
        first.wait(draw.uniform(0.0, 1.5))
        with Command(*bench.words("run"), *more) as second:
            both = (first.end(), second.end())
    for ended in both:
        if broken := one_line(ended, 0, 1):
            return False, broken
        if ended.code and HELD not in ended.lines[0]:
            return False, ended.said
    if both[0].code and both[1].code:
        return False, "both were refused"
    return any(ended.code for ended in both), finished_or_absent(bench, True)


def kill_other(bench: Bench, draw: random.Random) -> tuple[str, bool, str | None]:
    """One command that is not `run` killed while it writes; its name, whether it was hit, the broken rule or None."""
    name = draw.choice(OTHERS)
    alone = bench.undisturbed(name)
    with Command(*bench.words(name)) as command:
        files = draw.randint(1, len(alone.files))
        command.wait_until(lambda: files_under(bench.out, ".") >= files)
        hit = command.runs
        command.send(signal.SIGKILL)
        command.end()
    return name, hit, half_written(folder_bytes(bench.out), alone.files)


def interrupt(bench: Bench, draw: random.Random, name: str) -> tuple[str, str | None]:
    """One command interrupted; what came of it, and the broken rule or None."""
    alone = bench.undisturbed(name)
    moment = draw.choice((draw.uniform(0.0, 0.15), draw.random(), draw.uniform(0.9, 1.05)))
    with Command(*bench.words(name)) as command:
        command.wait(moment * alone.seconds)
        hit = command.runs
        command.send(signal.SIGINT)
        ended = command.end()
    if ended.code == -signal.SIGINT or ("Traceback" in ended.said and "/refracmc/" not in ended.said):
        return "in the interpreter's own start", None
    broken = one_line(ended, 0, 1)
    if ended.code == 1 and ended.lines != [LINE]:
        broken = broken or ended.said
    halves = [path for path in folder_bytes(bench.out) if path.endswith(".part") and ".partial/" not in path]
    if halves:
        broken = broken or f"left {', '.join(halves)}"
    if name != "run":
        broken = broken or half_written(folder_bytes(bench.out), alone.files)
    return "hit" if hit and ended.code else "missed", broken


def try_one(bench: Bench, draw: random.Random, how: str) -> tuple[str, str | None]:
    """One disturbance of a kind (`interrupt COMMAND` for the keyboard's), then the same command again.

    Returns what came of it, `hit` or `missed` or other words, and the broken rule or None.
    """
    bench.clear()
    name, charts = (
        "run",
        how in ("writing", "full", "pair") or how.startswith("interrupt") or draw.random() < 0.3,
    )
    outcome = ""
    if how.startswith("interrupt"):
        name = how.partition(" ")[2]
        outcome, broken = interrupt(bench, draw, name)
    elif how == "full":
        hit, broken = fill_disk(bench, draw)
    elif how == "pair":
        hit, broken = run_two(bench, draw)
    elif how == "other":
        name, hit, broken = kill_other(bench, draw)
        charts = True
    else:
        hit, broken = kill(bench, draw, "group" if how == "resumed" else how, charts)
        if how == "resumed" and broken is None:
            hit, broken = kill(bench, draw, "group", charts, "--resume")
    outcome = outcome or ("hit" if hit else "missed")
    return outcome, broken or ended_the_same(bench, name, charts)


def main() -> int:
    """Run from the command line; 1 where a rule was broken."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=30, help="disturbances that hit")
    parser.add_argument("--interrupts", type=int, default=20, help="of all commands in turn")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as place:
        bench = Bench(Path(place))
        left = {how: (given.kills + len(HOW) - 1 - k) // len(HOW) for k, how in enumerate(HOW)}
        left |= {
            f"interrupt {name}": (given.interrupts + len(COMMANDS) - 1 - k) // len(COMMANDS)
            for k, name in enumerate(COMMANDS)
        }
        number = 0
        while any(left.values()):
            for how in [how for how, count in left.items() if count]:
                draw = random.Random(f"{given.seed}-{number}")
                outcome, broken = try_one(bench, draw, how)
                counts[f"{how}: {outcome}{'' if broken else ', same bytes'}"] += 1
                counts["broken"] += broken is not None
                left[how] -= outcome == "hit" or how.startswith("interrupt")
                print(f"{number} {how}: {outcome}{f': BROKEN: {broken}' if broken else ''}", flush=True)
                number += 1
    for text, count in sorted(counts.items()):
        print(f"{count:6} {text}")
    return 1 if counts["broken"] else 0


if __name__ == "__main__":
    sys.exit(main())
