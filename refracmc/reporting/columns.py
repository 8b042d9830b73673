"""The tables of a report and their columns: one place for names, kinds, units and meanings.

``?`` after a kind says that the value may be missing. :mod:`refracmc.reporting.tables` checks against these.
Later work adds a table by adding one :func:`table_spec` to the list.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from refracmc.reporting.columns_over_wells import OVER_WELLS
from refracmc.reporting.columns_scenarios import SCENARIOS
from refracmc.reporting.table_spec import KINDS, NOTHING, Column, TableSpec, table_spec

__all__ = ["KINDS", "NOTHING", "TABLES", "Column", "TableSpec", "table_spec"]

_VALUE = """mean_usd | number | US$ WI | mean of the incremental NPV
se_usd | number | US$ WI | standard error of that mean
p90_usd | number | US$ WI | P90 (low) of the incremental NPV
p50_usd | number | US$ WI | P50 of the incremental NPV
p10_usd | number | US$ WI | P10 (high) of the incremental NPV"""

_SPECS: tuple[TableSpec, ...] = (
    table_spec("summary", "All measures of all strategies", "one measure of one strategy of one well", """
well | text | | well id
strategy | text | | nothing, <order>@YYYY-MM or <order>@<trigger>
measure | text | | name of the measure
unit | text | | unit of mean, se and percentiles
mean | number? | | mean over the trials in which it is defined; missing where `explain measures` says that it has none
se | number? | | standard error of the mean
p90 | number? or inf | | P90 (low); inf where that trial never pays out, or no price helps; missing where it has none
p90_se | number? | | its standard error; missing where it is not known
p50 | number? or inf | | P50, likewise
p50_se | number? | | its standard error
p10 | number? or inf | | P10 (high), likewise
p10_se | number? | | its standard error
undefined_share | number | 1 | share of trials in which the measure is undefined
""", "well strategy measure", True),
    table_spec("decision", "Decision", "one well, its best refrac against nothing", f"""
well | text | | well id
strategy | text | | the refrac with the highest mean incremental NPV of all dates, triggers and orders
order | text | | its stage order, + size where sizes are stated
date | month | | its month; of a trigger the month by which half of its jobs have started
trigger | text? | | the trigger that sets its date, missing for a fixed date
early_month | month | | month by which 10 % of its jobs have started
late_month | month | | month by which 90 % of its jobs have started
{_VALUE}
p_loss | number | 1 | chance that this refrac is worth less than doing nothing
p_loss_se | number | 1 | its standard error
cvar_usd | number | US$ WI | mean incremental NPV of the worst trials (tail fraction: facts)
cvar_se_usd | number? | US$ WI | its standard error
chance_of_best | number | 1 | share of trials in which no other strategy, nothing included, is better
chance_nothing_best | number | 1 | share of trials in which doing nothing is the best
opportunity_loss_usd | number | US$ WI | mean shortfall of this refrac against each trial's best strategy
nothing_opportunity_loss_usd | number | US$ WI | the same shortfall if nothing is done
runner_up | text? | | the refrac with the next highest mean
lead_usd | number? | US$ WI | mean of the paired difference to the runner-up
lead_se_usd | number? | US$ WI | its standard error
job_days | number? | days | mean days shut in of the jobs that are done; missing where none is
job_days_se | number? | days | its standard error
job_cost_usd | number? | US$ gross | mean cost of the jobs that are done
job_cost_se_usd | number? | US$ gross | its standard error
executed_share | number | 1 | share of trials in which the job is carried out (lease still held, trigger fired)
""", "well", True),
    table_spec("verdicts", "Verdicts", "one well, what its best refrac is judged by", """
well | text | | well id
strategy | text | | the refrac of the decision table
verdict | text | | refracture, marginal, leave, not told apart, or none (fewer than 100 trials)
verdict_low | text | | worst verdict within the errors; that of the well where they are told apart
verdict_high | text | | best verdict within the errors
verdict_of_estimates | text | | verdict of the numbers as they stand, errors left out
worth_usd | number | US$ WI | mean incremental NPV, the mean of the worst trials in it by tail_weight
worth_se_usd | number? | US$ WI | its standard error
value_per_dollar | number? | US$ WI/US$ WI | worth over mean discounted capex; missing where no job is carried out
value_per_dollar_se | number? | US$ WI/US$ WI | its standard error
p_loss | number | 1 | chance that this refrac is worth less than doing nothing
p_loss_se | number | 1 | its standard error
equals | integer | | other refracs whose worth is within the error of the best
equal_strategies | text? | | their names, a blank between them
some_refrac_chance | number | 1 | share of trials in which some refrac beats doing nothing
some_refrac_chance_se | number | 1 | its standard error
best_refrac_chance | number | 1 | share of trials in which this refrac is the best of the refracs
best_refrac_chance_se | number | 1 | its standard error
least_value_per_dollar | number | US$ WI/US$ WI | asked: least value per dollar to refracture
marginal_value_per_dollar | number | US$ WI/US$ WI | asked: how far below that is marginal still
greatest_chance_of_loss | number | 1 | asked: greatest chance of loss to refracture
marginal_chance_of_loss | number | 1 | asked: how far above that is marginal still
tail_weight | number | 1 | asked: weight of the mean of the worst trials in the worth
""", "well", True),
    table_spec("turning_points", "What would turn the verdict", "one input and one turn of one well's verdict", """
well | text | | well id
strategy | text | | the refrac of the decision table
input | text | | what is changed, everything else and all luck as it was
unit | text | | factor on the case's own values, 1/year, or a fraction or chance
own_value | number | unit | value in the case
low | number | unit | least value looked at
high | number | unit | greatest value looked at
verdict_now | text | | verdict of the estimates
verdict_then | text | | verdict beyond the turn
turns_at | number? | unit | value nearest to the case's own at which it turns; missing where none looked at turns it
turns_at_se | number? | unit | its standard error
amount_unit | text? | | what a factor acts on
amount_now | number? | amount_unit | its size in the case
amount_then | number? | amount_unit | its size at the turn
trials | integer | | trials that were valued again
""", "well input verdict_then"),
    table_spec("distribution", "NPV distribution", "one percentile of one strategy of one well", """
well | text | | well id
strategy | text | | nothing, <order>@YYYY-MM or <order>@<trigger>
exceedance_percent | number | % | share of trials above the value, 90 for P90
npv_usd | number | US$ WI | NPV exceeded by that share of trials
incremental_npv_usd | number | US$ WI | incremental NPV exceeded by that share of trials
""", "well strategy exceedance_percent"),
    table_spec("timing", "Value against refrac date", "one refrac date of one order of one well", f"""
well | text | | well id
order | text | | stage order, + size where sizes are stated
date | month | | month in which the job starts
{_VALUE}
gain_usd | number | US$ WI | mean of the paired difference to the order's first date
gain_se_usd | number | US$ WI | its standard error (0 at the first date)
""", "well order date"),
    table_spec("triggers", "Value of dates set by triggers", "one order at the date of one trigger", f"""
well | text | | well id
strategy | text | | <order>@<trigger>
order | text | | stage order, + size where sizes are stated
trigger | text | | trigger that sets the date, trial by trial
{_VALUE}
p_loss | number | 1 | chance that it is worth less than doing nothing
p_loss_se | number | 1 | its standard error
against | text | | the order's fixed date with the highest mean
gap_usd | number | US$ WI | mean of the paired difference to that
gap_se_usd | number? | US$ WI | its standard error
executed_share | number | 1 | share of trials in which the job is carried out
early_month | month? | | month by which 10 % of its jobs have started, missing where no job is
median_month | month? | | month by which half of them have started
late_month | month? | | month by which 90 % of them have started
""", "well strategy"),
    table_spec("trigger_months", "Dates set by triggers", "one month of one triggered strategy", """
well | text | | well id
strategy | text | | <order>@<trigger>
month | month | | month in which the job starts
share | number | 1 | share of all trials in which it is carried out in this month
""", "well strategy month"),
    table_spec("orders", "Stage orders at their best date", "one order of one well at its best date", f"""
well | text | | well id
order | text | | stage order, + size where sizes are stated
date | month | | date of its highest mean incremental NPV
{_VALUE}
gap_usd | number? | US$ WI | mean of the paired difference to the best order (0 for the best)
gap_se_usd | number? | US$ WI | its standard error
executed_share | number | 1 | share of trials in which the job is carried out; the columns from here on are of those
job_days | number? | days | mean days shut in; missing where no job is carried out
job_days_se | number? | days | its standard error
job_days_p90 | number? | days | P90 (low) of the days shut in
job_days_p50 | number? | days | P50
job_days_p10 | number? | days | P10 (high)
job_cost_usd | number? | US$ gross | mean cost of the job
job_cost_se_usd | number? | US$ gross | its standard error
job_cost_p90_usd | number? | US$ gross | P90 (low) of the cost
job_cost_p50_usd | number? | US$ gross | P50
job_cost_p10_usd | number? | US$ gross | P10 (high)
effective_share | number? | 1 | mean share of the stages effectively treated
effective_share_se | number? | 1 | its standard error
extra_shifts | number | 1 | planned sleeve shifts beyond the order with the fewest
""", "well order"),
    table_spec("production", "Production with and without refrac", "one month of one branch of one well", """
well | text | | well id
branch | text | | history, nothing or refrac (the strategy of the decision table)
strategy | text? | | nothing, <order>@YYYY-MM or <order>@<trigger>; missing for history
month | month | | calendar month
mean | number | unit | mean monthly volume of the main phase (history: the actual volume)
se | number? | unit | standard error of that mean; missing for history
p90 | number? | unit | P90 (low) of the month's volume; missing for history
p50 | number? | unit | P50; missing for history
p10 | number? | unit | P10 (high); missing for history
unit | text | | bbl/month or Mcf/month
""", "well branch month"),
    table_spec("uptime", "Uptime ahead and the chance to stand idle", "one well with a history", """
well | text | | well id
own_year | number | 1 | producing share of the last 12 months of the history
own_quarter | number | 1 | producing share of the last 3 months
months_shut | number | months | declared zeros at its end
running | number | 1 | mean uptime ahead if it runs, as many wells of such a year and rate went on
ahead | number | 1 | mean uptime ahead, draws in which the well stands idle for good in it as 0
idle_chance | number | 1 | chance that the well stands idle for good from the next month on
idle_chance_learned | number | 1 | what it would be of a well of its rate and age that is not shut in
idle_chance_own | number | 1 | what its own months shut in add
hurdle | flag | | whether the forecast has that chance (fit.idle_hurdle)
""", "well"),
    table_spec("cost", "Cost of the job by part", "one cost part of one strategy of one well", """
well | text | | well id
strategy | text | | <order>@YYYY-MM or <order>@<trigger>
part | text | | cost part
mean_usd | number | US$ gross | mean cost of the jobs that are done, those without the part counted as 0
se_usd | number | US$ gross | standard error of the mean
share | number | 1 | share of the mean total cost
""", "well strategy part"),
    table_spec("timeline", "The job, step by step", "one step of the job of one strategy of one well", """
well | text | | well id
strategy | text | | <order>@YYYY-MM or <order>@<trigger>
scenario | text | | planned (no failure) or typical (one simulated trial)
step | integer | | counts from 1
action | text | | run_in, close, reseat, test, open, treat, reclose, reopen, move, trip, pull_out ...
sleeve | integer? | | sleeve number (1 is the deepest), missing where no sleeve is meant
depth_ft | number? | ft | measured depth of the coiled tubing at the end of the step, missing before and after
start_hour | number | h | hours since the start of the job
end_hour | number | h | hours since the start of the job
outcome | text? | | ok, or what went wrong
""", "well strategy scenario step"),
    table_spec("job_parts", "Days and cost of the job by part and order", "one part of one order", """
well | text | | well id
strategy | text | | the order at its best date
order | text | | stage order or isolation method, + size where sizes are stated
measure | text | | days or cost
part | text | | part of the days or of the cost
unit | text | | unit of the mean
mean | number | unit | mean over the trials of the first block, trials without the part counted as 0
se | number | unit | standard error of the mean
""", "well order measure part"),
    table_spec("job_spread", "Spread of days and cost by order", "one percentile of one order", """
well | text | | well id
strategy | text | | the order at its best date
order | text | | stage order or isolation method, + size where sizes are stated
measure | text | | days or cost
exceedance_percent | number | % | share of trials above the value, 90 for P90
unit | text | | unit of the value
value | number | unit | value exceeded by that share of the trials of the first block
""", "well order measure exceedance_percent"),
    table_spec("sleeve_map", "Sleeves hour by hour in one trial", "one state of one sleeve", """
well | text | | well id
strategy | text | | the refrac of the decision table
sleeve | integer | | sleeve number (1 is the deepest)
depth_ft | number | ft | measured depth
state | text | | open, closed, being treated, open treated, stuck open, stuck closed, patched ...
from_hour | number | h | hours since the start of the job
to_hour | number | h | hours since the start of the job
""", "well strategy sleeve from_hour"),
    table_spec("stress_state", "Stress along the lateral as the order proceeds", "one sleeve at one time", """
well | text | | well id
order | text | | stage order, + size where sizes are stated
state | text | | after so many stages, or as its stage is pumped
sleeve | integer | | sleeve number (1 is the deepest)
depth_ft | number | ft | measured depth
contrast_fall_psi | number | psi | mean fall of the horizontal stress contrast by the stages placed so far
se_psi | number | psi | its standard error
""", "well order state sleeve"),
    table_spec("failures", "Where failures cost most", "one kind of shift of one sleeve that fails", """
well | text | | well id
strategy | text | | the refrac of the decision table
sleeve | integer | | sleeve number (1 is the deepest)
depth_ft | number | ft | measured depth
kind | text | | close, open, reclose or reopen
chance | number | 1 | share of trials in which it is tried and fails
stages_lost_share | number | 1 | share of the stages' effect lost by this failure alone
old_lost_share | number | 1 | share of the old entry points lost by this failure alone
days_more | number | days | days it adds alone
""", "well strategy sleeve kind"),
    table_spec("pressure", "Pressure screen", "one limit of one well", """
well | text | | well id
limit_name | text | | casing burst, wellhead rating, coiled tubing collapse, or all of them
inside_share | number | 1 | share of trials in which the treating pressure is within the limit
inside_share_se | number | 1 | its standard error
asked_p90_psi | number | psi | P90 (low) of the treating pressure at the surface, deepest stage
asked_p50_psi | number | psi | P50
asked_p10_psi | number | psi | P10 (high)
borne_p90_psi | number | psi | P90 (low) of the pressure the limit allows
borne_p50_psi | number | psi | P50
borne_p10_psi | number | psi | P10 (high)
""", "well limit_name"),
    table_spec("reach", "Force at the tool", "one sleeve of one well", """
well | text | | well id
sleeve | integer | | sleeve number (1 is the deepest)
depth_ft | number | ft | measured depth
push_p90_lbf | number | lbf | P90 (low) of the push at the tool; below 0 the tubing does not get there by its own push
push_p50_lbf | number | lbf | P50
push_p10_lbf | number | lbf | P10 (high)
pull_p90_lbf | number | lbf | P90 (low) of the pull at the tool
pull_p50_lbf | number | lbf | P50
pull_p10_lbf | number | lbf | P10 (high)
needed_p90_lbf | number | lbf | P90 (low) of the force that shifts a sleeve
needed_p50_lbf | number | lbf | P50
needed_p10_lbf | number | lbf | P10 (high)
reached_share | number | 1 | share of trials with enough force to close and to open, here and at all sleeves above
reached_share_se | number | 1 | its standard error
planned_push_lbf | number | lbf | push the plan counts on
planned_pull_lbf | number | lbf | pull the plan counts on
planned | flag | | whether the plan takes the sleeve as within reach of the force at the tool
""", "well sleeve"),
    table_spec("drivers", "What drives the result", "one group of inputs for one target of one well", """
well | text | | well id
target | text | | what is explained, e.g. npv or difference
group | text | | group of inputs
first | number | 1 | first-order variance share
first_ci | number | 1 | half width of its 95 % interval
total | number | 1 | total variance share, interactions included
total_ci | number | 1 | half width of its 95 % interval
""", "well target group"),
    table_spec("tornado", "One input at a time", "one input of the best refrac of one well", """
well | text | | well id
strategy | text | | <order>@YYYY-MM or <order>@<trigger>
input | text | | key path of the case
unit | text | | unit of the input
low_input | number | | mean of the input in the fifth of trials with it lowest
high_input | number | | mean of the input in the fifth of trials with it highest
low_mean_usd | number | US$ WI | mean incremental NPV of those with it lowest
high_mean_usd | number | US$ WI | mean incremental NPV of those with it highest
low_se_usd | number? | US$ WI | standard error with the input low
high_se_usd | number? | US$ WI | standard error with the input high
""", "well strategy input"),
    table_spec("inputs", "Inputs", "one input of the case", """
well | text? | | well id, missing for what all wells share
variable | text | | key path of the case
unit | text | | unit
distribution | text | | value or distribution with its parameters
source | text | | where it comes from
is_assumption | flag | | true where no source stands behind it
stated | flag | | true where the case states it, false where it is left at its default
"""),
    table_spec("cleaning", "Months of history used and dropped", "one reason of one well", """
well | text | | well id
status | text | | used or dropped
reason | text | | why
months | integer | months | number of months
first_month | month? | | first of them
last_month | month? | | last of them
"""),
)  # fmt: skip

TABLES: Mapping[str, TableSpec] = MappingProxyType(
    {spec.key: spec for spec in (*_SPECS, SCENARIOS, *OVER_WELLS.values())}
)
"""All tables of a report by key, in the order of the files."""
