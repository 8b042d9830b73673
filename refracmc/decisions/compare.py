"""Strategies of one well against each other, from the trials on disk: decision, timing, orders, distribution.

Trials are read one strategy at a time, so that only a few rows of them are held.
Every difference is taken trial by trial (all strategies share their luck), so its error is that of the paired
difference. Errors follow the sampling design through the `error_of` handed in.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.engine.summary import PERCENTS
from refracmc.engine.trials import Rows
from refracmc.sampling.order_statistics import quantiles

Array = NDArray[np.float64]
ErrorOf = Callable[[Array], tuple[float, float]]
"""(n,) values -> (mean, its standard error)."""

_TRIPLE = np.array([0.1, 0.5, 0.9])
_SHARES = np.concatenate([1.0 - PERCENTS / 100.0, _TRIPLE])
"""Shares of trials below each of the exceedance percentiles PERCENTS, then P90, P50 and P10."""


@dataclass(frozen=True)
class Results:
    """Results of one well: names[0] is `nothing`; measures maps a name to S rows of n trials.

    dates: the month of each strategy, of a trigger its name. months: triggered strategy -> (n,) month of the job from
    the valuation month, -1 where none is carried out; start: number of the valuation month. quantiles: measure ->
    (S, 102) as `percentiles` gives them, where they are known already. tail_weight: of the mean of the worst
    tail_fraction of trials in what a strategy is worth.
    """

    well: str
    names: tuple[str, ...]
    orders: tuple[str, ...]
    dates: tuple[str, ...]
    measures: Mapping[str, Rows]
    months: Mapping[str, NDArray[np.intp]] = field(default_factory=dict)
    start: int = 0
    quantiles: dict[str, Array] = field(default_factory=dict, repr=False)
    tail_weight: float = 0.0
    tail_fraction: float = 0.1

    @property
    def triggered(self) -> list[int]:
        """Indices of the strategies whose date a trigger sets."""
        return [s for s in range(1, len(self.names)) if self.names[s] in self.months]

    @property
    def fixed(self) -> list[int]:
        """Indices of the refracs of a fixed date."""
        return [s for s in range(1, len(self.names)) if self.names[s] not in self.months]

    def trigger(self, s: int) -> str | None:
        """Name of the trigger of a strategy, None for a fixed date."""
        return self.dates[s] if self.names[s] in self.months else None

    def when(self, s: int) -> dict[str, str | None]:
        """Months by which 10, 50 and 90 % of a strategy's jobs have started (all its month for a fixed date; None
        where no job is carried out)."""
        shares = {"early_month": 0.1, "median_month": 0.5, "late_month": 0.9}
        if self.names[s] not in self.months:
            return dict.fromkeys(shares, self.dates[s])
        months = self.months[self.names[s]]
        return {name: month_reached(months, self.start, share) for name, share in shares.items()}

    @cached_property
    def means(self) -> Array:
        """Mean incremental NPV of each strategy (S,)."""
        inc = self.measures["incremental_npv"]
        return np.array([inc[s].mean() for s in range(len(self.names))])

    @cached_property
    def worths(self) -> Array:
        """What each strategy is worth (S,): its mean incremental NPV, or that and its worst trials by their weights."""
        if not self.tail_weight:
            return self.means
        inc = self.measures["incremental_npv"]
        tails = np.array([worst_mean(inc[s], self.tail_fraction) for s in range(len(self.names))])
        return (1.0 - self.tail_weight) * self.means + self.tail_weight * tails

    @property
    def refracs(self) -> list[int]:
        """Indices of the strategies that are refracs: a trigger that starts no job is none."""
        none = {s for s in self.triggered if not (self.months[self.names[s]] >= 0).any()}
        return [s for s in range(1, len(self.names)) if s not in none]

    def _worths(self) -> Array:
        """Worth of the refracs; of what is no refrac: -inf."""
        worths = np.full(len(self.names) - 1, -np.inf)
        for s in self.refracs:
            worths[s - 1] = self.worths[s]
        return worths

    def percentiles(self, name: str) -> Array:
        """Quantiles (S, 102) of a measure that is defined in all trials: the 99 of PERCENTS, then P90, P50, P10."""
        if name not in self.quantiles:
            rows = self.measures[name]
            self.quantiles[name] = np.stack([quantiles(rows[s], _SHARES) for s in range(len(self.names))])
        return self.quantiles[name]

    def exceedance(self, s: int) -> dict[str, float]:
        """P90 (low), P50, P10 (high) of the incremental NPV of a strategy."""
        return _exceedance(self.percentiles("incremental_npv")[s, PERCENTS.size :])

    def of_jobs(self, measure: str, s: int) -> Array:
        """A measure (n,) of a strategy in the trials in which its job is done; NaN in the others."""
        return np.where(self.measures["executed"][s] > 0.0, self.measures[measure][s], np.nan)

    @property
    def best(self) -> int:
        """Index of the refrac that is worth most; nothing excluded, ties to the first."""
        return 1 + int(np.argmax(self._worths()))

    @property
    def runner_up(self) -> int | None:
        """Index of the refrac that is worth next most, or None if there is only one."""
        worths = self._worths()
        worths[self.best - 1] = -np.inf
        return 1 + int(np.argmax(worths)) if np.isfinite(worths).any() else None


def month_reached(months: NDArray[np.intp], start: int, share: float) -> str | None:
    """The first month, YYYY-MM, by which at least a share (0 to 1) of the started jobs have started; None for no job.

    months (n,): from the valuation month, -1 for no job; start: number of the valuation month.
    """
    fired = np.sort(months[months >= 0])
    if not fired.size:
        return None
    # a tenth of 30 jobs is 3 jobs, whatever binary fractions make of it
    needed = max(1, int(np.ceil(share * fired.size * (1.0 - 1e-12))))
    return units.month_text(start + int(fired[needed - 1]))


def exceedance(values: Array) -> dict[str, float]:
    """P90 (low), P50, P10 (high) of the values of one sample that are defined; NaN for none."""
    known = values[~np.isnan(values)]
    return _exceedance(quantiles(known, _TRIPLE) if known.size else np.full(_TRIPLE.size, np.nan))


def _exceedance(found: Array) -> dict[str, float]:
    low, mid, high = found
    return {"p90_usd": float(low), "p50_usd": float(mid), "p10_usd": float(high)}


def worst_mean(values: Array, fraction: float) -> float:
    """Mean of the worst `fraction` of equally likely outcomes, a part outcome weighted (Rockafellar & Uryasev)."""
    ordered = np.sort(values)
    size = fraction * ordered.size
    whole = int(np.floor(size))
    total = ordered[:whole].sum()
    if whole < ordered.size:
        total += (size - whole) * ordered[whole]
    return float(total / size)


def decision(results: Results, error_of: ErrorOf, tail_fraction: float) -> dict[str, Any]:
    """One row: the best refrac against nothing, its risk, its chance of being best and the runner-up."""
    inc = results.measures["incremental_npv"]
    best, second = results.best, results.runner_up
    mean, se = error_of(inc[best])
    top = inc[0].copy()
    for s in range(1, len(results.names)):
        np.maximum(top, inc[s], out=top)
    winners = np.zeros(top.size, dtype=np.intp)
    for s in range(len(results.names)):
        winners += inc[s] >= top
    loss, loss_se = error_of((inc[best] < 0.0).astype(float))
    tail = worst_mean(inc[best], tail_fraction)
    # influence values of the tail mean: their mean is the tail mean, their error is its error
    cut = np.quantile(inc[best], tail_fraction)
    influence = cut + np.minimum(inc[best] - cut, 0.0) / tail_fraction
    lead = error_of(inc[best] - inc[second]) if second is not None else (np.nan, np.nan)
    days, days_se = error_of(results.of_jobs("job_days", best))
    cost, cost_se = error_of(results.of_jobs("job_cost", best))
    return {
        "well": results.well,
        "strategy": results.names[best],
        "order": results.orders[best],
        "date": results.when(best)["median_month"],
        "trigger": results.trigger(best),
        "early_month": results.when(best)["early_month"],
        "late_month": results.when(best)["late_month"],
        "mean_usd": mean,
        "se_usd": se,
        **results.exceedance(best),
        "p_loss": loss,
        "p_loss_se": loss_se,
        "cvar_usd": tail,
        "cvar_se_usd": error_of(influence)[1],
        "chance_of_best": float(((inc[best] >= top) / winners).mean()),
        "chance_nothing_best": float(((inc[0] >= top) / winners).mean()),
        "opportunity_loss_usd": float((top - inc[best]).mean()),
        "nothing_opportunity_loss_usd": float(top.mean()),
        "runner_up": results.names[second] if second is not None else None,
        "lead_usd": lead[0],
        "lead_se_usd": lead[1],
        "job_days": days,
        "job_days_se": days_se,
        "job_cost_usd": cost,
        "job_cost_se_usd": cost_se,
        "executed_share": float(results.measures["executed"][best].mean()),
    }


def timing(results: Results, error_of: ErrorOf) -> list[dict[str, Any]]:
    """One row per order and fixed date: value, and the paired gain over the order's first date."""
    inc = results.measures["incremental_npv"]
    rows = []
    for order in dict.fromkeys(results.orders[1:]):
        members = [s for s in results.fixed if results.orders[s] == order]
        members.sort(key=lambda s: results.dates[s])
        first = inc[members[0]]
        for s in members:
            mean, se = error_of(inc[s])
            gain, gain_se = error_of(inc[s] - first) if s != members[0] else (0.0, 0.0)
            rows.append(
                {
                    "well": results.well,
                    "order": order,
                    "date": results.dates[s],
                    "mean_usd": mean,
                    "se_usd": se,
                    **results.exceedance(s),
                    "gain_usd": gain,
                    "gain_se_usd": gain_se,
                }
            )
    return rows


def orders_at_best_date(
    results: Results, error_of: ErrorOf, shifts: Mapping[str, int]
) -> list[dict[str, Any]]:
    """One row per order at its own best fixed date: value; days, cost, share of stages effective where the job is done.

    shifts: planned sleeve shifts of each order.
    """
    inc = results.measures["incremental_npv"]
    names = list(dict.fromkeys(results.orders[1:]))
    chosen = {}
    for order in names:
        members = [s for s in results.fixed if results.orders[s] == order]
        chosen[order] = members[int(np.argmax(results.worths[members]))]
    fewest = min(shifts[order] for order in names)
    rows = []
    for order in names:
        s = chosen[order]
        row: dict[str, Any] = {"well": results.well, "order": order, "date": results.dates[s]}
        row["mean_usd"], row["se_usd"] = error_of(inc[s])
        row.update(results.exceedance(s))
        same = s == results.best
        row["gap_usd"], row["gap_se_usd"] = (0.0, 0.0) if same else error_of(inc[s] - inc[results.best])
        for key, name, unit in (("job_days", "job_days", ""), ("job_cost", "job_cost", "_usd")):
            values = results.of_jobs(key, s)
            row[f"{name}{unit}"], row[f"{name}_se{unit}"] = error_of(values)
            for label, value in exceedance(values).items():
                row[f"{name}_{label.removesuffix('_usd')}{unit}"] = value
        row["effective_share"], row["effective_share_se"] = error_of(results.of_jobs("effective_share", s))
        row["executed_share"] = float(results.measures["executed"][s].mean())
        row["extra_shifts"] = float(shifts[order] - fewest)
        rows.append(row)
    return rows


def distribution(results: Results, strategies: Sequence[int] | None = None) -> dict[str, Any]:
    """Columns of the percentile table: 99 exceedance percentiles of NPV and incremental NPV per strategy."""
    chosen = list(range(len(results.names))) if strategies is None else list(strategies)
    npv, inc = (results.percentiles(name)[chosen, : PERCENTS.size] for name in ("npv", "incremental_npv"))
    return {
        "well": [results.well] * (len(chosen) * PERCENTS.size),
        "strategy": np.repeat([results.names[s] for s in chosen], PERCENTS.size),
        "exceedance_percent": np.tile(PERCENTS.astype(float), len(chosen)),
        "npv_usd": npv.ravel(),
        "incremental_npv_usd": inc.ravel(),
    }
