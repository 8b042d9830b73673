"""The tables over all wells of a case, for cases of two wells or more: their columns."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from refracmc.reporting.columns_scenarios import OVER_SCENARIOS
from refracmc.reporting.table_spec import SPREAD, TableSpec, table_spec

_SPECS: tuple[TableSpec, ...] = (
    table_spec("wells_ranked", "Wells by value per dollar", "one well with its best refrac", """
place | integer | | place by value per dollar, counts from 1
well | text | | well id
verdict | text | | refracture, marginal, leave, not told apart, or none (fewer than 100 trials)
strategy | text | | the refrac of the decision table
order | text | | its stage order, + size where sizes are stated
date | month | | its month; of a trigger the month by which half of its jobs have started
trigger | text? | | the trigger that sets its date, missing for a fixed date
mean_usd | number | US$ WI | mean of the incremental NPV
se_usd | number | US$ WI | its standard error
p90_usd | number | US$ WI | P90 (low) of the incremental NPV
p90_se_usd | number? | US$ WI | its standard error
p50_usd | number | US$ WI | P50
p50_se_usd | number? | US$ WI | its standard error
p10_usd | number | US$ WI | P10 (high)
p10_se_usd | number? | US$ WI | its standard error
p_loss | number | 1 | chance that the refrac is worth less than doing nothing
p_loss_se | number | 1 | its standard error
capital_usd | number | US$ WI | mean cost of the job, trials in which it is not carried out as 0
capital_se_usd | number | US$ WI | its standard error
capital_gross_usd | number | US$ gross | the same at 8/8
capital_gross_se_usd | number | US$ gross | its standard error
days_on_job | number | days | mean days shut in, trials in which the job is not carried out as 0
days_on_job_se | number | days | its standard error
value_per_dollar | number? | US$ WI/US$ WI | mean incremental NPV over mean discounted capex; missing without capital
value_per_dollar_se | number? | US$ WI/US$ WI | its standard error
capital_to_here_usd | number | US$ WI | sum of capital_usd down to this row
value_to_here_usd | number | US$ WI | sum of mean_usd down to this row
chosen_capital_to_here_usd | number | US$ WI | the same sum of wells whose verdict is refracture
chosen_value_to_here_usd | number | US$ WI | the same sum of wells whose verdict is refracture
""", "well"),
    table_spec("portfolio_total", "Sums over wells", "one measure of the wells together with some of the jobs", f"""
jobs | text | | which are done: none; refracture: the best refrac of each well with that verdict; all: of every well
wells | integer | | wells with a job
measure | text | | npv of all wells; of the jobs incremental_npv, capex, p_loss, cvar, capital_efficiency; capex_gross
unit | text | | unit of mean, se and percentiles
{SPREAD}
""", "jobs measure"),
    table_spec("portfolio_months", "Jobs by month", "the jobs of one month", """
month | month | | month in which the jobs start, each at its best date
jobs | text | | refracture: of wells with that verdict; other: best refracs of the others
count | integer | | jobs
wells | text | | their wells, by value per dollar
days_on_job | number | days | sum of the mean days shut in
capital_usd | number | US$ WI | sum of the mean capital
capital_gross_usd | number | US$ gross | the same at 8/8
mean_usd | number | US$ WI | sum of the mean incremental NPV
""", "month jobs"),
    table_spec("portfolio_years", "Capital and volumes by year", "one measure of one calendar year", f"""
jobs | text | | which are done, as in portfolio_total
measure | text | | oil, gas or water of all wells at 8/8; capex: capital WI; capex_gross: capital at 8/8
year | integer | | calendar year; the first one from the valuation month on, the last one to the end of the horizon
unit | text | | bbl/year, Mcf/year, US$ WI or US$ gross
{SPREAD}
""", "jobs measure year"),
)  # fmt: skip

OVER_WELLS: Mapping[str, TableSpec] = MappingProxyType(
    {spec.key: spec for spec in (*_SPECS, *OVER_SCENARIOS)}
)
"""These tables by key, in the order of the files."""
