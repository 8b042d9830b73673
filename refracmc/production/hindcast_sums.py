"""What the errors of a hindcast have in common, and the sums of its wells by area and year."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtri

from refracmc.production.common_shock import COMMON_PART, common_part, in_common
from refracmc.production.sampler import keyed_generator

Array = NDArray[np.float64]

SUM_COLUMNS = ("phase", "area", "year", "wells", "actual", "mean", "p90", "p50", "p10")
LEAST_IN_SUM = 3


def common_shock(table: pd.DataFrame) -> dict[str, float]:
    """What part of the errors of a hindcast is common to wells of one area cut off in one year (of one year, where
    areas are not known).

    common_part, common_part_sd (fractions): of the normal scores of the probability integral; clusters: how many areas
    and years; mean_score, mean_se: mean over wells, and its error, the common part included. NaN with fewer than four
    wells or two clusters."""
    unknown = dict.fromkeys(("common_part", "common_part_sd", "clusters", "mean_score", "mean_se"), np.nan)
    rows = table[table["used"].astype(bool)]
    if len(rows) < 4:
        return unknown
    z = ndtri(np.clip(rows["pit"].to_numpy(dtype=np.float64), 0.005, 0.995))
    keys = [rows["cut_off"].astype(str).str[:4]]
    if "area" in rows:
        keys.append(rows["area"].astype(str))
    groups = np.asarray(rows.groupby(keys).ngroup(), dtype=np.int64)
    count = np.bincount(groups).astype(np.float64)
    if len(count) < 2:
        return unknown | {"clusters": float(len(count)), "mean_score": float(z.mean())}
    part, sd = common_part(z, groups)
    n = len(z)
    variance = float(z.var()) * ((1.0 - part) / n + part * float((count**2).sum()) / (n * n))
    return {
        "common_part": part,
        "common_part_sd": sd,
        "clusters": float(len(count)),
        "mean_score": float(z.mean()),
        "mean_se": float(np.sqrt(variance)),
    }


def sums_table(table: pd.DataFrame, draws: Mapping[str, Array], seed: int) -> pd.DataFrame:
    """Sums over LEAST_IN_SUM or more wells of one phase, area and year of the cut-off: SUM_COLUMNS, volumes in bbl or
    Mcf, the percentiles with COMMON_PART of the wells' errors in common. seed: root of the random streams."""
    rows = []
    used = table[table["used"].astype(bool)]
    for key, part in used.groupby(
        [used["phase"], used["area"], used["cut_off"].astype(str).str[:4]], sort=True
    ):
        if len(part) < LEAST_IN_SUM:
            continue
        phase, area, year = (str(name) for name in key)
        total = np.zeros(min(len(draws[name]) for name in part["well_id"]))
        shock = keyed_generator(seed, "shock", phase, area, year).standard_normal(len(total))
        for name in part["well_id"]:
            own = keyed_generator(seed, "own", str(name)).random(len(total))
            total += in_common(draws[name], shock, own, COMMON_PART)
        p90, p50, p10 = np.quantile(total, [0.1, 0.5, 0.9])
        actual = float(part["actual"].sum())
        rows.append((phase, area, year, len(part), actual, float(total.mean()), p90, p50, p10))
    return pd.DataFrame(rows, columns=list(SUM_COLUMNS))
