"""Scores of the phases that follow the main one by a ratio, as `field_scores` has them for the main phase.

    python -m benchmarks.ratio_scores DATA_DIR... [--teach TEACH] [--cut 12/24 ...]

The volumes of the hidden months are those of the main phase through the drawn ratios; the yardsticks fit the months of
the phase itself. A line is one main phase and one that follows it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from benchmarks.field_scores import markdown, options, read_folders, settings_of, summary
from refracmc.production.hidden_months import (
    COLUMNS,
    MORE_COLUMNS,
    Hidden,
    Hindcast,
    HindcastSettings,
    Priors,
    fitted_posterior,
    split_wells,
    table_row,
)
from refracmc.production.history import PHASES, build_history
from refracmc.production.secondary import ratio_cumulative


def hindcasts(
    frame: pd.DataFrame, areas: Mapping[str, str], settings: HindcastSettings
) -> dict[tuple[str, str], Hindcast]:
    """A hindcast by (main phase, phase that follows); the latter takes the place of the main phase in its table."""
    ready, _ = split_wells(frame, settings, areas)
    priors = Priors(frame, settings, areas)
    rows_of = {str(name): rows for name, rows in frame.groupby(frame["well_id"].astype(str))}
    found: dict[tuple[str, str], dict[str, tuple[Hidden, np.ndarray]]] = {}
    for name, well in ready.items():
        main = well.known.main_phase
        posterior, _ = fitted_posterior(well, priors.of(well), settings)
        volume = posterior.cumulative(np.array([float(settings.months_out)]))
        whole = build_history(rows_of[name], name, main)
        window = slice(settings.months_in, settings.months_in + settings.months_out)
        for phase in PHASES:
            if phase != main:
                hidden = np.asarray(whole.volume(phase)[window])
                draws = ratio_cumulative(volume, *posterior.secondary[phase])[:, 0]
                follower = Hidden(replace(well.known, main_phase=phase), hidden, well.area, well.cut_off)
                found.setdefault((main, phase), {})[name] = (follower, draws)
    return {
        pair: Hindcast(
            pd.DataFrame(
                [table_row(name, *item, "", settings) for name, item in wells.items()],
                columns=[*COLUMNS, *MORE_COLUMNS],
            ),
            {name: draws for name, (_, draws) in wells.items()},
            {name: follower for name, (follower, _) in wells.items()},
        )
        for pair, wells in sorted(found.items())
    }


def main() -> None:
    """Run from the command line."""
    told = options(__doc__).parse_args()
    frame, areas = read_folders(told.folders)
    parts = []
    for settings in settings_of(told):
        for (phase, follower), result in hindcasts(frame, areas, settings).items():
            table = summary(result, settings)
            parts.append(table[table["area"] == "all"].assign(phase=f"{phase}: {follower}"))
    print(markdown(pd.concat(parts).sort_values(["phase", "cut"], kind="stable")))


if __name__ == "__main__":
    main()
