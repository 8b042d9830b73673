"""Forecasts of wells whose area taught the prior nothing: the numbers of the prior learned again without it.

    python benchmarks/prior_by_area.py HISTORY... --wells FILE [--before-cut-off] [--out DIR]

Every number of the prior that was learned from wells (shapes, errors, uptime, discrepancy) is learned again
from the OTHER areas, by a fixed procedure (prior_learning.py), and the area left out is then forecast with them at
each cut-off. Prints what the procedure gives from all areas (the shipped numbers are others, see `hindcast_scores.md`),
then coverage of the P90 to P10 band, tails, loss against least squares and bias, by phase and
cut-off and by area. Coverage has two errors: binomial, and with areas as clusters (years of the cut-off within
an area), since wells of an area share shocks. `bias_uptime`: what is left of the bias if every well is forecast
with the mean producing time that its area had in the hidden months of wells cut off in the same year, so that
the difference is what a shock common to those wells explains.

--before-cut-off: only months before the year of a well's cut-off teach; wells cut off when fewer than 20 wells of
two other areas had anything to teach are not scored."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.prior_learning import Learner
from benchmarks.prior_windows import Window, read_windows
from refracmc.decisions.hindcast_tables import read_areas, read_histories, score_tables, yardstick
from refracmc.production.hidden_months import (
    COLUMNS,
    MORE_COLUMNS,
    Hidden,
    Hindcast,
    HindcastSettings,
    fitted_posterior,
    split_wells,
    table_row,
)
from refracmc.production.hindcast_sums import common_shock
from refracmc.production.history import build_history
from refracmc.production.prior import PooledPrior
from refracmc.production.scores import cluster_errors

CUTS = ((12, 12), (12, 24), (24, 36), (36, 36), (36, 60))
SEED = 20261101
LEAST_WELLS, LEAST_AREAS = 20, 2
KEPT = ("wells", "coverage", "coverage_se", "share_below_p90", "share_above_p10", "tail_low", "tail_high")


class Priors:
    """Prior of an area and phase learned without it; by year of the cut-off if only earlier months teach."""

    def __init__(self, windows: Sequence[Window], by_year: bool) -> None:
        self.windows, self.by_year = windows, by_year
        self._learners: dict[int | None, Learner] = {}
        self._priors: dict[tuple[str, str, int | None], PooledPrior | None] = {}

    def of(self, area: str, phase: str, cut_off: np.datetime64) -> PooledPrior | None:
        """The prior, or None if too few wells teach."""
        year = int(cut_off.astype("datetime64[Y]").astype(int)) + 1970 if self.by_year else None
        key = (area, phase, year)
        if key not in self._priors:
            before = None if year is None else np.datetime64(f"{year}-01", "M")
            teaching = {
                (w.well, w.area)
                for w in self.windows
                if w.phase == phase and w.area != area and w.fits and w.declared(12, before)
            }
            enough = len(teaching) >= LEAST_WELLS and len({a for _, a in teaching}) >= LEAST_AREAS
            learner = self._learners.setdefault(year, Learner(self.windows, SEED, before))
            self._priors[key] = learner.prior(phase, area) if enough else None
        return self._priors[key]


def hindcast(
    frame: pd.DataFrame, areas: Mapping[str, str], settings: HindcastSettings, priors: Priors
) -> Hindcast:
    """The hindcast of the product with the prior of each well learned without its area; one more column:
    mean_uptime, the mean forecast at the mean producing share of the area's wells of that year."""
    ready, _ = split_wells(frame, settings, areas)
    shares = realised_shares(frame, ready, settings)
    rows, draws, wells = [], {}, {}
    for name, well in ready.items():
        prior = None if well.area is None else priors.of(well.area, well.known.main_phase, well.cut_off)
        if prior is None:
            continue
        posterior, reason = fitted_posterior(well, prior, settings)
        months = np.array([float(settings.months_out)])
        draws[name], wells[name] = posterior.cumulative(months)[:, 0], well
        given = replace(posterior, uptime=np.full(len(posterior.uptime), shares[_shared(well)]))
        row = table_row(name, well, draws[name], reason, settings)
        rows.append(row | {"mean_uptime": float(given.cumulative(months).mean())})
    table = pd.DataFrame(rows, columns=[*COLUMNS, *MORE_COLUMNS, "mean_uptime"])
    return Hindcast(table.sort_values("well_id", kind="stable", ignore_index=True), draws, wells)


def _shared(well: Hidden) -> tuple[str, str, str]:
    return well.area or "", well.known.main_phase, str(well.cut_off.astype("datetime64[Y]"))


def realised_shares(
    frame: pd.DataFrame, ready: Mapping[str, Hidden], settings: HindcastSettings
) -> dict[tuple[str, str, str], float]:
    """Mean producing share of calendar time in the hidden months, by area, phase and year of the cut-off."""
    found: dict[tuple[str, str, str], list[float]] = {}
    for key, rows in frame.groupby(frame["well_id"].astype(str), sort=True):
        if str(key) in ready:
            well = ready[str(key)]
            whole = build_history(rows, str(key), well.known.main_phase)
            start = int((well.cut_off - whole.dates[0]).astype(int))
            window = slice(start, start + settings.months_out)
            share = np.nan_to_num(whole.uptime[window]) @ whole.days_in_month[window]
            found.setdefault(_shared(well), []).append(float(share / whole.days_in_month[window].sum()))
    return {k: float(np.mean(v)) for k, v in found.items()}


def summary(table: pd.DataFrame, baseline: pd.DataFrame, cut: str) -> pd.DataFrame:
    """One row per phase, and per area of it, of the fit's scores with both errors and what a common shock
    explains."""
    scores = score_tables(table, baseline)
    whole = scores[scores["set"] == "all scored"].set_index(["phase", "area"])
    shared = scores[(scores["method"] == "fit") & (scores["set"] == "both methods")]
    gain = shared.set_index(["phase", "area"])["pinball_below_baseline"]
    rows = []
    for (phase, area), row in whole.iterrows():
        part = table[table["used"].astype(bool) & (table["phase"] == phase)]
        part = part[part["area"] == area] if area else part
        part = part.assign(year=part["cut_off"].str[:4])
        found = {"phase": phase, "cut": cut, "area": area} | {k: row[k] for k in KEPT}
        found |= {"pinball": row["pinball"], "loss_below": gain[phase, area], "bias": row["bias_of_sum"]}
        found |= {"bias_uptime": part["mean_uptime"].sum() / part["actual"].sum() - 1.0}
        rows.append(found | cluster_errors(part, ["year"] if area else ["area"]) | common_shock(part))
    return pd.DataFrame(rows)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("histories", nargs="+")
    parser.add_argument("--wells", required=True, help="table with well_id and area")
    parser.add_argument(
        "--before-cut-off", action="store_true", help="only months before a cut-off's year teach"
    )
    parser.add_argument("--out", help="keep the tables here")
    options = parser.parse_args()
    frame, areas = read_histories(options.histories), read_areas(options.wells)
    windows = read_windows(frame, areas, SEED)
    print(f"{len(windows)} windows of {len({w.well for w in windows})} wells", flush=True)
    if not options.before_cut_off:
        learner = Learner(windows, SEED)
        for phase in sorted({w.phase for w in windows}):
            prior = learner.prior(phase)
            print(
                phase,
                {k: v for k, v in asdict(prior).items() if k not in ("source", "form_weights")},
                flush=True,
            )
    priors = Priors(windows, options.before_cut_off)
    parts = []
    for months_in, months_out in CUTS:
        settings = HindcastSettings(months_in, months_out, seed=SEED)
        result = hindcast(frame, areas, settings, priors)
        if not result.wells:
            continue
        baseline = yardstick(result, settings)
        parts.append(summary(result.table, baseline, f"{months_in}/{months_out}"))
        if options.out:
            folder = Path(options.out)
            folder.mkdir(parents=True, exist_ok=True)
            result.table.to_csv(folder / f"wells_{months_in}_{months_out}.csv", index=False)
    table = pd.concat(parts, ignore_index=True)
    if options.out:
        table.to_csv(Path(options.out) / "by_area.csv", index=False)
    order = table.assign(whole=table["area"] != "").sort_values(["phase", "whole", "area"], kind="stable")
    print(order.drop(columns="whole").to_string(index=False, float_format=lambda x: f"{x:.3f}"))


if __name__ == "__main__":
    main()
