"""A page per well of a case: history and fit, residuals, forecast, parameters, months set aside, step-ups."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from refracmc.case.history_file import SEGMENT_REMEDY
from refracmc.case.history_told import well_told
from refracmc.case.load import load_case
from refracmc.commands.chosen_well import refuse, well_of
from refracmc.commands.output_folders import check_folder
from refracmc.engine.progress import Progress, Silent
from refracmc.engine.well_fit import fit_well, pooled_priors
from refracmc.errors import Fault
from refracmc.production.fit import FitRefused


@dataclass(frozen=True)
class ForecastReport:
    """Where the pages are, the files, the wells refused, and what was found in words."""

    folder: Path
    files: tuple[Path, ...]
    refused: dict[str, tuple[Fault, ...]]
    text: str


def write_forecasts(
    path: str | Path,
    *,
    well: str | None = None,
    seed: int | None = None,
    out: str | Path = "outputs",
    quiet: bool = True,
) -> ForecastReport:
    """Write OUT/<case name>/forecasts/ for all wells with a history, or one; the fits are those of `run`.

    Raises InputError where the well does not exist or has no history to forecast from.
    """
    from refracmc.decisions.forecast_tables import forecast_tables, segment_text, taught_text, uptime_text
    from refracmc.reporting.forecast_page import write_forecast_page

    case = load_case(path).with_sampling(None, seed)
    chosen = [item for item in case.wells if item.forecast == "history"]
    if well is not None:
        _, only = well_of(case, well)
        if only.forecast != "history":
            raise refuse(
                f"{case.path.name}: --well",
                f"'{well}', which is forecast by a type curve",
                "a well with a history",
                "name another well",
            )
        chosen = [only]
    refused = dict(case.refused) if well is None else {}
    folder = Path(out) / case.name / "forecasts"
    check_folder(folder, Path(out))
    files: list[Path] = []
    lines: list[str] = []
    priors = pooled_priors(case)
    progress = Silent() if quiet else Progress()
    progress.start(f"{case.name}: forecasts", len(chosen))
    for item in chosen:
        assert item.history is not None
        try:
            posterior = fit_well(case, item, priors)
        except FitRefused as error:
            allowed = "a history a decline can be fitted to"
            fault = Fault(
                f"{case.path.name}: wells.{item.id}", str(error), allowed, f"add months, or {SEGMENT_REMEDY}"
            )
            refused[item.id] = (case.with_line(fault),)
            progress.step()
            continue
        assert posterior is not None
        files += write_forecast_page(item.history, posterior, folder)
        months = forecast_tables(item.history, posterior, 1)["months"]
        aside = int((~months["used"].astype(bool)).sum())
        lines.append(f"{item.id}: {segment_text(months)}; {aside} of {len(months)} months set aside")
        lines += [f"{item.id}: {uptime_text(posterior)}", f"{item.id}: {taught_text(posterior)}"]
        lines += [f"{item.id}: {sentence}" for sentence in well_told(case, item)]
        progress.step()
    if not chosen:
        lines.append("no well of the case has a history: nothing to show")
    if files:
        lines.append(str(folder))
    return ForecastReport(folder, tuple(files), refused, "\n".join(lines))
