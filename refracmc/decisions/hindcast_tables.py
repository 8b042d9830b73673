"""Tables of a hindcast: forecasts made from the early months, against the months that were hidden from them.

Written into the folder: hindcast.csv (one row per well), hindcast_baseline.csv (the same for the
least-squares yardstick), scores.csv (per phase, and per area and phase where areas are known, for both),
integral.csv (histogram of the probability integral), common_shock.csv and sums.csv (wells of one area and year)."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from refracmc.csv_text import csv_text
from refracmc.errors import Fault, InputError
from refracmc.input_file import MOST_OF_TABLE, read_input
from refracmc.production.hidden_months import Hindcast, HindcastSettings, run, table_row
from refracmc.production.hindcast_sums import common_shock, sums_table
from refracmc.production.least_squares import least_squares_draws
from refracmc.production.sampler import keyed_generator
from refracmc.production.scores import integral_histogram, score
from refracmc.whole_file import write_whole

SEED = 20261101
NEEDED = ("well_id", "date", "oil_bbl", "gas_mcf")


@dataclass(frozen=True)
class HindcastReport:
    """Tables as written: the hindcast, the yardstick's, scores, histogram of the integral, common shock;
    the files."""

    table: pd.DataFrame
    baseline: pd.DataFrame
    scores: pd.DataFrame
    integral: pd.DataFrame
    shock: pd.DataFrame
    files: tuple[Path, ...]


def run_hindcast(
    paths: Sequence[str | Path],
    months_in: int,
    months_out: int,
    phase: str = "auto",
    wells_file: str | Path | None = None,
    undeclared: str = "list",
    out_dir: str | Path = "hindcast",
    seed: int = SEED,
    teach: str = "field",
    progress: Callable[[int, int], None] | None = None,
) -> HindcastReport:
    """Hindcast all wells of the files, score them, and write the tables. Raises InputError with all
    faults.

    paths: tidy histories, CSV or Parquet, many wells a file; months_in, months_out: calendar months from
    first production; phase auto, oil or gas; wells_file: table with well_id and area, without which no
    prior is learned from the wells at hand; teach: who moves the prior, field, areas or nobody; undeclared: list or
    zero; seed: root of the random streams."""
    try:
        settings = HindcastSettings(months_in, months_out, phase, undeclared, seed=seed, teach=teach)
    except ValueError as problem:
        raise InputError(
            Fault("hindcast options", str(problem), "the values named", "correct the option")
        ) from None
    frame = read_histories(paths)
    areas = read_areas(wells_file) if wells_file is not None else None
    result = run(frame, settings, areas, progress)
    if not result.wells:
        raise InputError(_none_left(result.table, settings))
    baseline = yardstick(result, settings)
    scores = score_tables(result.table, baseline)
    integral = integral_histogram(result.table)
    shock = pd.DataFrame(
        [
            {"phase": phase_name} | common_shock(part)
            for phase_name, part in result.table[result.table["used"].astype(bool)].groupby(
                "phase", sort=True
            )
        ],
        columns=["phase", *common_shock(result.table.iloc[:0])],
    )
    folder = Path(out_dir)
    folder.mkdir(parents=True, exist_ok=True)
    files = []
    tables = {
        "hindcast.csv": result.table,
        "hindcast_baseline.csv": baseline,
        "scores.csv": scores,
        "integral.csv": integral,
        "common_shock.csv": shock,
        "sums.csv": sums_table(result.table, result.draws, seed),
    }
    for name, table in tables.items():
        target = folder / name
        write_whole(target, csv_text(table))
        files.append(target)
    return HindcastReport(result.table, baseline, scores, integral, shock, tuple(files))


def _none_left(table: pd.DataFrame, settings: HindcastSettings) -> Fault:
    """The fault of histories of which no well can be hindcast, with the reason met most often."""
    reasons = table["reason"].value_counts()
    most = f"; most often: {reasons.index[0]}" if len(reasons) else ""
    return Fault(
        "hindcast: histories",
        f"{len(table)} wells, none of them with enough history{most}",
        f"a well with {settings.months_in} + {settings.months_out} months from first production on",
        "choose fewer months, or longer histories",
    )


def read_histories(paths: Sequence[str | Path]) -> pd.DataFrame:
    """Read and join tidy histories; well ids as text. Raises InputError naming every file that cannot be
    used."""
    faults: list[Fault] = []
    frames: list[pd.DataFrame] = []
    for path in (Path(p) for p in paths):
        frame = _read(path, faults)
        if frame is None:
            continue
        missing = [c for c in NEEDED if c not in frame.columns]
        if missing:
            allowed = "the columns " + ", ".join((*NEEDED, "water_bbl", "days_on"))
            faults.append(Fault(path.name, f"no column {', '.join(missing)}", allowed, "name the columns so"))
            continue
        frame["well_id"] = frame["well_id"].astype(str)
        frames.append(frame)
    if not paths:
        faults.append(Fault("hindcast", "no history file", "one or more CSV or Parquet files", "name a file"))
    if faults:
        raise InputError(faults)
    return pd.concat(frames, ignore_index=True)


def read_areas(path: str | Path) -> dict[str, str]:
    """Area of each well from a table with the columns well_id and area."""
    faults: list[Fault] = []
    frame = _read(Path(path), faults)
    if frame is not None and not {"well_id", "area"} <= set(frame.columns):
        faults.append(
            Fault(Path(path).name, "no column well_id or area", "both", "give each well the name of its area")
        )
    if faults or frame is None:
        raise InputError(faults)
    known = frame.dropna(subset=["area"])
    return dict(zip(known["well_id"].astype(str), known["area"].astype(str), strict=True))


def _read(path: Path, faults: list[Fault]) -> pd.DataFrame | None:
    allowed = "a CSV or Parquet file that can be read"
    try:
        if path.suffix.lower() in (".parquet", ".pq"):
            return pd.read_parquet(io.BytesIO(read_input(path, MOST_OF_TABLE)))
        return pd.read_csv(io.BytesIO(read_input(path, MOST_OF_TABLE)), dtype={"well_id": str, "area": str})
    except (OSError, ValueError) as problem:
        faults.append(Fault(path.name, str(problem).splitlines()[0], allowed, "check the path and the file"))
        return None


def yardstick(result: Hindcast, settings: HindcastSettings) -> pd.DataFrame:
    """The same table for least squares on log rate; wells it cannot fit are unused, with the reason."""
    rows = []
    for name, well in result.wells.items():
        generator = keyed_generator(settings.seed, "least squares", name)
        try:
            draws = least_squares_draws(well.known, settings.months_out, settings.draws, generator)
        except ValueError as problem:
            row = table_row(name, well, np.zeros(1), str(problem), settings)
            row.update(dict.fromkeys(("mean", "p90", "p50", "p10", "pit", "crps"), np.nan), used=False)
        else:
            row = table_row(name, well, draws, "", settings)
        rows.append(row)
    table = pd.DataFrame(rows, columns=list(result.table.columns))
    return table.sort_values("well_id", kind="stable", ignore_index=True)


def score_tables(table: pd.DataFrame, baseline: pd.DataFrame) -> pd.DataFrame:
    """Scores of both methods per phase and, where known, per area; `wells` tells which wells: all those
    scored, or only those the yardstick could fit as well (the fair comparison), with the loss against
    it."""
    rows: list[dict[str, object]] = []
    both = set(baseline.loc[baseline["used"].astype(bool), "well_id"])
    common = table[table["well_id"].isin(both)]
    groups: list[tuple[str, str, pd.DataFrame, pd.DataFrame, pd.DataFrame]] = []
    for phase in sorted(set(table.loc[table["used"].astype(bool), "phase"])):
        parts = [t[t["phase"] == phase] for t in (table, common, baseline)]
        groups.append((phase, "", parts[0], parts[1], parts[2]))
        for area in sorted(set(parts[0].loc[parts[0]["used"].astype(bool), "area"]) - {""}):
            of_area = [p[p["area"] == area] for p in parts]
            groups.append((phase, area, of_area[0], of_area[1], of_area[2]))
    for phase, area, whole, shared, other in groups:
        reference = score(other)["pinball"]
        for method, which, part in (
            ("fit", "all scored", whole),
            ("fit", "both methods", shared),
            ("least_squares", "both methods", other),
        ):
            found = score(part)
            gain = 1.0 - found["pinball"] / reference if which == "both methods" and reference > 0 else np.nan
            row: dict[str, object] = {"phase": phase, "area": area, "method": method, "set": which}
            row.update(found)
            row["pinball_below_baseline"] = gain if method == "fit" else np.nan
            rows.append(row)
    columns = ["phase", "area", "method", "set", *score(table.iloc[:0]), "pinball_below_baseline"]
    return pd.DataFrame(rows, columns=columns)
