"""The tables that `refracmc portfolio` writes; same rules as :mod:`refracmc.reporting.columns`."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from refracmc.reporting.table_spec import TableSpec, table_spec

_SPREAD = """mean_usd | number? | US$ WI | mean of its incremental NPV, pad savings left out
se_usd | number? | US$ WI | its standard error
p90_usd | number? | US$ WI | P90 (low)
p90_se_usd | number? | US$ WI | its standard error
p50_usd | number? | US$ WI | P50
p50_se_usd | number? | US$ WI | its standard error
p10_usd | number? | US$ WI | P10 (high)
p10_se_usd | number? | US$ WI | its standard error"""

_SPECS: tuple[TableSpec, ...] = (
    table_spec("portfolio", "Wells and what is done with each", "one well, or one project that is no refrac", f"""
well | text | | well id, or name of the project
kind | text | | well or other
pad | text? | | pad of the well
chosen | flag | | whether one of its jobs is chosen
reason | text | | chosen, or why not: asked to leave, no job offered, loses, no room (with the limits), or gives way
order | text? | | stage order of the job chosen, + size; of a well left out that of its best job by mean value
month | month? | | month in which that job is to begin
capital_usd | number? | US$ WI | mean capital of that job, pad savings left out
capital_se_usd | number? | US$ WI | its standard error
{_SPREAD}
p_loss | number? | 1 | chance that it is worth less than doing nothing
p_loss_se | number? | 1 | its standard error
days | number? | days | mean days of the job, trials without it as 0
days_se | number? | days | its standard error
ct_crew | integer? | | coiled-tubing crew that does it, from 1
frac_crew | integer? | | frac crew, from 1
chance_of_slip | number? | 1 | chance that it begins after its month
slip_days | number? | working days | mean delay of its beginning against the plan
slip_cost_usd | number? | US$ WI | mean value lost by that delay
chosen_share | number? | 1 | share of the resamples in which a job of the well is chosen; missing where none was done
same_job_share | number? | 1 | share in which this very job is chosen
""", "well"),
    table_spec("schedule", "Crew calendar", "one chosen job, in the order in which they begin", """
place | integer | | counts from 1
well | text | | well id, or name of the project
pad | text? | | pad of the well
order | text | | stage order, + size
month | month | | month chosen
ct_crew | integer? | | coiled-tubing crew, from 1; missing where none is needed
frac_crew | integer? | | frac crew, from 1
planned_start_day | number | working days | beginning by planned days, from the first of the month chosen
planned_days | number | working days | days for which its crews are held, as planned
start_p90_day | number | working days | P90 (early) of the beginning, from the first of the month chosen
start_p50_day | number | working days | P50
start_p10_day | number | working days | P10 (late)
chance_of_slip | number | 1 | chance that it begins after its month
chance_of_slip_se | number | 1 | its standard error
slip_days | number | working days | mean delay against the planned beginning, 0 where it is early
slip_days_se | number | working days | its standard error
slip_cost_usd | number | US$ WI | mean value lost by it, by straight line between months valued, none beyond the last
slip_cost_se_usd | number | US$ WI | its standard error
""", "place"),
    table_spec("front", "Mean against the worst trials", "one choice of the efficient front", """
risk_weight | number | | multiple of the CVaR of the loss taken off the mean
is_choice | flag | | whether it is the choice of the other tables
jobs | integer | | jobs
capital_usd | number | US$ WI | mean capital, pad savings taken off
mean_usd | number | US$ WI | mean of the summed trials, pad savings in
se_usd | number | US$ WI | its standard error
cvar_usd | number | US$ WI | mean of the worst of the summed trials, as many as valuation.cvar_tail_fraction
cvar_se_usd | number? | US$ WI | its standard error
p90_usd | number | US$ WI | P90 (low) of the summed trials
p50_usd | number | US$ WI | P50
p10_usd | number | US$ WI | P10 (high)
p_loss | number | 1 | chance that the sum is below zero
target_usd | number? | US$ WI | value to reach; missing where none is stated
chance_of_target | number? | 1 | chance that the sum reaches it
chance_of_target_se | number? | 1 | its standard error
gap_usd | number | US$ WI | how much more mean less weighed CVaR another choice could have at most, on all trials
comes | text? | | wells that come in against the choice
goes | text? | | wells that go out
""", "risk_weight"),
    table_spec("worth", "What more capital and crews are worth", "one limit or several, raised", """
what | text | | what there is more of
gain_usd | number | US$ WI | gain in mean value, the choice by mean made again with it
most_usd | number | US$ WI | what the gain is at most, by the bound of the solver
comes | text? | | wells that come in
goes | text? | | wells that go out
""", "what"),
    table_spec("rankings", "The choice against plain rankings", "one way to choose, by mean value", """
way | text | | best choice by mean value, or a ranking filled from the top
jobs | integer | | jobs
mean_usd | number | US$ WI | mean value, pad savings in
capital_usd | number | US$ WI | mean capital, pad savings taken off
shortfall_usd | number | US$ WI | below the best choice by mean value
shortfall | number | 1 | the same as a fraction of it
is_as_good | flag | | within the gap that the solver was asked for
fits | flag | | whether all that must be done is done and all limits hold
""", "way"),
    table_spec("years", "Capital by year", "one calendar year with a limit or a job", """
year | integer | | calendar year
jobs | integer | | jobs that begin in it
capital_usd | number | US$ WI | mean capital, pad savings taken off
limit_usd | number? | US$ WI | limit of the year; missing where there is none
capital_p90_usd | number | US$ WI | P90 (low) of the summed trials
capital_p50_usd | number | US$ WI | P50
capital_p10_usd | number | US$ WI | P10 (high)
mean_usd | number | US$ WI | mean value of the jobs that begin in it
p90_usd | number | US$ WI | P90 (low) of their summed trials
p50_usd | number | US$ WI | P50
p10_usd | number | US$ WI | P10 (high)
""", "year"),
    table_spec("regret", "Regret by scenario", "one scenario", """
scenario | text | | its name
value_usd | number | US$ WI | mean value of the chosen jobs there
best_usd | number | US$ WI | that of the best choice there
regret_usd | number | US$ WI | what the chosen jobs lose against it
jobs | integer | | jobs of the best choice there
jobs_in_common | integer | | of these, jobs that are chosen
""", "scenario"),
)  # fmt: skip

PORTFOLIO_TABLES: Mapping[str, TableSpec] = MappingProxyType({spec.key: spec for spec in _SPECS})
"""By key, which is the name of the file; `regret` is there where scenarios were valued."""
