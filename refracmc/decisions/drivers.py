"""What drives the result: variance shares of independent groups of inputs, and one input at a time.

Groups are varied whole (Sobol 2001; Saltelli et al. 2010): the posterior row, the price path, sleeve and
job luck, the response, the costs. A trial takes each group from one of two independent sets of draws, so luck with
hundreds of random numbers is one factor as good as any. Indices come from SALib; their intervals are those of its
estimators over resampled trials.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from refracmc.sampling.order_statistics import Select, at_places, quantiles

Array = NDArray[np.float64]
Evaluate = Callable[[Sequence[Mapping[str, str]]], Iterable[Mapping[str, Array]]]
"""[{group: "a" or "b"}] -> [{target: (n,)}]: the model with each group from one set or the other."""

RESAMPLES = 200
CONFIDENCE = 0.95


def salib_seed(*names: str) -> int:
    """A seed for SALib from names; never 0, which several of its analysers take as no seed."""
    return 1 + zlib.crc32("|".join(names).encode()) % (2**31 - 2)


def variance_shares(
    groups: Sequence[str], samples: Mapping[str, Array], seed: int, resamples: int = RESAMPLES
) -> list[dict[str, Any]]:
    """First-order and total variance shares with the half widths of their 95 % intervals.

    samples: "a" and "b" are (n,) outputs of the two sets; the name of a group is the output with that group
    taken from set b and the rest from a. n rows are aligned. Raises ValueError on shapes that differ.

    A target that does not vary has shares of zero.
    """
    from SALib.analyze import sobol

    n = samples["a"].size
    if any(samples[name].shape != (n,) for name in ("a", "b", *groups)):
        raise ValueError("variance_shares: all samples must have the same length")
    stacked = np.stack([samples[name] for name in ("a", *groups, "b")], axis=1)
    if float(np.ptp(stacked)) == 0.0:
        return [{"group": g, "first": 0.0, "first_ci": 0.0, "total": 0.0, "total_ci": 0.0} for g in groups]
    scaled = (stacked - stacked.mean()) / stacked.std()
    problem = {"num_vars": len(groups), "names": list(groups), "bounds": [[0.0, 1.0]] * len(groups)}
    found = sobol.analyze(
        problem,
        stacked.ravel(),
        calc_second_order=False,
        num_resamples=2,
        conf_level=CONFIDENCE,
        seed=seed or 1,
    )
    first, total = resampled(scaled, drawn_rows(n, resamples, seed or 1))
    width = float(ndtri(0.5 + CONFIDENCE / 2.0))
    return [
        {
            "group": group,
            "first": float(found["S1"][k]),
            "first_ci": width * float(first[:, k].std(ddof=1)),
            "total": float(found["ST"][k]),
            "total_ci": width * float(total[:, k].std(ddof=1)),
        }
        for k, group in enumerate(groups)
    ]


def drawn_rows(n: int, resamples: int, seed: int) -> NDArray[np.int64]:
    """Rows (n, resamples) of the resamples of n rows, drawn with replacement."""
    return np.random.default_rng(seed).integers(n, size=(n, resamples))


def resampled(outputs: Array, rows: NDArray[np.int64]) -> tuple[Array, Array]:
    """First-order and total shares (R, k) of each resample, rows (n, R), of outputs (n, 2 + k): set a, groups, set b.

    The estimators of SALib (Saltelli et al. 2010). Each is a quotient of means over rows, so how often a row was drawn
    is all that a resample needs: its rows are never put together.
    """
    n, count = rows.shape
    drawn = np.bincount((rows + n * np.arange(count)).ravel(), minlength=n * count).reshape(count, n)
    a, groups, b = outputs[:, :1], outputs[:, 1:-1], outputs[:, -1:]
    means = np.concatenate([b * (groups - a), 0.5 * (a - groups) ** 2, a + b, a * a + b * b], axis=1)
    # not a matrix product: its last bits may depend on the threads
    sums = np.einsum("rn,kn->rk", drawn.astype(np.float64), np.ascontiguousarray(means.T)) / n
    k = groups.shape[1]
    variance = sums[:, -1:] / 2.0 - (sums[:, -2:-1] / 2.0) ** 2
    share = 1.0 / np.where(variance > np.finfo(float).eps, variance, np.inf)
    return sums[:, :k] * share, sums[:, k : 2 * k] * share


Samples = dict[str, dict[str, Array]]
"""target -> {"a", "b" or the name of a group: outputs (n,)}, as `variance_shares` takes them."""


def group_samples(groups: Sequence[str], evaluate: Evaluate) -> Samples:
    """Outputs of the model with all groups from set a, all from b, and each group alone from b."""
    all_a = dict.fromkeys(groups, "a")
    sources = {"a": all_a, "b": dict.fromkeys(groups, "b")}
    sources |= {group: {**all_a, group: "b"} for group in groups}
    runs = dict(zip(sources, evaluate(list(sources.values())), strict=True))
    return {
        target: {name: np.asarray(outputs[target]) for name, outputs in runs.items()} for target in runs["a"]
    }


def group_drivers(groups: Sequence[str], samples: Samples, label: str) -> list[dict[str, Any]]:
    """Rows (target, group, first, first_ci, total, total_ci) for every target of `group_samples`."""
    return [
        {"target": target, **row}
        for target, outputs in samples.items()
        for row in variance_shares(groups, outputs, salib_seed(label, target))
    ]


def tornado(
    values: Array,
    inputs: Mapping[str, Array],
    fraction: float = 0.2,
    most: int = 15,
    select: Select = at_places,
) -> list[dict[str, Any]]:
    """Mean of `values` over the trials with the lowest and highest `fraction` of each input, widest first.

    values (n,); inputs: name -> (n,). Nothing is run again: these are conditional means of the trials that
    stand, dependence included. Standard errors are those of a mean of that many trials. An input with a
    single value is left out; a two-valued one is split by its values. select: what finds order statistics.
    """
    shares = np.array([fraction, 1.0 - fraction])
    rows: list[dict[str, Any]] = []
    for name, sample in inputs.items():
        if float(np.ptp(sample)) == 0.0:
            continue
        low_cut, high_cut = quantiles(sample, shares, select)
        low, high = sample <= low_cut, sample >= high_cut
        if low_cut == high_cut:
            low, high = sample < low_cut, sample > high_cut
            if not low.any():
                low = sample == low_cut
            if not high.any():
                high = sample == high_cut
        picked = [np.flatnonzero(side) for side in (low, high)]
        if (low & high).any() or min(side.size for side in picked) < 2:
            continue
        at_low, at_high = (values[side] for side in picked)
        rows.append(
            {
                "input": name,
                "low_input": float(sample[picked[0]].mean()),
                "high_input": float(sample[picked[1]].mean()),
                "low_mean_usd": float(at_low.mean()),
                "high_mean_usd": float(at_high.mean()),
                "low_se_usd": float(at_low.std(ddof=1) / np.sqrt(at_low.size)),
                "high_se_usd": float(at_high.std(ddof=1) / np.sqrt(at_high.size)),
            }
        )
    swing = [abs(float(row["high_mean_usd"]) - float(row["low_mean_usd"])) for row in rows]
    return [rows[k] for k in np.argsort(-np.array(swing), kind="stable")[:most]]
