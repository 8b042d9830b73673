"""Forecasts made from the early months of many wells, against the months hidden from them: `refracmc hindcast`."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from refracmc.commands.output_folders import check_folder
from refracmc.engine.progress import Progress, Silent
from refracmc.errors import Fault, InputError
from refracmc.production.hidden_months import CHOICES, LEAST

MOST_MONTHS = 3_600
"""Three hundred years: no history has more."""


@dataclass(frozen=True)
class HindcastText:
    """The tables as written, their folder, and the scores in words."""

    table: pd.DataFrame
    scores: pd.DataFrame
    folder: Path
    text: str


def _months(name: str, value: int | str, faults: list[Fault]) -> int:
    least, text = LEAST[name.replace("-", "_")], str(value)[:40]
    allowed = f"a whole number of months, {least} to {MOST_MONTHS:,}"
    try:
        months = int(str(value))
    except ValueError:
        faults.append(Fault(f"hindcast: --{name}", f"'{text}'", allowed, "write it like 24"))
        return least
    if not least <= months <= MOST_MONTHS:
        faults.append(Fault(f"hindcast: --{name}", f"{text} months", allowed, "choose other months"))
    return months


def _text(table: pd.DataFrame, scores: pd.DataFrame, folder: Path) -> str:
    used = int(table["used"].astype(bool).sum())
    lines = [f"{used} of {len(table)} wells scored; the others are listed in hindcast.csv with the reason"]
    shown = scores[(scores["area"] == "") & ((scores["method"] != "fit") | (scores["set"] == "all scored"))]
    head = f"  {'phase':<6}{'method':<16}{'wells':>6}{'in P90-P10':>18}{'below P90':>11}"
    lines.append(head + f"{'above P10':>11}{'loss':>8}{'CRPS':>8}{'bias of sum':>13}")
    for _, row in shown.iterrows():
        inside = f"{row['coverage']:.1%} ± {row['coverage_se']:.1%}"
        lines.append(
            f"  {row['phase']:<6}{str(row['method']).replace('_', ' '):<16}{row['wells']:>6.0f}{inside:>18}"
            f"{row['tail_low']:>11.1%}{row['tail_high']:>11.1%}{row['pinball']:>8.3f}{row['crps']:>8.3f}"
            f"{row['bias_of_sum']:>+13.1%}"
        )
    lines.append("Loss and CRPS: over the sum of the actuals. Least squares: on the wells it could forecast.")
    return "\n".join([*lines, str(folder)])


def hindcast(
    histories: Sequence[str | Path],
    *,
    months_in: int | str,
    months_out: int | str,
    phase: str = "auto",
    wells: str | Path | None = None,
    undeclared: str = "list",
    teach: str = "field",
    seed: int | None = None,
    out: str | Path = "outputs",
    quiet: bool = True,
) -> HindcastText:
    """Hindcast every well of the files with months_in + months_out months and write tables and charts into OUT.

    phase: auto, oil or gas; wells: table of well_id and area; undeclared: list or zero; teach: who of those wells moves
    the prior by months before a cut-off, field (other areas and the well's own), areas or nobody. Raises InputError
    with every fault of the options and files, or where no well has months enough.
    """
    from refracmc.decisions.hindcast_tables import SEED, run_hindcast
    from refracmc.reporting.charts_hindcast import draw_hindcast

    faults: list[Fault] = []
    known, hidden = _months("months-in", months_in, faults), _months("months-out", months_out, faults)
    for name, value in (("phase", phase), ("undeclared", undeclared), ("teach", teach)):
        if value not in CHOICES[name]:
            faults.append(
                Fault(f"hindcast: --{name}", f"'{value}'", ", ".join(CHOICES[name]), "take one of these")
            )
    for path in (*histories, *([] if wells is None else [wells])):
        if not Path(path).is_file():
            found = "a directory" if os.path.isdir(path) else "no file there"
            faults.append(Fault(str(path) or "''", found, "a CSV or Parquet file", "check the path"))
    if faults:
        raise InputError(faults)
    check_folder(Path(out), Path(out))
    progress = Silent() if quiet else Progress()

    def tell(done: int, total: int) -> None:
        if done == 1:
            progress.start("hindcast", total)
        progress.step()

    report = run_hindcast(
        histories,
        known,
        hidden,
        phase=phase,
        wells_file=wells,
        undeclared=undeclared,
        teach=teach,
        out_dir=out,
        seed=SEED if seed is None else seed,
        progress=tell,
    )
    draw_hindcast(report.table, report.baseline, report.integral, Path(out))
    return HindcastText(report.table, report.scores, Path(out), _text(report.table, report.scores, Path(out)))
