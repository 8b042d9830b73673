"""Counts, hours and days of a job: rules 11 to 13, 16 and 17 of `rules`.

Plain statements that serve one trial in compiled code, and whole arrays of trials for the isolation methods: `g` is a
trial's record, or anything with the members of `JobInputs`.
"""

from __future__ import annotations

from typing import Any, NamedTuple


class Counts(NamedTuple):
    """What is counted of a job [-]: shifts tried and failed by kind and all together; tries, tests; stages treated;
    trips, those planned (bha_changes) among them; screenouts; attempts to patch and to perforate, and successes;
    stages below a patch that narrows the bore; planned changes of the string."""

    close_tried: Any
    close_failed: Any
    open_tried: Any
    open_failed: Any
    reclose_tried: Any
    reclose_failed: Any
    reopen_tried: Any
    reopen_failed: Any
    shifts: Any
    tries: Any
    tests: Any
    treated: Any
    trips: Any
    screenouts: Any
    patch_tries: Any
    patched: Any
    perforate_tries: Any
    perforated: Any
    slim_stages: Any
    bha_changes: Any
    string_changes: Any


class Hours(NamedTuple):
    """Hours of CT work by part [h]."""

    cleanout: Any
    travel: Any
    shifting: Any
    testing: Any
    treating: Any
    screenouts: Any
    patching: Any
    perforating: Any
    trips: Any
    slim_tools: Any


class Days(NamedTuple):
    """Days of a job by part, and their sum [days]."""

    total: Any
    before_ct: Any
    ct: Any
    pumping: Any
    stuck: Any
    casing: Any
    after_ct: Any


def hours_of(count: Counts, feet: Any, stage_factors: Any, g: Any) -> Hours:
    """Hours of CT work by part (rules 12 and 17); feet: travel [ft]; stage_factors: their sum over treated stages."""
    trips = g.hours_per_trip * (count.trips - count.bha_changes)
    changes = g.bha_change_hours * count.bha_changes + g.string_change_hours * count.string_changes
    return Hours(
        g.cleanout_hours,
        feet / (60.0 * g.ct_speed_ft_per_min),
        g.hours_per_try * count.tries,
        g.hours_per_test * count.tests,
        g.hours_per_stage * stage_factors,
        g.screenout_hours * count.screenouts,
        g.patch_hours * count.patch_tries,
        g.perforate_hours * count.perforate_tries,
        trips + changes,
        g.slim_hours_per_stage * count.slim_stages,
    )


def days_of(before: Any, ct_hours: Any, pumping_hours: Any, stuck: Any, broken: Any, g: Any) -> Days:
    """Days of a job (rule 13) from days before, hours of CT work and of pumping without it, and the rare events."""
    pace = (1.0 + g.npt_fraction) / g.work_hours_per_day
    ct = ct_hours * pace + g.waiting_days
    pumping = pumping_hours * pace
    stuck_days = g.stuck_ct_days * stuck
    casing_days = g.casing_failure_days * broken
    total = before + ct + pumping + stuck_days + casing_days + g.days_after_ct
    return Days(total, before, ct, pumping, stuck_days, casing_days, g.days_after_ct)
