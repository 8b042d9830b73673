"""The command line. Exit codes: 0 done, 2 bad input, 1 failure or a batch of which a part was refused."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping, Sequence
from errno import EDQUOT, EFBIG, ENAMETOOLONG, ENOSPC
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, Any

from refracmc import __version__

if TYPE_CHECKING:
    from refracmc.errors import Fault

DONE, FAILED, BAD_INPUT = 0, 1, 2
_CAUTION = (
    "Screening results: not a reserves statement and not investment advice. Pressure, coiled-tubing work and "
    "well control defer to local codes, the operator's procedures and licensed engineers."
)


def _at_least(least: int) -> Callable[[str], int]:
    def read(text: str) -> int:
        try:
            value = int(text)
        except ValueError:
            raise argparse.ArgumentTypeError(f"found '{text}'; allowed: a whole number") from None
        if value < least:
            raise argparse.ArgumentTypeError(f"found {value}; allowed: {least} or more")
        return value

    return read


def _folder(text: str) -> str:
    if not text.strip() or "\0" in text:
        raise argparse.ArgumentTypeError(f"found {text!r}; allowed: the name of a folder")
    return text


# Names of options are those of the arguments of the functions in refracmc.commands, which get them as they are.
_OPTIONS: dict[str, dict[str, Any]] = {
    "--out": {"type": _folder, "default": "outputs", "metavar": "DIR",
              "help": "folder in which the case's own is written; default: outputs"},
    "--trials": {"type": _at_least(2), "metavar": "N",
                 "help": "in place of sampling.trials; job and trace show a run's trials if it is that run's"},
    "--seed": {"type": _at_least(0), "metavar": "N", "help": "in place of sampling.seed, as --trials"},
    "--well": {"metavar": "W", "help": "one well only"},
    "--quiet": {"action": "store_true", "help": "no progress on standard error"},
    "--json": {"action": "store_true", "help": "for a machine: refracmc explain json has its keys"},
}  # fmt: skip
"""Options that several commands have."""


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="refracmc",
        description="Monte Carlo refrac economics for wells with coiled-tubing-shifted sleeves.",
        epilog=_CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"refracmc {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    cases = {"nargs": "+", "metavar": "CASE", "help": "case file"}
    case = {"metavar": "CASE", "help": "case file"}

    def command(name: str, text: str) -> Callable[..., Any]:
        """A command; what it returns adds an argument, or by its name alone an option that several have."""
        made = commands.add_parser(name, help=text, description=f"{text[0].upper()}{text[1:]}.")
        return lambda option, **rule: made.add_argument(option, **{**_OPTIONS.get(option, {}), **rule})

    new = command("new", "write a commented starter case with its CSV files; overwrites nothing")
    new("folder", type=_folder, metavar="DIR", help="folder to write into")
    new("--count", type=int, metavar="N", help="so many invented wells as a table; default: one well")

    check = command("check", "say all that is wrong with a case, or what will run")
    check("cases", **cases)

    run = command("run", "value every strategy of the case's wells, write the results, print the advice")
    run("cases", **cases)
    run("--out")
    run("--trials")
    run("--seed")
    run("--workers", type=_at_least(1), metavar="N", help="processes; default: all processors")
    run(
        "--scheduler",
        metavar="ADDRESS",
        help="evaluate on the workers of this dask scheduler (host:port), or of one started here (local)",
    )
    run("--resume", action="store_true", help="go on with an interrupted run")
    run(
        "--keep-trials",
        action="store_const",
        const=True,
        help="also write every input and measure of every trial",
    )
    run("--quiet")

    job = command("job", "plan, days and cost of the CT job per strategy, without its value")
    job("case", **case)
    for option in ("--well", "--trials", "--seed", "--out", "--json"):
        job(option)
    job("--steps", action="store_true", help="print every step of each order, and every strategy")

    orders = command("orders", "search the stage orders of one well for value, days and exposure")
    orders("case", **case)
    orders("--well", required=True)
    orders("--date", metavar="YYYY-MM", help="month of the job; default: the case's first")
    orders("--budget", type=_at_least(0), default=600, metavar="N", help="orders valued; default: 600")
    for option in ("--out", "--trials", "--seed"):
        orders(option)

    forecast = command(
        "forecast", "page per well: history, fit, residuals, parameters, months set aside, step-ups"
    )
    forecast("case", **case)
    for option in ("--well", "--seed", "--out", "--quiet"):
        forecast(option)

    _add_hindcast(command)

    _add_portfolio(command)

    trace = command("trace", "one trial, complete: inputs, job log, monthly cash flow, reconciled to its NPV")
    trace("case", **case)
    trace("--well", required=True, help="the well")
    trace(
        "--strategy",
        required=True,
        metavar="S",
        help="nothing, ORDER@YYYY-MM or ORDER@TRIGGER; with sizes ORDER+SIZE@...",
    )
    trace(
        "--scenario", metavar="NAME", help="under this scenario of the case; default: the case as it stands"
    )
    trace("--trial", required=True, type=_at_least(0), metavar="N", help="counted from 0")
    for option in ("--trials", "--seed", "--json"):
        trace(option)

    difference = command(
        "difference",
        "two finished runs: inputs that differ, what moved in value and verdict, how much is noise",
    )
    difference("before", metavar="RUN_A", help="folder of a finished run, or of a scenario in one")
    difference("after", metavar="RUN_B", help="the same of the run that is compared with it")
    difference("--out", default=None, help="folder in which difference.csv is written; default: not written")
    difference("--json")

    explain = command("explain", "print the reference: topics, keys of the case, tables, measures, commands")
    explain("words", nargs="*", metavar="TOPIC", help="a topic, a key or another name; without: the topics")
    explain("--html", metavar="FILE", help="write the whole reference as one page")
    return parser


def _add_portfolio(command: Callable[[str, str], Callable[..., Any]]) -> None:
    """The command `portfolio` and its arguments; command: as in `_parser`."""
    portfolio = command(
        "portfolio", "choose among wells: which, with which job, in which month, under capital and crews"
    )
    portfolio("case", metavar="CASE", help="case file, which is run if need be, or folder of a finished run")
    portfolio(
        "--capital",
        action="append",
        default=[],
        metavar="USD",
        help="capital in US$ WI, in all or by year as 2027=8e6; may be given again; in place of the case's",
    )
    portfolio("--crews", type=_at_least(0), metavar="N", help="CT crews and frac crews, N of each")
    portfolio("--risk-weight", metavar="W", help="multiple of the CVaR of the loss taken off the mean")
    portfolio("--time-limit", metavar="S", help="seconds for the choice")
    portfolio(
        "--out", default=None, help="folder of the case's own; default: outputs, or that of the finished run"
    )
    portfolio(
        "--workers", type=_at_least(1), metavar="N", help="processes of the run; default: all processors"
    )
    for option in ("--trials", "--seed", "--json", "--quiet"):
        portfolio(option)


def _add_hindcast(command: Callable[[str, str], Callable[..., Any]]) -> None:
    """The command `hindcast` and its arguments; command: as in `_parser`."""
    hindcast = command(
        "hindcast", "hide the later months of every well, forecast them, and score the forecasts"
    )
    hindcast("histories", nargs="+", metavar="HISTORY", help="CSV or Parquet, many wells a file")
    hindcast("--months-in", required=True, metavar="N", help="months known, from first production; 3 or more")
    hindcast("--months-out", required=True, metavar="M", help="months hidden and forecast")
    hindcast("--phase", default="auto", metavar="P", help="oil, gas or auto; default: auto")
    hindcast(
        "--wells", metavar="FILE", help="table of well_id and area: by it wells teach the prior of each other"
    )
    hindcast(
        "--teach",
        default="field",
        metavar="T",
        help="who teaches by months before a cut-off: other areas and the well's own (field, the default), other "
        "areas alone (areas), nobody",
    )
    hindcast(
        "--undeclared",
        default="list",
        metavar="U",
        help="a well with a hidden month missing is listed and not scored (list, the default) or counts as zero (zero)",
    )
    hindcast("--seed", help="root of the random streams")
    hindcast("--out", help="folder of its files; default: outputs")
    hindcast("--quiet")


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

    print(explain(words, _parser()) if html is None else write_page(html, _parser()), flush=True)
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
    options = vars(_parser().parse_args(arguments))
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
