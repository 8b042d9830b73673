"""The tables of a case with scenarios: their columns."""

from __future__ import annotations

from refracmc.reporting.table_spec import SPREAD, TableSpec, table_spec

SCENARIOS = table_spec("scenarios", "Scenarios side by side", "a well under a scenario; base: the case itself", """
well | text | | well id
scenario | text | | name of the scenario, or base
verdict | text | | refracture, marginal, leave, not told apart, or none (fewer than 100 trials)
strategy | text | | the refrac of the decision table under the scenario
date | month | | its month; of a trigger the month by which half of its jobs have started
mean_usd | number | US$ WI | mean of its incremental NPV
se_usd | number | US$ WI | standard error of that mean
p90_usd | number | US$ WI | P90 (low) of its incremental NPV
p50_usd | number | US$ WI | P50
p10_usd | number | US$ WI | P10 (high)
p_loss | number | 1 | chance that it is worth less than doing nothing
p_loss_se | number | 1 | its standard error
difference_usd | number | US$ WI | mean_usd less that of base, trial by trial
difference_se_usd | number? | US$ WI | its standard error, of the paired difference
choice | text | | the refrac that base chooses
choice_usd | number? | US$ WI | mean incremental NPV of that one under the scenario; missing where it is not there
choice_se_usd | number? | US$ WI | its standard error
regret_usd | number? | US$ WI | how much less it is than that of the scenario's own best refrac, trial by trial
regret_se_usd | number? | US$ WI | its standard error, of the paired difference
""", "well scenario")  # fmt: skip
"""A table of each well."""
OVER_SCENARIOS: tuple[TableSpec, ...] = (
    table_spec("scenario_totals", "Sums over wells by scenario", "as in portfolio_total, under one scenario", f"""
scenario | text | | name of the scenario, or base
jobs | text | | which are done, as in portfolio_total; refracture: of the wells with that verdict under the scenario
wells | integer | | wells with a job
measure | text | | as in portfolio_total
unit | text | | unit of mean, se and percentiles
{SPREAD}
""", "scenario jobs measure"),
    table_spec("scenario_inputs", "Inputs that scenarios change", "one input that differs under one scenario", """
scenario | text | | name of the scenario
well | text? | | well id; missing where all wells have the change in common
input | text | | key path of the input
unit | text | | its unit
before | text? | | value or distribution in the case; missing where it has none
after | text? | | the same under the scenario
""", "scenario well input"),
)  # fmt: skip
"""Tables over the wells of a case with scenarios."""
