"""The command line. Exit codes: 0 done, 2 bad input, 1 failure or a batch of which a part was refused."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from errno import EDQUOT, EFBIG, ENAMETOOLONG, ENOSPC
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, Any

from refracmc.arguments import command_line

if TYPE_CHECKING:
    from refracmc.errors import Fault

DONE, FAILED, BAD_INPUT = 0, 1, 2


def _say_faults(faults: Sequence[Fault], well: str | None = None, case: str = "") -> None:
    """One line a fault; case: its file, where one call has several."""
    for fault in faults:
        before, text = f"{case}: " if case else "", str(fault)
        if case:  # its file once, whole
            text = text.removeprefix(f"{case}: ").removeprefix(f"{Path(case).name}: ")
        if well and not text.startswith(f"{well}, "):  # a row that is no well is called by its place
            before += f"well {well}: "
        print(f"refracmc: {before}{text}", file=sys.stderr)


def _new(folder: str, count: int | None) -> int:
    from refracmc.case.starter import write_starter

    for path in write_starter(folder, count):
        print(path)
    return DONE


def _check(cases: Sequence[str]) -> int:
    from refracmc.commands.check import check_case
    from refracmc.errors import InputError

    bad = False
    for path in cases:
        case = path if len(cases) > 1 else ""
        try:
            report = check_case(path)
        except InputError as error:
            _say_faults(error.faults, error.well, case)
            bad = True
            continue
        for well, faults in report.refused.items():
            _say_faults(faults, well, case)
            bad = True
        print(report.text)
    return BAD_INPUT if bad else DONE


def _run(cases: Sequence[str], **given: Any) -> int:
    from refracmc.interrupts import held

    with held():
        from refracmc.commands.run import run_batch

    outcome = run_batch(cases, **given)
    several = len(cases) > 1
    for case, well, faults in outcome.refused:
        _say_faults(faults, well, case if several else "")
    for case, failure in outcome.failures:
        print(f"refracmc: {f'{case}: ' if several else ''}{failure}", file=sys.stderr)
    for result in outcome.done:
        print(result.text)
    if outcome.failures or (outcome.refused and outcome.done):
        return FAILED
    return BAD_INPUT if outcome.refused else DONE


def _job(case: str, json: bool, steps: bool, **given: Any) -> int:
    from refracmc.commands.job import plan_job
    from refracmc.engine.executors import default_workers

    report = plan_job(case, workers=default_workers(), **given)
    print(report.json() if json else f"{report.text(steps)}\n{report.folder}")
    return _end_with(report.refused)


def _end_with(refused: Mapping[str, Sequence[Fault]]) -> int:
    """Say what the wells were refused for, and the exit code of a command that did the others."""
    for well, faults in refused.items():
        _say_faults(faults, well)
    return FAILED if refused else DONE


def _trace(case: str, json: bool, **given: Any) -> int:
    from refracmc.commands.trace import trace_trial

    trace = trace_trial(case, **given)
    print(trace.json() if json else trace.text())
    return DONE


def _orders(case: str, **given: Any) -> int:
    from refracmc.commands.orders import find_orders

    report = find_orders(case, **given)
    print(f"{report.text}\n{report.folder}")
    return DONE


def _forecast(case: str, **given: Any) -> int:
    from refracmc.commands.forecast import write_forecasts

    report = write_forecasts(case, **given)
    print(report.text)
    return _end_with(report.refused)


def _hindcast(histories: Sequence[str], **given: Any) -> int:
    from refracmc.commands.hindcast import hindcast

    print(hindcast(histories, **given).text)
    return DONE


def _difference(before: str, after: str, json: bool, **given: Any) -> int:
    from refracmc.commands.difference import run_difference

    found = run_difference(before, after, **given)
    print(found.json() if json else found.text())
    return DONE


def _portfolio(case: str, json: bool, **given: Any) -> int:
    from refracmc.interrupts import held

    with held():
        from refracmc.commands.portfolio import review_portfolio

    report = review_portfolio(case, **given)
    print(report.json() if json else report.text)
    return DONE


def _explain(words: list[str], html: str | None) -> int:
    from refracmc.commands.explain import explain, write_page

    print(explain(words, command_line()) if html is None else write_page(html, command_line()), flush=True)
    return DONE


_COMMANDS: dict[str, Callable[..., int]] = {
    "new": _new,
    "check": _check,
    "run": _run,
    "job": _job,
    "trace": _trace,
    "orders": _orders,
    "forecast": _forecast,
    "hindcast": _hindcast,
    "difference": _difference,
    "portfolio": _portfolio,
    "explain": _explain,
}


def _print_what_can_be() -> None:
    """A character that the terminal does not have is escaped: it fails no command that has done its work."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code. Without arguments, as a program does, those of the process are taken."""
    code = _main(arguments)
    if arguments is None:
        from refracmc.interrupts import ignore_from_now_on

        ignore_from_now_on()
    return code


def _main(arguments: Sequence[str] | None) -> int:
    _print_what_can_be()
    options = vars(command_line().parse_args(arguments))
    command = _COMMANDS[options.pop("command")]
    from refracmc.errors import InputError, RunFailure, beyond_numbers
    from refracmc.interrupts import remembered

    try:
        with remembered():
            return command(**options)
    except InputError as error:
        _say_faults(error.faults, error.well)
        return BAD_INPUT
    except RunFailure as error:
        print(f"refracmc: {error}", file=sys.stderr)
        return FAILED
    except (ValueError, ArithmeticError, MemoryError) as error:
        print(f"refracmc: {beyond_numbers(error)}", file=sys.stderr)
        return FAILED
    except KeyboardInterrupt:
        print("refracmc: interrupted; finished blocks are kept: run again with --resume", file=sys.stderr)
        return FAILED
    except BrokenPipeError:
        sys.stderr.close()
        return FAILED
    except OSError as error:
        named = f"{error.filename}: " if error.filename else ""
        more = "; free space or choose another place" if error.errno in (ENOSPC, EDQUOT, EFBIG) else ""
        print(f"refracmc: {named}{error.strerror or error}{more}", file=sys.stderr)
        return BAD_INPUT if error.errno == ENAMETOOLONG else FAILED
