"""What drives the result: variance shares of independent groups of inputs, and one input at a time.

Groups are varied whole (Sobol 2001; Saltelli et al. 2010): the posterior row, the price path, sleeve and
job luck, the response, the costs. A trial takes each group from one of two independent sets of draws, so luck with
hundreds of random numbers is one factor as good as any. Estimators are SALib's, and their
intervals those of its bootstrap.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from refracmc.case.well_strategies import Strategy
from refracmc.engine.draws import GROUPS, draw, group_names
from refracmc.engine.driver_samples import evaluate_samples
from refracmc.engine.plan import WellPlan
from refracmc.sampling.order_statistics import quantiles
from refracmc.sampling.streams import BLOCK_SIZE

Array = NDArray[np.float64]
Evaluate = Callable[[Sequence[Mapping[str, str]]], Iterable[Mapping[str, Array]]]
"""[{group: "a" or "b"}] -> [{target: (n,)}]: the model with each group from one set or the other."""

DRIVER_BLOCKS = 2
"""Blocks of each of the two sets of draws behind the variance shares."""
SET_A, SET_B = 2**30, 2**30 + 2**20
"""First blocks of the two independent sets of draws behind the variance shares; apart from those of any run."""
RESAMPLES = 200
LEVEL = 1e-12
"""Variance of resampled outputs, over that of all, which is rounding alone."""
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
    from SALib.analyze.sobol import first_order, total_order

    n, count = samples["a"].size, len(groups)
    if any(samples[name].shape != (n,) for name in ("a", "b", *groups)):
        raise ValueError("variance_shares: all samples must have the same length")
    stacked = np.stack([samples[name] for name in ("a", "b", *groups)])
    if float(np.ptp(stacked)) == 0.0:
        return [{"group": g, "first": 0.0, "first_ci": 0.0, "total": 0.0, "total_ci": 0.0} for g in groups]
    a, b, *rest = (stacked - stacked.mean()) / stacked.std()
    mixed = np.stack(rest)
    half = float(ndtri(0.5 + CONFIDENCE / 2.0)) * _resampled(a, b, mixed, seed, resamples).std(axis=0, ddof=1)
    return [
        {
            "group": group,
            "first": float(first_order(a, mixed[k], b)),
            "first_ci": float(half[k]),
            "total": float(total_order(a, mixed[k], b)),
            "total_ci": float(half[count + k]),
        }
        for k, group in enumerate(groups)
    ]


def _resampled(a: Array, b: Array, mixed: Array, seed: int, resamples: int) -> Array:
    """First-order and total shares (resamples, 2 groups) of rows drawn again, as `SALib.analyze.sobol.analyze` does.

    Its estimators are ratios of means, so that it is enough to count how often a row is drawn: a matrix product in
    place of copies of all rows. 0 where all outputs drawn are the same. a, b (n,), mixed (groups, n): standardised
    outputs.
    """
    n = a.size
    rows = np.random.default_rng(seed or 1).integers(n, size=(n, resamples))
    drawn = np.bincount((rows + n * np.arange(resamples)).ravel(), minlength=n * resamples)
    terms = np.stack([*(b * (mixed - a)), *(0.5 * (a - mixed) ** 2), 0.5 * (a + b), 0.5 * (a * a + b * b)])
    means = drawn.reshape(resamples, n).astype(float) @ terms.T / n
    variance = means[:, -1] - means[:, -2] ** 2
    differ = (variance > LEVEL)[:, None]
    shares = np.zeros((resamples, 2 * len(mixed)))
    np.divide(means[:, :-2], variance[:, None], out=shares, where=differ)
    return shares


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


def _driver_samples(plan: WellPlan, best: Strategy, second: Strategy | None, block: int) -> Samples:
    """Samples for variance shares of the best refrac's NPV, its gain over nothing and over the runner-up.

    block: which of the `DRIVER_BLOCKS` of each set of draws.
    """
    names = group_names(plan)
    chosen = [best] if second is None else [best, second]
    sets = {label: draw(plan, first + block, BLOCK_SIZE) for label, first in (("a", SET_A), ("b", SET_B))}

    def run(sources: Sequence[Mapping[str, str]]) -> Iterator[dict[str, Array]]:
        mixtures = [{name: sets[source[names[name]]][name] for name in sets["a"]} for source in sources]
        for got in evaluate_samples(plan, mixtures, chosen, ("npv", "incremental_npv")):
            made = {"npv": got["npv"][1], "incremental_npv": got["incremental_npv"][1]}
            if second is not None:
                made["difference"] = got["npv"][1] - got["npv"][2]
            yield made

    return group_samples(GROUPS, run)


def driver_rows(plan: WellPlan, best: Strategy, second: Strategy | None) -> list[dict[str, Any]]:
    """Variance shares of the groups of inputs: of the best refrac's NPV, its gain over nothing and over the second."""
    blocks = [_driver_samples(plan, best, second, block) for block in range(DRIVER_BLOCKS)]
    samples = {
        target: {name: np.concatenate([block[target][name] for block in blocks]) for name in outputs}
        for target, outputs in blocks[0].items()
    }
    rows = group_drivers(GROUPS, samples, f"{plan.case.name}/{plan.id}/{plan.case.sampling.seed}")
    return [{"well": plan.id, **row} for row in rows]


def tornado(
    values: Array, inputs: Iterable[tuple[str, Array]], fraction: float = 0.2, most: int = 15
) -> list[dict[str, Any]]:
    """Mean of `values` over the trials with the lowest and highest `fraction` of each input, widest first.

    values (n,); inputs: names and their (n,). Nothing is run again: these are conditional means of the trials that
    stand, dependence included. Standard errors are those of a mean of that many trials. An input with a
    single value is left out; a two-valued one is split by its values.
    """
    rows: list[dict[str, Any]] = []
    for name, sample in inputs:
        if float(np.ptp(sample)) == 0.0:
            continue
        low_cut, high_cut = quantiles(sample, np.array([fraction, 1.0 - fraction]))
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
