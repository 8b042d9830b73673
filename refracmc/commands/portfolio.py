"""Choose among the wells of a case: which, with which job, in which month, under capital and crews."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from refracmc import __version__
from refracmc.case.faults import from_validation
from refracmc.case.load import load_case
from refracmc.case.portfolio_section import Portfolio
from refracmc.commands.output_folders import check_folder, make_folder
from refracmc.commands.run import run_case
from refracmc.engine.plan import identity
from refracmc.engine.progress import Progress, Silent
from refracmc.engine.run_folder import read_identity
from refracmc.errors import Fault, InputError
from refracmc.portfolio.finished_run import FinishedRun, has_the_values_of, open_finished

if TYPE_CHECKING:
    from refracmc.portfolio.review import Review

FILES = "portfolio"
"""Folder of the files, in that of the run."""


@dataclass(frozen=True)
class PortfolioReport:
    """Where the files are, what was found in words, and all tables as plain data."""

    folder: Path
    text: str
    content: dict[str, Any]

    def json(self) -> str:
        """The tables as JSON; missing values are null."""
        return json.dumps(self.content, indent=2, allow_nan=False)


def review_portfolio(
    path: str | Path,
    *,
    out: str | Path | None = None,
    trials: int | None = None,
    seed: int | None = None,
    workers: int | None = None,
    capital: Sequence[str] = (),
    crews: int | None = None,
    risk_weight: float | str | None = None,
    time_limit: float | str | None = None,
    quiet: bool = True,
) -> PortfolioReport:
    """Choose among the wells of a case file, which is run first if need be, or of the folder of a finished run.

    out: folder of the case's own, `outputs` for a case file; capital: `USD` or `YEAR=USD` each, in place of what the
    case says; crews: CT crews and frac crews. Writes into `portfolio/` of the run's folder. Raises InputError where the
    request cannot be met, with what clashes.
    """
    path = Path(path)
    progress = Silent() if quiet else Progress()
    given = _given(capital, crews, risk_weight, time_limit)
    if path.is_dir() and not (path / "case.toml").is_file():
        if trials is not None or seed is not None:
            raise _refused("--trials, --seed", "with a finished run", "a case file", "leave them out")
        run = open_finished(path)
        settings = Portfolio()
        progress.note(
            f"{run.name}: portfolio: limits of the options alone; those of [portfolio]: name the case file"
        )
        folder = (path if out is None else Path(out) / run.name) / FILES
        place = path if out is None else Path(out)
    else:
        case = load_case(path).with_sampling(trials, seed)
        settings = case.portfolio
        place = Path("outputs" if out is None else out)
        folder = place / case.name / FILES
        own = identity(case, __version__)
        if not has_the_values_of(place / case.name, case, own):
            is_begun = read_identity(place / f".{case.name}.partial") == own
            run_case(
                path, place, trials=trials, seed=seed, workers=workers, resume=is_begun, progress=progress
            )  # fmt: skip
        run = open_finished(place / case.name)
    settings = _with(settings, given)
    check_folder(folder, place)
    found = _reviewed(run, settings, progress)
    return _written(found, folder)


def _refused(where: str, found: str, allowed: str, remedy: str) -> InputError:
    return InputError(Fault(f"portfolio: {where}", found, allowed, remedy))


def _given(
    capital: Sequence[str], crews: int | None, risk_weight: float | str | None, time_limit: float | str | None
) -> dict[str, Any]:
    """Keys of the section that the options state."""
    given: dict[str, Any] = {"ct_crews": crews, "frac_crews": crews, "risk_weight": risk_weight}
    given = {key: value for key, value in {**given, "time_limit_s": time_limit}.items() if value is not None}
    for key in ("risk_weight", "time_limit_s"):
        if isinstance(given.get(key), str):
            given[key] = _number(f"--{key.removesuffix('_s').replace('_', '-')}", given[key], "a number")
    by_year: dict[str, float] = {}
    for text in capital:
        year, equals, usd = text.rpartition("=")
        value = _number("--capital", usd, "US$ such as 8e6, or YEAR=US$ such as 2027=8e6")
        if equals:
            by_year[year] = value
        else:
            given["capital_usd"] = value
    if by_year:
        given["capital_by_year"] = by_year
    return given


def _number(option: str, text: str, allowed: str) -> float:
    """The number an option states; InputError where it is none."""
    try:
        return float(text)
    except ValueError:
        raise _refused(option, f"'{text}'", allowed, "correct it") from None


def _with(settings: Portfolio, given: dict[str, Any]) -> Portfolio:
    """The settings with those of the options in their place; InputError where one is out of range."""
    try:
        checked = Portfolio.model_validate(given)
    except ValidationError as error:
        faults = from_validation(error, Portfolio, "portfolio", ())
        raise InputError([fault for _, fault in faults]) from None
    made: Portfolio = settings.model_copy(update={key: getattr(checked, key) for key in given})
    return made


def _reviewed(run: FinishedRun, settings: Portfolio, progress: Silent) -> Review:
    from refracmc.portfolio.review import review
    from refracmc.portfolio.selection import NothingFitsError

    try:
        return review(run, settings, lambda step: progress.note(f"{run.name}: portfolio: {step}"))
    except NothingFitsError as refused:
        allowed = "limits and demands that can be met together"
        raise _refused(
            run.name,
            "demands that clash: " + "; ".join(refused.clash),
            allowed,
            "raise one of these limits or drop one of these demands",
        ) from None


def _written(found: Review, folder: Path) -> PortfolioReport:
    """Write the tables; what they say in words."""
    from refracmc.portfolio.review_tables import review_rows
    from refracmc.reporting.portfolio_report import portfolio_words, write_portfolio

    rows = review_rows(found)
    make_folder(folder)
    tables = write_portfolio(found, rows, folder)
    content = {
        "case": found.run.name,
        "trials": sum(found.run.sizes),
        "seed": found.run.seed,
        "percentiles": "exceedance: P90 low, P10 high",
        "settings": settings_told(found.settings),
        **tables,
    }
    return PortfolioReport(folder, f"{portfolio_words(found, rows)}\n{folder}", content)


def settings_told(settings: Portfolio) -> dict[str, Any]:
    """The settings as plain data; distributions in words."""
    plain = settings.model_dump(exclude={"other"})
    others = [
        {**item.model_dump(exclude={"value_usd"}), "value_usd": item.value_usd.describe()}
        for item in settings.other
    ]
    told: dict[str, Any] = json.loads(json.dumps({**plain, "other": others}))
    return told
