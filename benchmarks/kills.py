"""Runs killed at random moments, then resumed: the bytes of a run that nothing disturbed.

    python -m benchmarks.kills --kills 30 --interrupts 20 --seed 1

A run of the starter case is killed (the parent alone, its whole group, one of its workers, a resumed run once more)
and ended by `--resume`. Every file, and the manifest but its part `host`, has to be that of the undisturbed run.
Interrupts from the keyboard have to end with the one line and exit code 1. Needs a POSIX system.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from refracmc.case.starter import write_starter

LINE = "refracmc: interrupted; finished blocks are kept: run again with --resume"
HOW = ("parent", "group", "group", "worker", "twice")
Bytes = dict[str, bytes]


def folder_bytes(folder: Path) -> Bytes:
    """Every file under a folder by its path, of a manifest all but its part `host`."""
    found = {}
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        data = path.read_bytes()
        if path.name == "manifest.json":
            data = json.dumps({key: part for key, part in json.loads(data).items() if key != "host"}).encode()
        found[path.relative_to(folder).as_posix()] = data
    return found


def _start(case: Path, out: Path, *more: str) -> subprocess.Popen[str]:
    words = [
        sys.executable,
        "-m",
        "refracmc",
        "run",
        str(case),
        "--out",
        str(out),
        "--trials",
        "600",
        "--workers",
        "2",
    ]
    return subprocess.Popen(
        [*words, *more],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )


def _workers(parent: int) -> list[int]:
    found = []
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            number, rest = status.read_text().split(" (", 1)
        except OSError:
            continue
        if int(rest.rpartition(") ")[2].split()[1]) == parent:
            found.append(int(number))
    return found


def _disturbed(
    draw: random.Random, case: Path, out: Path, how: str, seconds: float, *more: str
) -> tuple[int, str]:
    """Start a run, send it a signal after some time; its exit code and what it said."""
    with _start(case, out, *more) as run:
        time.sleep(draw.uniform(0.1, seconds))
        try:
            if how == "interrupt":
                os.killpg(run.pid, signal.SIGINT)
            elif how == "worker":
                for worker in _workers(run.pid)[:1]:
                    os.kill(worker, signal.SIGKILL)
            elif how == "parent":
                os.kill(run.pid, signal.SIGKILL)
            else:
                os.killpg(run.pid, signal.SIGKILL)
        except ProcessLookupError:
            pass
        said = run.stderr.read() if run.stderr else ""
    return run.returncode, said


def _difference(found: Bytes, wanted: Bytes) -> str | None:
    names = [name for name in {*found, *wanted} if found.get(name) != wanted.get(name)]
    return f"other bytes than those of the undisturbed run: {', '.join(sorted(names)[:9])}" if names else None


def try_one(
    draw: random.Random, case: Path, out: Path, how: str, seconds: float, wanted: Bytes
) -> tuple[str, str | None]:
    """One run disturbed and resumed; what became of it, and which rule it broke or None."""
    code, said = _disturbed(draw, case, out, how, seconds)
    if how == "twice":
        code, said = _disturbed(draw, case, out, how, seconds, "--resume")
    last = said.strip().splitlines()[-1:] or [""]
    if "Traceback" in said:
        return "said", f"a traceback, exit code {code}:\n{said}"
    if how == "interrupt" and code != 0 and (code != 1 or last != [LINE] or said.count("refracmc: ") != 1):
        return "said", f"exit code {code}:\n{said}"
    if how == "worker" and code not in (0, 1):
        return "said", f"exit code {code}:\n{said}"
    with _start(case, out, "--resume") as again:
        said = again.stderr.read() if again.stderr else ""
    if again.returncode != 0:
        return "resumed", f"--resume ended with {again.returncode}:\n{said}"
    broken = _difference(folder_bytes(out), wanted)
    return f"exit code {code}", broken


def main() -> int:
    """Run from the command line; 1 where a rule was broken."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=30)
    parser.add_argument("--interrupts", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as place:
        case, out = Path(place) / "case" / "case.toml", Path(place) / "out"
        write_starter(str(case.parent))
        for name in ("first", "whole"):  # the first may have to compile
            began = time.monotonic()
            with _start(case, Path(place) / name, "--quiet") as run:
                said = run.stderr.read() if run.stderr else ""
            if run.returncode:
                raise SystemExit(said)
        seconds, wanted = time.monotonic() - began, folder_bytes(Path(place) / "whole")
        print(f"undisturbed: {seconds:.1f} s, {len(wanted)} files", flush=True)
        plan = [HOW[k % len(HOW)] for k in range(given.kills)] + ["interrupt"] * given.interrupts
        for number, how in enumerate(plan):
            draw = random.Random(f"{given.seed}-{number}")
            shutil.rmtree(out, ignore_errors=True)
            outcome, broken = try_one(draw, case, out, how, seconds, wanted)
            counts[f"{how}: {outcome}"] += 1
            print(f"{number} {how}: {outcome}{'' if broken is None else f': BROKEN: {broken}'}", flush=True)
            counts["broken"] += broken is not None
    print(", ".join(f"{name}: {count}" for name, count in sorted(counts.items())))
    return 1 if counts["broken"] else 0


if __name__ == "__main__":
    sys.exit(main())
