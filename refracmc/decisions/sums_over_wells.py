"""Sums over the wells of a case, taken trial by trial, and the wells in the order of their value per capital.

Trial 7 of one well and trial 7 of another have the same prices and the same shared costs, so the sum over wells of a
trial is one outcome of the whole, and percentiles of the sum are those of these outcomes. One well is added at a time
and let go of: what is held does not grow with the wells.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refracmc.case import units
from refracmc.decisions.production import year_starts
from refracmc.decisions.well_tables import FAN_BLOCKS, SummedWell
from refracmc.engine.summary import STATISTICS
from refracmc.measures import USD_GROSS, USD_WI
from refracmc.sampling import estimators

Array = NDArray[np.float64]
Row = dict[str, Any]

REFRACTURE = "refracture"
NO_JOBS, CHOSEN_JOBS, ALL_JOBS = JOBS = ("none", REFRACTURE, "all")
"""Which jobs are done: none; the best refrac of each well whose verdict is refracture; the best refrac of every
well."""
_COLUMNS = ("npv", "incremental_npv", "capex", "discounted_capex", "job_cost")
"""Columns of the trials that are summed: that of `nothing` for the first, those of the best refrac for the others."""
_MONEY = (("capex", USD_WI), ("capex_gross", USD_GROSS))
"""Capital by year."""
_VOLUMES = (("oil", "bbl/year"), ("gas", "Mcf/year"), ("water", "bbl/year"))


@dataclass(frozen=True, eq=False)
class WellShare:
    """What one well brings to the sums.

    row: what the well itself has in the ranking. trials (5, n): `_COLUMNS`. years (2, 5, Y, m): volumes and capital of
    calendar years in the trials of the production fan, left alone and with the best refrac.
    """

    row: Row
    trials: Array
    years: Array

    @property
    def is_chosen(self) -> bool:
        """Whether the verdict is refracture."""
        return bool(self.row["verdict"] == REFRACTURE)


def well_share(well: SummedWell) -> WellShare:
    """What a well brings to the sums; read from its trials."""
    measures, best = well.trials.measures, well.results.best
    trials = np.stack([measures[name][best if name != "npv" else 0] for name in _COLUMNS])
    return WellShare(_ranked_row(well, trials), trials, _by_year(well))


def _ranked_row(well: SummedWell, trials: Array) -> Row:
    """The row of a well in the ranking, but for its place and what is summed down to it."""
    results, best, summary = well.results, well.results.best, well.summary
    of = {name: dict(zip(STATISTICS, summary.of(name)[best], strict=True)) for name in _OF_THE_SUMMARY}
    value, ratio, loss = (of[name] for name in _OF_THE_SUMMARY)
    capital, capital_se = well.error_of(trials[_COLUMNS.index("capex")])
    gross, gross_se = well.error_of(trials[_COLUMNS.index("job_cost")])
    days, days_se = well.error_of(well.trials.measures["job_days"][best])
    return {
        "well": well.plan.id,
        "verdict": well.verdict["verdict"],
        "strategy": results.names[best],
        "order": results.orders[best],
        "date": results.when(best)["median_month"],
        "trigger": results.trigger(best),
        "mean_usd": value["mean"],
        "se_usd": value["se"],
        **{f"{name}_usd": value[name] for name in _PERCENTILES},
        "p_loss": loss["mean"],
        "p_loss_se": loss["se"],
        "capital_usd": capital,
        "capital_se_usd": capital_se,
        "capital_gross_usd": gross,
        "capital_gross_se_usd": gross_se,
        "days_on_job": days,
        "days_on_job_se": days_se,
        "value_per_dollar": ratio["mean"],
        "value_per_dollar_se": ratio["se"],
    }


_OF_THE_SUMMARY = ("incremental_npv", "capital_efficiency", "p_loss")
_PERCENTILES = ("p90", "p90_se", "p50", "p50_se", "p10", "p10_se")


def _by_year(well: SummedWell) -> Array:
    """Volumes and capital of calendar years (2, 5, Y, m), as in `WellShare`."""
    best, blocks = well.results.best, range(min(FAN_BLOCKS, len(well.trials.sizes)))
    starts = year_starts(well.plan.case.valuation.date, well.plan.horizon)
    volumes = well.volumes[1]
    capital = np.zeros((2, *volumes.shape[2:]))
    months = well.results.months.get(well.results.names[best])
    for k, name in enumerate(("capex", "job_cost")):
        spent = well.trials.measures[name].rows(best, best + 1, blocks)[0]
        at = np.full(spent.size, well.best.month) if months is None else months[: spent.size]
        year = np.searchsorted(starts, np.maximum(at, 0), side="right") - 1
        capital[k, year, np.arange(spent.size)] = spent
    return np.concatenate([volumes, [np.zeros_like(capital), capital]], axis=1)


class SumsOverWells:
    """The sums of a case. Wells are added in the order of the case: the bytes then depend on nothing else."""

    def __init__(self, sizes: Sequence[int], design: str, tail_fraction: float, first_month: str) -> None:
        """sizes: trials of each block that all wells have; tail_fraction: of the mean of the worst trials."""
        self._sizes, self._design, self._tail, self._first_month = (
            list(sizes),
            design,
            tail_fraction,
            first_month,
        )
        self._rows: list[Row] = []
        self._trials = np.zeros((len(JOBS), len(_COLUMNS), sum(sizes)))
        self._years: Array = np.zeros(0)

    def add(self, share: WellShare) -> None:
        """Add the next well."""
        if not self._years.size:
            self._years = np.zeros((len(JOBS), *share.years.shape[1:]))
        trials = share.trials[:, : self._trials.shape[2]]
        self._rows.append(share.row)
        for k, jobs in enumerate(JOBS):
            done = jobs == ALL_JOBS or (jobs == CHOSEN_JOBS and share.is_chosen)
            self._trials[k, 0] += trials[0]
            if done:
                self._trials[k, 1:] += trials[1:]
            self._years[k] += share.years[int(done)]

    def tables(self) -> dict[str, list[Row]]:
        """Rows of the tables over wells, by key."""
        ranked = ranked_rows(self._rows)
        return {
            "wells_ranked": ranked,
            "portfolio_total": self._total_rows(),
            "portfolio_months": month_rows(ranked),
            "portfolio_years": self._year_rows(),
        }

    def _total_rows(self) -> list[Row]:
        rows = []
        for k, jobs in enumerate(JOBS):
            wells = {NO_JOBS: 0, ALL_JOBS: len(self._rows)}.get(jobs, sum(map(_is_chosen, self._rows)))
            for measure, unit, got in self._measures(self._trials[k], bool(wells)):
                rows.append({"jobs": jobs, "wells": wells, "measure": measure, "unit": unit, **got})
        return rows

    def _measures(self, sums: Array, any_job: bool) -> Iterator[tuple[str, str, Mapping[str, float]]]:
        """Measure, its unit and its statistics of sums over wells (5, n)."""
        alone, gained, spent, discounted, cost = sums
        yield "npv", USD_WI, self._spread(alone + gained)
        if not any_job:
            return
        yield "incremental_npv", USD_WI, self._spread(gained)
        yield "capex", USD_WI, self._spread(spent)
        yield "capex_gross", USD_GROSS, self._spread(cost)
        design = self._sizes, self._design
        yield "p_loss", "fraction", _plain(estimators.chance_below(gained, 0.0, *design))
        yield "cvar", USD_WI, _plain(estimators.cvar_with_error(gained, self._tail, *design))
        unit = f"{USD_WI}/{USD_WI}"
        yield "capital_efficiency", unit, _plain(estimators.ratio_with_error(gained, discounted, *design))

    def _spread(self, values: Array) -> dict[str, float]:
        found = estimators.summarise(values, self._sizes, self._design)
        return {name: float(found[name]) for name in ("mean", "se", *_PERCENTILES)}

    def _year_rows(self) -> list[Row]:
        sizes = self._sizes[:FAN_BLOCKS]
        first = units.month_number(self._first_month) // 12
        rows = []
        for k, jobs in enumerate(JOBS):
            for (measure, unit), values in zip((*_VOLUMES, *_MONEY), self._years[k], strict=True):
                if jobs == NO_JOBS and (measure, unit) in _MONEY:
                    continue
                found = estimators.summarise(values[:, : sum(sizes)], sizes, self._design)
                for year in range(len(values)):
                    spread = {name: float(found[name][year]) for name in ("mean", "se", *_PERCENTILES)}
                    rows.append(
                        {"jobs": jobs, "measure": measure, "year": first + year, "unit": unit, **spread}
                    )
        return rows


def _is_chosen(row: Row) -> bool:
    return bool(row["verdict"] == REFRACTURE)


def _plain(found: estimators.Estimate) -> dict[str, float]:
    """Statistics of what has no percentiles."""
    return {"mean": float(found.value), "se": float(found.se), **dict.fromkeys(_PERCENTILES, np.nan)}


def ranked_rows(rows: Sequence[Row]) -> list[Row]:
    """Wells by falling value per dollar (those without capital last, ties as they come), with the sums down to each:
    of all wells, and of those whose verdict is refracture."""
    made, sums = [], dict.fromkeys(("capital_to_here_usd", "value_to_here_usd"), 0.0)
    chosen = dict.fromkeys(("chosen_capital_to_here_usd", "chosen_value_to_here_usd"), 0.0)

    def worth(row: Row) -> float:
        ratio = float(row["value_per_dollar"])
        return -ratio if ratio == ratio else np.inf

    for place, row in enumerate(sorted(rows, key=worth), start=1):
        for held in (sums, chosen) if _is_chosen(row) else (sums,):
            for name, part in zip(held, ("capital_usd", "mean_usd"), strict=True):
                held[name] += row[part]
        made.append({"place": place, **row, **sums, **chosen})
    return made


def month_rows(ranked: Sequence[Row]) -> list[Row]:
    """Jobs by month of their best date: those of wells whose verdict is refracture, and the others."""
    groups: dict[tuple[str, bool], list[Row]] = {}
    for row in ranked:
        groups.setdefault((row["date"], not _is_chosen(row)), []).append(row)
    return [
        {
            "month": month,
            "jobs": "other" if is_other else REFRACTURE,
            "count": len(its),
            "wells": "; ".join(row["well"] for row in its),
            **{name: float(sum(row[name] for row in its)) for name in _SUMMED_BY_MONTH},
        }
        for (month, is_other), its in sorted(groups.items())
    ]


_SUMMED_BY_MONTH = ("days_on_job", "capital_usd", "capital_gross_usd", "mean_usd")
