"""Scores of the hindcast against the fair and the old least squares, by phase, cut-off and area.

    python -m benchmarks.field_scores DATA_DIR... [--teach TEACH] [--cut 12/24 ...] [--out DIR]

Every folder holds production.parquet and wells.csv. TEACH names who teaches the prior by months before a well's
cut-off: nobody, areas (wells of other areas: the first well of a new one) or field (and the other wells of its own).

Wells are those of the fair yardstick: a positive volume in nine of ten known months, every hidden month declared.
`in band` and the tails are of all of these, `held` of all wells with declared hidden months. Losses are over those of
the least squares on the wells that both could forecast. Errors take wells of one area cut off in one year as clusters.
`sums`: how many sums over three or more wells of one area and year there are, and the share of them within the P90 to
P10 of the sum of their forecasts, part of their errors in common (refracmc/production/common_shock.py), with its
binomial error."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.fair_least_squares import fair_draws, is_scored
from refracmc.decisions.hindcast_tables import read_areas, read_histories, yardstick
from refracmc.production.hidden_months import CHOICES, Hindcast, HindcastSettings, run
from refracmc.production.hindcast_sums import sums_table
from refracmc.production.scores import cluster_errors, score

CUTS = ("12/24", "24/36", "36/36")
SEED = 20261101
PERCENTILES = {"p90": 0.1, "p50": 0.5, "p10": 0.9}


def fair_table(result: Hindcast, settings: HindcastSettings) -> pd.DataFrame:
    """The hindcast's table with the percentiles of the fair yardstick in place of its own; used: where it is scored."""
    generator = np.random.default_rng(0)
    rows = []
    for row in result.table.to_dict("records"):
        well = result.wells.get(str(row["well_id"]))
        found = dict.fromkeys([*PERCENTILES, "mean"], np.nan)
        fits = well is not None and is_scored(well.known.volume())
        if well is not None and fits:
            try:
                draws = fair_draws(well.known.volume(), settings.months_out, generator)
            except ValueError:
                fits = False
            else:
                levels = np.quantile(draws, list(PERCENTILES.values()))
                found = dict(zip(PERCENTILES, levels, strict=True)) | {"mean": draws.mean()}
        rows.append({**row, **found, "used": bool(row["used"]) and fits})
    return pd.DataFrame(rows, columns=result.table.columns)


def sums_in_band(table: pd.DataFrame, draws: Mapping[str, np.ndarray]) -> tuple[int, float]:
    """How many sums over wells of one area and year of the cut-off there are, and the share within P90 to P10."""
    sums = sums_table(table, draws, SEED)
    inside = (sums["actual"] >= sums["p90"]) & (sums["actual"] <= sums["p10"])
    return len(sums), float(inside.mean()) if len(sums) else np.nan


def loss_over(table: pd.DataFrame, other: pd.DataFrame) -> float:
    """Loss over that of another table with the same wells, on those used in both."""
    both = table["used"].astype(bool) & other["used"].astype(bool)
    return score(table[both])["pinball"] / score(other[both])["pinball"]


def summary(result: Hindcast, settings: HindcastSettings) -> pd.DataFrame:
    """One row per phase, and per area of it."""
    table = result.table
    fair, old = fair_table(result, settings), yardstick(result, settings)
    old = table[["well_id"]].merge(old, on="well_id", how="left")
    old["used"] = old["used"].eq(True) & fair["used"]
    full = pd.Series(
        [n in result.wells and is_scored(result.wells[n].known.volume()) for n in table["well_id"]]
    )
    rows = []
    for phase in sorted(set(table.loc[table["used"].astype(bool), "phase"])):
        of_phase = table["used"].astype(bool) & (table["phase"] == phase)
        for area in ("", *sorted(set(table.loc[of_phase, "area"]) - {""})):
            every = of_phase & ((table["area"] == area) | (area == ""))
            scored = every & full
            if not scored.any():
                continue
            part = table[scored].assign(year=table["cut_off"].astype(str).str[:4])
            found, errors = score(part), cluster_errors(part, ["area", "year"])
            sums, held = sums_in_band(part, result.draws)
            rows.append(
                {
                    "phase": phase,
                    "area": area or "all",
                    "cut": f"{settings.months_in}/{settings.months_out}",
                    "wells": int(found["wells"]),
                    "in band": found["coverage"],
                    "±binomial": found["coverage_se"],
                    "±clusters": errors["coverage_cluster_se"],
                    "below": found["tail_low"],
                    "above": found["tail_high"],
                    "held": score(table[every])["coverage"],
                    "loss": found["pinball"] / 3.0,
                    "over old": loss_over(table[every], old[every]),
                    "over fair": loss_over(table[every], fair[every]),
                    "fair in band": score(fair[every])["coverage"],
                    "bias": found["bias_of_sum"],
                    "±bias": errors["bias_cluster_se"],
                    "sums": sums,
                    "sums in band": held,
                    "±sums": np.sqrt(0.16 / sums) if sums else np.nan,
                }
            )
    return pd.DataFrame(rows)


def read_folders(folders: Sequence[Path]) -> tuple[pd.DataFrame, dict[str, str]]:
    """Histories of all folders, and the area of each well."""
    frame = read_histories([folder / "production.parquet" for folder in folders])
    areas: dict[str, str] = {}
    for folder in folders:
        areas |= read_areas(folder / "wells.csv")
    return frame, areas


def markdown(table: pd.DataFrame) -> str:
    """The table in lines of a note, with two errors after what has one."""
    lines = []
    for row in table.to_dict("records"):
        cells = [row["phase"], row["area"], row["cut"], f"{row['wells']}"]
        cells.append(f"{row['in band']:.2f} ± {2 * row['±binomial']:.2f}, ± {2 * row['±clusters']:.2f}")
        cells += [f"{row['below']:.2f}, {row['above']:.2f}", f"{row['held']:.2f}", f"{row['loss']:.3f}"]
        cells += [f"{row['over old']:.2f}", f"{row['over fair']:.2f}", f"{row['fair in band']:.2f}"]
        cells.append(f"{row['bias']:+.0%} ± {2 * row['±bias']:.0%}")
        cells.append(
            f"{row['sums']}: {row['sums in band']:.2f} ± {2 * row['±sums']:.2f}" if row["sums"] else "-"
        )
        lines.append("| " + " | ".join(cells).replace("nan", "-") + " |")
    heads = ["phase", "area", "in/out", "wells", "in band, two errors: binomial, clusters", "below, above"]
    heads += ["held", "loss", "over old", "over fair", "fair in band", "bias of sum", "sums: in band"]
    return "\n".join(["| " + " | ".join(heads) + " |", "|" + "---|" * len(heads), *lines])


def options(text: str | None) -> argparse.ArgumentParser:
    """Options of a hindcast at several cut-offs: folders, who teaches, months in/out; text: of `--help`."""
    parser = argparse.ArgumentParser(description=text, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--teach", default="field", choices=CHOICES["teach"])
    parser.add_argument("--cut", nargs="+", default=CUTS)
    return parser


def settings_of(told: argparse.Namespace) -> list[HindcastSettings]:
    """The hindcast of each cut-off."""
    cuts = [tuple(int(v) for v in cut.split("/")) for cut in told.cut]
    return [HindcastSettings(m, n, seed=SEED, teach=told.teach) for m, n in cuts]


def main() -> None:
    """Run from the command line."""
    parser = options(__doc__)
    parser.add_argument("--out", type=Path, help="keep the tables here")
    told = parser.parse_args()
    frame, areas = read_folders(told.folders)
    parts = []
    for settings in settings_of(told):
        result = run(frame, settings, areas)
        parts.append(summary(result, settings))
        if told.out:
            told.out.mkdir(parents=True, exist_ok=True)
            result.table.to_csv(
                told.out / f"wells_{told.teach}_{settings.months_in}_{settings.months_out}.csv", index=False
            )
    table = pd.concat(parts, ignore_index=True)
    if told.out:
        table.to_csv(told.out / f"scores_{told.teach}.csv", index=False)
    whole = table.assign(single=table["area"] != "all")
    print(markdown(whole.sort_values(["single", "phase", "area", "cut"], kind="stable")))


if __name__ == "__main__":
    main()
