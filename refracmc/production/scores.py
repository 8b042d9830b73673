"""Scores of a hindcast table: coverage, tails, pinball loss, ranked probability score, bias; each with its
error.

Percentiles by exceedance: P90 is the low one. A truth on a bound counts as inside. Tails come from the
randomised probability integral, so that a point mass at zero is counted fairly. Loss = sum of pinball over
wells and over the levels .1, .5, .9, divided by the sum of actuals (Gneiting & Raftery 2007; Koenker &
Bassett 1978)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Array = NDArray[np.float64]

LEVELS = ((0.1, "p90"), (0.5, "p50"), (0.9, "p10"))
NOMINAL = 0.8
SCORES = (
    *(
        "wells",
        "coverage",
        "coverage_se",
        "share_below_p90",
        "share_above_p10",
        "tail_low",
        "tail_high",
        "tail_se",
    ),
    *("pinball_10", "pinball_50", "pinball_90", "pinball", "crps", "bias_of_sum", "sum_actual"),
)


def pinball(actual: Array, quantile: Array, level: float) -> Array:
    """Pinball (quantile) loss (n,) at one level, in the unit of the volumes."""
    return np.asarray(np.maximum(level * (actual - quantile), (level - 1.0) * (actual - quantile)))


def score(table: pd.DataFrame) -> dict[str, float]:
    """Scores of the used rows of a table, as fractions; NaN where no well was scored.

    wells; coverage, coverage_se (binomial at the nominal 80 %); share_below_p90, share_above_p10; tail_low,
    tail_high (randomised probability integral, expected 0.1 each), tail_se; pinball_10, _50, _90 and
    pinball (their sum); crps, all over the sum of actuals; bias_of_sum (mean over actual, less 1);
    sum_actual. What is over the sum of actuals is NaN where that is 0."""
    rows = table[table["used"].astype(bool)]
    n = len(rows)
    if n == 0:
        return dict.fromkeys(SCORES, np.nan) | {"wells": 0.0}
    actual, low, high, pit, mean, crps = (
        rows[name].to_numpy(dtype=np.float64) for name in ("actual", "p90", "p10", "pit", "mean", "crps")
    )
    total = actual.sum()
    over = total if total > 0.0 else np.nan
    with np.errstate(invalid="ignore"):
        losses = [
            pinball(actual, rows[name].to_numpy(np.float64), level).sum() / over for level, name in LEVELS
        ]
        values = (
            n,
            np.mean((actual >= low) & (actual <= high)),
            np.sqrt(NOMINAL * (1.0 - NOMINAL) / n),
            np.mean(actual < low),
            np.mean(actual > high),
            np.mean(pit < 0.1),
            np.mean(pit > 0.9),
            np.sqrt(0.09 / n),
            *losses,
            sum(losses),
            crps.sum() / over,
            mean.sum() / over - 1.0,
            total,
        )
    return {name: float(value) for name, value in zip(SCORES, values, strict=True)}


def cluster_errors(table: pd.DataFrame, keys: Sequence[str]) -> dict[str, float]:
    """Standard errors of coverage and of the bias of the sum (fractions) with wells that share `keys` taken
    as one cluster, of which wells share shocks; NaN with fewer than two clusters. Wells without a key are one
    cluster together, since what they share is not known; the error of the bias is NaN where the actuals sum to 0.

    Linearised: sqrt(G/(G - 1) x sum over clusters of the squared sum of deviations) (Liang & Zeger 1986,
    Biometrika 73). Few clusters make it too small, and noisy."""
    rows = table[table["used"].astype(bool)]
    groups = rows.groupby(list(keys), dropna=False).ngroup().to_numpy()
    count = len(np.unique(groups))
    if count < 2:
        return {"coverage_cluster_se": float("nan"), "bias_cluster_se": float("nan")}
    actual = rows["actual"].to_numpy(dtype=np.float64)
    mean = rows["mean"].to_numpy(dtype=np.float64)
    low, high = rows["p90"].to_numpy(dtype=np.float64), rows["p10"].to_numpy(dtype=np.float64)
    inside = ((actual >= low) & (actual <= high)).astype(np.float64)
    factor = np.sqrt(count / (count - 1.0))
    total = actual.sum()
    per_actual = mean.sum() / total if total > 0.0 else np.nan
    sums = [np.bincount(groups, v) for v in (inside - inside.mean(), mean - actual * per_actual)]
    return {
        "coverage_cluster_se": float(factor * np.sqrt((sums[0] ** 2).sum()) / len(rows)),
        "bias_cluster_se": float(factor * np.sqrt((sums[1] ** 2).sum()) / total) if total > 0.0 else np.nan,
    }


def integral_histogram(table: pd.DataFrame, bins: int = 10) -> pd.DataFrame:
    """Histogram of the randomised probability integral: low, high, share, and the error of a share if
    calibrated."""
    pit = table.loc[table["used"].astype(bool), "pit"].to_numpy(dtype=np.float64)
    edges = np.linspace(0.0, 1.0, bins + 1)
    share = np.histogram(pit, edges)[0] / max(len(pit), 1)
    error = np.full(bins, np.sqrt((1.0 / bins) * (1.0 - 1.0 / bins) / max(len(pit), 1)))
    return pd.DataFrame({"low": edges[:-1], "high": edges[1:], "share": share, "share_se": error})
