"""The measures of a strategy, one record each: name, unit, meaning, when undefined, how its trials are summed up.

To add a measure is to add a record here and the rule that fills its column to the loop over the trials. The columns of
a trial, the block files, the summary, its units and the reference text follow from the records, in their order.

Standard library only; nothing is imported from the rest of the package.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, nan

USD_GROSS, USD_WI = "US$ gross", "US$ WI"
"""Money of the whole well (8/8), and the working-interest share of it: costs by the working interest, revenue by the
net revenue interest. Every unit of money is one of the two; a price carries neither."""
VOLUME = "main phase"
"""Stands for the main phase's unit of volume."""
DISTRIBUTION = "distribution"
"""Mean with its error, percentiles and undefined share of the column."""
SHARE = "share"
"""The same of a column of zeros and ones: the mean is a share of trials."""
CHANCE_BELOW_ZERO = "chance below zero"
TAIL_MEAN = "tail mean"
"""Mean of the column's lowest values, as many as the case's tail fraction says."""
RATIO = "ratio"
"""Mean of the column over the mean of a second one."""
SHARE_REACHED = "share reached"
"""Share of the trials that count in which the column is finite: not `never`."""
SHARE_OPEN = "share open"
"""Share of the trials that count in which the column has no value."""
COLUMN_ONLY = "column only"
"""Kept of every trial, not in the summary."""


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure.

    name: as in the summary. symbol: short one, "" where none is in use. unit: VOLUME stands in it for the main phase's.
    meaning: the definition. undefined: when a trial has no value (NaN), "" for never. source: of the definition.
    summed: how the summary is made of the trials, one of the words above.
    column: column of the trials it is made of, of its own name by default; over: that of a ratio's denominator.
    given: column that is 1 in the trials that count, "" for all. A trial that counts and has no value (NaN) may rank
    anywhere: a percentile is given only where that cannot change it. no_mean: why no mean is given, "" where one is.
    column_meaning: where the column says more, or other, than the measure.
    alone: value of the column for the well left alone, NaN where undefined; None where it has its own.
    kept: whether the finished run keeps the column of every trial.
    """

    name: str
    unit: str
    meaning: str
    undefined: str = ""
    symbol: str = ""
    source: str = "definition"
    summed: str = DISTRIBUTION
    column: str = ""
    over: str = ""
    given: str = ""
    no_mean: str = ""
    column_meaning: str = ""
    alone: float | None = 0.0
    kept: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "column", self.column or self.name)

    def unit_for(self, volume: str) -> str:
        """Unit with the main phase's unit of volume in its place, e.g. bbl."""
        return self.unit.replace(VOLUME, volume)


MEASURES: tuple[Measure, ...] = (
    Measure(
        "npv",
        USD_WI,
        "present value at the first day of the valuation month of the working-interest cash flow: revenue after "
        "royalty, production taxes, operating cost, job, holding, abandonment and, where stated, income tax. "
        "Month i counts (1 + rate)^-((i + 0.5)/12)",
        symbol="NPV",
        alone=None,
        kept=True,
    ),
    Measure(
        "incremental_npv",
        USD_WI,
        "NPV less the NPV of doing nothing in the same trial; 0 where the job is not carried out",
        symbol="dNPV",
        kept=True,
    ),
    Measure(
        "irr",
        "1/year",
        "effective annual rate at which the incremental NPV is zero, of the trials in which the job is done. Rates "
        "above 10 (1,000 % a year) are given as 10, a rate below -0.9 and a total loss as -1. Where the running total "
        "of the incremental cash changes sign other than once, from minus to plus, the NPV is looked at on a ladder of "
        "rates: it has a rate where it falls through zero once and rises through it nowhere. Trials with several rates "
        "may rank anywhere: a percentile is given only where that cannot change it",
        "where the job is not done, and where there are several rates (`irr_several_share`)",
        symbol="IRR",
        source="Norstrom 1972 (uniqueness)",
        given="executed",
        no_mean="cut at 10 and at -1",
        alone=nan,
    ),
    Measure(
        "irr_several_share",
        "fraction",
        "share of the trials in which the job is done that have several rates of return, or one at which a gain "
        "begins; `mirr` has one in them too",
        "where the job is done in no trial",
        summed=SHARE_OPEN,
        column="irr",
        given="executed",
    ),
    Measure(
        "mirr",
        "1/year",
        "modified rate of return of the incremental cash, of the trials in which the job is done: income reinvested at "
        "`annual_reinvestment_rate` to the last month that holds a cent, outlay financed at `annual_finance_rate` from "
        "the first; both are the discount rate where not stated, and it is above that just where the incremental NPV "
        "is above zero. One value in every trial that spends; -1 where nothing comes in, `inf` where nothing goes out",
        "where the job is not done",
        symbol="MIRR",
        source="Lin 1976 (from memory)",
        given="executed",
        no_mean="infinite where nothing is spent",
        alone=nan,
    ),
    Measure(
        "payout_months",
        "months",
        "months from the start of the job until the running total of the incremental cash, undiscounted, is first back "
        "to zero, of the trials in which the job is done; `inf` where it never is within the horizon: those rank last",
        "where the job is not done",
        given="executed",
        no_mean="never has no mean",
        alone=nan,
    ),
    Measure(
        "payout_share",
        "fraction",
        "share of the trials in which the job is done that are back to zero within the horizon",
        "where the job is done in no trial",
        summed=SHARE_REACHED,
        column="payout_months",
        given="executed",
    ),
    Measure(
        "eur",
        VOLUME,
        "main phase: produced before the valuation plus forecast to the economic limit, at 8/8",
        symbol="EUR",
        alone=None,
    ),
    Measure("incremental_eur", VOLUME, "EUR less that of doing nothing", symbol="dEUR"),
    Measure(
        "capital_efficiency",
        f"{USD_WI}/{USD_WI}",
        "mean incremental NPV over mean discounted capex (a ratio of means, so it has no percentiles)",
        summed=RATIO,
        column="incremental_npv",
        over="discounted_capex",
    ),
    Measure(
        "p_loss",
        "fraction",
        "share of trials with an incremental NPV below zero (no percentiles)",
        symbol="P(loss)",
        summed=CHANCE_BELOW_ZERO,
        column="incremental_npv",
    ),
    Measure(
        "cvar",
        USD_WI,
        "mean incremental NPV of the worst trials, as many as `cvar_tail_fraction` says (no percentiles)",
        symbol="CVaR",
        source="Rockafellar & Uryasev 2000",
        summed=TAIL_MEAN,
        column="incremental_npv",
    ),
    Measure(
        "breakeven_price",
        f"US$/{VOLUME}",
        "flat benchmark price of the main phase at which the incremental NPV would be zero, other products, costs and "
        "lives held, of the trials in which the job is done; given within -1,000 to 1,000. Where the discounted "
        "incremental volume is not positive no price helps: `inf`, which ranks last",
        "where the job is not done, and where one that gains no volume has a gain at a price of zero",
        given="executed",
        no_mean="cut at -1,000 and 1,000, and no price has no mean",
        alone=nan,
    ),
    Measure(
        "job_days",
        "days",
        "days the well is shut in, workover and flowback included, of the trials in which the job is done",
        "where the job is not done",
        given="executed",
        column_meaning="days the well is shut in, workover and flowback included; 0 where the job is not done",
        kept=True,
    ),
    Measure(
        "job_cost",
        USD_GROSS,
        "cost of the job at 8/8, service-cost index included, of the trials in which the job is done",
        "where the job is not done",
        given="executed",
        column_meaning="cost of the job at 8/8, service-cost index included; 0 where the job is not done",
    ),
    Measure("capex", USD_WI, "cost of the job, working-interest share; 0 where not carried out", kept=True),
    Measure("discounted_capex", USD_WI, "capex at the valuation date", summed=COLUMN_ONLY),
    Measure(
        "effective_share",
        "fraction",
        "mean effectiveness over the planned stages, before the stress effect, of the trials in which the job is done; "
        "0 for a job called off or a well lost",
        "where the job is not done",
        given="executed",
        column_meaning="mean effectiveness over the planned stages, before the stress effect; 0 for a job called off, "
        "a well lost, and where the job is not done",
    ),
    Measure(
        "executed_share",
        "fraction",
        "1 where the job is carried out; its mean is the share of trials",
        summed=SHARE,
        column="executed",
        column_meaning="0: the lease had ended before the job; the trial is then that of `nothing`",
    ),
    Measure(
        "capped_share",
        "fraction",
        "1 where the refrac stream was cut at the ultimate; its mean is the share of trials",
        summed=SHARE,
        column="capped",
        column_meaning="1: the refrac stream was cut so that recovery stays within the ultimate",
    ),
    Measure(
        "offset_npv",
        USD_WI,
        "part of the NPV that the job brings, or costs, in offset wells, child wells included; 0 without "
        "[wells.offset_wells]",
    ),
)

SUMMARY: tuple[Measure, ...] = tuple(m for m in MEASURES if m.summed != COLUMN_ONLY)
"""The measures of the summary, in its order."""
SUMMARY_MEASURES: tuple[str, ...] = tuple(m.name for m in SUMMARY)

_COLUMNS: dict[str, Measure] = {
    m.column: m for m in MEASURES if m.summed in (DISTRIBUTION, SHARE, COLUMN_ONLY)
}
PER_TRIAL: tuple[str, ...] = tuple(_COLUMNS)
"""Columns of every trial of every strategy, in the order of the rows that the loop over the trials fills."""
ROW: dict[str, int] = {name: row for row, name in enumerate(PER_TRIAL)}
"""Row of a column of PER_TRIAL."""
UNDEFINED_ALONE: frozenset[str] = frozenset(
    name for name, m in _COLUMNS.items() if m.alone is not None and m.alone != m.alone
)
"""Columns that are NaN where there is no job."""
KEPT_MEASURES: tuple[str, ...] = tuple(name for name, m in _COLUMNS.items() if m.kept)
"""Columns that the finished run keeps of every trial; their order is that of the block files."""
EXTRA_MEASURES: tuple[str, ...] = tuple(name for name, m in _COLUMNS.items() if not m.kept)
"""Columns kept beside them while the run is made, and in the trials where these are asked for."""


NEVER = "never"
"""A value that is infinite, in words."""


def in_json(value: float) -> float | str | None:
    """A value of a trial for JSON, which knows neither: None where undefined, NEVER where infinite."""
    return None if value != value else NEVER if value == inf else value


def units(main_phase: str) -> dict[str, str]:
    """Unit of every measure of the summary for a well of this main phase, oil or gas."""
    volume = "bbl" if main_phase == "oil" else "Mcf"
    return {m.name: m.unit_for(volume) for m in SUMMARY}


def trial_column(name: str) -> tuple[str, str]:
    """Unit and meaning of a column of the trials. KeyError for an unknown one."""
    measure = _COLUMNS[name]
    unit = "0 or 1" if measure.summed == SHARE else measure.unit.replace(VOLUME, "bbl or Mcf")
    if measure.column_meaning:
        return unit, measure.column_meaning
    return unit, f"{measure.meaning}; undefined {measure.undefined}" if measure.undefined else measure.meaning
