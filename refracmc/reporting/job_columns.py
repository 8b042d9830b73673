"""The tables that `refracmc job` writes beside those it has in common with a run; same rules as `columns`."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from refracmc.reporting.columns import TABLES, TableSpec, table_spec

_SPECS = (
    table_spec("job_steps", "Planned steps", "one step of the plan of one order or isolation method", """
well | text | | well id
order | text | | stage order or isolation method; the plan is the same at every date
step | integer | | counts from 1
action | text | | as in the JSON of the command
sleeve | integer? | | sleeve number (1 is the deepest), missing where no sleeve is meant
depth_ft | number? | ft | measured depth of the coiled tubing at the end of the step
start_hour | number | h | calendar hours since the start of the job
hours | number | h | length of the step if all works, with mean inputs
cumulative_hours | number | h | calendar hours at its end
""", "well order step"),
    table_spec("job_strategies", "Days, cost and what went wrong", "one measure of one strategy", """
well | text | | well id
strategy | text | | <order>@YYYY-MM or <order>@<trigger>
order | text | | stage order or isolation method
month | month? | | month of the job; of a trigger the median one, missing if it never fires
started_share | number | 1 | share of trials in which the trigger fires, 1 at a date; the rest counts nowhere here
measure | text | | days, cost_usd, stages_effective_fraction, called_off, well_lost, and counts of a job
unit | text | | unit of mean, errors and percentiles
mean | number? | unit | mean over the jobs that start
se | number? | unit | its standard error
p90 | number? | unit | P90 (low)
p90_se | number? | unit | its standard error
p50 | number? | unit | P50
p50_se | number? | unit | its standard error
p10 | number? | unit | P10 (high)
p10_se | number? | unit | its standard error
""", "well strategy measure"),
    table_spec("job_cost", "Build-up of the mean cost", "one cost part of one strategy", """
well | text | | well id
strategy | text | | <order>@YYYY-MM or <order>@<trigger>
part | text | | cost part
mean_usd | number | US$ gross | mean cost, jobs without the part counted as 0
se_usd | number? | US$ gross | standard error of the mean
share | number | 1 | share of the mean total cost
""", "well strategy part"),
    table_spec("job_percentiles", "Distribution of days and cost", "one percentile of one strategy", """
well | text | | well id
strategy | text | | <order>@YYYY-MM or <order>@<trigger>
order | text | | stage order or isolation method
measure | text | | days or cost
exceedance_percent | number | % | share of jobs above the value, 90 for P90
unit | text | | unit of the value
value | number? | unit | value exceeded by that share of the jobs
se | number? | unit | its standard error
""", "well strategy measure exceedance_percent"),
)  # fmt: skip

JOB_TABLES: Mapping[str, TableSpec] = MappingProxyType({spec.key: spec for spec in _SPECS})
"""Tables of the job alone by key, in the order of the files."""
ALL_TABLES: Mapping[str, TableSpec] = MappingProxyType({**TABLES, **JOB_TABLES})
