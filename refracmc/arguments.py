"""The commands and their arguments, as the command line takes them."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any

from refracmc import __version__

_CAUTION = (
    "Screening results: not a reserves statement and not investment advice. Pressure, coiled-tubing work and "
    "well control defer to local codes, the operator's procedures and licensed engineers."
)

Command = Callable[[str, str], Callable[..., Any]]
"""Name and help of a command -> what adds an argument to it."""


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


def command_line() -> argparse.ArgumentParser:
    """The parser of all commands; what a command is called with has the names of its function's arguments."""
    parser = argparse.ArgumentParser(
        prog="refracmc",
        description="Monte Carlo refrac economics for wells with coiled-tubing-shifted sleeves.",
        epilog=_CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"refracmc {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")

    def command(name: str, text: str) -> Callable[..., Any]:
        """A command; what it returns adds an argument, or by its name alone an option that several have."""
        made = commands.add_parser(name, help=text, description=f"{text[0].upper()}{text[1:]}.")
        return lambda option, **rule: made.add_argument(option, **{**_OPTIONS.get(option, {}), **rule})

    _add_those_of_a_case(command)
    _add_those_of_one_well(command)
    _add_hindcast(command)
    _add_portfolio(command)

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


def _add_those_of_a_case(command: Command) -> None:
    """The commands that write, check and run cases; command: as in `command_line`."""
    cases = {"nargs": "+", "metavar": "CASE", "help": "case file"}
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


def _add_those_of_one_well(command: Command) -> None:
    """The commands that look into wells and trials; command: as in `command_line`."""
    case = {"metavar": "CASE", "help": "case file"}
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


def _add_portfolio(command: Command) -> None:
    """The command `portfolio` and its arguments; command: as in `command_line`."""
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


def _add_hindcast(command: Command) -> None:
    """The command `hindcast` and its arguments; command: as in `command_line`."""
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
