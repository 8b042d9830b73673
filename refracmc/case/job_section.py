"""The coiled-tubing job in the case: shifts, durations, mishaps (well scope), and rates (shared scope).

No source exists for how old sleeves shift; those chances are the engineer's own and marked assumption.
Chances are of one try, averaged over the well's sleeves as they are on the valuation date.
"""

from __future__ import annotations

from typing import Literal

from refracmc.case.key_rules import Problem, Section, Uncertain, choice, fraction, integer, number, uncertain
from refracmc.case.pressure_section import PressureScreen
from refracmc.case.reach_section import ReachForces
from refracmc.case.size_section import JobSize


class JobCost(Section):
    """Lump sums and rates at the 8/8 level, multiplied by the service-cost index."""

    mobilisation_usd: Uncertain = uncertain(
        250_000.0, "US$ gross", "mobilisation of all crews, and what re-runs the lift, lump sum", 0.0
    )
    workover_usd_per_day: Uncertain = uncertain(
        18_000.0, "US$ gross/d", "workover rig and crew before CT", 0.0
    )
    ct_spread_usd_per_day: Uncertain = uncertain(
        38_000.0,
        "US$ gross/d",
        "coiled tubing unit and tools",
        0.0,
        source="assumption; Oil & Gas Journal 2011: 29,000, above 80,000 at that peak, not inflated",
    )
    frac_spread_usd_per_day: Uncertain = uncertain(
        55_000.0, "US$ gross/d", "pumping crew, standby included", 0.0
    )
    stage_materials_usd: Uncertain = uncertain(
        9_000.0, "US$ gross/stage", "proppant, chemicals, per stage", 0.0
    )
    water_bbl_per_stage: Uncertain = uncertain(1_200.0, "bbl/stage", "water pumped per stage", 0.0)
    water_usd_per_bbl: Uncertain = uncertain(0.8, "US$ gross/bbl", "fresh or treated water delivered", 0.0)
    trip_usd: Uncertain = uncertain(
        12_000.0, "US$ gross/trip", "tools changed in a trip of the assembly", 0.0
    )
    patch_usd: Uncertain = uncertain(45_000.0, "US$ gross/patch", "patch set over a sleeve", 0.0)
    perforate_usd: Uncertain = uncertain(
        18_000.0, "US$ gross/sleeve", "jetting or perforating beside a sleeve", 0.0
    )
    screenout_usd: Uncertain = uncertain(
        15_000.0, "US$ gross/event", "cleanout materials after a screenout", 0.0
    )
    stuck_ct_usd: Uncertain = uncertain(
        300_000.0, "US$ gross/event", "fishing or cutting stuck coiled tubing", 0.0
    )
    well_lost_usd: Uncertain = uncertain(500_000.0, "US$ gross/event", "making a lost well safe", 0.0)
    cancellation_usd: Uncertain = uncertain(
        100_000.0, "US$ gross", "paid to the crews when a job is called off", 0.0
    )
    flowback_usd_per_day: Uncertain = uncertain(6_000.0, "US$ gross/d", "flowback and re-running lift", 0.0)
    load_recovery_fraction: Uncertain = fraction(0.3, "share of pumped water flowed back")
    load_disposal_usd_per_bbl: Uncertain = uncertain(1.0, "US$ gross/bbl", "disposal of load water", 0.0)
    string_change_usd: Uncertain = uncertain(
        60_000.0,
        "US$ gross/change",
        "another coiled tubing string brought in, where changes are planned",
        0.0,
    )
    slim_stage_usd: Uncertain = uncertain(
        4_000.0, "US$ gross/stage", "slim tools for a stage below a patch, where patches ask for them", 0.0
    )
    casing_failure_usd: Uncertain = uncertain(
        400_000.0, "US$ gross/event", "repair of a casing that failed in the job", 0.0
    )
    service_index_beta: Uncertain = uncertain(
        0.4,
        "",
        "elasticity of service costs to the lagged oil price",
        source="assumption; EIA drilling cost study 2016: costs fell 25 to 30 % from 2012 to 2015",
    )
    service_index_lag_months: int = integer(9, "months", "lag of service costs behind oil", 0, 120)
    service_index_sd: float = number(
        0.08, "", "log sd of service costs not explained by oil (mean 1)", 0.0, 2.0
    )


class Job(Section):
    """Sleeves, durations, mishaps and fallbacks of one job."""

    close_chance: Uncertain = fraction(0.95, "one try closes an open sleeve", above=True)
    open_chance: Uncertain = fraction(0.97, "one try opens a closed sleeve", above=True)
    reclose_chance: Uncertain = fraction(0.95, "one try recloses a treated sleeve", above=True)
    reopen_chance: Uncertain = fraction(0.97, "one try reopens a sleeve at the end", above=True)
    age_slope_per_year: Uncertain = uncertain(-0.05, "logit/year", "change of the logit with sleeve age")
    cycle_slope: Uncertain = uncertain(-0.05, "logit/cycle", "change of the logit with each shift")
    well_effect_sd: float = number(1.0, "logit", "sd of the effect all sleeves of a well share", 0.0, 10.0)
    sleeve_effect_sd: float = number(2.0, "logit", "sd of the effect all tries at a sleeve share", 0.0, 10.0)
    max_tries: int = integer(3, "tries", "tries before the fallback", 1, 20)
    hours_per_try: Uncertain = uncertain(0.25, "h", "locate and one try at a shift", 0.0)
    hours_per_test: Uncertain = uncertain(0.1, "h", "test of a closed sleeve", 0.0)
    hours_per_stage: Uncertain = uncertain(
        1.1,
        "h",
        "pumping one stage, mean",
        0.0,
        source="assumption; a cemented sleeve completion without CT made 15 stages in 24 h (JPT)",
    )
    stage_hours_log_sd: float = number(0.25, "", "log sd of the pumping hours between stages", 0.0, 2.0)
    ct_speed_ft_per_min: Uncertain = uncertain(
        50.0, "ft/min", "running speed, mean of in and out", 0.0, above=True
    )
    cleanout_hours: Uncertain = uncertain(14.0, "h", "cleanout and drift to the toe and back", 0.0)
    hours_per_trip: Uncertain = uncertain(14.0, "h", "trip out and back to change the assembly", 0.0)
    stages_per_bha: int = integer(20, "stages", "stages an assembly lasts", 1, 1000)
    trip_chance_per_stage: Uncertain = fraction(0.02, "unplanned trip after a stage")
    screenout_chance: Uncertain = fraction(0.02, "a stage screens out")
    screenout_hours: Uncertain = uncertain(8.0, "h", "cleanout after a screenout", 0.0)
    screenout_placed_fraction: Uncertain = fraction(0.5, "share of a stage placed before it screened out")
    npt_fraction: Uncertain = uncertain(0.15, "fraction", "non-productive time over CT hours", 0.0)
    waiting_days: Uncertain = uncertain(1.0, "d", "weather and waiting during CT work", 0.0)
    days_before_ct: Uncertain = uncertain(5.0, "d", "workover, kill, tubing, casing test, rig up", 0.0)
    days_after_ct: Uncertain = uncertain(6.0, "d", "rig down, flowback, lift re-run", 0.0)
    work_hours_per_day: float = number(24.0, "h/d", "hours worked in a day", 0.0, 24.0, above=True)
    stuck_ct_chance: Uncertain = fraction(0.01, "coiled tubing stuck or parted, per job")
    stuck_ct_days: Uncertain = uncertain(8.0, "d", "days to free stuck coiled tubing", 0.0)
    well_lost_chance_given_stuck: Uncertain = fraction(0.1, "the well is lost, given stuck")
    leak_chance_cement: Uncertain = fraction(0.05, "cement between neighbours leaks")
    leak_chance_packer: Uncertain = fraction(0.15, "packer between neighbours leaks")
    leak_fluid_fraction: Uncertain = fraction(0.25, "share of a stage's fluid through each leak", high=0.5)
    open_sleeve_take: Uncertain = uncertain(
        0.6, "", "flow weight of an open sleeve uphole against 1 for the stage treated", 0.0
    )
    stray_fluid_value: Uncertain = fraction(0.3, "stimulation value of fluid gone elsewhere")
    patch_hours: Uncertain = uncertain(18.0, "h", "setting a patch", 0.0)
    patch_success: Uncertain = fraction(0.85, "a patch seals")
    perforate_hours: Uncertain = uncertain(6.0, "h", "jetting or perforating beside a sleeve", 0.0)
    perforate_success: Uncertain = fraction(0.9, "jetting or perforating works")
    trip_planning: Literal["after_count", "least_cost"] = choice(
        "after_count",
        "after_count: a trip of hours_per_trip after every stages_per_bha stages; least_cost: changes of the "
        "assembly and the string where they cost least, by travel and hours at the surface",
    )
    bha_change_hours: Uncertain = uncertain(
        6.0, "h", "hours at the surface of a planned change of the assembly (least_cost)", 0.0
    )
    ct_string_life_ft: float | None = number(
        None, "ft", "running feet after which the tubing is changed (least_cost); absent: no limit", 1000.0
    )
    ct_string_life_trips: Uncertain | None = uncertain(
        None,
        "trips",
        "trips in and out of the hole after which the part of the tubing bent most is worn out at the job's pressure; "
        "the plan takes the P90, its low value (least_cost); absent: no limit",
        1.0,
    )
    string_change_hours: Uncertain = uncertain(
        30.0, "h", "hours at the surface of a change of the tubing string (least_cost)", 0.0
    )
    slim_hours_per_stage: Uncertain = uncertain(
        0.5, "h", "more hours for a stage below a patch with slim tools (patched_restricts)", 0.0
    )
    closed_leak_chance: Uncertain = fraction(0.0, "a sleeve that closed or reclosed is not tight")
    leak_test_finds_chance: Uncertain = fraction(0.8, "the test finds a closed sleeve that is not tight")
    casing_failure_chance: Uncertain = fraction(0.0, "the casing fails in the job")
    casing_failure_days: Uncertain = uncertain(10.0, "d", "days to repair a casing that failed", 0.0)
    well_lost_chance_given_casing_failure: Uncertain = fraction(
        0.3, "the well is lost, given a casing failure"
    )
    pressure: PressureScreen | None = choice(None, "table [job.pressure]; absent: pressures are not screened")
    reach: ReachForces | None = choice(None, "table [job.reach]; absent: completion.ct_reach_ft is the reach")
    size: JobSize | None = choice(None, "table [job.size]; absent: job size does not reach the response")
    ct_speed_limit_ft_per_min: float | None = number(
        None, "ft/min", "speed the tubing may not exceed; absent: no limit", 0.0, 1000.0, above=True
    )
    cost: JobCost = choice(JobCost(), "table [job.cost]")

    def problems(self) -> list[Problem]:
        found: list[Problem] = []
        if self.trip_planning == "after_count":
            for name in (
                "bha_change_hours",
                "ct_string_life_ft",
                "ct_string_life_trips",
                "string_change_hours",
            ):
                if name in self.model_fields_set:
                    text = 'this key with trip_planning = "after_count", which does not use it'
                    remedy = 'remove it, or set trip_planning = "least_cost"'
                    found.append(((name,), text, 'only with trip_planning = "least_cost"', remedy))
        limit = self.ct_speed_limit_ft_per_min
        fastest = float(self.ct_speed_ft_per_min.support()[1]) if limit is not None else 0.0
        if limit is not None and fastest > limit:
            text = f"up to {fastest:,.4g} ft/min above ct_speed_limit_ft_per_min {limit:g}"
            remedy = f"give the speed max = {limit:g}, or raise the limit"
            found.append((("ct_speed_ft_per_min",), text, "speeds up to the limit", remedy))
        return found
